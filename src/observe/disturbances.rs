//! Disturbances: spans in which a bus was garbled, flooded or thinned out.
//!
//! Five kinds of sign are collected (error frames, floods, unknown identifiers, thinned and starved
//! traffic). Signs that overlap are one disturbance: it bears the name of its strongest sign and
//! tells of the others in its detail.

use std::collections::BTreeSet;

use super::blind_spots::Blind;
use super::channel::Channel;
use super::period::{self, Period};
use super::rows::DisturbanceKind;
use super::senders::{Senders, is_tester_traffic};
use super::starts::Span;
use super::thinning::{self, Thin};
use super::tracker::{Burst, Tracker};
use crate::protocol::{error_frames, iso_tp, j1939};
use crate::vocabulary::{Identifier, Instant};

/// Identifiers first seen so long after the start are newcomers (nanoseconds).
const SETTLED: i64 = 5_000_000_000;
/// A newcomer floods from this many frames a second on.
const FLOOD_RATE: f64 = 100.0;
/// And with at least so many frames.
const FLOOD_FRAMES: u64 = 50;
/// No babbling node keeps a beat as slow as this (nanoseconds).
const SLOW_BEAT: i64 = 5_000_000;
/// Garbage: at least so many newcomers that hardly come again, near to each other.
const GARBAGE: usize = 20;
const GARBAGE_FRAMES: u64 = 4;
/// Odd lengths: in so many identifiers at least, at most so many frames of each, and one in so many.
const ODD_IDENTIFIERS: usize = 2;
const ODD_FRAMES: u64 = 8;
const ODD_SHARE: u64 = 200;
/// Signs nearer than this belong together (nanoseconds).
const JOINS: i64 = 500_000_000;
/// Fewest error frames that make a disturbance.
const FEWEST_ERRORS: u64 = 2;
/// Fewest surplus frames that make a surge a disturbance.
const FEWEST_SURPLUS: u64 = 60;

/// A disturbance before it has names.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sign {
    pub kind: DisturbanceKind,
    pub begin: Instant,
    pub end: Instant,
    pub count: u64,
    pub identifier: Option<Identifier>,
    pub detail: String,
    pub line: u64,
}

/// All disturbances of one start, by time.
pub(super) fn find(
    channel: &Channel,
    members: &[(usize, &Tracker, &Period)],
    span: &Span,
    blind: &[Blind],
    senders: &Senders,
    bus: &str,
) -> Vec<Sign> {
    let mut signs = errors(channel, span);
    signs.extend(floods(channel, span, senders, bus));
    signs.extend(garbage(channel, span, senders, bus));
    signs.extend(odd_lengths(channel, span));
    signs.extend(surges(channel, span));
    let claims = channel.diagnostics.claim_words();
    signs.extend(thinning::find(members, span, blind, claims).into_iter().map(thin));
    joined(signs)
}

fn errors(channel: &Channel, span: &Span) -> Vec<Sign> {
    let runs = channel.error_runs.iter().filter(|r| span.holds(r.begin));
    runs.filter(|r| r.frames >= FEWEST_ERRORS)
        .map(|run| {
            let wire = run.wire_fault.map(|w| format!("; {w}")).unwrap_or_default();
            Sign {
                kind: DisturbanceKind::ErrorFrames,
                begin: run.begin,
                end: run.end,
                count: run.frames,
                identifier: None,
                detail: format!(
                    "{} error frames ({}{wire})",
                    run.frames,
                    error_frames::classes(run.classes)
                ),
                line: run.line,
            }
        })
        .collect()
}

/// Known identifiers far above their rate, and newcomers that come at a high rate.
fn floods(channel: &Channel, span: &Span, senders: &Senders, bus: &str) -> Vec<Sign> {
    let mut found = Vec::new();
    for tracker in &channel.trackers {
        if is_tester_traffic(tracker.id) {
            continue;
        }
        if span.holds(tracker.first)
            && is_newcomer(tracker, span, senders, bus)
            && tracker.count >= FLOOD_FRAMES
            && !joined_for_good(tracker, span)
        {
            let seconds = tracker.last.seconds_since(tracker.first).max(0.001);
            if tracker.count as f64 / seconds >= FLOOD_RATE {
                let burst = Burst {
                    begin: tracker.first,
                    end: tracker.last,
                    frames: u32::try_from(tracker.count).unwrap_or(u32::MAX),
                    line: tracker.first_line,
                };
                found.push(flood(tracker, &burst, "an identifier not seen before"));
            }
            continue;
        }
        for burst in tracker.bursts.iter().filter(|b| span.holds(b.begin)) {
            let seconds = burst.end.seconds_since(burst.begin).max(0.001);
            if f64::from(burst.frames) / seconds >= FLOOD_RATE
                && u64::from(burst.frames) >= FLOOD_FRAMES
            {
                found.push(flood(tracker, burst, "more than three times its own rate"));
            }
        }
    }
    found
}

