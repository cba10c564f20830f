//! Reads modes as they stand in `config/modes.toml`: a name and degrees are needed, the
//! rest is worked out where it is not given.

mod complete;
mod fault;

use super::degree::{Degree, NotADegree};
use super::mode::{Mode, plain_name};
use super::spelling::Glyphs;
use crate::nearest::nearest as nearest_name;
use complete::{characteristic, family, made_id, scored_as, set};
pub use fault::{CatalogueError, FileFault, ModeFault};
use fault::{MAX_NAME, SCORED_AS, quoted};
use toml::de::{DeTable, DeValue};

/// The most modes that a catalogue may hold, scales not counted. Fixed, so that what the engine
/// keeps is of fixed size.
pub const MAX_MODES: usize = 48;

/// Maximum number of scales: together with the modes they must fit a `ModeId`.
const MAX_SCALES: usize = 200;

/// What a mode may say, each with an example.
const KEYS: [(&str, &str); 10] = [
    ("name", "\"Double harmonic\""),
    ("degrees", "\"1 b2 3 4 5 b6 7\""),
    ("id", "\"double_harmonic\""),
    ("also", "\"Byzantine, double harmonic major\""),
    ("movable", "\"6 7\""),
    ("passing", "\"7\""),
    ("characteristic", "\"b2 b6\""),
    ("scored_as", "\"ionian\""),
    ("parent", "\"double harmonic\""),
    ("weight", "0.5"),
];

/// A mode as it is written: what is there of it, and where.
#[derive(Default)]
struct Entry {
    id: Option<String>,
    name: Option<String>,
    degrees: Option<String>,
    also: String,
    movable: String,
    passing: String,
    characteristic: Option<String>,
    scored_as: Option<String>,
    parent: Option<String>,
    weight: Option<f64>,
    /// The byte at which each value begins.
    places: Vec<(&'static str, usize)>,
}

/// What is wrong with the value of a key, or with the whole mode.
struct Wrong {
    key: &'static str,
    fault: ModeFault,
}

/// Stands for the whole mode in the place of a key.
const ALL: &str = "";

impl From<ModeFault> for Wrong {
    fn from(fault: ModeFault) -> Wrong {
        Wrong { key: ALL, fault }
    }
}

/// For `map_err`: of this key.
fn of<F: Into<ModeFault>>(key: &'static str) -> impl Fn(F) -> Wrong {
    move |fault| Wrong {
        key,
        fault: fault.into(),
    }
}

/// Modes, which music is taken for, and scales, which are named when they are asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lists {
    pub modes: Vec<Mode>,
    pub scales: Vec<Mode>,
}

impl Lists {
    /// All of them, the modes first.
    pub fn iter(&self) -> impl Iterator<Item = &Mode> {
        self.modes.iter().chain(&self.scales)
    }
}

/// Which of the two lists an entry belongs to.
#[derive(Clone, Copy, PartialEq)]
enum List {
    Modes,
    Scales,
}

