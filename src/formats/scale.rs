//! Harmonized scales to JSON and CSV; their text is in `scale_text`.
//!
//! Notes, labels and numerals are written as the user's notation has them; Harte
//! labels, ids and numbers do not depend on it.

use super::Words;
use crate::theory::{
    Beside, Degree, Form, Harmonized, Letters, Mode, ModeId, Pair, Size, Spelling, Stack, Step,
    Thirds,
};
use serde::Serialize;

/// Why a table could not be made. Everything is written to memory and in UTF-8, so that none of
/// these is to be expected.
#[derive(Debug, thiserror::Error)]
pub enum CsvError {
    #[error(transparent)]
    Write(#[from] csv::Error),
    #[error("{0}")]
    Flush(std::io::Error),
    #[error(transparent)]
    NoText(#[from] std::string::FromUtf8Error),
}

impl Words<'_> {
    /// A note that stands by no tonic: a tonic itself, or one of two tonalities.
    pub(super) fn name(&self, n: Spelling) -> String {
        self.notation.name(n)
    }

    /// A note of a tonality.
    pub(super) fn note(&self, tonic: Spelling, n: Spelling) -> String {
        self.notation.above(n, tonic)
    }

    pub(super) fn notes(&self, tonic: Spelling, list: &[Spelling]) -> String {
        self.each(tonic, list).join(" ")
    }

    fn each(&self, tonic: Spelling, list: &[Spelling]) -> Vec<String> {
        list.iter().map(|&n| self.note(tonic, n)).collect()
    }

    /// Which do the syllables count from: a clause for a legend.
    pub(super) fn which_do(&self, tonic: Spelling) -> Option<String> {
        let which = self.notation.which_do(tonic)?;
        Some(match self.notation.letters {
            Letters::MovableDo => format!("movable do: do = {which}, the tonic, in every mode"),
            _ => format!("fixed do: Do = {which}"),
        })
    }

    /// The notes that change from one to the other.
    pub(super) fn altered(&self, b: &Beside) -> Vec<(Option<String>, Option<String>)> {
        b.altered_names(self.notation)
    }

    pub(super) fn degree(&self, d: Degree) -> String {
        d.text(self.notation.glyphs)
    }

    pub(super) fn tonality(&self, h: &Harmonized) -> String {
        self.notation.tonality(h.spelled, self.catalogue)
    }

    /// Another mode on the same tonic.
    pub(super) fn beside(&self, h: &Harmonized, mode: ModeId) -> String {
        let other = h.spelled.with_mode(mode);
        self.notation.tonality(other, self.catalogue)
    }

    pub(super) fn label(&self, h: &Harmonized, s: &Stack) -> String {
        h.label(s, self.notation, self.catalogue)
    }

    /// Empty where the notes are no chord.
    pub(super) fn numeral(&self, h: &Harmonized, s: &Stack) -> String {
        let numeral = h.numeral(s, self.notation, self.catalogue);
        numeral.unwrap_or_default()
    }

    fn harte(&self, h: &Harmonized, s: &Stack) -> String {
        let within = Some(h.spelled);
        match s.chord() {
            Some((chord, root)) => chord.harte(root),
            None => self.notation.harte(s.sonority, within, self.catalogue),
        }
    }

    /// Natural, harmonic, melodic: of common-practice minor. Of another mode whose
    /// degrees move: with which ones, or `None` in its usual form.
    pub(super) fn form(&self, h: &Harmonized, form: &Form) -> Option<String> {
        let numbers: Vec<u8> = form.moved.iter().map(|d| d.number).collect();
        let minor = self.catalogue.mode(h.spelled.tonality.mode).id == "minor";
        match (minor, &numbers[..]) {
            (true, []) => Some("natural".into()),
            (true, [7]) => Some("harmonic".into()),
            (true, [6, 7]) => Some("melodic".into()),
            (_, []) => None,
            _ => {
                let moved: Vec<String> = form.moved.iter().map(|&d| self.degree(d)).collect();
                Some(format!("with {}", moved.join(" ")))
            }
        }
    }
}

#[derive(Serialize)]
struct TonalityOut {
    name: String,
    center: usize,
    spelling: String,
    mode: String,
    /// The note that is do, where notes are syllables.
    #[serde(rename = "do", skip_serializing_if = "Option::is_none")]
    which_do: Option<String>,
}

#[derive(Serialize)]
pub(super) struct NoteOut {
    pub degree: String,
    pub note: String,
}

#[derive(Serialize)]
struct StackOut {
    label: String,
    harte: String,
    /// Null where the notes are no chord.
    numeral: Option<String>,
    notes: Vec<String>,
    /// From the root up, C = 0.
    pitch_classes: Vec<usize>,
    /// Null where there is no parallel scale of seven notes.
    differs: Option<bool>,
    characteristic: bool,
}

#[derive(Serialize)]
struct StepOut {
    degree: String,
    root: String,
    /// Semitones against the parallel scale.
    root_moved: i8,
    triad: StackOut,
    seventh: Option<StackOut>,
}

#[derive(Serialize)]
struct ThirdsOut {
    degree: String,
    root: String,
    chords: Vec<StackOut>,
}

#[derive(Serialize)]
struct FormOut {
    form: Option<String>,
    degrees: Vec<StepOut>,
}

#[derive(Serialize)]
pub(super) struct ScaleOut {
    tonality: TonalityOut,
    notes: Vec<String>,
    /// Notes that no chord stands on.
    passing: Vec<NoteOut>,
    characteristic: Vec<NoteOut>,
    /// The mode that qualities are compared with, on the same center.
    parallel: Option<String>,
    forms: Vec<FormOut>,
    /// The chords of thirds beside them: empty where a scale has one of the seven degrees each.
    thirds: Vec<ThirdsOut>,
}

fn tonality_out(w: &Words, h: &Harmonized) -> TonalityOut {
    TonalityOut {
        name: w.tonality(h),
        center: h.spelled.tonality.center.index(),
        spelling: w.name(h.spelled.tonic),
        mode: w.catalogue.mode(h.spelled.tonality.mode).id.clone(),
        which_do: w.notation.which_do(h.spelled.tonic),
    }
}

fn stack_out(w: &Words, h: &Harmonized, s: &Stack) -> StackOut {
    StackOut {
        label: w.label(h, s),
        harte: w.harte(h, s),
        numeral: Some(w.numeral(h, s)).filter(|n| !n.is_empty()),
        notes: w.each(h.spelled.tonic, &s.notes),
        pitch_classes: s.notes.iter().map(|n| n.pitch_class().index()).collect(),
        differs: s.differs,
        characteristic: s.characteristic,
    }
}

/// Degrees of a mode on the tonic, with their notes.
pub(super) fn on_tonic(
    w: &Words,
    mode: &Mode,
    tonic: Spelling,
    degrees: &[Degree],
) -> Vec<NoteOut> {
    let one = |&d: &Degree| NoteOut {
        degree: w.degree(d),
        note: w.note(tonic, mode.spell(tonic, d)),
    };
    degrees.iter().map(one).collect()
}

pub(super) fn scale_out(w: &Words, h: &Harmonized) -> ScaleOut {
    let mode = w.catalogue.mode(h.spelled.tonality.mode);
    let step = |s: &Step| StepOut {
        degree: w.degree(s.degree),
        root: w.note(h.spelled.tonic, s.root),
        root_moved: s.moved,
        triad: stack_out(w, h, &s.triad),
        seventh: s.seventh.as_ref().map(|s| stack_out(w, h, s)),
    };
    let thirds = |t: &Thirds| ThirdsOut {
        degree: w.degree(t.degree),
        root: w.note(h.spelled.tonic, t.root),
        chords: t.chords.iter().map(|s| stack_out(w, h, s)).collect(),
    };
    let form = |f: &Form| FormOut {
        form: w.form(h, f),
        degrees: f.steps.iter().map(step).collect(),
    };
    ScaleOut {
        tonality: tonality_out(w, h),
        notes: w.each(h.spelled.tonic, &h.notes),
        passing: on_tonic(w, mode, h.spelled.tonic, &mode.passing),
        characteristic: on_tonic(w, mode, h.spelled.tonic, &mode.characteristic),
        parallel: h.parallel.map(|p| w.catalogue.mode(p).id.clone()),
        forms: h.forms.iter().map(form).collect(),
        thirds: h.thirds.iter().map(thirds).collect(),
    }
}

/// One object, without a line break at its end.
pub fn json(w: &Words, h: &Harmonized) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(&scale_out(w, h))
}

