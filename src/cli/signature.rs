//! Who corrects something, and when.

use crate::correction::Signature;
use jiff::Timestamp;

/// Longest name that is kept.
const LONGEST: usize = 100;

/// Whoever is logged in, now.
pub fn now() -> Signature {
    let name = |variable| std::env::var(variable).ok();
    let who = ["USER", "LOGNAME", "USERNAME"].into_iter().find_map(name);
    let who = who.unwrap_or_default();
    let who = who.chars().filter(|c| !c.is_control()).take(LONGEST);
    Signature {
        who: who.collect::<String>().trim().to_owned(),
        when: Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
    }
}
