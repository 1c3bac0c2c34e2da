//! What became of a vehicle since last week: new, worse, unchanged, better, fixed, or not to be said.
//!
//! Starts of the week are held against those of the four weeks before, since the last lasting repair
//! of an earlier week. Where the starts before the week tell under which conditions the fault shows
//! (cold, wet, after a long stop), only starts under them are compared: a dry week is no cure. The trend is twice the
//! probability that the risk per start is now the higher one, both under Jeffreys' prior: 1 when the
//! starts do not tell (there is none on one side, or no incident on both), towards 2 when it is surely worse, towards 0 when it is surely better.

use crate::conditions::{Condition, Trial, met_all, trials, trigger};
use crate::numerics::beta_binomial::{JEFFREYS, probability_greater};
use crate::numerics::table::TwoGroups;
use crate::repairs::{Counts, Outlook, Repair, State, last_lasting};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;

use super::review::Earlier;
use super::span::Span;

/// The starts of so many seconds before the week are what it is held against: four weeks.
const BEFORE_S: f64 = 28.0 * 86_400.0;
/// From this probability on that the risk has risen (or fallen) it is called worse (or better).
/// (Judgement: four to one.)
const TOLD: f64 = 0.8;

/// What became of a vehicle. The order of the variants is the order of lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// Its first incident was in this week.
    New,
    /// Incidents in a larger share of its starts.
    Worse,
    /// Nothing tells that the share has changed.
    Unchanged,
    /// Incidents in a smaller share of its starts.
    Better,
    /// A repair is now shown to have held, and was not a week ago.
    Fixed,
    /// Starts, but none under the conditions under which the fault shows.
    NotTested,
    /// No start in the week could have shown an incident.
    NotSeen,
}

impl Change {
    /// The word for it, the same on every output.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Change::New => "new",
            Change::Worse => "worse",
            Change::Unchanged => "unchanged",
            Change::Better => "better",
            Change::Fixed => "fixed",
            Change::NotTested => "not tested",
            Change::NotSeen => "not seen",
        }
    }
}

/// What became of a vehicle, and what says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Changed {
    /// The word.
    pub change: Change,
    /// 0 to 2; `None` when the starts cannot be compared.
    pub trend: Option<f64>,
    /// Starts of the week that were compared, and those with an incident.
    pub week: Counts,
    /// The same of the weeks before.
    pub before: Counts,
    /// The conditions under which starts were compared, as in the list of conditions; empty: any.
    pub under: Vec<&'static str>,
}

/// The last lasting repair.
pub(super) fn last_repair(outlook: &Outlook) -> Option<&Repair> {
    last_lasting(&outlook.repairs)
}

/// Whether the last lasting repair has held.
pub(super) fn held(outlook: Option<&Outlook>) -> bool {
    outlook.and_then(last_repair).is_some_and(|repair| repair.state == State::Held)
}

/// What became of a vehicle in `week`; `was` is what was concluded without the week's inputs.
pub(super) fn changed(
    now: (&VehicleFinding, Option<&Outlook>),
    was: Option<&Earlier>,
    week: Span,
) -> Changed {
    let (finding, outlook) = now;
    let all = trials(&finding.exposures, &finding.incidents);
    let conditions = learned_before(&all, week);
    // A repair in the week itself is part of what is to be seen; an earlier one begins a new count.
    let since =
        outlook.and_then(last_repair).map(|repair| repair.from).filter(|from| *from < week.begin);
    let from = week.begin.plus_seconds(-BEFORE_S);
    let from = since.map_or(from, |since| since.max(from));
    let count = |begin: Instant, end: Instant| -> (Counts, u64) {
        let inside = all.iter().filter(|t| t.exposure.start >= begin && t.exposure.start < end);
        let mut counts = (Counts::default(), 0);
        for trial in inside {
            counts.1 += 1;
            if met_all(&conditions, trial) == Some(true) {
                counts.0.starts += 1;
                counts.0.hits += u64::from(trial.hit);
            }
        }
        counts
    };
    let (in_week, any_in_week) = count(week.begin, week.end);
    let (before, _) = count(from, week.begin);
    let groups = TwoGroups::new(in_week.hits, in_week.starts, before.hits, before.starts);
    // Without an incident on either side only the numbers of starts would speak.
    let worse = groups
        .filter(|_| in_week.starts > 0 && before.starts > 0 && in_week.hits + before.hits > 0)
        .and_then(|groups| probability_greater(groups, JEFFREYS));
    let had = was.is_some_and(|was| was.incidents);
    let change = if any_in_week == 0 {
        Change::NotSeen
    } else if !had && !finding.incidents.is_empty() {
        Change::New
    } else if held(outlook) && !was.is_some_and(|was| was.held) {
        Change::Fixed
    } else if in_week.starts == 0 {
        Change::NotTested
    } else {
        match worse {
            Some(p) if p >= TOLD => Change::Worse,
            Some(p) if p <= 1.0 - TOLD => Change::Better,
            _ => Change::Unchanged,
        }
    };
    Changed {
        change,
        trend: worse.map(|p| 2.0 * p),
        week: in_week,
        before,
        under: conditions.iter().map(|condition| condition.name).collect(),
    }
}

/// The conditions under which the fault shows, as the starts before the week tell; none when the week
/// had an incident that did not keep to them: then every start counts.
fn learned_before(all: &[Trial<'_>], week: Span) -> Vec<&'static Condition> {
    let early = all.partition_point(|trial| trial.exposure.start < week.begin);
    let conditions = trigger(all.get(..early).unwrap_or_default());
    let strays = all.iter().filter(|trial| trial.hit && week.holds(trial.exposure.start));
    let mut strays = strays.filter(|trial| met_all(&conditions, trial) != Some(true));
    if strays.next().is_some() { Vec::new() } else { conditions }
}
