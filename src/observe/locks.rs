//! Whose schedule a disturbance keeps: an excess of its moments when a frame of one node was due.
//!
//! While the log streams, each moment of error frames (those within 5 ms are one) is laid beside every
//! identifier's beat, carried forward from its last frame. When it ends, the moments at which a node was due
//! are counted. By chance a moment meets a node as often as its due times cover the time, and noise on
//! the wires hits a node's frames as often as the node sends; the larger of the two is held against it. The
//! upper tail of the binomial is multiplied by the number of nodes tested.

use super::losses;
use super::period::Period;
use super::tracker::Tracker;
use crate::numerics::binomial;
use crate::vocabulary::Instant;

/// Error frames nearer than this to the moment before belong to it (nanoseconds).
const ONE_MOMENT: i64 = 5_000_000;
/// Moments kept of one bus; further ones are not looked at.
const MOST: usize = 4096;
/// Words of 64 identifiers kept a moment, over all moments.
const MOST_WORDS: usize = 262_144;
/// Fewest moments that tell a schedule.
const FEWEST: u64 = 6;
/// How near to its due time an identifier's frame is disturbed (nanoseconds): a frame's length and a retry.
const NEAREST: i64 = 1_300_000;
/// Identifiers whose due times would cover more than this share of the time cannot tell.
const WIDEST: f64 = 0.35;

/// A moment of error frames and the identifiers that were due.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Moment {
    pub time: Instant,
    /// A bit for each identifier, in the order of first appearance.
    due: Vec<u64>,
}

impl Moment {
    fn was_due(&self, place: usize) -> bool {
        self.due.get(place / 64).is_some_and(|word| word >> (place % 64) & 1 == 1)
    }
}

/// The moments of one bus.
#[derive(Debug, Default)]
pub(super) struct Moments {
    pub kept: Vec<Moment>,
    last: Option<Instant>,
    words: usize,
}

impl Moments {
    /// An error frame stands at `time`.
    pub(super) fn error(&mut self, time: Instant, trackers: &[Tracker]) {
        let same = self.last.is_some_and(|last| time.0 - last.0 <= ONE_MOMENT);
        self.last = Some(time);
        let words = trackers.len().div_ceil(64);
        if same || self.kept.len() >= MOST || self.words + words > MOST_WORDS {
            return;
        }
        let mut due = vec![0u64; words];
        for (place, tracker) in trackers.iter().enumerate() {
            if let (Some(period), Some(word)) = (tracker.beat, due.get_mut(place / 64)) {
                let since = time.0 - tracker.last.0;
                let off = since % period;
                let near = off.min(period - off) <= NEAREST;
                *word |= u64::from(near && since > period / 2) << (place % 64);
            }
        }
        self.words += words;
        self.kept.push(Moment { time, due });
    }
}

/// What a test came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lock {
    pub moments: u64,
    pub hits: u64,
    pub expected: f64,
    pub p: f64,
}

/// One node's identifiers on a bus: place by first appearance, tracker, period.
pub(super) type Members<'a> = Vec<(usize, &'a Tracker, &'a Period)>;