#[derive(Serialize)]
struct BesideOut {
    left: ScaleOut,
    right: ScaleOut,
    altered: Vec<AlteredOut>,
    degrees: Vec<PairOut>,
    common: Vec<CommonOut>,
}

#[derive(Serialize)]
struct AlteredOut {
    left: Option<String>,
    right: Option<String>,
}

#[derive(Serialize)]
struct PairOut {
    number: u8,
    triad: Option<ChangesOut>,
    seventh: Option<ChangesOut>,
}

/// What differs from the left.
#[derive(Serialize)]
struct ChangesOut {
    notes: bool,
    quality: bool,
    numeral: bool,
}

#[derive(Serialize)]
struct CommonOut {
    size: &'static str,
    label: String,
    left_numeral: String,
    right_numeral: String,
}

fn size(size: Size) -> &'static str {
    match size {
        Size::Triad => "triad",
        Size::Seventh => "seventh",
    }
}

/// A chord that both have: label as on the left, and its numerals.
pub(super) fn common(w: &Words, b: &Beside, of: Size) -> Vec<(String, String, String)> {
    let all = b.common.iter().filter(|c| c.size == of);
    all.filter_map(|c| {
        let l = b.left.step(c.left)?.stack(of)?;
        let r = b.right.step(c.right)?.stack(of)?;
        let numerals = (w.numeral(&b.left, l), w.numeral(&b.right, r));
        Some((w.label(&b.left, l), numerals.0, numerals.1))
    })
    .collect()
}

