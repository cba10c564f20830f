//! The corrected plan in the words of a file. They follow `peregrinus: sitting `:
//!
//! | words | mean |
//! |---|---|
//! | `corrected 12.500000 G mixolydian` | a region, which begins then: its tonality with what is open of it, or `none` |
//! | `corrected-by 12.500000 2026-11-29T12:00:00Z anna` | when that region was last changed, in UTC, and by whom |
//! | `corrected-word 12.500000 the bridge` | the listener's word for it |
//! | `correction 3 2 1 4 2026-11-29T12:00:00Z anna` | the third correction: since then one region stands from place 2 on (the first has 0), where these four stood: |
//! | `correction-was 3 12.500000 D dorian` | one of them; `correction-was-by` and `correction-was-word` say the rest of it |
//!
//! Each text says for itself what it is about: their order does not matter.

use super::tonality::{self, seconds};
use crate::correction::{Center, CorrectedPlan, CorrectedRegion, Signature, Step};
use crate::plan::Open;
use crate::theory::Catalogue;
use crate::time::Time;
use std::collections::{BTreeMap, HashSet};

const NONE: &str = "none";
/// Maximum number of corrections; more are a damaged file.
const MOST: usize = 100_000;

/// The words of a plan.
pub(super) fn written(plan: &CorrectedPlan, catalogue: &Catalogue) -> Vec<String> {
    let mut texts = Vec::new();
    for r in plan.regions() {
        region("corrected", "", r, catalogue, &mut texts);
    }
    for (i, step) in plan.steps().iter().enumerate() {
        let number = i + 1;
        let Step {
            first,
            count,
            before,
            by,
        } = step;
        let (before, by) = (before.len(), signed(by));
        texts.push(format!("correction {number} {first} {count} {before} {by}"));
        for r in &step.before {
            let number = format!("{number} ");
            region("correction-was", &number, r, catalogue, &mut texts);
        }
    }
    texts
}

fn region(
    word: &str,
    number: &str,
    r: &CorrectedRegion,
    catalogue: &Catalogue,
    texts: &mut Vec<String>,
) {
    let at = format!("{number}{:.6}", r.start.seconds());
    let center = match r.center {
        Center::None => NONE.to_owned(),
        Center::In(spelled) => tonality::written(spelled, r.open, catalogue),
    };
    texts.push(format!("{word} {at} {center}"));
    if let Some(by) = &r.by {
        texts.push(format!("{word}-by {at} {}", signed(by)));
    }
    if let Some(said) = &r.word {
        texts.push(format!("{word}-word {at} {said}"));
    }
}

fn signed(by: &Signature) -> String {
    format!("{} {}", by.when, by.who)
}

fn signature(text: &str) -> Signature {
    let (when, who) = text.split_once(' ').unwrap_or((text, ""));
    Signature {
        who: who.into(),
        when: when.into(),
    }
}

/// The words of a plan as they come, each with its place among the texts of the file.
#[derive(Default)]
pub(super) struct CorrectedWords(Vec<(usize, String)>);

/// What the words of a file say.
#[derive(Default)]
pub(super) struct Settled {
    pub plan: Option<CorrectedPlan>,
    /// All of them as they were read, if some say nothing known here.
    pub partly: Option<Vec<String>>,
    /// The places of those.
    pub unknown: Vec<usize>,
}

/// Of which list a region is: of the plan, or of those that stood there before a correction.
type List = Option<usize>;

/// What one text says.
enum Word {
    Region(List, Time, Option<(Center, Open)>),
    By(List, Time, Signature),
    Said(List, Time, String),
    /// Its number, and how many regions stood there before.
    Step(usize, usize, Step),
}

impl Word {
    fn read(said: &str, catalogue: &Catalogue) -> Option<Word> {
        let (word, rest) = said.split_once(' ')?;
        if word == "correction" {
            let mut parts = rest.splitn(5, ' ');
            let mut whole = || parts.next()?.parse::<usize>().ok().filter(|n| *n <= MOST);
            let (number, first, count, stood) = (whole()?, whole()?, whole()?, whole()?);
            let step = Step {
                first,
                count,
                before: Vec::new(),
                by: signature(parts.next()?),
            };
            return Some(Word::Step(number, stood, step));
        }
        let (list, what, rest) = match word.strip_prefix("correction-was") {
            Some(what) => {
                let (number, rest) = rest.split_once(' ')?;
                (Some(number.parse().ok()?), what, rest)
            }
            None => (None, word.strip_prefix("corrected")?, rest),
        };
        let (at, said) = rest.split_once(' ')?;
        let at = Time::from_seconds(seconds(at)?);
        Some(match what {
            "" if said == NONE => Word::Region(list, at, Some((Center::None, Open::default()))),
            "" => {
                let read = tonality::read(said, catalogue);
                Word::Region(list, at, read.map(|(t, open)| (Center::In(t), open)))
            }
            "-by" => Word::By(list, at, signature(said)),
            "-word" => Word::Said(list, at, said.into()),
            _ => return None,
        })
    }
}

