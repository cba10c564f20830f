//! The catalogue of modes, and how their tonalities are spelled.

use super::degree::spell_degree;
use super::mode::{Mode, ModeId, Tonality, plain_name};
use super::modes_file::{CatalogueError, read};
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;
use std::sync::LazyLock;

/// The modes that are known, in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    modes: Vec<Mode>,
}

/// The catalogue embedded at build.
static STANDARD: LazyLock<Catalogue> = LazyLock::new(|| {
    Catalogue::parse(include_str!("../../config/modes.toml"))
        .unwrap_or_else(|e| panic!("the embedded config/modes.toml does not hold: {e}"))
});

/// What stands for a mode that a catalogue does not have.
static UNKNOWN: LazyLock<Mode> = LazyLock::new(Mode::unknown);

impl Catalogue {
    /// The one embedded at build from `config/modes.toml`.
    pub fn standard() -> &'static Catalogue {
        &STANDARD
    }

    /// Reads the TOML of `config/modes.toml`.
    pub fn parse(text: &str) -> Result<Catalogue, CatalogueError> {
        let modes = read(text, &[])?;
        Ok(Catalogue { modes })
    }

    /// This catalogue and the modes of another text after it; an id of this one is good for
    /// both.
    pub fn extended(&self, text: &str) -> Result<Catalogue, CatalogueError> {
        let own = read(text, &self.modes)?;
        let modes = self.modes.iter().cloned().chain(own).collect();
        Ok(Catalogue { modes })
    }

    /// Each mode that has exactly the degrees of one before it, with that one: no music tells
    /// the two apart.
    pub fn doubles(&self) -> impl Iterator<Item = (&Mode, &Mode)> {
        let same = |a: &Mode, b: &Mode| (&a.degrees, &a.movable) == (&b.degrees, &b.movable);
        self.modes.iter().enumerate().filter_map(move |(at, mode)| {
            let first = self.modes[..at].iter().find(|first| same(first, mode));
            Some((mode, first?))
        })
    }

    /// How many modes.
    pub fn len(&self) -> usize {
        self.modes.len()
    }

    /// Never: a catalogue has at least one mode.
    pub fn is_empty(&self) -> bool {
        self.modes.is_empty()
    }

    /// The mode of an id that this catalogue gave.
    ///
    /// The id of a mode that only another, larger catalogue has stands for a mode called
    /// "unknown mode", never for one of this catalogue.
    pub fn mode(&self, id: ModeId) -> &Mode {
        self.modes.get(id.index()).unwrap_or(&UNKNOWN)
    }

    /// Each mode with its id, in the order of the file.
    pub fn iter(&self) -> impl Iterator<Item = (ModeId, &Mode)> {
        self.modes
            .iter()
            .enumerate()
            .map(|(i, m)| (ModeId::at(i), m))
    }

    /// By id or name, in any case.
    pub fn find(&self, name: &str) -> Option<ModeId> {
        let plain = plain_name(name);
        self.iter()
            .find(|(_, m)| m.is_called(&plain))
            .map(|(id, _)| id)
    }

    /// The first mode with the same notes in their usual form: Aeolian for common-practice
    /// minor, for most modes the mode itself. The notes that are heard cannot tell two such
    /// modes apart, so they compete with the others together.
    pub fn kin(&self, mode: ModeId) -> ModeId {
        let set = self.mode(mode).set();
        self.iter()
            .find(|(_, m)| m.set() == set)
            .map_or(mode, |(first, _)| first)
    }

    /// The notes, in semitones above the center, that must be heard before a mode is named.
    /// Only a mode whose degrees move needs any, its characteristic ones, and only if a
    /// mode whose degrees do not move has the same notes and can be named instead.
    /// Common-practice minor needs its leading tone.
    pub fn needed(&self, mode: ModeId) -> PitchClassSet {
        let m = self.mode(mode);
        if m.movable.is_empty() || self.plain(m).is_none() {
            return PitchClassSet::EMPTY;
        }
        m.characteristic
            .iter()
            .map(|d| PitchClass::new(d.semitones() as i32))
            .collect()
    }

    /// The tonality that is named when `heard` was heard. Without the notes that
    /// [`Self::needed`] asks for it is the mode with the same notes whose degrees do not
    /// move: a minor without leading tone is Aeolian.
    pub fn named(&self, t: Tonality, heard: PitchClassSet) -> Tonality {
        if self.needed(t.mode).is_subset(heard.seen_from(t.center)) {
            return t;
        }
        let mode = self.plain(self.mode(t.mode)).unwrap_or(t.mode);
        Tonality { mode, ..t }
    }

    /// The first mode with the notes of `like` whose degrees do not move.
    fn plain(&self, like: &Mode) -> Option<ModeId> {
        self.iter()
            .find(|(_, m)| m.movable.is_empty() && m.set() == like.set())
            .map(|(mode, _)| mode)
    }

    /// Pitch classes of a tonality, usual form.
    pub fn set(&self, t: Tonality) -> PitchClassSet {
        self.mode(t.mode).set().up(t.center.index() as i32)
    }

    /// Pitch classes of a tonality with the other forms of its movable degrees.
    pub fn all_forms(&self, t: Tonality) -> PitchClassSet {
        self.mode(t.mode).all_forms().up(t.center.index() as i32)
    }

    /// Sharps (flats negative) of the scale written on `tonic`: the sum of its degrees' accidentals.
    pub fn signature(&self, tonic: Spelling, mode: ModeId) -> i32 {
        self.mode(mode)
            .degrees
            .iter()
            .map(|d| spell_degree(tonic, *d).accidental() as i32)
            .sum()
    }

    /// The tonic's spelling: fewest accidentals in the scale; of equals the plainer
    /// tonic (B, not C♭), then the one nearest on the line of fifths to `before`,
    /// else the flat one (G♭, not F♯).
    /// Source: the practical spelling rule, signature within -7..7, better
    /// -6..6 (common practice, no source); property-tested against it.
    pub fn spell(&self, t: Tonality, before: Option<Spelling>) -> Spelling {
        let base = (t.center.index() as i32 * 7).rem_euclid(12);
        let cost = |s: &Spelling| -> (i32, i32, i32) {
            let accidentals: i32 = self
                .mode(t.mode)
                .degrees
                .iter()
                .map(|d| (spell_degree(*s, *d).accidental() as i32).abs())
                .sum();
            let distance = match before {
                Some(b) => (s.fifths() as i32 - b.fifths() as i32).abs(),
                None => s.fifths() as i32,
            };
            (accidentals, (s.accidental() as i32).abs(), distance)
        };
        (-2..=2)
            .map(|k| Spelling::at((base + 12 * k) as i8))
            .min_by_key(cost)
            .unwrap_or(Spelling::C)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_catalogue_holds() {
        let c = Catalogue::standard();
        assert_eq!(c.len(), 31);
        let dorian = c.parse_tonality("e♭ Dorian").expect("a tonality");
        assert_eq!(dorian.tonic.to_string(), "E♭");
        assert_eq!(c.signature(dorian.tonic, dorian.tonality.mode), -5);
    }

    #[test]
    fn a_mode_with_the_degrees_of_another_is_found() {
        assert_eq!(Catalogue::standard().doubles().count(), 0);
        let own = "[[mode]]\nname = 'Freygish'\ndegrees = '1 b6 b2 3 4 5 b7'\n\
                   [[mode]]\nname = 'Other'\ndegrees = '1 b2 3 4 5 b6 7'\n";
        let c = Catalogue::standard().extended(own).expect("a catalogue");
        let found = c.doubles().map(|(own, known)| (&*own.name, &*known.name));
        let found: Vec<(&str, &str)> = found.collect();
        assert_eq!(found, [("Freygish", "Phrygian dominant")]);
    }

    #[test]
    fn only_minor_shares_its_notes_and_goes_with_aeolian() {
        let c = Catalogue::standard();
        let (aeolian, minor) = (c.find("aeolian"), c.find("minor"));
        for (mode, _) in c.iter() {
            let kin = if Some(mode) == minor {
                aeolian
            } else {
                Some(mode)
            };
            assert_eq!(Some(c.kin(mode)), kin);
        }
    }

    #[test]
    fn minor_is_named_once_its_leading_tone_is_heard() {
        let c = Catalogue::standard();
        let heard =
            |keys: &[i32]| -> PitchClassSet { keys.iter().map(|&k| PitchClass::new(k)).collect() };
        let t = |text: &str| c.parse_tonality(text).expect("a tonality").tonality;
        let white = heard(&[9, 11, 0, 2, 4, 5, 7]);
        assert_eq!(c.named(t("a minor"), white), t("a aeolian"));
        let raised = white.with(PitchClass::new(8));
        assert_eq!(c.named(t("a minor"), raised), t("a minor"));
        assert_eq!(c.named(t("a aeolian"), raised), t("a aeolian"));
        // The raised sixth alone is not enough, nor another center's leading tone.
        let sixth = white.with(PitchClass::new(6));
        assert_eq!(c.named(t("a minor"), sixth), t("a aeolian"));
        assert_eq!(c.named(t("d minor"), raised), t("d aeolian"));
        // No other mode needs a note.
        for (mode, m) in c.iter().filter(|(_, m)| m.movable.is_empty()) {
            assert!(c.needed(mode).is_empty(), "{}", m.id);
        }
    }

    #[test]
    fn a_mode_without_another_name_is_named_in_any_case() {
        let text = |degrees: &str| {
            format!(
                "[[mode]]\nid='own'\nname='own'\ndegrees='{degrees}'\nmovable='7'\n\
                 characteristic='7'\nscored_as='minor'\nparent='own'\n"
            )
        };
        let own = |degrees: &str| {
            let c = Catalogue::standard().extended(&text(degrees));
            let c = c.expect("a catalogue");
            let mode = c.find("own").expect("the mode");
            (c.needed(mode), c.kin(mode) == mode)
        };
        assert_eq!(own("1 b2 b3 b7 #4 5"), (PitchClassSet::EMPTY, true));
        let leading = PitchClassSet::EMPTY.with(PitchClass::new(11));
        assert_eq!(own("1 2 b3 4 5 6 b7"), (leading, false));
    }

    #[test]
    fn an_id_of_another_catalogue_takes_nobodys_name() {
        let own = "[[mode]]\nname = 'Own'\ndegrees = '1 b2 b3 b4 5 b6 7'\n";
        let larger = Catalogue::standard().extended(own).expect("a catalogue");
        let own = larger.find("own").expect("the mode");
        assert_eq!(larger.mode(own).name, "Own");
        assert_eq!(Catalogue::standard().mode(own).name, "unknown mode");
    }
}
