//! Blind spots: the logger lost everything while the bus went on. Never evidence of silence.
//!
//! Said when no frame at all was logged, on no other bus of the log either, no error frame stands near,
//! and the nodes come back on their old beat; or when the logger itself says that it overflowed or
//! restarted. A logger that went on writing down another bus was there: then the bus itself was mute.

use super::channel::Channel;
use super::gaps::Gap;
use super::period::Period;
use super::phases;
use super::starts::{FEWEST_BEATS, ON_BEAT_SHARE, SLEEP, Span};
use crate::vocabulary::Instant;

/// Error frames this near (nanoseconds) speak against a blind spot.
const NEAR: i64 = 500_000_000;

/// Why, where the logger says so.
pub(crate) const SAID: &str = "the logger says that it lost frames or restarted here";

/// A blind spot before it has names.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Blind {
    pub begin: Instant,
    pub end: Instant,
    pub line: u64,
    pub why: String,
}

/// Finds the blind spots of one bus, by time; `all` are all buses of the log.
pub(super) fn find(
    channel: &Channel,
    periods: &[Option<Period>],
    spans: &[Span],
    all: &[Channel],
) -> Vec<Blind> {
    let mut found = Vec::new();
    let others = all.iter().filter(|other| !std::ptr::eq(*other, channel));
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
        } else if errors_near(channel, gap.from, gap.to)
            || others.clone().any(|other| went_on(other, gap.from, gap.to))
        {
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

/// Whether a bus was heard all through a span: it covers the span, and none of its own gaps takes half of it.
/// Gaps that short are not kept of every bus: then nothing is said.
fn went_on(other: &Channel, begin: Instant, end: Instant) -> bool {
    let half = (end.0 - begin.0) / 2;
    let taken = |from: Instant, to: Instant| to.min(end).0 - from.max(begin).0;
    other.begin <= begin
        && other.now >= end
        && half >= other.bus_gaps.limit
        && other.bus_gaps.gaps.iter().all(|gap| taken(gap.from, gap.to) < half)
}

/// Whether each frame that a gap cost was due in a blind spot, as far as jitter lets it be told.
pub(super) fn cost_it(blind: &[Blind], gap: &Gap, period: &Period) -> bool {
    if overlap(blind, gap.from, gap.to) == 0 {
        return false;
    }
    let slack = period.nanos / 4 + 4 * period.jitter;
    let mut due = gap.from.0.saturating_add(period.nanos);
    while period.nanos > 0 && due < gap.to.0 - slack {
        match blind.iter().find(|b| due >= b.begin.0 - slack && due <= b.end.0 + slack) {
            // All that is due before the end of the spot was lost with it.
            Some(spot) => {
                let inside =
                    ((spot.end.0 - due).max(0) / period.nanos + 1).saturating_mul(period.nanos);
                due = due.saturating_add(inside);
            }
            None => return false,
        }
    }
    true
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

    /// Identifiers with their channel, period and phase (ms) for 30 s; the channels that are mute from `from` to `to`.
    fn watched(
        senders: &[(u32, u8, i64, i64)],
        mute: &[u8],
        (from, to): (i64, i64),
    ) -> crate::observe::LogFacts {
        let mut observer = Observer::default();
        let mut line = 0;
        for millis in 0..30_000_i64 {
            let mut frames = Vec::new();
            for (id, channel, period, phase) in senders {
                let lost = mute.contains(channel) && (from..to).contains(&millis);
                if millis % period == *phase && !lost {
                    line += 1;
                    frames.push(Frame {
                        time: Instant(1_700_000_000_000_000_000 + millis * 1_000_000),
                        data: 0,
                        line,
                        id: Identifier::base(*id),
                        channel: u16::from(*channel),
                        length: 8,
                        kind: FrameKind::Data,
                    });
                }
            }
            observer.push(&frames, &["can0".to_owned(), "can1".to_owned()]);
        }
        observer.finish(&Senders::default(), None, &"log".into(), 0).facts
    }

    #[test]
    fn a_bus_is_mute_when_the_logger_went_on_with_another() {
        let senders: Vec<(u32, u8, i64, i64)> = (0..8)
            .map(|n: i64| {
                (0x100 + u32::try_from(n).expect("small"), u8::from(n >= 4), 20, 2 * n + 1)
            })
            .collect();
        let both = watched(&senders, &[0, 1], (12_000, 14_000));
        assert_eq!((both.blind_spots.len(), both.silences.len()), (2, 0), "{:?}", both.silences);
        let one = watched(&senders, &[0], (12_000, 14_000));
        assert_eq!((one.blind_spots.len(), one.silences.len()), (0, 4), "{:?}", one.blind_spots);
    }

    /// Every 500 ms at .180: of the frames due in a hole from 6.61 s to 8.70 s each was lost with it, though
    /// the hole is less than seven tenths of the gap.
    #[test]
    fn a_slow_sender_is_not_silent_where_the_logger_lost_its_frames() {
        let mut senders: Vec<(u32, u8, i64, i64)> = (0..6)
            .map(|n: i64| (0x100 + u32::try_from(n).expect("small"), 0, 20, 2 * n + 1))
            .collect();
        senders.push((0x300, 0, 500, 180));
        let seen = watched(&senders, &[0], (6_610, 8_700));
        assert_eq!((seen.blind_spots.len(), seen.silences.len()), (1, 0), "{:?}", seen.silences);
    }
}
