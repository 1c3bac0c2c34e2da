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

const SAID: &str = "the logger says that it lost frames or restarted here";

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
            .any(|(_, t, _)| t.0 >= gap.from.0 - NEAR && t.0 <= gap.to.0 + NEAR);
        let why = if said {
            SAID.to_owned()
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
    found.extend(said(channel, spans, &found));
    found.sort_by_key(|b| (b.begin, b.end));
    found
}

/// What the logger says of itself where the bus was not without frames for long; losses near to each
/// other are one spot.
fn said(channel: &Channel, spans: &[Span], known: &[Blind]) -> Vec<Blind> {
    let mut found: Vec<Blind> = Vec::new();
    for (from, to, line) in &channel.logger_blind {
        let inside = |b: &Blind| b.begin.0 - NEAR <= to.0 && from.0 <= b.end.0 + NEAR;
        if known.iter().any(inside) || !spans.iter().any(|s| s.holds(*from) && s.holds(*to)) {
            continue;
        }
        match found.last_mut() {
            Some(last) if from.0 - last.end.0 <= NEAR => last.end = *to,
            _ => found.push(Blind { begin: *from, end: *to, line: *line, why: SAID.to_owned() }),
        }
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

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::observe::{Observer, Senders};
    use crate::read::frames::{Frame, FrameKind};
    use crate::vocabulary::{Identifier, Instant};

    /// Two identifiers of 10 ms for 20 s; the logger says that it lost frames about 12 s.
    #[test]
    fn losses_that_the_logger_counts_are_blind_spots_and_no_frames() {
        for lost_ms in [4, 300] {
            let mut observer = Observer::default();
            let frame = |millis: i64, id: u32, kind, data| Frame {
                time: Instant(1_700_000_000_000_000_000 + millis * 1_000_000),
                data,
                line: u64::try_from(millis).expect("positive"),
                id: Identifier::base(id),
                channel: 0,
                length: 8,
                kind,
            };
            let mut pushed = 0;
            for millis in (0..20_000).filter(|m| !(12_001..12_001 + lost_ms).contains(m)) {
                let mut frames = Vec::new();
                if millis == 12_001 + lost_ms {
                    frames.push(frame(millis, 0, FrameKind::Lost, 30));
                }
                for (id, phase) in [(0x100, 1), (0x200, 5)] {
                    if millis % 10 == phase {
                        frames.push(frame(millis, id, FrameKind::Data, 0));
                        pushed += 1;
                    }
                }
                observer.push(&frames, &["can0".to_owned()]);
            }
            let file: Arc<str> = "log".into();
            let seen = observer.finish(&Senders::default(), None, &file, 0);
            assert_eq!(seen.frames, pushed);
            let [spot] = seen.facts.blind_spots.as_slice() else {
                panic!("{lost_ms} ms: {:?}", seen.facts.blind_spots)
            };
            assert!(spot.why.contains("the logger says"), "{}", spot.why);
            let length = spot.end.seconds_since(spot.begin) * 1e3;
            assert!((length - lost_ms as f64).abs() <= 10.0, "{lost_ms} ms found as {length}");
            assert!(seen.facts.silences.is_empty(), "{:?}", seen.facts.silences);
            assert!(seen.facts.finer.clock_steps.is_empty());
        }
    }
}
