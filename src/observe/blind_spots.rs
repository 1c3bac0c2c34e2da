//! Blind spots: the logger lost everything while the bus went on. Never evidence of silence.
//!
//! Said when no frame at all was logged, no error frame stands near, and the nodes come back on their
//! old beat; or when the logger itself says that it overflowed or restarted.

use super::channel::Channel;
use super::period::Period;
use super::phases;
use super::starts::{FEWEST_BEATS, ON_BEAT_SHARE, SLEEP, Span};
use crate::vocabulary::Instant;

/// Error frames this near (nanoseconds) speak against a blind spot.
const NEAR: i64 = 500_000_000;

/// A blind spot before it has names.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Blind {
    pub begin: Instant,
    pub end: Instant,
    pub line: u64,
    pub why: String,
}

/// Finds the blind spots of one bus, by time.
pub(super) fn find(channel: &Channel, periods: &[Option<Period>], spans: &[Span]) -> Vec<Blind> {
    let mut found = Vec::new();
    for gap in &channel.bus_gaps.gaps {
        if !spans.iter().any(|s| s.holds(gap.from) && s.holds(gap.to)) {
            continue;
        }
        let said = channel
            .logger_blind
            .iter()
            .any(|(t, _)| t.0 >= gap.from.0 - NEAR && t.0 <= gap.to.0 + NEAR);
        let why = if said {
            "the logger says that it lost frames or restarted here".to_owned()
        } else if errors_near(channel, gap.from, gap.to) {
            continue;
        } else {
            match on_beat(channel, periods, gap.from, gap.to) {
                Some((on, all)) if f64::from(on) >= ON_BEAT_SHARE * f64::from(all) => format!(
                    "no frame of any node, no error frame, and {on} of {all} identifiers came back \
                     on their old beat: the bus went on, the logger did not"
                ),
                None if gap.nanos() < SLEEP => {
                    "no frame of any node, and too few cyclic identifiers to tell why".to_owned()
                }
                _ => continue,
            }
        };
        found.push(Blind { begin: gap.from, end: gap.to, line: gap.line, why });
    }
    found
}

fn on_beat(
    channel: &Channel,
    periods: &[Option<Period>],
    begin: Instant,
    end: Instant,
) -> Option<(u32, u32)> {
    let (on, all) = phases::beats_after(channel, periods, begin, end);
    (all >= FEWEST_BEATS).then_some((on, all))
}

fn errors_near(channel: &Channel, begin: Instant, end: Instant) -> bool {
    channel.error_runs.iter().any(|r| r.end.0 >= begin.0 - NEAR && r.begin.0 <= end.0 + NEAR)
}

/// How much of a span is covered by blind spots, nanoseconds.
pub(super) fn overlap(blind: &[Blind], begin: Instant, end: Instant) -> i64 {
    blind.iter().map(|b| (b.end.min(end).0 - b.begin.max(begin).0).max(0)).sum()
}
