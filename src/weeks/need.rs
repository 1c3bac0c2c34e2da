//! What a vehicle needs this week: a bay, patience, the desk, its data, or nothing.

use super::change::{held, last_repair};
use super::span::Span;
use crate::repairs::{Outlook, State};
use crate::suspects::VehicleFinding;
use crate::vocabulary::{Suspect, Verdict};

/// A fault that has not shown for so long is watched, not booked, seconds (judgement: four weeks).
const QUIET_S: f64 = 28.0 * 86_400.0;
/// From this probability of "no bus fault" on the desk comes before the bay (judgement).
const NO_FAULT: f64 = 0.5;

/// What a vehicle needs. The order of the variants is the order of lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Need {
    /// A bay: a test or an inspection.
    Bay,
    /// Another scan, or codes to be cleared; nothing is to be taken apart.
    Desk,
    /// Nothing but more starts: a repair that is not shown yet, or a fault that stays away.
    Watch,
    /// Somebody has to see to its logger: nothing could be judged.
    Data,
    /// Nothing.
    Nothing,
}

impl Need {
    /// The word for it, the same on every output.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Need::Bay => "bay",
            Need::Desk => "desk",
            Need::Watch => "watch",
            Need::Data => "data",
            Need::Nothing => "nothing",
        }
    }
}

/// What a vehicle needs, and why in half a sentence.
pub(super) fn need(
    finding: &VehicleFinding,
    outlook: Option<&Outlook>,
    week: Span,
) -> (Need, String) {
    if finding.incidents.is_empty() || finding.verdict == Verdict::Quiet {
        return if finding.exposures.iter().any(|e| e.judged) {
            (Need::Nothing, "no incident was seen".to_owned())
        } else {
            (Need::Data, "no start could have shown an incident".to_owned())
        };
    }
    if held(outlook) {
        return (Need::Nothing, "the repair has held".to_owned());
    }
    let no_fault = finding.suspects.iter().find(|s| s.suspect == Suspect::None);
    if no_fault.is_some_and(|s| s.probability >= NO_FAULT) {
        let why = "most likely no bus fault, or the tester's doing";
        return (Need::Desk, why.to_owned());
    }
    let last = finding.exposures.iter().filter(|e| e.judged && e.incidents > 0).map(|e| e.start);
    // An incident whose start is no exposure (a report of an unknown start) is dated by its signs.
    let last = last.chain(finding.incidents.iter().map(|i| i.begin)).max();
    if let Some(repair) = outlook.and_then(last_repair)
        && last.is_none_or(|last| last < repair.from)
        && matches!(repair.state, State::NotYetShown | State::NeverTested)
    {
        let more = match repair.still_needed {
            Some(more) => format!("repaired; {more} more clean starts of the kind that failed"),
            None => "repaired; no start since was of the kind that failed".to_owned(),
        };
        return (Need::Watch, more);
    }
    if last.is_some_and(|last| week.end.seconds_since(last) > QUIET_S) {
        return (Need::Watch, "no incident in the last four weeks".to_owned());
    }
    (Need::Bay, String::new())
}
