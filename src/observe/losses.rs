//! How many frames of an identifier a span has cost: the share tells the victim from the culprit.
//!
//! A disturber that keeps talking garbles the others more than itself; one that is itself garbled and
//! goes bus-off loses more than the others.

use super::gaps::Gap;
use super::period::Period;
use super::runs::ErrorRun;
use super::tracker::Tracker;
use crate::vocabulary::Instant;

/// Frames due and frames missing of one cyclic identifier between two instants.
pub(super) fn of(tracker: &Tracker, period: &Period, begin: Instant, end: Instant) -> (f64, f64) {
    let span = (end.0 - begin.0) as f64;
    if span <= 0.0 {
        return (0.0, 0.0);
    }
    let expected = span / period.mean;
    let gaps = &tracker.gaps.gaps;
    let first = gaps.partition_point(|g| g.to <= begin);
    let missing: f64 = gaps[first..]
        .iter()
        .take_while(|g| g.from < end)
        .map(|g| inside(g, begin, end) * (beats(g, period) - 1.0).max(0.0))
        .sum();
    (expected, missing)
}

/// Error frames of the runs between two instants that stood right before frames of these identifiers; `None` when no run
/// lies there.
pub(super) fn failed(
    members: &[(&Tracker, &Period)],
    runs: &[ErrorRun],
    begin: Instant,
    end: Instant,
) -> Option<u32> {
    let mut own = runs.iter().filter(|r| r.begin <= end && r.end >= begin).peekable();
    own.peek()?;
    let is_of = |place: u16| members.iter().any(|(t, _)| t.place == usize::from(place));
    let counts = own.flat_map(|r| &r.retried).filter(|(place, _)| is_of(*place));
    Some(counts.fold(0u32, |sum, (_, failed)| sum.saturating_add(*failed)))
}

/// Share of a gap that lies in the span.
fn inside(gap: &Gap, begin: Instant, end: Instant) -> f64 {
    let common = gap.to.min(end).0 - gap.from.max(begin).0;
    common as f64 / gap.nanos() as f64
}

pub(super) fn beats(gap: &Gap, period: &Period) -> f64 {
    (gap.nanos() as f64 / period.mean).round()
}