/// A newcomer that keeps a beat of 5 ms or slower to the end of the start is a node that joined late.
fn joined_for_good(tracker: &Tracker, span: &Span) -> bool {
    period::judge(tracker, |_| true).is_some_and(|p| {
        p.cyclic && p.nanos >= SLOW_BEAT && span.end.0 - tracker.last.0 < 10 * p.nanos
    })
}

fn is_newcomer(tracker: &Tracker, span: &Span, senders: &Senders, bus: &str) -> bool {
    if senders.describes(bus) {
        !senders.knows(bus, tracker.id)
    } else {
        tracker.first.0 - span.begin.0 >= SETTLED
    }
}

fn flood(tracker: &Tracker, burst: &Burst, why: &str) -> Sign {
    let seconds = burst.end.seconds_since(burst.begin).max(0.001);
    Sign {
        kind: DisturbanceKind::Flood,
        begin: burst.begin,
        end: burst.end,
        count: u64::from(burst.frames),
        identifier: Some(tracker.id),
        detail: format!(
            "identifier {} at {:.0} frames a second ({why})",
            tracker.id,
            f64::from(burst.frames) / seconds
        ),
        line: burst.line,
    }
}

/// Source addresses that were heard at the start or often: where identifiers tell their sender, these are
/// nodes, and what they send for the first time is an event of theirs. Empty where no addresses rule.
fn established(channel: &Channel, span: &Span, senders: &Senders) -> BTreeSet<u8> {
    let heard = |t: &&Tracker| t.count > GARBAGE_FRAMES || t.first.0 - span.begin.0 < SETTLED;
    let telling = channel.trackers.iter().filter(heard).filter(|_| senders.by_address());
    telling.filter_map(|t| j1939::header(t.id)).map(|h| h.source).collect()
}

/// Whether a newcomer is no stranger: an established node sends it, or it is the network's own management
/// (requests and their acknowledgement, claims of addresses, announcements of long messages). Random
/// identifiers fall among these by chance one time in 200 (five of 256 formats, in one of four data pages), and
/// on a node's address as often as there are nodes among 256 addresses, so that garbage is still seen.
fn own_accord(id: Identifier, established: &BTreeSet<u8>) -> bool {
    j1939::header(id).is_some_and(|h| {
        !established.is_empty()
            && (established.contains(&h.source) || j1939::is_management(h.group))
    })
}

/// Many identifiers that nobody sent before and that hardly come again.
fn garbage(channel: &Channel, span: &Span, senders: &Senders, bus: &str) -> Vec<Sign> {
    let established = established(channel, span, senders);
    let mut strangers: Vec<&Tracker> = channel
        .trackers
        .iter()
        .filter(|t| {
            span.holds(t.first)
                && t.count <= GARBAGE_FRAMES
                && t.first.0 - span.begin.0 >= SETTLED
                && !senders.knows(bus, t.id)
                && !is_tester_traffic(t.id)
                && !own_accord(t.id, &established)
        })
        .collect();
    strangers.sort_by_key(|t| (t.first, t.id));
    let mut found: Vec<Sign> = Vec::new();
    let mut run: Vec<&Tracker> = Vec::new();
    let mut close = |run: &mut Vec<&Tracker>| {
        if let (Some(first), Some(last)) = (run.first(), run.last())
            && run.len() >= GARBAGE
            && !is_scan(run)
        {
            found.push(Sign {
                kind: DisturbanceKind::UnknownIdentifiers,
                begin: first.first,
                end: run
                    .iter()
                    .map(|t| t.last)
                    .filter(|t| span.holds(*t))
                    .max()
                    .unwrap_or(last.first),
                count: run.iter().map(|t| t.count).sum(),
                identifier: None,
                detail: format!("{} identifiers that nobody sent before", run.len()),
                line: first.first_line,
            });
        }
        run.clear();
    };
    for stranger in strangers {
        if run.last().is_some_and(|t| stranger.first.0 - t.first.0 > 2 * JOINS) {
            close(&mut run);
        }
        run.push(stranger);
    }
    close(&mut run);
    let untracked = &channel.untracked;
    if untracked.frames > 0 && span.holds(untracked.begin) {
        found.push(Sign {
            kind: DisturbanceKind::UnknownIdentifiers,
            begin: untracked.begin,
            end: untracked.end,
            count: untracked.frames,
            identifier: None,
            detail: format!("{} frames of identifiers past the 4,096th", untracked.frames),
            line: untracked.line,
        });
    }
    found
}

