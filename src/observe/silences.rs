//! Silences: all cyclic identifiers of a node that should have come did not.
//!
//! The fastest identifiers of a node propose a gap; every other identifier that the gap must have
//! cost a frame has to agree. Identifiers too slow to be missed in it say nothing, event-driven ones
//! never count. The node was alive at `last_heard` and had fallen silent by `due`.

use super::blind_spots::{self, Blind};
use super::diagnostics::ClaimWord;
use super::gaps::Gap;
use super::held_back;
use super::period::Period;
use super::phases;
use super::starts::Span;
use super::tracker::Tracker;
use crate::vocabulary::Instant;

/// A node's open silence at the end of a start counts from here on, when few nodes share it.
const OPEN_FEW: i64 = 3_000_000_000;
/// And from here on however many share it: nodes go to sleep one by one within this time.
const OPEN_MANY: i64 = 10_000_000_000;
/// Shortest silence kept (nanoseconds).
const SHORTEST: i64 = 50_000_000;

/// One node's identifiers on one bus.
pub(super) struct NodeView<'a> {
    pub name: &'a str,
    /// Its cyclic identifiers, fastest first.
    pub cyclic: Vec<(&'a Tracker, &'a Period)>,
}

/// A silence before it has names.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Silence {
    pub last_heard: Instant,
    pub due: Instant,
    pub end: Instant,
    pub returned: bool,
    pub restarted: Option<bool>,
    pub identifiers: u32,
    pub line: u64,
}

/// Silences of one node that ended inside a start; `claims` are the words about address claims.
pub(super) fn closed(
    node: &NodeView<'_>,
    span: &Span,
    blind: &[Blind],
    claims: &[ClaimWord],
) -> Vec<Silence> {
    let Some((lead, lead_period)) = node.cyclic.first() else { return Vec::new() };
    let mut found: Vec<Silence> = Vec::new();
    for gap in &lead.gaps.gaps {
        if gap.from < span.begin || gap.to > span.end || gap.nanos() <= lead_period.silent_after {
            continue;
        }
        let Some(silence) = agreed(node, gap) else { continue };
        let length = silence.end.0 - silence.last_heard.0;
        if length < SHORTEST.max(lead_period.silent_after)
            || blind_spots::overlap(blind, silence.last_heard, silence.end) * 10 >= length * 7
            || blind_spots::cost_it(blind, gap, lead_period)
            || held_back::explains(claims, lead.id, gap, lead_period)
        {
            continue;
        }
        match found.last_mut() {
            Some(last) if silence.last_heard <= last.end => last.end = last.end.max(silence.end),
            _ => found.push(silence),
        }
    }
    found
}

/// The silence that all identifiers of the node agree on, if they do.
fn agreed(node: &NodeView<'_>, lead: &Gap) -> Option<Silence> {
    let length = lead.nanos();
    let mut silence = Silence {
        last_heard: lead.from,
        due: Instant(i64::MAX),
        end: lead.to,
        returned: true,
        restarted: None,
        identifiers: 0,
        line: lead.line,
    };
    let mut members: Vec<(&Tracker, &Period, &Gap)> = Vec::new();
    for (tracker, period) in &node.cyclic {
        if length < period.nanos * 27 / 10 {
            continue; // too slow to have been missed for certain
        }
        // The gap of this identifier may begin and end a period away from the leader's.
        let middle = Instant(lead.from.0 + length / 2);
        let gap = phases::covering(tracker, middle, middle)?;
        let slack = period.nanos * 12 / 10 + 4 * period.jitter;
        if gap.from.0 > lead.from.0 + slack || gap.to.0 < lead.to.0 - slack {
            return None;
        }
        if gap.from > silence.last_heard {
            silence.last_heard = gap.from;
            silence.line = gap.line;
        }
        silence.due = silence.due.min(Instant(gap.from.0 + period.nanos + 4 * period.jitter));
        silence.end = silence.end.min(gap.to);
        members.push((tracker, period, gap));
    }
    if members.is_empty() || silence.end <= silence.last_heard {
        return None;
    }
    silence.identifiers = u32::try_from(members.len()).unwrap_or(u32::MAX);
    silence.due = silence.due.max(silence.last_heard).min(silence.end);
    silence.restarted = phases::restarted(members.into_iter());
    Some(silence)
}

/// Silences that last to the end of a start; `nodes` are all nodes heard in it.
pub(super) fn open(nodes: &[NodeView<'_>], span: &Span) -> Vec<(usize, Silence)> {
    let mut candidates = Vec::new();
    for (place, node) in nodes.iter().enumerate() {
        if let Some(silence) = open_of(node, span) {
            candidates.push((place, silence));
        }
    }
    let few = candidates.len() * 3 <= nodes.len();
    candidates.retain(|(_, s)| {
        let length = span.end.0 - s.last_heard.0;
        length >= OPEN_MANY || (few && !span.slept && length >= OPEN_FEW)
    });
    candidates
}

fn open_of(node: &NodeView<'_>, span: &Span) -> Option<Silence> {
    let mut last: Option<(Instant, u64)> = None;
    let mut due = Instant(i64::MAX);
    let mut identifiers = 0;
    for (tracker, period) in &node.cyclic {
        let (time, line) = last_in(tracker, span)?;
        if span.end.0 - time.0 < period.silent_after.max(period.nanos * 27 / 10) {
            if period.nanos * 27 / 10 > span.end.0 - span.begin.0 {
                continue;
            }
            return None;
        }
        due = due.min(Instant(time.0 + period.nanos + 4 * period.jitter));
        identifiers += 1;
        if last.is_none_or(|(t, _)| time > t) {
            last = Some((time, line));
        }
    }
    let (last_heard, line) = last?;
    Some(Silence {
        last_heard,
        due: due.max(last_heard).min(span.end),
        end: span.end,
        returned: false,
        restarted: None,
        identifiers,
        line,
    })
}

/// The last frame of an identifier inside a start.
pub(super) fn last_in(tracker: &Tracker, span: &Span) -> Option<(Instant, u64)> {
    if tracker.first > span.end {
        return None;
    }
    // A gap that leaves the start begins with the last frame in it.
    let leaving = tracker.gaps.gaps.iter().find(|g| g.from <= span.end && g.to > span.end);
    let (time, line) = leaving.map_or((tracker.last, tracker.line), |g| (g.from, g.line));
    (time >= span.begin && time <= span.end).then_some((time, line))
}

/// The first frame of an identifier inside a start.
pub(super) fn first_in(tracker: &Tracker, span: &Span) -> Option<Instant> {
    if tracker.first >= span.begin {
        return (tracker.first <= span.end).then_some(tracker.first);
    }
    let entering = tracker.gaps.gaps.iter().find(|g| g.from < span.begin && g.to >= span.begin)?;
    (entering.to <= span.end).then_some(entering.to)
}

/// Frames of an identifier inside a start.
pub(super) fn frames_in(tracker: &Tracker, span: &Span) -> u64 {
    let before = |limit: Instant, strictly: bool| {
        if tracker.last < limit || (!strictly && tracker.last == limit) {
            return tracker.count;
        }
        tracker
            .gaps
            .gaps
            .iter()
            .take_while(|g| g.from < limit || (!strictly && g.from == limit))
            .filter(|g| if strictly { g.to >= limit } else { g.to > limit })
            .map(|g| g.seen)
            .last()
            .unwrap_or(0)
    };
    before(span.end, false).saturating_sub(before(span.begin, true))
}