impl CorrectedWords {
    /// Takes what follows `peregrinus: sitting `, if it is of a corrected plan.
    pub fn take(&mut self, place: usize, said: &str) -> bool {
        let ours = said.starts_with("corrected") || said.starts_with("correction");
        if ours {
            self.0.push((place, said.into()));
        }
        ours
    }

    /// What they say of a recording that lasts until `end`. Of a region whose tonality is not
    /// known here nothing is claimed; corrections that do not lead to the plan cannot be taken
    /// back.
    pub fn settle(self, end: Time, catalogue: &Catalogue) -> Settled {
        if self.0.is_empty() {
            return Settled::default();
        }
        let mut lists: BTreeMap<List, BTreeMap<Time, CorrectedRegion>> = BTreeMap::new();
        let mut steps: BTreeMap<usize, (usize, Step)> = BTreeMap::new();
        let mut unknown = Vec::new();
        let mut details = Vec::new();
        for (place, said) in &self.0 {
            let known = match Word::read(said, catalogue) {
                None => false,
                Some(Word::Step(number, stood, step)) => {
                    steps.insert(number, (stood, step)).is_none()
                }
                Some(Word::Region(list, start, read)) => {
                    let (center, open) = read.unwrap_or((Center::None, Open::default()));
                    let region = CorrectedRegion {
                        start,
                        center,
                        open,
                        word: None,
                        by: None,
                    };
                    let inside = start < end || start == Time::ZERO;
                    let list = lists.entry(list).or_default();
                    inside && list.insert(start, region).is_none() && read.is_some()
                }
                Some(detail) => {
                    details.push((*place, detail));
                    true
                }
            };
            if !known {
                unknown.push(*place);
            }
        }
        for (place, detail) in details {
            let (Word::By(list, at, _) | Word::Said(list, at, _)) = &detail else {
                continue;
            };
            let region = lists.get_mut(list).and_then(|regions| regions.get_mut(at));
            match (region, detail) {
                (Some(region), Word::By(.., by)) => region.by = Some(by),
                (Some(region), Word::Said(.., word)) => region.word = Some(word),
                _ => unknown.push(place),
            }
        }
        let mut list = |list| -> Vec<CorrectedRegion> {
            let regions: Option<BTreeMap<_, _>> = lists.remove(&list);
            regions.unwrap_or_default().into_values().collect()
        };
        let mut regions = list(None);
        let in_order = steps.keys().copied().eq(1..=steps.len());
        let mut all_there = in_order;
        let steps = steps.into_iter().map(|(number, (stood, step))| {
            let before = list(Some(number));
            all_there &= before.len() == stood;
            Step { before, ..step }
        });
        let steps: Vec<Step> = steps.collect();
        let steps_at = self
            .0
            .iter()
            .filter(|word| word.1.starts_with("correction"));
        let steps_at: HashSet<usize> = steps_at.map(|word| word.0).collect();
        let of_steps = |place: &usize| steps_at.contains(place);
        let all_known = all_there && lists.is_empty() && !unknown.iter().any(of_steps);
        let steps = Some(steps).filter(|_| all_known);
        let place = self.0.first().map_or(0, |word| word.0);
        let whole = |steps| CorrectedPlan::kept(regions.clone(), end, steps).ok();
        let plan = match steps.and_then(whole) {
            Some(plan) => Some(plan),
            None if regions.is_empty() => {
                unknown.push(place);
                None
            }
            None => {
                if unknown.is_empty() {
                    unknown.push(place);
                }
                if regions.first().is_some_and(|r| r.start > Time::ZERO) {
                    let beginning = CorrectedRegion {
                        start: Time::ZERO,
                        center: Center::None,
                        open: Open::default(),
                        word: None,
                        by: None,
                    };
                    regions.insert(0, beginning);
                }
                CorrectedPlan::kept(regions, end, Vec::new()).ok()
            }
        };
        unknown.sort_unstable();
        unknown.dedup();
        let partly = (!unknown.is_empty()).then(|| self.0.into_iter().map(|word| word.1).collect());
        Settled {
            plan,
            partly,
            unknown,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::{Correction, Neighbour};
    use crate::plan::{Region, TonalPlan};
    use proptest::prelude::*;

    fn standard() -> &'static Catalogue {
        Catalogue::standard()
    }

    fn at(seconds: u64) -> Time {
        Time::millis(1000 * seconds)
    }

    const END: Time = Time::millis(60_000);

    fn by(who: &str) -> Signature {
        Signature {
            who: who.into(),
            when: "2026-11-29T12:00:00Z".into(),
        }
    }

    /// Corrected in every way.
    fn plan() -> CorrectedPlan {
        let spelled = |text| standard().parse_tonality(text).expect("a tonality");
        let aeolian = standard().iter().find(|(_, mode)| mode.id == "aeolian");
        let region = Region {
            start: Time(600_001),
            end: at(40),
            since: Time::ZERO,
            spelled: spelled("D dorian"),
            open: Open::new(0b10_0000, aeolian.map(|(id, _)| id)),
            probability: 0.9,
        };
        let regions = vec![region];
        let home = Vec::new();
        let mut plan = CorrectedPlan::of(&TonalPlan { regions, home }, END);
        let center = Center::In(spelled("Bb lydian_dominant"));
        let word = Some("the bridge / 6 by night".into());
        let all = [
            Correction::Stretch {
                from: at(20),
                to: at(30),
                center,
                word,
            },
            Correction::Split { at: at(50) },
            Correction::Border {
                near: at(50),
                to: Time(2_345_678),
            },
            Correction::Label {
                at: at(55),
                center: None,
                word: Some("Ende".into()),
            },
            Correction::Join {
                at: at(25),
                with: Neighbour::Next,
            },
        ];
        for correction in &all {
            plan.correct(correction, &by("anna b")).expect("possible");
        }
        plan
    }

    fn settled(texts: &[String]) -> Settled {
        let mut words = CorrectedWords::default();
        for (place, said) in texts.iter().enumerate() {
            assert!(words.take(place, said), "{said}");
        }
        words.settle(END, standard())
    }

    #[test]
    fn what_is_written_is_read() {
        let plan = plan();
        let texts = written(&plan, standard());
        let settled = settled(&texts);
        assert_eq!(settled.plan.as_ref(), Some(&plan));
        assert_eq!((settled.unknown, settled.partly), (vec![], None));
        for says in [
            "corrected 12.000020 D dorian / 6 aeolian",
            "corrected-word 20.000000 the bridge / 6 by night",
            "corrected-by 20.000000 2026-11-29T12:00:00Z anna b",
            "correction 2 4 2 1 2026-11-29T12:00:00Z anna b",
            "correction-was 1 12.000020 D dorian / 6 aeolian",
        ] {
            assert!(texts.iter().any(|t| t == says), "{says}: {texts:#?}");
        }
        assert!(!CorrectedWords::default().take(0, "tag corrected"));
        // In any order.
        let backward: Vec<String> = texts.into_iter().rev().collect();
        assert_eq!(super::tests::settled(&backward).plan, Some(plan));
    }

    #[test]
    fn steps_that_are_not_all_there_cannot_be_taken_back() {
        let plan = plan();
        for gone in ["correction 1 ", "correction 5 ", "correction-was 2 "] {
            let mut texts = written(&plan, standard());
            texts.retain(|t| !t.starts_with(gone));
            let read = settled(&texts);
            let used = read.plan.expect("the plan");
            assert_eq!((used.regions(), used.steps()), (plan.regions(), &[][..]));
            assert!(!read.unknown.is_empty() && read.partly.is_some(), "{gone}");
        }
    }

    #[test]
    fn of_what_is_not_known_nothing_is_claimed_and_the_rest_is_used() {
        let plan = plan();
        let mut texts = written(&plan, standard());
        let place = texts.iter().position(|t| t.starts_with("corrected 20.0"));
        let place = place.expect("a region");
        texts[place] = "corrected 20.000000 Bb zzz".into();
        let read = settled(&texts);
        assert_eq!(read.unknown, [place]);
        assert_eq!(read.partly, Some(texts.clone()));
        let used = read.plan.expect("the rest");
        assert_eq!(used.regions().len(), plan.regions().len());
        for (a, b) in used.regions().iter().zip(plan.regions()) {
            match b.start == at(20) {
                true => assert_eq!((a.center, &a.word), (Center::None, &b.word)),
                false => assert_eq!(a, b),
            }
        }
        // The first is missing.
        texts.remove(0);
        let used = settled(&texts).plan.expect("the rest");
        assert_eq!(
            (used.regions()[0].start, used.regions()[0].center),
            (at(0), Center::None)
        );
        // Nothing at all.
        let read = settled(&["corrected-by 1.0 x y".into()]);
        assert_eq!((read.plan, read.unknown), (None, vec![0]));
    }

    proptest! {
        /// Whatever stands there is read without a panic, as a plan or with what is unknown.
        #[test]
        fn nothing_read_does_harm(
            harm in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<char>(), 0..4u8), 1..6),
        ) {
            let mut texts = written(&plan(), standard());
            for (line, place, c, way) in harm {
                let line = line.index(texts.len());
                let mut chars: Vec<char> = texts[line].chars().collect();
                let place = 10.max(place.index(chars.len()));
                match way {
                    _ if place >= chars.len() => {}
                    0 => chars[place] = c,
                    1 => drop(chars.drain(place..)),
                    2 => chars.insert(place, c),
                    _ => drop(chars.remove(place)),
                }
                texts[line] = chars.into_iter().collect();
                let other = texts.swap_remove(line);
                texts.push(other);
            }
            let read = settled(&texts);
            if let Some(mut used) = read.plan {
                prop_assert_eq!(used.end(), END);
                let again = settled(&written(&used, standard()));
                prop_assert_eq!(again.plan.as_ref(), Some(&used));
                while used.undo().is_ok() {}
            }
        }
    }
}