/// Whether these are the questions of a tester that tries one identifier after the other: all carry the same first or
/// only frame of a message (ISO 15765-2), and nine of ten identifiers follow a lower one.
fn is_scan(run: &[&Tracker]) -> bool {
    let Some(data) = run.first().map(|t| t.data) else { return false };
    let asks = matches!(
        iso_tp::part(&data.to_be_bytes(), 8),
        Some(iso_tp::Part::Single { .. } | iso_tp::Part::First { .. })
    );
    let same = run.iter().all(|t| t.samples.iter().all(|s| s.data == data));
    let rising = run.windows(2).filter(|w| w[0].id < w[1].id).count();
    asks && same && rising * 10 >= (run.len() - 1) * 9
}

/// Identifiers that always have one length and now and then another: nobody sends that.
fn odd_lengths(channel: &Channel, span: &Span) -> Vec<Sign> {
    let odd: Vec<&Tracker> = channel
        .trackers
        .iter()
        .filter(|t| {
            t.odd.frames > 0
                && t.odd.frames <= ODD_FRAMES
                && t.count >= t.odd.frames.saturating_mul(ODD_SHARE)
                && span.holds(t.odd.begin)
                && span.holds(t.odd.end)
        })
        .collect();
    if odd.len() < ODD_IDENTIFIERS {
        return Vec::new();
    }
    let sign = |t: &&Tracker| Sign {
        kind: DisturbanceKind::UnknownIdentifiers,
        begin: t.odd.begin,
        end: t.odd.end,
        count: t.odd.frames,
        identifier: None,
        detail: format!("{} frames of {} with a length it never had before", t.odd.frames, t.id),
        line: t.odd.line,
    };
    odd.iter().map(sign).collect()
}

fn surges(channel: &Channel, span: &Span) -> Vec<Sign> {
    channel
        .surges
        .iter()
        .filter(|s| {
            span.holds(s.begin)
                && s.surplus >= FEWEST_SURPLUS
                && s.begin.0 - span.begin.0 >= SETTLED / 2
        })
        .map(|s| Sign {
            kind: DisturbanceKind::Flood,
            begin: s.begin,
            end: s.end.min(span.end),
            count: s.surplus,
            identifier: None,
            detail: format!("{} frames more than usual", s.surplus),
            line: s.line,
        })
        .collect()
}

fn thin(thin: Thin) -> Sign {
    Sign {
        kind: if thin.low_only { DisturbanceKind::Starved } else { DisturbanceKind::Thinned },
        begin: thin.begin,
        end: thin.end,
        count: thin.gaps,
        identifier: None,
        detail: format!(
            "{} of {} cyclic identifiers missing or late at one time{}",
            thin.missing,
            thin.of,
            if thin.low_only { ", only low priorities" } else { "" }
        ),
        line: thin.line,
    }
}

/// How exactly a sign tells begin and end: smaller is better. Surges and thinning are seen in steps.
fn coarseness(sign: &Sign) -> u8 {
    match (sign.kind, sign.identifier) {
        (DisturbanceKind::ErrorFrames, _) => 0,
        (DisturbanceKind::Flood, Some(_)) => 1,
        (DisturbanceKind::UnknownIdentifiers, _) => 2,
        (DisturbanceKind::Flood, None) => 3,
        (DisturbanceKind::Thinned | DisturbanceKind::Starved, _) => 4,
    }
}

/// Signs that overlap or nearly do become one disturbance.
fn joined(mut signs: Vec<Sign>) -> Vec<Sign> {
    signs.sort_by(|a, b| {
        (a.begin, a.end, coarseness(a), &a.detail).cmp(&(b.begin, b.end, coarseness(b), &b.detail))
    });
    let mut groups: Vec<(Instant, Vec<Sign>)> = Vec::new();
    for sign in signs {
        match groups.last_mut() {
            Some((end, group)) if sign.begin.0 - end.0 <= JOINS => {
                *end = (*end).max(sign.end);
                group.push(sign);
            }
            _ => groups.push((sign.end, vec![sign])),
        }
    }
    groups.into_iter().filter_map(|(_, group)| one(group)).collect()
}

fn one(mut group: Vec<Sign>) -> Option<Sign> {
    group.sort_by_key(|s| (coarseness(s), s.begin));
    let exact = group.iter().map(coarseness).min()?;
    // Where an exact sign stands, the coarse ones do not move its ends.
    let ends = group.iter().filter(|s| coarseness(s) == exact || coarseness(s) <= 2);
    let begin = ends.clone().map(|s| s.begin).min()?;
    let end = ends.clone().map(|s| s.end).max()?;
    let line = ends.map(|s| s.line).min()?;
    let identifier = group.iter().find_map(|s| s.identifier);
    let mut details: Vec<String> = Vec::new();
    for sign in &group {
        if details.len() < 4 && !details.contains(&sign.detail) {
            details.push(sign.detail.clone());
        }
    }
    let first = group.into_iter().next()?;
    Some(Sign { begin, end, line, identifier, detail: details.join("; "), ..first })
}
