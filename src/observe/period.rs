//! Period and jitter of one identifier, and whether it may be called silent at all.
//!
//! Method: the median of successive differences, never the mean (losses bias it); the scale is
//! 1.4826 times the median absolute deviation; an identifier is cyclic when most gaps sit near the
//! median or near whole multiples of it. The silence factor follows from the loss seen, so that a
//! thousand hours of such loss give one false alarm. (METHODS 7.1 to 7.3.)

use super::gaps::Gap;
use super::tracker::Tracker;

/// An identifier needs this many gaps before it can be cyclic.
const FEWEST_GAPS: usize = 8;
/// Shares from METHODS 7.2.
const NEAR_PERIOD: f64 = 0.8;
const NEAR_MULTIPLE: f64 = 0.9;
/// Over the whole log the histogram must agree, at its coarser bins.
const WHOLE_LOG: f64 = 0.6;
/// An identifier whose own long gaps come again and again sends in bursts, or by mode: more of them
/// than this share of its frames (and than this number) and no gap of it is a silence.
const USUAL_GAPS: f64 = 0.005;
const FEW_GAPS: usize = 4;
/// One false alarm in so many seconds, by the loss model of METHODS 7.3.
const FALSE_ALARM_SECONDS: f64 = 3_600_000.0;

/// What the gaps of one identifier tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Period {
    /// Only a cyclic identifier can be missed.
    pub cyclic: bool,
    /// Median period, nanoseconds.
    pub nanos: i64,
    /// Period by which phases are told, nanoseconds: the mean over regular gaps.
    pub mean: f64,
    /// 1.4826 × median absolute deviation, nanoseconds.
    pub jitter: i64,
    /// A gap longer than this (nanoseconds) is silence, not loss.
    pub silent_after: i64,
}

/// Nothing that comes more rarely has a period (nanoseconds, eleven days); only a broken clock shows such
/// gaps, and a few times as much must fit into 64 bits.
const LONGEST_PERIOD: i64 = 1_000_000_000_000_000;

/// Judges one identifier; `None` with fewer than two frames. `excused` tells of a gap that the whole
/// bus had, or that error frames explain: it is not the identifier's own way.
pub(super) fn judge(tracker: &Tracker, excused: impl Fn(&Gap) -> bool) -> Option<Period> {
    let median = tracker.sample_median().filter(|m| (1..=LONGEST_PERIOD).contains(m))?;
    let gaps: Vec<i64> = tracker.samples.windows(2).map(|w| w[1].time.0 - w[0].time.0).collect();
    let share = |test: &dyn Fn(f64) -> bool| {
        gaps.iter().filter(|g| test(**g as f64 / median as f64)).count() as f64 / gaps.len() as f64
    };
    let near = share(&|r| (r - 1.0).abs() <= 0.2);
    let multiple = share(&|r| r > 0.5 && (r - r.round()).abs() <= 0.2);
    let whole = tracker.share_between(median * 3 / 4, median * 13 / 10);
    let agrees = tracker.histogram_median().is_some_and(|m| m <= median * 3 / 2 && m >= median / 2);
    let cyclic = gaps.len() >= FEWEST_GAPS
        && (near >= NEAR_PERIOD || multiple >= NEAR_MULTIPLE)
        && (whole >= WHOLE_LOG || multiple >= NEAR_MULTIPLE)
        && agrees;
    let loss = share(&|r| r > 1.5);
    let jitter = jitter(&gaps, median);
    let silent_after = silent_after(median, loss, jitter);
    let own = tracker.gaps.gaps.iter().filter(|g| g.nanos() > silent_after && !excused(g)).count();
    let usual = own > FEW_GAPS && own as f64 > USUAL_GAPS * tracker.count as f64;
    Some(Period {
        cyclic: cyclic && !usual,
        nanos: median,
        mean: mean(tracker, median),
        jitter,
        silent_after,
    })
}

fn jitter(gaps: &[i64], median: i64) -> i64 {
    let mut off: Vec<i64> = gaps.iter().map(|g| (g - median).abs()).collect();
    let middle = off.len() / 2;
    let mad = *off.select_nth_unstable(middle).1;
    mad.saturating_mul(14_826) / 10_000
}

/// Mean over the regular gaps; the median when gaps were dropped or none is left.
fn mean(tracker: &Tracker, median: i64) -> f64 {
    let regular = tracker.count as i64 - 1 - tracker.gaps.gaps.len() as i64;
    if tracker.gaps.dropped > 0 || regular < FEWEST_GAPS as i64 {
        return median as f64;
    }
    let missing: i64 = tracker.gaps.gaps.iter().map(Gap::nanos).sum();
    let mean = (tracker.last.0 - tracker.first.0 - missing) as f64 / regular as f64;
    // A mean far off the median comes from bursts or modes; the median is the better guide then.
    if (mean / median as f64 - 1.0).abs() < 0.05 { mean } else { median as f64 }
}