/// The place on the other side of a chord that stands on a degree of one side's usual
/// form, where both have it.
pub(super) fn common_with(
    b: &Beside,
    size: Size,
    side: &Harmonized,
    at: usize,
) -> Option<(usize, usize)> {
    let left = std::ptr::eq(side, &b.left);
    let mut all = b.common.iter().filter(|c| c.size == size);
    match left {
        true => all.find(|c| c.left == (0, at)).map(|c| c.right),
        false => all.find(|c| c.right == (0, at)).map(|c| c.left),
    }
}

/// One object, without a line break at its end.
pub fn beside_json(w: &Words, b: &Beside) -> Result<String, serde_json::Error> {
    let changes = |p: &Pair, i: usize| {
        p.changes[i].map(|c| ChangesOut {
            notes: c.notes,
            quality: c.quality,
            numeral: c.numeral,
        })
    };
    let pair = |p: &Pair| PairOut {
        number: p.number,
        triad: changes(p, 0),
        seventh: changes(p, 1),
    };
    let common = Size::BOTH.iter().flat_map(|&of| {
        let one = move |(label, left_numeral, right_numeral)| CommonOut {
            size: size(of),
            label,
            left_numeral,
            right_numeral,
        };
        common(w, b, of).into_iter().map(one)
    });
    let altered = w.altered(b).into_iter();
    let altered = altered.map(|(left, right)| AlteredOut { left, right });
    serde_json::to_string_pretty(&BesideOut {
        left: scale_out(w, &b.left),
        right: scale_out(w, &b.right),
        altered: altered.collect(),
        degrees: b.pairs.iter().map(pair).collect(),
        common: common.collect(),
    })
}

/// Lines of comma-separated values (RFC 4180), the first of them the columns' names.
pub(super) fn table(head: &[&str], rows: Vec<Vec<String>>) -> Result<String, CsvError> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(head)?;
    for row in rows {
        out.write_record(row)?;
    }
    let bytes = out
        .into_inner()
        .map_err(|e| CsvError::Flush(e.into_error()))?;
    Ok(String::from_utf8(bytes)?)
}