/// Tests every node against the moments between two instants; in the order of `nodes`.
pub(super) fn test(
    moments: &Moments,
    nodes: &[Members<'_>],
    begin: Instant,
    end: Instant,
) -> Vec<Option<Lock>> {
    let own: Vec<&Moment> =
        moments.kept.iter().filter(|m| begin <= m.time && m.time <= end).collect();
    let all = own.len() as u64;
    let rate = |members: &Members<'_>| members.iter().map(|m| 1.0 / m.2.mean).sum::<f64>();
    let total: f64 = nodes.iter().map(rate).sum();
    let telling: Vec<Option<f64>> = nodes.iter().map(covered).collect();
    let tested = telling.iter().flatten().count().max(1) as f64;
    nodes
        .iter()
        .zip(telling)
        .map(|(members, covered)| {
            let covered = covered.filter(|_| all >= FEWEST && total > 0.0)?;
            let share = rate(members) / total;
            let chance = (share + (1.0 - share) * covered).min(1.0);
            let hit = |m: &&&Moment| members.iter().any(|(place, _, _)| m.was_due(*place));
            let hits = own.iter().filter(hit).count() as u64;
            let p = (binomial::ln_upper(hits, all, chance)?.exp() * tested).min(1.0);
            Some(Lock { moments: all, hits, expected: chance * all as f64, p })
        })
        .collect()
}

/// The share of the time near a due time of one of these identifiers; `None` when it is too wide to tell.
fn covered(members: &Members<'_>) -> Option<f64> {
    let free: f64 =
        members.iter().map(|(_, _, p)| (1.0 - 2.0 * NEAREST as f64 / p.mean).max(0.0)).product();
    (!members.is_empty() && 1.0 - free <= WIDEST).then_some(1.0 - free)
}

/// The same from missing frames, for loggers that record no error frames: the moments at which frames of other
/// nodes were lost, against the beat of each node as its own gap in the disturbance carries it.
pub(super) fn test_missing(
    nodes: &[Members<'_>],
    begin: Instant,
    end: Instant,
) -> Vec<Option<Lock>> {
    let lost: Vec<Vec<Instant>> = nodes.iter().map(|n| lost_moments(n, begin, end)).collect();
    let telling: Vec<Option<f64>> = nodes.iter().map(covered).collect();
    let tested = telling.iter().flatten().count().max(1) as f64;
    (0..nodes.len())
        .map(|n| {
            let chance = telling.get(n).copied().flatten()?;
            let mut others: Vec<Instant> = lost
                .iter()
                .enumerate()
                .filter(|(m, _)| *m != n)
                .flat_map(|(_, l)| l.clone())
                .collect();
            others.sort_unstable();
            others.dedup_by(|later, earlier| later.0 - earlier.0 <= ONE_MOMENT);
            let all = others.len() as u64;
            let hit = |time: &&Instant| nodes[n].iter().any(|(_, t, p)| due_by_gap(t, p, **time));
            let hits = others.iter().filter(hit).count() as u64;
            if all < FEWEST {
                return None;
            }
            let p = (binomial::ln_upper(hits, all, chance)?.exp() * tested).min(1.0);
            Some(Lock { moments: all, hits, expected: chance * all as f64, p })
        })
        .collect()
}

/// When single frames of these identifiers were lost; longer gaps are silence and tell no moment.
fn lost_moments(members: &Members<'_>, begin: Instant, end: Instant) -> Vec<Instant> {
    let mut found = Vec::new();
    for (_, tracker, period) in members {
        let gaps = &tracker.gaps.gaps;
        let first = gaps.partition_point(|g| g.to <= begin);
        for gap in gaps[first..].iter().take_while(|g| g.from < end) {
            if losses::beats(gap, period) <= 2.0 {
                found.push(Instant(gap.from.0.saturating_add(period.nanos)));
            }
        }
    }
    found
}

/// Whether a frame of an identifier was due at an instant, by the frame before its nearest gap.
fn due_by_gap(tracker: &Tracker, period: &Period, time: Instant) -> bool {
    /// A beat is not carried further than this (nanoseconds).
    const CARRIED: i64 = 2_000_000_000;
    let gaps = &tracker.gaps.gaps;
    let after = gaps.partition_point(|g| g.from <= time);
    let before = after.checked_sub(1).and_then(|n| gaps.get(n)).map(|g| g.from);
    let next = gaps.get(after).map(|g| g.from);
    let near = [before, next].into_iter().flatten().min_by_key(|from| (time.0 - from.0).abs());
    near.is_some_and(|from| {
        let since = (time.0 - from.0) as f64;
        let off = (since / period.mean - (since / period.mean).round()).abs() * period.mean;
        since.abs() <= CARRIED as f64 && off <= NEAREST as f64
    })
}