/// The modes and scales of `known`, and behind each of them those of `text`.
pub(super) fn read(text: &str, known: &Lists) -> Result<Lists, CatalogueError> {
    let line = |at: usize| {
        let before = text.get(..at).unwrap_or(text);
        before.matches('\n').count() + 1
    };
    let wrong = |at: usize, fault: FileFault| CatalogueError::File {
        line: line(at),
        fault,
    };
    let file = DeTable::parse(text).map_err(|e| {
        let at = e.span().map_or(0, |span| span.start);
        let why = e.message().to_owned();
        wrong(at, FileFault::NotToml { why })
    })?;
    let mut tables = Vec::new();
    for (key, value) in file.into_inner() {
        let (written, at) = (key.get_ref().as_ref(), key.span().start);
        match (written, value.into_inner()) {
            ("mode" | "scale", DeValue::Array(list)) => {
                let which = match written {
                    "mode" => List::Modes,
                    _ => List::Scales,
                };
                for value in list {
                    let at = value.span().start;
                    match value.into_inner() {
                        DeValue::Table(table) => tables.push((at, which, table)),
                        _ => return Err(wrong(at, FileFault::NotAMode)),
                    }
                }
            }
            ("mode", _) => return Err(wrong(at, FileFault::Brackets { word: "mode" })),
            ("scale", _) => return Err(wrong(at, FileFault::Brackets { word: "scale" })),
            (_, DeValue::Table(_) | DeValue::Array(_)) => {
                let name = quoted(written);
                return Err(wrong(at, FileFault::NotKnown { name }));
            }
            _ => {
                let name = quoted(written);
                return Err(wrong(at, FileFault::AboveTheFirst { name }));
            }
        }
    }
    tables.sort_by_key(|(at, ..)| *at);
    if tables.is_empty() {
        return Err(CatalogueError::Empty);
    }
    let count = |of: List| tables.iter().filter(|(_, which, _)| *which == of).count();
    for (what, own, ours, most) in [
        ("modes", count(List::Modes), known.modes.len(), MAX_MODES),
        (
            "scales",
            count(List::Scales),
            known.scales.len(),
            MAX_SCALES,
        ),
    ] {
        if own + ours > most {
            return Err(CatalogueError::TooMany {
                what,
                own,
                ours,
                most,
            });
        }
    }
    let mut all = known.clone();
    for (at, which, table) in tables {
        let text_of = |key| table.get(key).and_then(|v| v.get_ref().as_str());
        let name = text_of("name").or(text_of("id"));
        let word = match which {
            List::Modes => "mode",
            List::Scales => "scale",
        };
        let mode = match name.map(str::trim).filter(|n| !n.is_empty()) {
            Some(name) => format!("{word} {}", quoted(name)),
            None => format!("this {word}"),
        };
        let fail = |at: usize, fault| CatalogueError::Mode {
            line: line(at),
            mode: mode.clone(),
            fault,
        };
        let entry = Entry::read(table).map_err(|(at, fault)| fail(at, fault))?;
        let places = entry.places.clone();
        let made = entry.mode(which, &all).map_err(|wrong| {
            let place = places.iter().find(|(key, _)| *key == wrong.key);
            fail(place.map_or(at, |p| p.1), wrong.fault)
        })?;
        match which {
            List::Modes => all.modes.push(made),
            List::Scales => all.scales.push(made),
        }
    }
    Ok(all)
}

/// Text that is shown: not empty, not long, nothing that moves the cursor.
fn shown(what: &'static str, text: &str) -> Result<String, ModeFault> {
    let text = text.trim();
    if text.is_empty() {
        return Err(ModeFault::EmptyText(what));
    }
    // Among them those that turn the direction of writing, or have no width.
    let invisible = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
    };
    if text.contains(invisible) {
        return Err(ModeFault::ControlCharacter(what));
    }
    if text.chars().count() > MAX_NAME {
        return Err(ModeFault::TooLong(what));
    }
    Ok(text.to_owned())
}

fn list(text: &str) -> Result<Vec<Degree>, NotADegree> {
    text.split_whitespace().map(str::parse).collect()
}