pub(super) fn yes(b: bool) -> String {
    if b { "yes" } else { "no" }.to_owned()
}

/// One line for each chord.
pub fn csv(w: &Words, h: &Harmonized) -> Result<String, CsvError> {
    let which_do = w.notation.which_do(h.spelled.tonic);
    let mut head = vec![
        "tonality",
        "form",
        "degree",
        "root",
        "root_moved",
        "size",
        "numeral",
        "label",
        "harte",
        "notes",
        "differs",
        "characteristic",
    ];
    head.extend(which_do.as_ref().map(|_| "do"));
    let row = |form: String, degree: Degree, root: Spelling, moved: i8, of: Size, s: &Stack| {
        let mut row = vec![
            w.tonality(h),
            form,
            w.degree(degree),
            w.note(h.spelled.tonic, root),
            moved.to_string(),
            size(of).to_owned(),
            w.numeral(h, s),
            w.label(h, s),
            w.harte(h, s),
            w.notes(h.spelled.tonic, &s.notes),
            s.differs.map(yes).unwrap_or_default(),
            yes(s.characteristic),
        ];
        row.extend(which_do.clone());
        row
    };
    let mut rows = Vec::new();
    for form in &h.forms {
        let name = w.form(h, form).unwrap_or_default();
        for step in &form.steps {
            for of in Size::BOTH {
                let Some(s) = step.stack(of) else { continue };
                let (degree, root, moved) = (step.degree, step.root, step.moved);
                rows.push(row(name.clone(), degree, root, moved, of, s));
            }
        }
    }
    for t in &h.thirds {
        for s in &t.chords {
            let of = match s.notes.len() {
                3 => Size::Triad,
                _ => Size::Seventh,
            };
            rows.push(row("thirds".into(), t.degree, t.root, 0, of, s));
        }
    }
    table(&head, rows)
}

/// One line for each degree and size, with the chord of either side.
pub fn beside_csv(w: &Words, b: &Beside) -> Result<String, CsvError> {
    let which_do = [&b.left, &b.right].map(|h| w.notation.which_do(h.spelled.tonic));
    let mut head = vec![
        "number",
        "size",
        "left",
        "left_degree",
        "left_numeral",
        "left_label",
        "left_notes",
        "left_numeral_in_right",
        "right",
        "right_degree",
        "right_numeral",
        "right_label",
        "right_notes",
        "right_numeral_in_left",
        "notes_changed",
        "quality_changed",
        "numeral_changed",
    ];
    let columns = which_do.iter().zip(["left_do", "right_do"]);
    head.extend(columns.filter_map(|(which, column)| which.as_ref().map(|_| column)));
    let side = |h: &Harmonized, other: &Harmonized, at: Option<usize>, of: Size| -> [String; 6] {
        let step = at.and_then(|at| Some((at, h.usual().get(at)?)));
        let Some((at, step, s)) = step.and_then(|(at, step)| Some((at, step, step.stack(of)?)))
        else {
            return Default::default();
        };
        let there = common_with(b, of, h, at).and_then(|place| other.step(place)?.stack(of));
        [
            w.tonality(h),
            w.degree(step.degree),
            w.numeral(h, s),
            w.label(h, s),
            w.notes(h.spelled.tonic, &s.notes),
            there.map(|s| w.numeral(other, s)).unwrap_or_default(),
        ]
    };
    let mut rows = Vec::new();
    for p in &b.pairs {
        for (i, of) in Size::BOTH.into_iter().enumerate() {
            let l = side(&b.left, &b.right, p.left, of);
            let r = side(&b.right, &b.left, p.right, of);
            if l[0].is_empty() && r[0].is_empty() {
                continue;
            }
            let mut row = vec![p.number.to_string(), size(of).to_owned()];
            row.extend(l);
            row.extend(r);
            row.extend(match p.changes[i] {
                Some(c) => [c.notes, c.quality, c.numeral].map(yes),
                None => Default::default(),
            });
            row.extend(which_do.iter().flatten().cloned());
            rows.push(row);
        }
    }
    table(&head, rows)
}
