//! The catalogue of modes to JSON and CSV, and the order in which it is printed; its
//! text is in `catalogue_text`.

use super::Words;
use super::scale::{CsvError, NoteOut, ScaleOut, on_tonic, scale_out, table, yes};
use crate::theory::{
    Harmonized, Mode, ModeId, SpelledTonality, Spelling, Tonality, brightness_order, relatives,
};
use serde::Serialize;
use std::cmp::Reverse;

/// The modes by family, in the order of the catalogue; within a family from bright to
/// dark, those whose degrees move behind the others that are as bright.
pub(super) fn families<'a>(w: &Words<'a>) -> Vec<(&'a str, Vec<(ModeId, &'a Mode)>)> {
    let mut families: Vec<(&str, Vec<(ModeId, &Mode)>)> = Vec::new();
    for (id, mode) in w.catalogue.all() {
        match families.iter_mut().find(|f| f.0 == mode.parent) {
            Some(f) => f.1.push((id, mode)),
            None => families.push((&mode.parent, vec![(id, mode)])),
        }
    }
    for (_, modes) in &mut families {
        modes.sort_by_key(|(_, m)| (Reverse(m.brightness()), !m.movable.is_empty()));
    }
    families
}

#[derive(Serialize)]
struct CatalogueOut {
    tonic: String,
    /// The note that is do, where notes are syllables.
    #[serde(rename = "do", skip_serializing_if = "Option::is_none")]
    which_do: Option<String>,
    modes: Vec<ModeOut>,
}

#[derive(Serialize)]
struct ModeOut {
    id: String,
    name: String,
    /// Its other names of the trade.
    also: Vec<String>,
    /// Whether music is taken for it, or it is found by its name alone.
    estimated: bool,
    family: String,
    brightness: i32,
    /// Above the tonic, usual form.
    semitones: Vec<usize>,
    degrees: Vec<NoteOut>,
    movable: Vec<NoteOut>,
    /// Notes that no chord stands on.
    passing: Vec<NoteOut>,
    characteristic: Vec<NoteOut>,
    /// What the next brighter mode of the family has otherwise.
    altered: Vec<NoteOut>,
    scored_as: String,
}

#[derive(Serialize)]
struct CardOut {
    #[serde(flatten)]
    mode: ModeOut,
    same_notes: Vec<String>,
    scale: ScaleOut,
}

fn mode_out(w: &Words, tonic: Spelling, id: ModeId) -> ModeOut {
    let m = w.catalogue.mode(id);
    let shade = brightness_order(w.catalogue, &m.parent)
        .into_iter()
        .find(|s| s.mode == id);
    ModeOut {
        id: m.id.clone(),
        name: name(w, id),
        also: also(w, m),
        estimated: !w.catalogue.is_scale(id),
        family: m.parent.clone(),
        brightness: m.brightness(),
        semitones: m.degrees.iter().map(|d| d.semitones()).collect(),
        degrees: on_tonic(w, m, tonic, &m.degrees),
        movable: on_tonic(w, m, tonic, &m.movable),
        passing: on_tonic(w, m, tonic, &m.passing),
        characteristic: on_tonic(w, m, tonic, &m.characteristic),
        altered: shade.map_or(Vec::new(), |s| on_tonic(w, m, tonic, &s.altered)),
        scored_as: m.scored_as.clone(),
    }
}

/// Its other names, as the user's notation writes them.
pub(super) fn also(w: &Words, mode: &Mode) -> Vec<String> {
    mode.also
        .iter()
        .map(|name| w.notation.mode_name(name))
        .collect()
}

/// As the user's notation writes it.
pub(super) fn name(w: &Words, mode: ModeId) -> String {
    let center = Spelling::C.pitch_class();
    w.notation.mode(Tonality { center, mode }, w.catalogue)
}

/// The whole catalogue on `tonic`: one object, without a line break at its end.
pub fn json(w: &Words, tonic: Spelling) -> Result<String, serde_json::Error> {
    let modes = families(w).into_iter().flat_map(|f| f.1);
    serde_json::to_string_pretty(&CatalogueOut {
        tonic: w.name(tonic),
        which_do: w.notation.which_do(tonic),
        modes: modes.map(|(id, _)| mode_out(w, tonic, id)).collect(),
    })
}

/// One mode with its chords: one object, without a line break at its end.
pub fn mode_json(w: &Words, t: SpelledTonality) -> Result<String, serde_json::Error> {
    let h = Harmonized::new(t, w.catalogue);
    let same = relatives(t, w.catalogue).into_iter();
    serde_json::to_string_pretty(&CardOut {
        mode: mode_out(w, t.tonic, t.tonality.mode),
        same_notes: same.map(|t| w.notation.tonality(t, w.catalogue)).collect(),
        scale: scale_out(w, &h),
    })
}

/// One line for each mode.
pub fn csv(w: &Words, tonic: Spelling) -> Result<String, CsvError> {
    let which_do = w.notation.which_do(tonic);
    let mut head = vec![
        "id",
        "name",
        "family",
        "brightness",
        "semitones",
        "degrees",
        "notes",
        "movable",
        "characteristic",
        "altered",
        "scored_as",
        "also",
        "passing",
        "estimated",
    ];
    head.extend(which_do.as_ref().map(|_| "do"));
    let modes = families(w).into_iter().flat_map(|f| f.1);
    let degrees = |list: &[NoteOut]| -> String {
        let all: Vec<&str> = list.iter().map(|n| n.degree.as_str()).collect();
        all.join(" ")
    };
    let row = |(id, _): (ModeId, &Mode)| {
        let m = mode_out(w, tonic, id);
        let notes: Vec<&str> = m.degrees.iter().map(|n| n.note.as_str()).collect();
        let semitones: Vec<String> = m.semitones.iter().map(|s| s.to_string()).collect();
        let mut row = vec![
            m.id,
            m.name,
            m.family,
            m.brightness.to_string(),
            semitones.join(" "),
            degrees(&m.degrees),
            notes.join(" "),
            degrees(&m.movable),
            degrees(&m.characteristic),
            degrees(&m.altered),
            m.scored_as,
            m.also.join(", "),
            degrees(&m.passing),
            yes(m.estimated),
        ];
        row.extend(which_do.clone());
        row
    };
    table(&head, modes.map(row).collect())
}
