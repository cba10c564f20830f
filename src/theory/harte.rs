//! Labels in the syntax of Harte et al. (ISMIR 2005). They follow none of the user's
//! conventions.

use super::chord::{Chord, Sonority};
use super::degree::Degree;
use super::kind::Member;
use super::kinds::Kinds;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::{Glyphs, Spelling, accidentals};

impl Chord {
    /// Harte's syntax: `Eb:min7/b3`.
    pub fn harte(self, root: Spelling) -> String {
        let kind = Kinds::standard().kind(self.kind);
        let mut text = root.text(Glyphs::Ascii);
        text.push(':');
        match &kind.harte {
            Some(h) => text.push_str(h),
            None => {
                let all: Vec<String> = kind.members.iter().map(|m| member(m.number, *m)).collect();
                text.push_str(&format!("({})", all.join(",")));
            }
        }
        if self.bass != self.root {
            text.push('/');
            text.push_str(&match self.bass_member() {
                // A ninth in the bass is a second there.
                Some(m) if m.number > 7 => member(m.number - 7, m),
                Some(m) => member(m.number, m),
                None => step(self.bass.above(self.root)),
            });
        }
        text
    }
}

fn member(number: u8, m: Member) -> String {
    format!("{}{number}", accidentals(m.alter, Glyphs::Ascii))
}

/// Semitones above a root as a degree, for notes that no kind spells.
fn step(semitones: usize) -> String {
    Degree::chromatic(semitones).text(Glyphs::Ascii)
}

impl Sonority {
    /// Harte's syntax for anything that sounds.
    pub fn harte(self, spell: impl Fn(PitchClass) -> Spelling) -> String {
        let degrees = |root: PitchClass, set: PitchClassSet| {
            let above = set.seen_from(root);
            let list: Vec<String> = above.iter().map(|pc| step(pc.index())).collect();
            format!("{}:({})", spell(root).text(Glyphs::Ascii), list.join(","))
        };
        match self {
            Sonority::Note(pc) => format!("{}:1", spell(pc).text(Glyphs::Ascii)),
            Sonority::Interval { low, .. } => degrees(low, self.set()),
            Sonority::Notes { set, bass } => degrees(bass, set),
            Sonority::Chord(c) => c.harte(spell(c.root)),
        }
    }
}
