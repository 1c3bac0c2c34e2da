//! One proportion: how far the counts let a risk range.
//!
//! In: hits, trials, confidence. Out: two-sided intervals with both ends between 0 and 1, and the
//! posterior median. Refuses more hits than trials, no trials, and a confidence outside (0, 1).

use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// An interval of a proportion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Equal-tailed interval of the posterior Beta(hits + 1/2, misses + 1/2).
///
/// With no hit the lower end is 0, with no miss the upper end is 1 (Brown, Cai & DasGupta 2001):
/// the tail that would be cut off there holds the value most in keeping with the data.
#[must_use]
pub fn jeffreys(hits: u64, trials: u64, confidence: f64) -> Option<Interval> {
    let tail = tail(hits, trials, confidence)?;
    let misses = trials - hits;
    let low = if hits == 0 { 0.0 } else { beta_quantile(hits, 0.5, misses, 0.5, tail)? };
    let high = if misses == 0 { 1.0 } else { upper_quantile(hits, 0.5, misses, 0.5, tail)? };
    Some(Interval { low, high })
}

/// Score interval (Wilson 1927); never empty, never outside [0, 1].
#[must_use]
pub fn wilson(hits: u64, trials: u64, confidence: f64) -> Option<Interval> {
    let tail = tail(hits, trials, confidence)?;
    // The upper quantile is the negated lower one; this way round a tiny tail keeps its digits.
    let z = -Normal::new(0.0, 1.0).ok()?.inverse_cdf(tail);
    let (x, n) = (hits as f64, trials as f64);
    let centre = x + z * z / 2.0;
    let reach = z * (x * (n - x) / n + z * z / 4.0).sqrt();
    let low = if hits == 0 { 0.0 } else { (centre - reach) / (n + z * z) };
    let high = if hits == trials { 1.0 } else { (centre + reach) / (n + z * z) };
    Some(Interval { low, high })
}

/// The interval that covers at least as often as it says (Clopper & Pearson 1934).
#[must_use]
pub fn clopper_pearson(hits: u64, trials: u64, confidence: f64) -> Option<Interval> {
    let tail = tail(hits, trials, confidence)?;
    let misses = trials - hits;
    let low = if hits == 0 { 0.0 } else { beta_quantile(hits, 0.0, misses, 1.0, tail)? };
    let high = if misses == 0 { 1.0 } else { upper_quantile(hits, 1.0, misses, 0.0, tail)? };
    Some(Interval { low, high })
}

/// Median of the posterior Beta(hits + 1/2, misses + 1/2): one number for a risk that is never 0.
///
/// No trials is allowed and gives the prior's median, 1/2.
#[must_use]
pub fn posterior_median(hits: u64, trials: u64) -> Option<f64> {
    let misses = trials.checked_sub(hits)?;
    beta_quantile(hits, 0.5, misses, 0.5, 0.5)
}

/// The probability outside each end; `None` for input that has no interval.
fn tail(hits: u64, trials: u64, confidence: f64) -> Option<f64> {
    let fits = trials > 0 && hits <= trials && confidence > 0.0 && confidence < 1.0;
    fits.then_some((1.0 - confidence) / 2.0)
}

fn beta_quantile(hits: u64, more: f64, misses: u64, more_misses: f64, at: f64) -> Option<f64> {
    let beta = Beta::new(hits as f64 + more, misses as f64 + more_misses).ok()?;
    Some(beta.inverse_cdf(at))
}

