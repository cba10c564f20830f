//! The catalogue of modes, and how their tonalities are spelled.

use super::degree::spell_degree;
use super::mode::{Mode, ModeId, SpelledTonality, Tonality, plain_name};
use super::modes_file::{CatalogueError, Lists, MAX_MODES, read};
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;
use std::sync::LazyLock;

/// The modes that music can be heard in, and the scales that are only looked up by name; each
/// in the order of the file. Both are tonalities on a center, with degrees, chords and
/// numerals.
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    known: Lists,
    /// The ids of the modes and of the scales in `known`.
    mode_ids: Vec<ModeId>,
    scale_ids: Vec<ModeId>,
    /// Places in the list of the scales whose names no mode has taken.
    scales: Vec<usize>,
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
        Ok(Catalogue::of(read(text, &Lists::default())?))
    }

    /// This catalogue and the modes and scales of another text after its own; an id of this
    /// one is good for both. A mode with the name of a scale of this one takes its place.
    pub fn extended(&self, text: &str) -> Result<Catalogue, CatalogueError> {
        Ok(Catalogue::of(read(text, &self.known)?))
    }

    fn of(known: Lists) -> Catalogue {
        let taken = |scale: &Mode| {
            let names = [plain_name(&scale.id), plain_name(&scale.name)];
            let mut modes = known.modes.iter();
            modes.any(|m| names.iter().any(|n| m.is_called(n)))
        };
        let scales = known.scales.iter().enumerate();
        let scales = scales.filter(|(_, scale)| !taken(scale)).map(|(at, _)| at);
        let ids = |from: usize, list: &[Mode]| -> Vec<ModeId> {
            let list = list.iter().enumerate();
            list.map(|(at, m)| ModeId::new(from + at, m)).collect()
        };
        Catalogue {
            scales: scales.collect(),
            mode_ids: ids(0, &known.modes),
            scale_ids: ids(MAX_MODES, &known.scales),
            known,
        }
    }

    /// Each mode that has exactly the degrees of one before it, with that one: no music tells
    /// the two apart.
    pub fn doubles(&self) -> impl Iterator<Item = (&Mode, &Mode)> {
        let same = |a: &Mode, b: &Mode| (&a.degrees, &a.movable) == (&b.degrees, &b.movable);
        let modes = &self.known.modes;
        modes.iter().enumerate().filter_map(move |(at, mode)| {
            let first = modes[..at].iter().find(|first| same(first, mode));
            Some((mode, first?))
        })
    }

    /// How many modes, scales not counted.
    pub fn len(&self) -> usize {
        self.known.modes.len()
    }

    /// Always false: a catalogue has at least one mode.
    pub fn is_empty(&self) -> bool {
        self.known.modes.is_empty()
    }

    /// The mode or scale of an id that this catalogue gave, or one that has the same mode at the
    /// same place; the id of any other mode stands for one called "unknown mode". To tell, see
    /// [`Self::get`].
    pub fn mode(&self, id: ModeId) -> &Mode {
        self.get(id).unwrap_or(&UNKNOWN)
    }

    /// The mode or scale of an id, `None` where this catalogue has no such mode.
    pub fn get(&self, id: ModeId) -> Option<&Mode> {
        let (ids, modes, at) = match id.index().checked_sub(MAX_MODES) {
            None => (&self.mode_ids, &self.known.modes, id.index()),
            Some(at) => (&self.scale_ids, &self.known.scales, at),
        };
        modes.get(at).filter(|_| ids.get(at) == Some(&id))
    }

    /// The id of the mode at a place, from 0, in the order of [`Self::iter`]; `None` past the
    /// last.
    pub fn id(&self, place: usize) -> Option<ModeId> {
        self.mode_ids.get(place).copied()
    }

    /// The ids of all modes by their place, for what keeps no catalogue; past the last mode
    /// nobody's.
    pub(crate) fn ids(&self) -> [ModeId; MAX_MODES] {
        std::array::from_fn(|place| self.id(place).unwrap_or(ModeId::NOBODYS))
    }

    /// Each mode that music is taken for with its id, in the order of the file.
    pub fn iter(&self) -> impl Iterator<Item = (ModeId, &Mode)> {
        self.mode_ids.iter().copied().zip(&self.known.modes)
    }

    /// Each scale with its id, in the order of the file, except those that a mode of the same
    /// name has replaced.
    pub fn scales(&self) -> impl Iterator<Item = (ModeId, &Mode)> {
        let scales = self.scales.iter();
        scales.filter_map(|&at| Some((*self.scale_ids.get(at)?, self.known.scales.get(at)?)))
    }

    /// The modes, then the scales.
    pub fn all(&self) -> impl Iterator<Item = (ModeId, &Mode)> {
        self.iter().chain(self.scales())
    }

    /// Whether it is a scale: looked up by name, and never what music is heard in.
    pub fn is_scale(&self, id: ModeId) -> bool {
        id.index() >= MAX_MODES
    }

    /// By id, name or another name, in any case. A name of its own goes before another name.
    pub fn find(&self, name: &str) -> Option<ModeId> {
        let plain = plain_name(name);
        let called = self.all().find(|(_, m)| m.is_called(&plain));
        let found = called.or_else(|| self.all().find(|(_, m)| m.is_also_called(&plain)));
        found.map(|(id, _)| id)
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

    /// Sharps (flats negative) of the scale written on `tonic`: the sum of its degrees'
    /// accidentals.
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
        let mode = self.mode(t.mode);
        let base = (t.center.index() as i32 * 7).rem_euclid(12);
        let cost = |s: &Spelling| -> (i32, i32, i32) {
            let accidentals: i32 = mode
                .degrees
                .iter()
                .map(|d| (mode.spell(*s, *d).accidental() as i32).abs())
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

    /// The tonality with its tonic as [`Self::spell`] has it.
    pub fn spelled(&self, t: Tonality, before: Option<Spelling>) -> SpelledTonality {
        SpelledTonality::new(t, self.spell(t, before))
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

    /// A scale that no music is taken for has an id behind those of all modes.
    #[test]
    fn scales_are_found_and_are_no_modes() {
        let c = Catalogue::standard();
        assert_eq!(c.scales().count(), 17);
        for (id, scale) in c.scales() {
            assert!(c.is_scale(id), "{}", scale.id);
            assert_eq!(c.mode(id), scale);
            assert_eq!(c.find(&scale.name), Some(id));
            assert_eq!(c.kin(id), id, "{}", scale.id);
        }
        assert!(c.iter().all(|(id, m)| !c.is_scale(id) && c.mode(id) == m));
    }

    #[test]
    fn every_name_is_of_one_mode() {
        let c = Catalogue::standard();
        let mut names = std::collections::BTreeMap::new();
        for (id, m) in c.all() {
            let own = std::collections::BTreeSet::from([plain_name(&m.id), plain_name(&m.name)]);
            let also = m.also.iter().map(|name| plain_name(name));
            for name in own.into_iter().chain(also) {
                assert_eq!(c.find(&name), Some(id), "{name}");
                assert_eq!(names.insert(name.clone(), id), None, "{name}");
            }
        }
    }

    /// What another name says of the degrees is so: Phrygian ♮6, super-Locrian 𝄫7.
    #[test]
    fn another_name_that_alters_a_mode_has_its_degrees() {
        let c = Catalogue::standard();
        let mut checked = 0;
        for (id, m) in c.all() {
            for name in m.also.iter().chain([&m.name]) {
                let words: Vec<&str> = name.split(' ').collect();
                let signs = |w: &&&str| w.starts_with(['♭', '♯', '♮', '𝄫']);
                let altered: Vec<&&str> = words.iter().filter(signs).collect();
                let of = name.split(['♭', '♯', '♮', '𝄫']).next().unwrap_or_default();
                if altered.is_empty() {
                    continue;
                }
                let of = c.find(of.trim()).expect(name);
                let mut degrees = c.mode(of).degrees.clone();
                for sign in altered {
                    let number = sign.trim_start_matches(['♭', '♯', '♮', '𝄫']);
                    let number: u8 = number.parse().expect(name);
                    let place = degrees.iter().position(|d| d.number == number);
                    let d = &mut degrees[place.expect(name)];
                    d.alter = match sign.chars().next() {
                        Some('♭') => d.alter.min(0) - i8::from(d.alter >= 0),
                        Some('𝄫') => -2,
                        // Raised by one, from what it is in that mode: Phrygian ♯6.
                        Some('♯') => d.alter + 1,
                        _ => 0,
                    };
                }
                assert_eq!(degrees, c.mode(id).degrees, "{name}");
                checked += 1;
            }
        }
        assert!(checked > 25, "{checked}");
    }

    #[test]
    fn a_mode_of_ones_own_takes_the_place_of_a_scale() {
        let c = Catalogue::standard();
        let own = "[[mode]]\nname = 'Double harmonic'\ndegrees = '1 b2 3 4 5 b6 7'\n\
                   [[scale]]\nname = 'Own'\nalso = 'mine, my own'\ndegrees = '1 b2 3 4 5 6 7'\n";
        let larger = c.extended(own).expect("a catalogue");
        assert_eq!((larger.len(), larger.scales().count()), (32, 17));
        let double = larger.find("double harmonic").expect("the mode");
        assert!(!larger.is_scale(double));
        assert_eq!(larger.find("double_harmonic"), Some(double));
        let own = larger.find("My own").expect("the scale");
        assert!(larger.is_scale(own));
        // An id of the smaller one is good for both.
        for (id, m) in c.all() {
            assert_eq!(larger.mode(id), m);
        }
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

    /// Of a larger catalogue, and of one with as many modes, where another mode stands at its
    /// place: one of the same degrees, of the same name, of both.
    #[test]
    fn an_id_of_another_catalogue_takes_nobodys_name() {
        let standard = Catalogue::standard();
        let with = |text: &str| standard.extended(text).expect("a catalogue");
        let own = with("[[mode]]\nname = 'Own'\ndegrees = '1 b2 b3 b4 5 b6 7'\n");
        let id = own.find("own").expect("the mode");
        assert_eq!(own.mode(id).name, "Own");
        assert_eq!(standard.mode(id).name, "unknown mode");
        for other in [
            "name = 'Other'\ndegrees = '1 b2 b3 b4 5 b6 7'",
            "name = 'Own'\ndegrees = '1 b2 b3 b4 5 b6 b7'",
            "name = 'Own'\ndegrees = '1 b2 b3 b4 5 b6 7'\nid = 'another'",
            "name = 'Own'\ndegrees = '1 b2 b3 b4 5 b6 7'\nmovable = '6'",
        ] {
            let other = with(&format!("[[mode]]\n{other}\n"));
            assert_eq!(other.len(), own.len());
            assert_eq!(other.get(id), None);
            assert_eq!(other.mode(id).name, "unknown mode");
        }
        // The same mode is the same mode.
        let again = with(
            "[[mode]]\nname = 'Own'\nweight = 2\ndegrees = '1 b2 b3 b4 5 b6 7'\n\
             [[scale]]\nname = 'More'\ndegrees = '1 b2 b3 b4 5 b6 b7'\n",
        );
        assert_eq!(again.find("own"), Some(id));
        let scale = again.find("more").expect("the scale");
        assert_eq!((own.get(scale), standard.get(scale)), (None, None));
        assert_eq!(standard.get(ModeId::NOBODYS), None);
    }

    #[test]
    fn no_two_modes_of_the_catalogue_have_one_fingerprint() {
        let c = Catalogue::standard();
        let mut seen = std::collections::BTreeSet::new();
        for (_, m) in c.all() {
            assert!(seen.insert(ModeId::new(0, m)), "{}", m.id);
        }
        assert_eq!(c.id(c.len()), None);
        assert!(
            c.iter()
                .enumerate()
                .all(|(at, (id, _))| c.id(at) == Some(id))
        );
        assert_eq!(size_of::<ModeId>(), 4);
    }
}