impl Entry {
    /// Reads what is there; a fault comes with the byte at which it stands.
    fn read(table: DeTable) -> Result<Entry, (usize, ModeFault)> {
        let mut entry = Entry::default();
        for (written, value) in table {
            let at = written.span().start;
            let known = KEYS.iter().find(|(key, _)| *key == written.get_ref());
            let Some(&(key, example)) = known else {
                let written = written.get_ref();
                let names = KEYS.map(|(key, _)| key);
                let help = match nearest_name(written, names) {
                    Some(meant) => format!("did you mean {meant}?"),
                    None => format!("it may have {}", names.join(", ")),
                };
                let key = quoted(written);
                return Err((at, ModeFault::NoSuchKey { key, help }));
            };
            let wanted = match key {
                "weight" => "a number",
                "degrees" | "movable" | "passing" | "characteristic" | "also" => {
                    "written in one pair of quotation marks"
                }
                _ => "text in quotation marks",
            };
            let wrong = || {
                let fault = ModeFault::Type {
                    key,
                    wanted,
                    example,
                };
                (at, fault)
            };
            entry.places.push((key, at));
            let value = value.into_inner();
            if key == "weight" {
                let number = match &value {
                    DeValue::Integer(n) => n.to_string().parse().ok(),
                    DeValue::Float(n) => n.as_str().parse().ok(),
                    _ => None,
                };
                entry.weight = Some(number.ok_or_else(wrong)?);
                continue;
            }
            let text = value.as_str().ok_or_else(wrong)?.to_owned();
            match key {
                "name" => entry.name = Some(text),
                "degrees" => entry.degrees = Some(text),
                "id" => entry.id = Some(text),
                "also" => entry.also = text,
                "movable" => entry.movable = text,
                "passing" => entry.passing = text,
                "characteristic" => entry.characteristic = Some(text),
                "scored_as" => entry.scored_as = Some(text),
                _ => entry.parent = Some(text),
            }
        }
        Ok(entry)
    }

    /// The mode or scale that it describes, `known` being those above it.
    fn mode(self, which: List, known: &Lists) -> Result<Mode, Wrong> {
        let name = self.name.as_deref().ok_or(ModeFault::NoName)?;
        if name.trim().is_empty() {
            return Err(of("name")(ModeFault::NoName));
        }
        let name = shown("name", name).map_err(of("name"))?;
        let plain = plain_name(&name);
        if !plain.contains(char::is_alphanumeric) {
            return Err(of("name")(ModeFault::NoLetter));
        }
        let id = match &self.id {
            Some(id) => Some(given_id(id).map_err(of("id"))?),
            None => None,
        };
        let mut also = Vec::new();
        for text in self.also.split(',').filter(|text| !text.trim().is_empty()) {
            also.push(shown("also", text).map_err(of("also"))?);
        }
        // Another mode may not be called the same, however it is written. A mode of the
        // user's own may take the name of a scale, whose place it takes.
        let texts = [("id", id.as_ref()), ("name", Some(&name))];
        let texts = texts
            .into_iter()
            .chain(also.iter().map(|a| ("also", Some(a))));
        for (what, text) in texts {
            let Some(text) = text else { continue };
            let taken = match (which, what) {
                (List::Modes, "id" | "name") => owner(text, &known.modes),
                _ => owner(text, known.iter()).or_else(|| namesake(text, known.iter())),
            };
            if let Some(owner) = taken {
                let text = quoted(text);
                return Err(of(what)(ModeFault::Taken { what, text, owner }));
            }
        }
        let id = match id {
            Some(id) => id,
            None => {
                let free = |id: &str| match which {
                    List::Modes => owner(id, &known.modes).is_none(),
                    List::Scales => owner(id, known.iter()).is_none(),
                };
                made_id(&name, free).map_err(of("name"))?
            }
        };
        let degrees = self.degrees.as_deref().ok_or(ModeFault::NoDegrees)?;
        let mut degrees = list(degrees).map_err(of("degrees"))?;
        let first = Degree {
            number: 1,
            alter: 0,
        };
        match degrees.first() {
            None => return Err(of("degrees")(ModeFault::NoDegrees)),
            Some(d) if *d != first => return Err(of("degrees")(ModeFault::NotFromOne)),
            Some(_) => degrees.sort_by_key(|d| d.semitones()),
        }
        let same = degrees
            .windows(2)
            .find(|pair| pair[0].semitones() == pair[1].semitones());
        if let Some(pair) = same {
            let [a, b] = [pair[0], pair[1]].map(|d| d.text(Glyphs::Ascii));
            return Err(of("degrees")(ModeFault::SameKey(a, b)));
        }
        if degrees.len() < 5 {
            return Err(of("degrees")(ModeFault::TooFew(degrees.len())));
        }
        let movable = list(&self.movable).map_err(of("movable"))?;
        let passing = list(&self.passing).map_err(of("passing"))?;
        let foreign = |d: &&Degree| **d == first || !degrees.contains(d);
        if let Some(d) = passing.iter().find(foreign) {
            return Err(of("passing")(ModeFault::NotPassing(d.text(Glyphs::Ascii))));
        }
        let mut own = degrees.clone();
        own.retain(|d| !passing.contains(d));
        if own.len() < 5 {
            return Err(of("passing")(ModeFault::TooFew(own.len())));
        }
        let characteristic = match &self.characteristic {
            Some(given) => list(given).map_err(of("characteristic"))?,
            None => characteristic(&own, &movable),
        };
        let foreign = |d: &&Degree| !degrees.contains(d) && !movable.contains(d);
        if let Some(d) = characteristic.iter().find(foreign) {
            let d = d.text(Glyphs::Ascii);
            return Err(of("characteristic")(ModeFault::NotItsOwn(d)));
        }
        if which == List::Scales && self.weight.is_some() {
            return Err(of("weight")(ModeFault::ScaleWeight));
        }
        let weight = self.weight.unwrap_or(1.0) as f32;
        if !(weight > 0.0 && weight <= 1000.0) {
            return Err(of("weight")(ModeFault::Weight));
        }
        let scored_as = match self.scored_as {
            Some(given) if SCORED_AS.contains(&given.as_str()) => given,
            Some(given) => {
                return Err(of("scored_as")(ModeFault::ScoredAs(quoted(&given))));
            }
            None => scored_as(&own, &movable, &known.modes).to_owned(),
        };
        let parent = match &self.parent {
            Some(given) => shown("parent", given).map_err(of("parent"))?,
            None => family(&name, &degrees, known.iter()),
        };
        let usual = set(&degrees);
        Ok(Mode {
            id,
            name,
            also,
            set: usual,
            all: usual.or(set(&movable)),
            degrees,
            movable,
            passing,
            characteristic,
            scored_as,
            parent,
            weight,
        })
    }
}