/// The quantile that leaves `tail` above it, found from the mirrored distribution's lower tail.
fn upper_quantile(hits: u64, more: f64, misses: u64, more_misses: f64, tail: f64) -> Option<f64> {
    Some(1.0 - beta_quantile(misses, more_misses, hits, more, tail)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    /// Hits and trials, then the ends of Wilson, Clopper-Pearson and Jeffreys.
    type Published = ([u64; 2], [f64; 6]);

    // 81/263, 15/148, 0/20 and 1/29: the examples of Newcombe 1998 (Stat Med 17:857), who prints
    // four places; digits: statsmodels 0.15.0 proportion_confint. Jeffreys' ends at 0 and 1 are
    // set as in Brown, Cai & DasGupta 2001.
    const REFERENCE: [Published; 6] = [
        (
            [81, 263],
            [
                0.255_288_519_9,
                0.366_209_577_0,
                0.252_736_745_6,
                0.367_621_922_6,
                0.254_521_935_0,
                0.365_647_499_2,
            ],
        ),
        (
            [15, 148],
            [
                0.062_386_399_5,
                0.160_487_241_7,
                0.057_844_010_1,
                0.161_650_490_3,
                0.060_448_517_0,
                0.157_643_143_5,
            ],
        ),
        ([0, 20], [0.0, 0.161_125_158_1, 0.0, 0.168_433_471_0, 0.0, 0.116_638_982_9]),
        (
            [1, 29],
            [
                0.006_113_214_3,
                0.171_755_218_8,
                0.000_872_646_6,
                0.177_644_295_5,
                0.003_746_173_6,
                0.150_077_686_0,
            ],
        ),
        ([29, 29], [0.883_030_201_5, 1.0, 0.880_555_130_9, 1.0, 0.917_713_517_1, 1.0]),
        (
            [5, 30],
            [
                0.073_365_423_7,
                0.335_643_505_1,
                0.056_421_696_5,
                0.347_211_698_8,
                0.066_573_953_6,
                0.327_427_751_7,
            ],
        ),
    ];

    #[test]
    fn published_intervals() {
        for ([hits, trials], want) in REFERENCE {
            let got = [
                ("proportion::wilson", wilson(hits, trials, 0.95)),
                ("proportion::clopper_pearson", clopper_pearson(hits, trials, 0.95)),
                ("proportion::jeffreys", jeffreys(hits, trials, 0.95)),
            ];
            for ((statistic, interval), want) in got.into_iter().zip(want.chunks(2)) {
                let interval = interval.expect("trials");
                holds(statistic, interval.low, want[0]);
                holds(statistic, interval.high, want[1]);
            }
        }
    }

    // q5.rule_of_three: 0 of 14; one-sided 95 % ends are two-sided 90 % ends.
    // Hanley & Lippman-Hand 1983 print 19.3 % for the exact one.
    #[test]
    fn no_hit_at_all() {
        let exact = clopper_pearson(0, 14, 0.9).expect("trials");
        holds("proportion::clopper_pearson", exact.high, 0.192_636_175_650);
        let posterior = jeffreys(0, 14, 0.9).expect("trials");
        holds("proportion::jeffreys", posterior.high, 0.126_057_583_422);
    }

    // scipy 1.17.1 special.betaincinv.
    #[test]
    fn medians() {
        for (hits, trials, want) in
            [(5, 30, 0.170_437_152_989), (1, 29, 0.040_315_977_306), (0, 120, 0.001_889_834_840)]
        {
            let got = posterior_median(hits, trials).expect("possible");
            holds("proportion::posterior_median", got, want);
        }
        assert_eq!(posterior_median(2, 1), None);
    }

    #[test]
    fn refusals() {
        for interval in [jeffreys, wilson, clopper_pearson] {
            assert_eq!(interval(0, 0, 0.95), None);
            assert_eq!(interval(3, 2, 0.95), None);
            assert_eq!(interval(1, 2, 0.0), None);
            assert_eq!(interval(1, 2, f64::NAN), None);
        }
    }

    #[test]
    fn exchanging_hits_and_misses_mirrors_the_interval() {
        for interval in [jeffreys, wilson, clopper_pearson] {
            for hits in 0..=17 {
                let here = interval(hits, 17, 0.95).expect("trials");
                let there = interval(17 - hits, 17, 0.95).expect("trials");
                assert!((here.low + there.high - 1.0).abs() < 1e-9, "{hits}");
                assert!(here.low < here.high && here.low >= 0.0 && here.high <= 1.0);
            }
        }
    }
}
