//! Sentences that several outputs share.

use crate::conditions::Reproduction;
use crate::reports::wording::{condition, counted, percent};

/// What is asked, in one sentence: the chance, the starts, the minutes.
pub(super) fn effort(plan: &Reproduction) -> String {
    let (hits, starts) = plan.seen;
    let needed = plan.starts_needed.map_or_else(String::new, |starts| {
        format!("; {} give a 90 % chance to see it", counted(starts, "start"))
    });
    format!(
        "{} per start (95 % interval {} to {}; {hits} of {starts} such starts had an incident){needed}",
        percent(plan.chance),
        percent(plan.low),
        percent(plan.high)
    )
}

/// How long to watch.
pub(super) fn watching(plan: &Reproduction) -> String {
    match plan.minutes_each {
        Some(minutes) => format!(
            "{minutes:.0} min each: nine of ten incidents had begun by then ({} with a known time)",
            plan.timed
        ),
        None => "the whole of each start: no incident has a known time in its start".to_owned(),
    }
}

/// A condition set in words; `any start` for none.
pub(super) fn set(conditions: &[&str]) -> String {
    let words: Vec<String> = conditions.iter().map(|name| condition(name)).collect();
    if words.is_empty() { "any start".to_owned() } else { words.join(" and ") }
}