/// The name of the mode that is called so already, however it is written.
fn owner<'a>(text: &str, known: impl IntoIterator<Item = &'a Mode>) -> Option<String> {
    let plain = plain_name(text);
    // Everybody calls Ionian major.
    let major = |m: &Mode| plain == "major" && m.id == "ionian";
    let mut known = known.into_iter();
    let owner = known.find(|m| m.is_called(&plain) || major(m));
    owner.map(|m| m.name.clone())
}

/// The name of the mode that is also called so, however it is written.
fn namesake<'a>(text: &str, known: impl IntoIterator<Item = &'a Mode>) -> Option<String> {
    let plain = plain_name(text);
    let mut known = known.into_iter();
    let owner = known.find(|m| m.is_also_called(&plain));
    owner.map(|m| m.name.clone())
}

/// An id that the user gave.
fn given_id(text: &str) -> Result<String, ModeFault> {
    let id = shown("id", text)?;
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '_' | '-');
    if !id.contains(|c: char| c.is_ascii_lowercase()) || !id.chars().all(plain) {
        return Err(ModeFault::BadId(quoted(&id)));
    }
    Ok(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own(text: &str) -> Result<Vec<Mode>, String> {
        let known = read(
            include_str!("../../../config/modes.toml"),
            &Lists::default(),
        );
        let mut known = known.map_err(|e| e.to_string())?;
        let all = read(text, &known).map_err(|e| e.to_string())?;
        known.scales = all.scales[known.scales.len()..].to_vec();
        let own = all.modes.into_iter().skip(known.modes.len());
        Ok(own.chain(known.scales).collect())
    }

    fn one_of(lines: &str) -> Result<Mode, String> {
        own(&format!("[[mode]]\n{lines}")).map(|mut all| all.remove(0))
    }

    #[test]
    fn a_name_and_degrees_are_enough() {
        let m = one_of("name = 'Double harmonic'\ndegrees = '1 b2 3 4 5 b6 7'").expect("a mode");
        assert_eq!((m.id.as_str(), m.weight), ("double_harmonic", 1.0));
        assert_eq!(m.characteristic, list("b2 b6").expect("degrees"));
        assert_eq!(
            (m.scored_as.as_str(), m.parent.as_str()),
            ("ionian", "double harmonic")
        );
        // The notes of a known mode: it counts as that one, and is of its family.
        let m = one_of("name = 'Freygish'\ndegrees = '1 b2 3 4 5 b6 b7'").expect("a mode");
        assert_eq!(
            (m.scored_as.as_str(), m.parent.as_str()),
            ("mixolydian", "harmonic minor")
        );
        // Turned from one above it in the file; in any order.
        let two = "[[mode]]\nname = 'Double harmonic'\ndegrees = '1 b2 3 4 5 b6 7'\n\
                   [[mode]]\nname = 'Hungarian minor'\ndegrees = '1 7 2 b3 #4 5 b6'\n";
        let two = own(two).expect("two modes");
        assert_eq!(two[1].parent, "double harmonic");
        assert_eq!(two[1].degrees, list("1 2 b3 #4 5 b6 7").expect("degrees"));
        // What is given stays.
        let given = "id = 'mine'\nname = 'Mine'\ndegrees = '1 b2 3 4 5 b6 7'\nparent = 'ours'\n\
                     scored_as = 'phrygian'\ncharacteristic = '3'\nweight = 0.5";
        let m = one_of(given).expect("a mode");
        assert_eq!((m.id.as_str(), m.parent.as_str()), ("mine", "ours"));
        assert_eq!((m.scored_as.as_str(), m.weight), ("phrygian", 0.5));
        assert_eq!(m.characteristic, list("3").expect("degrees"));
        let m = one_of("name = 'Own minor'\ndegrees = '1 2 b3 4 5 b6 b7'\nmovable = '6 7'");
        let m = m.expect("a mode");
        assert_eq!(
            (m.scored_as.as_str(), m.parent.as_str()),
            ("minor", "diatonic")
        );
        assert_eq!(m.characteristic, list("7").expect("degrees"));
    }

    #[test]
    fn ids_are_made_of_names() {
        let id = |name: &str| one_of(&format!("name = \"{name}\"\ndegrees = '1 2 4 5 6'"));
        let is = |name: &str| id(name).map(|m| m.id);
        for (name, want) in [
            ("Own", "own"),
            ("  Süßer Modus  ", "susser_modus"),
            ("Lydian ♭7 ♯9", "lydian_flat7_sharp9"),
            ("Ray's mode!", "rays_mode"),
            ("2nd (own) Ørsted", "2nd_own_orsted"),
            ("Lydian (sharp 2)", "lydian_sharp_2_2"),
        ] {
            assert_eq!(is(name), Ok(want.to_owned()), "{name}");
        }
        let none = is("音階").expect_err("no letter a to z");
        assert!(none.contains("give it one, such as id = \"own\""), "{none}");
        let names = ["Own", "Own 2", "Own_2!"];
        let text: String = names
            .map(|n| format!("[[mode]]\nname = '{n}'\ndegrees = '1 2 4 5 6'\n"))
            .concat();
        let ids: Vec<String> = own(&text)
            .expect("modes")
            .into_iter()
            .map(|m| m.id)
            .collect();
        assert_eq!(ids, ["own", "own_2", "own_2_2"]);
    }

    #[test]
    fn a_bad_mode_says_where_and_what_to_do() {
        let whole = "A whole mode is:\n\n[[mode]]\nname = \"Double harmonic\"\n\
                     degrees = \"1 b2 3 4 5 b6 7\"\n";
        // The example is one.
        let example = whole.split_once("\n\n").expect("an example").1;
        assert_eq!(own(example).map(|all| all.len()), Ok(1));
        let good = "degrees = '1 2 3 4 5 6 b7'";
        let long = "x".repeat(41);
        for (lines, want) in [
            (good.into(), "line 1: this mode: it has no name".into()),
            (
                "name = 'Own'".into(),
                "line 1: mode 'Own': it has no degrees".into(),
            ),
            (
                "name = 'Own'\ndegrees = ''".into(),
                "line 3: mode 'Own': it has no degrees".into(),
            ),
            (
                format!("name = ''\n{good}"),
                "line 2: this mode: it has no name".into(),
            ),
            (
                format!("name = ' '\n{good}"),
                "line 2: this mode: it has no name".into(),
            ),
            (
                format!("id = ''\nname = 'Own'\n{good}"),
                "line 2: mode 'Own': its id is empty".into(),
            ),
            (
                format!("id = 'My Mode'\nname = 'Own'\n{good}"),
                "line 2: mode 'Own': its id is 'My Mode': write small letters a to z, figures, \
                 _ and - only, or leave the id out"
                    .into(),
            ),
            (
                format!("name = \"O\\u001b[2Jn\"\n{good}"),
                "line 2: mode 'O\\x1b[2Jn': its name holds a character that cannot be shown: \
                 write letters, figures and signs"
                    .into(),
            ),
            (
                format!("id = \"o\\u0007n\"\nname = 'Own'\n{good}"),
                "line 2: mode 'Own': its id holds a character that cannot be shown: write \
                 letters, figures and signs"
                    .into(),
            ),
            (
                format!("name = '{long}'\n{good}"),
                format!(
                    "line 2: mode '{}…': its name has more than 40 characters",
                    &long[1..]
                ),
            ),
            (
                format!("name = '—'\n{good}"),
                "line 2: mode '—': its name has no letter or figure".into(),
            ),
            (
                format!("id = 'dorian'\nname = 'Own'\n{good}"),
                "line 2: mode 'Own': its id is 'dorian': that is the mode Dorian already; choose \
                 another"
                    .into(),
            ),
            (
                format!("name = 'DORIAN'\n{good}"),
                "line 2: mode 'DORIAN': its name is 'DORIAN': that is the mode Dorian already; \
                 choose another"
                    .into(),
            ),
            (
                format!("name = 'Phrygian-dominant'\n{good}"),
                "line 2: mode 'Phrygian-dominant': its name is 'Phrygian-dominant': that is the \
                 mode Phrygian dominant already; choose another"
                    .into(),
            ),
            (
                format!("name = 'Major'\n{good}"),
                "line 2: mode 'Major': its name is 'Major': that is the mode Ionian already; \
                 choose another"
                    .into(),
            ),
            (
                format!("name = 'Own'\n{good}\n[[mode]]\nname = 'own'\n{good}"),
                "line 5: mode 'own': its name is 'own': that is the mode Own already; choose \
                 another"
                    .into(),
            ),
            (
                "name = 'Own'\ndegrees = '2 3 4 5 6'".into(),
                "line 3: mode 'Own': its degrees must begin with 1, the note that is home".into(),
            ),
            (
                "name = 'Own'\ndegrees = '1 3 5'".into(),
                "line 3: mode 'Own': it has 3 degrees; a mode has at least five".into(),
            ),
            (
                "name = 'Own'\ndegrees = '1 2 #2 b3 4 5'".into(),
                "line 3: mode 'Own': its degrees #2 and b3 are the same key of the piano: leave \
                 one of them out"
                    .into(),
            ),
            (
                "name = 'Own'\ndegrees = '1 2 3 4 5 8'".into(),
                "line 3: mode 'Own': '8' is no degree: write 1 to 7 after at most two b or #"
                    .into(),
            ),
            (
                format!("name = 'Own'\n{good}\ncharacteristic = 'b2'"),
                "line 4: mode 'Own': b2 is characteristic, but is none of its degrees".into(),
            ),
            (
                format!("name = 'Own'\n{good}\npassing = 'b2'"),
                "line 4: mode 'Own': b2 is passing, but is none of its degrees above the first"
                    .into(),
            ),
            (
                "name = 'Own'\ndegrees = '1 2 3 4 5'\npassing = '4'".into(),
                "line 4: mode 'Own': it has 4 degrees; a mode has at least five".into(),
            ),
            (
                format!("name = 'Own'\n{good}\nalso = 'mine, super-Locrian'"),
                "line 4: mode 'Own': its also is 'super-Locrian': that is the mode Altered \
                 already; choose another"
                    .into(),
            ),
            (
                format!("name = 'Own'\n{good}\nparent = ''"),
                "line 4: mode 'Own': its parent is empty".into(),
            ),
            (
                format!("name = 'Own'\n{good}\nweight = nan"),
                "line 4: mode 'Own': its weight must be greater than 0, and at most 1000".into(),
            ),
            (
                "name = 'Own'\ndegrees = [1, 2]".into(),
                "line 3: mode 'Own': its degrees must be written in one pair of quotation marks, \
                 such as degrees = \"1 b2 3 4 5 b6 7\""
                    .into(),
            ),
            (
                format!("name = 'Own'\n{good}\nweight = 'much'"),
                "line 4: mode 'Own': its weight must be a number, such as weight = 0.5".into(),
            ),
            (
                format!("nme = 'Own'\n{good}"),
                "line 2: this mode: a mode has no 'nme': did you mean name?".into(),
            ),
            (
                format!("name = 'Own'\n{good}\ncolour = 1"),
                "line 4: mode 'Own': a mode has no 'colour': it may have name, degrees, id, \
                 also, movable, passing, characteristic, scored_as, parent, weight"
                    .into(),
            ),
        ] {
            let want: String = want;
            let said = one_of(&lines).map(|m| m.name);
            assert_eq!(said, Err(format!("{want}. {whole}")), "{lines}");
        }
        let brackets = "write [[mode]], with two brackets on either side, above each mode";
        for (text, want) in [
            (format!("[mode]\n{good}"), format!("line 1: {brackets}")),
            (
                format!("\n[[modes]]\n{good}"),
                format!("line 2: 'modes' is not known here: {brackets}"),
            ),
            (
                format!("name = 'Own'\n{good}"),
                format!("line 1: 'name' stands above the first mode: {brackets}"),
            ),
            (
                "mode = [1]".into(),
                format!("line 1: this is no mode: {brackets}"),
            ),
        ] {
            let said = own(&text).map(|all| all.len());
            // Of two faults in one table either may be said first.
            let other =
                format!("line 2: 'degrees' stands above the first mode: {brackets}. {whole}");
            let want = format!("{want}. {whole}");
            assert!(
                said == Err(want.clone()) || said == Err(other),
                "{said:?} {want}"
            );
        }
        let scale = |lines: &str| own(&format!("[[scale]]\n{lines}")).map(|all| all.len());
        assert_eq!(scale(&format!("name = 'Own'\n{good}")), Ok(1));
        for (lines, want) in [
            (
                "name = 'Dorian'",
                "line 2: scale 'Dorian': its name is 'Dorian': that is the mode Dorian already; choose another",
            ),
            (
                "name = 'half-whole'",
                "line 2: scale 'half-whole': its name is 'half-whole': that is the mode octatonic half-whole already; choose another",
            ),
            (
                "name = 'Own'\nweight = 1",
                "line 3: scale 'Own': a scale has no weight, as no music is ever taken for one: leave it out",
            ),
        ] {
            let said = scale(&format!("{lines}\n{good}"));
            assert_eq!(said, Err(format!("{want}. {whole}")), "{lines}");
        }
        let said = own("[[mode]]\nname = 'Own\n").map(|all| all.len());
        let said = said.expect_err("no end of the name");
        let start = "line 2: this cannot be read: write name = value in a line of its own, with \
                     \"quotation marks\" around words (";
        assert!(said.starts_with(start) && said.ends_with(whole), "{said}");
        assert_eq!(
            own("# To come.").map(|all| all.len()),
            Err(format!("there is no mode in it. {whole}"))
        );
        let many: String = (0..18)
            .map(|n| format!("[[mode]]\nname = 'Own {n}'\n{good}\n"))
            .collect();
        assert_eq!(
            own(&many).map(|all| all.len()),
            Err(
                "it holds 18 modes: with the 31 that are there already that is more than 48".into()
            )
        );
    }
}
