//! The log's clock: steps backwards are taken out, so that no gap is negative and no silence invented.

use crate::vocabulary::Instant;

/// Steps back that are kept with their place; all are counted.
const MOST_PLACES: usize = 1024;

/// Frames may be stamped out of order by this much without the clock having stepped (nanoseconds).
const REORDERED: i64 = 2_000_000;

/// No time is later than this, and none earlier than its negative: sums with spans never run over.
const LATEST: i64 = i64::MAX / 2;

/// What was done to keep time going forward.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Clock {
    /// Added to every stamp, nanoseconds.
    pub offset: i64,
    /// How often the clock stepped back.
    pub steps: u64,
    /// Where it did: time of the stream, line, by how much (nanoseconds).
    pub backs: Vec<(Instant, u64, i64)>,
    /// How many frames were stamped a little out of order.
    pub reordered: u64,
}

impl Clock {
    /// The time of a stamp, with all steps taken out.
    #[inline]
    pub(super) fn time(&self, stamp: Instant) -> Instant {
        // Nearly all clocks never step, and nearly all stamps are within a century.
        if self.offset == 0 && stamp.0.unsigned_abs() <= LATEST.unsigned_abs() {
            return stamp;
        }
        self.moved(stamp)
    }

    #[cold]
    fn moved(&self, stamp: Instant) -> Instant {
        Instant(stamp.0.saturating_add(self.offset).clamp(-LATEST, LATEST))
    }

    /// Whether stamps are times as they stand, up to [`Clock::last`].
    #[inline]
    pub(super) fn is_plain(&self) -> bool {
        self.offset == 0
    }

    /// No time is later.
    #[inline]
    pub(super) fn last(&self) -> Instant {
        Instant(LATEST)
    }

    /// A frame is stamped before the one before it; returns the time to use.
    #[cold]
    pub(super) fn went_back(&mut self, now: Instant, time: Instant, line: u64) -> Instant {
        let back = now.0.saturating_sub(time.0);
        if back <= REORDERED {
            self.reordered += 1;
            return now;
        }
        self.steps += 1;
        if self.backs.len() < MOST_PLACES {
            self.backs.push((now, line, back));
        }
        self.offset = self.offset.saturating_add(back);
        now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decades_to_and_fro_stay_in_range() {
        let mut clock = Clock::default();
        let mut now = Instant(0);
        for _ in 0..5 {
            for stamp in [4_600_000_000_000_000_000, 1_000, i64::MAX, i64::MIN] {
                let mut time = clock.time(Instant(stamp));
                if time < now {
                    time = clock.went_back(now, time, 0);
                }
                assert!(time >= now && time.0 <= LATEST);
                now = time;
            }
        }
        assert!(clock.steps > 0);
    }

    #[test]
    fn a_step_back_is_taken_out_and_counted() {
        let mut clock = Clock::default();
        let now = Instant(10_000_000_000);
        assert_eq!(clock.went_back(now, Instant(now.0 - 1000), 1), now);
        assert_eq!((clock.reordered, clock.steps), (1, 0));
        assert_eq!(clock.went_back(now, Instant(now.0 - 44_000_000), 2), now);
        assert_eq!((clock.steps, clock.offset), (1, 44_000_000));
        assert_eq!(clock.backs, [(now, 2, 44_000_000)]);
    }
}
