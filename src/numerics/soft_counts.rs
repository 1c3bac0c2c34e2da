//! Events that may count for less than one: tails and intervals that run on between whole counts.
//!
//! In: sums of events or of their probabilities, and the expected number or the time watched. Out:
//! upper tails, ratios of two rates with exact intervals, control limits. At whole counts these are
//! the exact tests and intervals of the Poisson and the binomial; between them the same incomplete
//! gamma and beta functions run on. Refuses what is negative or not finite, and times of nothing.

use statrs::function::beta::beta_reg;
use statrs::function::gamma::gamma_lr;

use super::bisection::quantile;

/// Upper tail of the Poisson distribution with mid-P (Lancaster 1961): P(more than `events`) and half
/// of P(exactly `events`), the two tails being incomplete gamma functions.
#[must_use]
pub fn upper_mid_p(events: f64, expected: f64) -> Option<f64> {
    if !(events >= 0.0 && events.is_finite() && expected > 0.0 && expected.is_finite()) {
        return None;
    }
    let at_least = |x: f64| if x > 0.0 { gamma_lr(x, expected) } else { 1.0 };
    Some(f64::midpoint(at_least(events), at_least(events + 1.0)))
}

/// One-sided mid-P that the first of two rates is higher: given all events, those of the first are
/// binomial with its share of the time (Przyborowski & Wilenski 1940).
#[must_use]
pub fn higher_rate_mid_p(events1: f64, time1: f64, events2: f64, time2: f64) -> Option<f64> {
    let share = share(events1, time1, events2, time2)?;
    let all = events1 + events2;
    // P(at least x of all) is the incomplete beta function I(x, all - x + 1) at the share.
    let at_least = |x: f64| match () {
        () if x <= 0.0 => 1.0,
        () if x >= all + 1.0 => 0.0,
        () => beta_reg(x, all - x + 1.0, share),
    };
    Some(f64::midpoint(at_least(events1), at_least(events1 + 1.0)))
}

/// How far the ratio of two rates may range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioRange {
    /// Lower end.
    pub low: f64,
    /// Upper end; `None` without an event in the second, where nothing bounds it.
    pub high: Option<f64>,
}

/// The exact interval of the ratio of two rates: Clopper & Pearson 1934 for the share of the first in
/// all events, put as a ratio.
#[must_use]
pub fn rate_ratio_range(
    events1: f64,
    time1: f64,
    events2: f64,
    time2: f64,
    confidence: f64,
) -> Option<RatioRange> {
    share(events1, time1, events2, time2)?;
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    let ratio = |share: f64| share / (1.0 - share) * (time2 / time1);
    let low = if events1 > 0.0 { ratio(beta_quantile(events1, events2 + 1.0, tail)) } else { 0.0 };
    // The upper tail is asked from the other side, where it keeps its digits.
    let high = (events2 > 0.0).then(|| {
        let rest = beta_quantile(events2, events1 + 1.0, tail);
        (1.0 - rest) / rest * (time2 / time1)
    });
    Some(RatioRange { low, high })
}

/// Control limits of a funnel plot (Spiegelhalter 2005): the Poisson quantiles of an expected number,
/// as ratios to it, that leave `tail` below and `tail` above.
#[must_use]
pub fn funnel_limits(expected: f64, tail: f64) -> Option<(f64, f64)> {
    if !(expected > 0.0 && expected < 1e6 && tail > 0.0 && tail < 0.5) {
        return None;
    }
    // P(at most k) is the upper incomplete gamma function of k + 1: one less the lower one, which is
    // exact enough here, since no tail asked for is near the last digit.
    let quantile = |level: f64| {
        let mut events = 0.0_f64;
        while 1.0 - gamma_lr(events + 1.0, expected) < level && events < 4e6 {
            events += 1.0;
        }
        events
    };
    Some((quantile(tail) / expected, quantile(1.0 - tail) / expected))
}

/// The share of the first in the time of both; `None` for what is no count or no time.
fn share(events1: f64, time1: f64, events2: f64, time2: f64) -> Option<f64> {
    let counts = [events1, events2].iter().all(|e| *e >= 0.0 && e.is_finite());
    let times = time1 > 0.0 && time2 > 0.0 && (time1 + time2).is_finite();
    (counts && times).then(|| time1 / (time1 + time2))
}

