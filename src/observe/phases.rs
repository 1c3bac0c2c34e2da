//! Did an identifier come back on its old beat? Then its node never stopped: it was only not heard.
//!
//! A node that lost power starts a new beat and its alive counter from zero; one that was merely cut
//! off, or whose logger was blind, goes on as if nothing had happened.

use super::channel::Channel;
use super::gaps::Gap;
use super::period::Period;
use super::tracker::{Sample, Tracker};
use crate::vocabulary::Instant;

/// How far from a whole number of periods still counts as on the beat. By chance: 0.3.
const ON_BEAT: f64 = 0.15;
/// Identifiers with more jitter than this share of their period have no beat to tell.
const MOST_JITTER: f64 = 0.08;

/// Whether a gap ends on the beat; `None` when the identifier's beat cannot be told.
pub(super) fn on_beat(gap: &Gap, period: &Period) -> Option<bool> {
    if !period.cyclic || period.jitter as f64 > MOST_JITTER * period.nanos as f64 {
        return None;
    }
    let beats = gap.nanos() as f64 / period.mean;
    Some((beats - beats.round()).abs() <= ON_BEAT)
}

/// The gap of an identifier that covers a span, if one does.
pub(super) fn covering(tracker: &Tracker, begin: Instant, end: Instant) -> Option<&Gap> {
    let gaps = &tracker.gaps.gaps;
    let after = gaps.partition_point(|g| g.from <= begin);
    gaps[..after].last().filter(|g| g.to >= end)
}

/// Of the identifiers of a bus that a span cost frames: how many came back on the beat, of how many.
pub(super) fn beats_after(
    channel: &Channel,
    periods: &[Option<Period>],
    begin: Instant,
    end: Instant,
) -> (u32, u32) {
    let mut on = 0;
    let mut all = 0;
    for (tracker, period) in channel.trackers.iter().zip(periods) {
        let Some(period) = period else { continue };
        let Some(gap) = covering(tracker, begin, end) else { continue };
        if let Some(beat) = on_beat(gap, period) {
            all += 1;
            on += u32::from(beat);
        }
    }
    (on, all)
}

/// The place (0 = first byte's high nibble … 15) of a nibble that counts up by one a frame.
fn counter_place(samples: &[Sample]) -> Option<u32> {
    if samples.len() < 16 {
        return None;
    }
    (0..16).find(|place| {
        let shift = 60 - 4 * place;
        samples.windows(2).all(|w| {
            let (a, b) = (w[0].data >> shift & 15, w[1].data >> shift & 15);
            b == (a + 1) & 15
        })
    })
}

/// Whether the node of these identifiers restarted in a gap: `Some(false)` when beats and counters
/// went on, `Some(true)` when counters began again or the beat is a new one, `None` when neither
/// can be told.
pub(super) fn restarted<'a>(
    identifiers: impl Iterator<Item = (&'a Tracker, &'a Period, &'a Gap)>,
) -> Option<bool> {
    let (mut on, mut off, mut counting, mut reset) = (0u32, 0u32, 0u32, 0u32);
    for (tracker, period, gap) in identifiers {
        match on_beat(gap, period) {
            Some(true) => on += 1,
            Some(false) => off += 1,
            None => {}
        }
        if let Some(place) = counter_place(&tracker.samples[..tracker.samples.len().min(40)]) {
            let shift = 60 - 4 * place;
            let (before, after) = (gap.before >> shift & 15, gap.after >> shift & 15);
            #[expect(clippy::cast_possible_truncation, reason = "a count of frames in a gap")]
            let missed = (gap.nanos() as f64 / period.mean).round() as i64;
            let expected = (before as i64 + missed).rem_euclid(16);
            if (after as i64 - expected).abs() <= 1 {
                counting += 1;
            } else if after == (before + 1) & 15 {
                // Held while it could not send, then went on: power was there.
                counting += 1;
            } else if after <= 1 {
                reset += 1;
            }
        }
    }
    if counting + reset > 0 && counting != reset {
        return Some(reset > counting);
    }
    match on + off {
        0 => None,
        _ if on > 3 * off => (on >= 2).then_some(false),
        _ if off >= 3 && on == 0 => Some(true),
        _ => None,
    }
}