/// `k` periods and the jitter: k from independent loss `q`, at least 3, and at least 20 ms.
fn silent_after(period: i64, loss: f64, jitter: i64) -> i64 {
    let target = (period as f64 / 1e9) / FALSE_ALARM_SECONDS;
    let k = if loss > 0.0 && loss < 1.0 { 1.0 + (target.ln() / loss.ln()).ceil() } else { 3.0 };
    #[expect(clippy::cast_possible_truncation, reason = "k is small or the cast saturates")]
    let span = (period as f64 * k.max(3.0)) as i64;
    span.saturating_add(4 * jitter).max(20_000_000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::frames::{Frame, FrameKind};
    use crate::vocabulary::{Identifier, Instant};

    /// The portable generator of METHODS (entry `q7.lcg`): 53-bit uniform from a 64-bit LCG.
    struct Lcg(u64);
    impl Lcg {
        fn uniform(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (self.0 >> 11) as f64 / (1u64 << 53) as f64
        }
    }

    #[test]
    fn decades_between_frames_are_no_period() {
        let tracker = tracked(&[0.0, 4.6e9]);
        assert!(judge(&tracker, |_| false).is_none());
    }

    fn tracked(times: &[f64]) -> Tracker {
        let frame = |t: f64| Frame {
            time: Instant::default().plus_seconds(t),
            data: 0,
            line: 1,
            id: Identifier::base(1),
            channel: 0,
            length: 8,
            kind: FrameKind::Data,
        };
        let mut tracker = Tracker::new(&frame(times[0]), frame(times[0]).time);
        for t in &times[1..] {
            tracker.frame(&frame(*t), 0, frame(*t).time);
        }
        tracker
    }

    #[test]
    fn a_lossy_cyclic_identifier_keeps_its_period() {
        let mut noise = Lcg(1);
        let times: Vec<f64> = (0..3000)
            .filter(|n| n % 50 != 7 && !(1200..1209).contains(n))
            .map(|n| f64::from(n) * 0.020 + 0.0005 * noise.uniform())
            .collect();
        let period = judge(&tracked(&times), |_| false).unwrap();
        assert!(period.cyclic);
        assert!((period.nanos - 20_000_000).abs() < 300_000, "{period:?}");
        assert!((period.mean - 2.0e7).abs() < 2e4, "{period:?}");
        assert!(period.silent_after >= 60_000_000);
    }

    #[test]
    fn a_random_identifier_is_event_driven() {
        let mut noise = Lcg(7);
        let mut t = 0.0;
        let times: Vec<f64> = (0..2000)
            .map(|_| {
                t += -0.2 * (1.0 - noise.uniform()).ln();
                t
            })
            .collect();
        assert!(!judge(&tracked(&times), |_| false).unwrap().cyclic);
    }

    /// METHODS 7.3, entry `q7.silence.k_loss`: one false alarm per 1000 h.
    #[test]
    fn silence_factor_follows_the_loss() {
        for (period, loss, k) in [
            (0.01, 1e-4, 4.0),
            (0.01, 1e-3, 4.0),
            (0.01, 0.02, 7.0),
            (0.1, 1e-4, 3.0),
            (0.1, 1e-3, 4.0),
            (0.1, 0.02, 6.0),
            (1.0, 1e-4, 3.0),
            (1.0, 1e-3, 4.0),
            (1.0, 0.02, 5.0),
        ] {
            let nanos = Instant::default().plus_seconds(period).0;
            let found = silent_after(nanos, loss, 0) as f64 / nanos as f64;
            assert!((found - k).abs() < 1e-6, "{period} s, {loss}: {found}, expected {k}");
        }
    }

    #[test]
    fn an_identifier_that_sends_in_bursts_is_never_silent() {
        let times: Vec<f64> = (0..300)
            .flat_map(|n| (0..5).map(move |k| f64::from(n) + 0.05 * f64::from(k)))
            .collect();
        assert!(!judge(&tracked(&times), |_| false).unwrap().cyclic);
    }

    #[test]
    fn one_frame_has_no_period() {
        assert_eq!(judge(&tracked(&[1.0]), |_| false), None);
        assert!(!judge(&tracked(&[1.0, 2.0, 3.0]), |_| false).unwrap().cyclic);
    }
}