/// The quantile of a beta distribution.
fn beta_quantile(a: f64, b: f64, level: f64) -> f64 {
    quantile(1.0, level, |at| beta_reg(a, b, at.min(1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::rate::{garwood, higher_rate_p};
    use crate::numerics::tolerances::holds;

    // q6.smr.garwood: 7 observed, 1.44 expected (scipy 1.17.1).
    #[test]
    fn more_than_expected() {
        let p = upper_mid_p(7.0, 1.44).expect("possible");
        holds("soft_counts::upper_mid_p", p, 4.306_806_448_755_668e-4);
        holds("soft_counts::upper_mid_p", upper_mid_p(0.0, 2.0).expect("possible"), PAST_ZERO);
        assert_eq!(upper_mid_p(-1.0, 2.0), None);
        assert_eq!(upper_mid_p(1.0, 0.0), None);
        // Between whole counts the tail runs on.
        let tails: Vec<f64> =
            (0..40).filter_map(|x| upper_mid_p(f64::from(x) / 4.0, 3.0)).collect();
        assert!(tails.windows(2).all(|pair| pair[1] < pair[0]));
    }

    /// 1 - exp(-2) / 2.
    const PAST_ZERO: f64 = 0.932_332_358_381_693_6;

    #[test]
    fn whole_counts_give_the_exact_test() {
        for (x1, t1, x2, t2) in [(11u32, 800.0, 21u32, 3011.0), (5, 1.0, 0, 4.0), (0, 2.0, 3, 1.0)]
        {
            let soft = higher_rate_mid_p(f64::from(x1), t1, f64::from(x2), t2).expect("possible");
            let (x1, x2) = (u64::from(x1), u64::from(x2));
            let at_least = higher_rate_p(x1, t1, x2, t2).expect("possible");
            let more = match x2 {
                0 => 0.0,
                _ => higher_rate_p(x1 + 1, t1, x2 - 1, t2).expect("possible"),
            };
            holds("soft_counts::higher_rate_mid_p", soft, f64::midpoint(at_least, more));
        }
        assert_eq!(higher_rate_mid_p(1.0, 0.0, 1.0, 1.0), None);
    }

    // The example of R's poisson.test: 11 events in 800 and 21 in 3,011 person-years. Recomputed with
    // mpmath's incomplete beta function; R prints 0.8584264 and 4.2772659.
    #[test]
    fn published_ratio_of_two_rates() {
        let range = rate_ratio_range(11.0, 800.0, 21.0, 3011.0, 0.95).expect("possible");
        assert!((range.low - 0.858_426_4).abs() < 5e-7, "{range:?}");
        assert!((range.high.expect("bounded") - 4.277_265_9).abs() < 5e-7, "{range:?}");
        let other = rate_ratio_range(21.0, 3011.0, 11.0, 800.0, 0.95).expect("possible");
        holds("soft_counts::rate_ratio_range", 1.0 / other.low, range.high.expect("bounded"));
        // Against a rate that is known, the interval is Garwood's.
        let known = rate_ratio_range(7.0, 1.44, 1e9, 1e9, 0.95).expect("possible");
        let garwood = garwood(7, 1.44, 0.95).expect("possible");
        assert!((known.low / garwood.low - 1.0).abs() < 1e-3);
        assert_eq!(rate_ratio_range(3.0, 1.0, 0.0, 9.0, 0.95).expect("possible").high, None);
    }

    // q6.funnel.exact.
    #[test]
    fn control_limits() {
        for (expected, tail, low, high) in [
            (1.0, 0.025, 0.0, 3.0),
            (1.0, 0.001, 0.0, 5.0),
            (5.0, 0.025, 0.2, 2.0),
            (5.0, 0.001, 0.0, 2.6),
            (20.0, 0.025, 0.6, 1.45),
            (20.0, 0.001, 0.4, 1.75),
            (100.0, 0.025, 0.81, 1.2),
            (100.0, 0.001, 0.71, 1.32),
        ] {
            let limits = funnel_limits(expected, tail).expect("possible");
            holds("soft_counts::funnel_limits", limits.0, low);
            holds("soft_counts::funnel_limits", limits.1, high);
        }
        assert_eq!(funnel_limits(0.0, 0.025), None);
    }
}
