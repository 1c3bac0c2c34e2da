//! What was observed of a vehicle in the week, and what is missing: no data is not a quiet week.
//!
//! `usual` is the mean number of starts in the weeks before, of those since its first start.
//! Starts are said to be missing when the exact test that the weeks before had the higher rate gives
//! less than one in twenty; starts that come in bunches pass that test too easily, so it is a hint.

use chrono_tz::Tz;

use super::span::Span;
use crate::conditions::Exposure;
use crate::numerics::rate::higher_rate_p;
use crate::vocabulary::Instant;

/// Weeks shown, the one in view included.
pub(super) const WEEKS: usize = 8;
/// Below this p-value starts are missing. (Common practice.)
const RARE: f64 = 0.05;
/// So many earlier weeks it takes to say what is usual.
const LEAST_WEEKS: usize = 2;

/// What one bus log gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogNote {
    /// Its first start, else the time that its path names; `None` when neither is known.
    pub begin: Option<Instant>,
    /// Whether any start was found in it.
    pub used: bool,
    /// Lines and records that were rejected.
    pub rejected: u64,
}

/// What was observed of one vehicle in the week.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Seen {
    /// Starts.
    pub starts: u64,
    /// Those that a bus log covers.
    pub logged: u64,
    /// Those that could have shown an incident.
    pub judged: u64,
    /// Those with an incident.
    pub hits: u64,
    /// Mean starts a week in the weeks before; `None` with fewer than two such weeks.
    pub usual: Option<f64>,
    /// Starts that should have come and did not, about; `None` when that cannot be said.
    pub missing: Option<u64>,
    /// Bus logs of the week, or without a date, of which nothing could be used.
    pub logs_rejected: u64,
    /// Rejected lines and records in the logs of the week, or without a date.
    pub records_rejected: u64,
}

/// One vehicle in one of the weeks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WeekCell {
    /// Starts.
    pub starts: u64,
    /// Those that could have shown an incident.
    pub judged: u64,
    /// Those with an incident.
    pub hits: u64,
}

/// The weeks shown, oldest first, the one in view last; none lies before the first start of all.
pub(super) fn weeks(week: Span, first: Option<Instant>, zone: Tz) -> Vec<Span> {
    let mut weeks = vec![week];
    while weeks.len() < WEEKS
        && let Some(before) = weeks.last().and_then(|span| span.before(zone))
        && first.is_some_and(|first| first < before.end)
    {
        weeks.push(before);
    }
    weeks.reverse();
    weeks
}

/// One vehicle week by week.
pub(super) fn cells(exposures: &[Exposure], weeks: &[Span]) -> Vec<WeekCell> {
    let cell = |week: &Span| {
        let inside = exposures.iter().filter(|e| week.holds(e.start));
        inside.fold(WeekCell::default(), |cell, e| WeekCell {
            starts: cell.starts + 1,
            judged: cell.judged + u64::from(e.judged),
            hits: cell.hits + u64::from(e.judged && e.incidents > 0),
        })
    };
    weeks.iter().map(cell).collect()
}

/// What was observed of one vehicle; `cells` are its weeks, the one in view last.
pub(super) fn seen(
    exposures: &[Exposure],
    cells: &[WeekCell],
    week: Span,
    logs: &[LogNote],
) -> Seen {
    let now = cells.last().copied().unwrap_or_default();
    let logged = exposures.iter().filter(|e| e.logged && week.holds(e.start)).count();
    let earlier = cells.get(..cells.len().saturating_sub(1)).unwrap_or_default();
    // The week of the first start is rarely a whole one.
    let known: Vec<u64> =
        earlier.iter().map(|cell| cell.starts).skip_while(|starts| *starts == 0).skip(1).collect();
    let sum: u64 = known.iter().sum();
    let usual = (known.len() >= LEAST_WEEKS).then(|| sum as f64 / known.len() as f64);
    let of_week = |log: &&LogNote| log.begin.is_none_or(|begin| week.holds(begin));
    let logs: Vec<&LogNote> = logs.iter().filter(of_week).collect();
    Seen {
        starts: now.starts,
        logged: logged as u64,
        judged: now.judged,
        hits: now.hits,
        usual,
        missing: usual.and_then(|usual| missing(now.starts, sum, known.len() as f64, usual)),
        logs_rejected: logs.iter().filter(|log| !log.used).count() as u64,
        records_rejected: logs.iter().map(|log| log.rejected).sum(),
    }
}

/// How many starts are missing, 0 when so few may come by chance.
fn missing(starts: u64, earlier: u64, weeks: f64, usual: f64) -> Option<u64> {
    let rare = higher_rate_p(earlier, weeks, starts, 1.0)? < RARE;
    let gap = (usual - starts as f64).round();
    // A mean of counts that fit in memory, less a count: never near the ends of u64.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked above 0")]
    let missing = if rare && gap > 0.0 { gap as u64 } else { 0 };
    Some(missing)
}
