//! How late a cyclic frame can be on a healthy bus by arbitration alone.
//!
//! Davis, Burns, Bril and Lukkien, Real-Time Systems 35 (2007): a frame waits for the longest frame of lower
//! priority that has just begun and for all frames of higher priority that come meanwhile; every instance
//! in its busy period is looked at, not only the first (the older analysis of 1994 missed those).
//! Nothing calls it yet: it stands for the worked example EX-4a, whose published figures its test holds.

/// One cyclic message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cyclic {
    /// Its period, seconds; above 0.
    pub period_s: f64,
    /// The longest time that its frame takes on the wire, seconds.
    pub frame_s: f64,
    /// How much later than its due time it may be handed to the bus, seconds.
    pub jitter_s: f64,
}

/// Instances looked at, and steps of one search, before the bus counts as overloaded.
const MOST_STEPS: u32 = 10_000;

/// The longest time in seconds from when message `place` is due to the end of its frame; `messages` stand
/// from the highest priority to the lowest, `bit_s` is the time of one bit. `None` when the bus is too full
/// for an answer, or a figure makes no sense.
#[must_use]
pub fn worst_response(messages: &[Cyclic], place: usize, bit_s: f64) -> Option<f64> {
    let sound = |m: &Cyclic| {
        m.period_s > 0.0 && m.frame_s >= 0.0 && m.jitter_s >= 0.0 && m.frame_s.is_finite()
    };
    let own = *messages.get(place)?;
    let higher = messages.get(..place)?;
    let lower = messages.get(place + 1..)?;
    if !messages.iter().all(sound) || bit_s < 0.0 {
        return None;
    }
    let blocking = lower.iter().map(|m| m.frame_s).fold(0.0, f64::max);
    // Instances of a message that come within a time; a hair less, so that whole periods count once.
    let count = |m: &Cyclic, within: f64| ((within + m.jitter_s) / m.period_s - 1e-9).ceil();
    let settle = |begin: f64, next: &dyn Fn(f64) -> f64| -> Option<f64> {
        let mut now = begin;
        for _ in 0..MOST_STEPS {
            let then = next(now);
            if (then - now).abs() <= 1e-12 {
                return Some(then);
            }
            now = then;
        }
        None
    };
    let busy = settle(own.frame_s, &|t| {
        let same_or_higher = higher.iter().chain([&own]);
        blocking + same_or_higher.map(|m| count(m, t) * m.frame_s).sum::<f64>()
    })?;
    let instances = count(&own, busy).max(1.0);
    if instances > f64::from(MOST_STEPS) {
        return None;
    }
    let mut worst = 0.0f64;
    let mut instance = 0.0;
    while instance < instances {
        let begin = blocking + instance * own.frame_s;
        let waited = settle(begin, &|w| {
            begin + higher.iter().map(|m| count(m, w + bit_s) * m.frame_s).sum::<f64>()
        })?;
        worst = worst.max(own.jitter_s + waited - instance * own.period_s + own.frame_s);
        instance += 1.0;
    }
    Some(worst)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(period_ms: f64) -> Cyclic {
        Cyclic { period_s: period_ms / 1e3, frame_s: 1e-3, jitter_s: 0.0 }
    }

    /// EX-4a, the three messages of the paper: 7 bytes at 125 kbit/s, periods 2.5, 3.5 and 3.5 ms.
    #[test]
    fn ex_4a_the_papers_example() {
        let messages = [message(2.5), message(3.5), message(3.5)];
        for (place, expected_ms) in [(0, 2.0), (1, 3.0), (2, 3.5)] {
            let found = worst_response(&messages, place, 8e-6).unwrap() * 1e3;
            assert!((found - expected_ms).abs() < 1e-6, "{place}: {found}");
        }
    }

    #[test]
    fn a_bus_that_is_too_full_has_no_answer() {
        let messages = [message(1.5), message(2.0), message(9.0)];
        assert!(worst_response(&messages, 0, 8e-6).is_some());
        assert_eq!(worst_response(&messages, 2, 8e-6), None);
        assert_eq!(worst_response(&messages, 3, 8e-6), None);
        assert_eq!(worst_response(&[message(0.0)], 0, 8e-6), None);
    }
}
