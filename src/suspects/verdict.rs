//! The verdict rule: the leader must be probable enough and far enough ahead, or nothing is decided.

use super::findings::SuspectFinding;
use super::rates;
use crate::numerics::logs::decibans;
use crate::vocabulary::{Suspect, Verdict};

/// The verdict on ranked suspects, and why, in one sentence.
/// `apart` says what tells the two leaders apart; `open`: that `none` stands mostly for a cause that is not among the
/// suspects, not for a tester's or an old code's doing.
pub(super) fn verdict(
    suspects: &[SuspectFinding],
    incidents: usize,
    (apart, open): (&str, bool),
) -> (Verdict, String) {
    let Some(first) = suspects.first() else {
        return (Verdict::Quiet, "no incident was seen".to_owned());
    };
    let ahead = suspects
        .get(1)
        .map_or(f64::INFINITY, |next| decibans(first.probability.ln() - next.probability.ln()));
    if first.probability >= rates::DECIDED && ahead >= rates::SEPARATED_DB {
        let best = first.speaking_for().next().map(|e| e.what.clone()).unwrap_or_default();
        let speaks = match (&first.suspect, open) {
            (Suspect::None, true) => "none of the others explains what was seen, least of all this",
            (Suspect::None, false) => "what fits reports or logs that mislead best",
            _ => "what speaks most for it",
        };
        let because = format!(
            "{} leads with {} after {}; {speaks}: {best}",
            first.suspect.the_in_words(),
            percent(first.probability),
            counted(incidents)
        );
        return (Verdict::Suspect(first.suspect.clone()), because);
    }
    let because = match suspects.get(1) {
        Some(second) => format!(
            "the evidence of {} does not separate {} ({}) from {} ({}); {apart}; {:.0} % and {:.0} dB ahead \
             of the next are asked for",
            counted(incidents),
            first.suspect.the_in_words(),
            percent(first.probability),
            second.suspect.the_in_words(),
            percent(second.probability),
            rates::DECIDED * 100.0,
            rates::SEPARATED_DB
        ),
        None => "too little evidence".to_owned(),
    };
    (Verdict::Undecided, because)
}

/// A probability in percent; never as certain as 0 or 100.
fn percent(probability: f64) -> String {
    if probability > 0.995 {
        ">99 %".to_owned()
    } else if probability < 0.005 {
        "<1 %".to_owned()
    } else {
        format!("{:.0} %", probability * 100.0)
    }
}

fn counted(incidents: usize) -> String {
    if incidents == 1 { "1 incident".to_owned() } else { format!("{incidents} incidents") }
}
