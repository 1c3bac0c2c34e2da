//! Many nodes' frames missing at the same time, though not all of them: a garbled or crowded bus.
//!
//! Time is cut into steps of 100 ms. A step is thin when, at its middle, at least 40 % of the cyclic
//! identifiers fast enough to tell, from at least three nodes, lie inside a gap of their own. Pauses that the
//! managing of addresses makes are none.

use super::blind_spots::{self, Blind};
use super::diagnostics::ClaimWord;
use super::held_back;
use super::period::Period;
use super::starts::Span;
use super::tracker::Tracker;
use crate::vocabulary::Instant;

/// Length of a step, nanoseconds.
const STEP: i64 = 100_000_000;
/// Identifiers slower than this cannot tell (nanoseconds).
const SLOWEST: i64 = 250_000_000;
/// Share of identifiers that must be missing.
const SHARE: f64 = 0.4;
/// Nodes that must be touched.
const FEWEST_NODES: usize = 3;
/// Thin steps nearer than this are one span.
const JOINS: i64 = 1_000_000_000;

/// A thin span.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Thin {
    pub begin: Instant,
    pub end: Instant,
    /// Gaps of identifiers in it.
    pub gaps: u64,
    /// Most identifiers missing at one time, and how many could have been.
    pub missing: usize,
    pub of: usize,
    /// Only the low priorities were missing.
    pub low_only: bool,
    pub line: u64,
}

struct Missing {
    tracker: usize,
    node: usize,
    from: Instant,
    to: Instant,
    line: u64,
}

/// Finds thin spans of one start. `members` gives the node's number of each identifier, `claims` are the
/// words about address claims.
pub(super) fn find(
    members: &[(usize, &Tracker, &Period)],
    span: &Span,
    blind: &[Blind],
    claims: &[ClaimWord],
) -> Vec<Thin> {
    let telling: Vec<&(usize, &Tracker, &Period)> =
        members.iter().filter(|(_, _, p)| p.cyclic && p.nanos <= SLOWEST).collect();
    if telling.len() < 3 {
        return Vec::new();
    }
    let mut steps: std::collections::BTreeMap<i64, Vec<Missing>> =
        std::collections::BTreeMap::new();
    for (place, (node, tracker, period)) in telling.iter().enumerate() {
        for gap in &tracker.gaps.gaps {
            if gap.from < span.begin
                || gap.to > span.end
                || held_back::explains(claims, tracker.id, gap, period)
            {
                continue;
            }
            let from = Instant(gap.from.0 + period.nanos);
            let first = from.0.div_euclid(STEP);
            // A gap longer than five minutes is told by its two ends; the middle adds nothing.
            let last = gap.to.0.div_euclid(STEP).min(first + 3000);
            for step in first..=last {
                let missing =
                    || Missing { tracker: place, node: *node, from, to: gap.to, line: gap.line };
                steps.entry(step).or_default().push(missing());
            }
        }
    }
    let mut found: Vec<Thin> = Vec::new();
    for missing in steps.values_mut() {
        missing.sort_by_key(|m| m.tracker);
        missing.dedup_by_key(|m| m.tracker);
        if let Some(thin) = judge(missing, &telling) {
            join(&mut found, thin);
        }
    }
    found
        .retain(|t| blind_spots::overlap(blind, t.begin, t.end) * 2 < (t.end.0 - t.begin.0).max(1));
    found
}

fn judge(missing: &[Missing], telling: &[&(usize, &Tracker, &Period)]) -> Option<Thin> {
    if (missing.len() as f64) < SHARE * telling.len() as f64 {
        return None;
    }
    let mut nodes: Vec<usize> = missing.iter().map(|m| m.node).collect();
    nodes.sort_unstable();
    nodes.dedup();
    if nodes.len() < FEWEST_NODES {
        return None;
    }
    let highest = missing.iter().map(|m| priority(telling[m.tracker].1)).min()?;
    let present_low = telling
        .iter()
        .enumerate()
        .filter(|(place, _)| !missing.iter().any(|m| m.tracker == *place))
        .any(|(_, (_, tracker, _))| priority(tracker) > highest);
    Some(Thin {
        begin: missing.iter().map(|m| m.from).min()?,
        end: missing.iter().map(|m| m.to).max()?,
        gaps: missing.len() as u64,
        missing: missing.len(),
        of: telling.len(),
        low_only: !present_low && missing.len() < telling.len(),
        line: missing.iter().map(|m| m.line).min()?,
    })
}

fn priority(tracker: &Tracker) -> u32 {
    tracker.id.arbitration()
}

fn join(found: &mut Vec<Thin>, thin: Thin) {
    match found.last_mut() {
        Some(last) if thin.begin.0 - last.end.0 <= JOINS => {
            last.end = last.end.max(thin.end);
            last.gaps += thin.gaps;
            if thin.missing > last.missing {
                last.missing = thin.missing;
            }
            last.low_only &= thin.low_only;
        }
        _ => found.push(thin),
    }
}
