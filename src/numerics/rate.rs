//! Events over watched time: how far a rate may range, whether two rates differ, whether one is
//! constant.
//!
//! In: counts of events and the time watched, in any unit. Out: intervals and exact p-values.
//! Refuses times that are not above 0 or not finite, and comparisons without any event.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::logs::{ln_choose, ln_factorial, log_sum_exp};
use super::proportion::Interval;

/// Outcomes whose probabilities differ by less than this ratio are tied.
const TIE: f64 = 1e-7;
/// Most ways of spreading events over spans that are enumerated.
const MOST_WAYS: f64 = 2e6;

/// The exact interval of a rate (Garwood 1936), events per unit of `time`.
///
/// No event: the lower end is 0. `None` unless `time` is above 0 and the confidence inside (0, 1).
#[must_use]
pub fn garwood(events: u64, time: f64, confidence: f64) -> Option<Interval> {
    let usable = time > 0.0 && time.is_finite() && confidence > 0.0 && confidence < 1.0;
    if !usable {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    let end = |events: f64, at: f64| {
        ChiSquared::new(2.0 * events).ok().map(|chi| chi.inverse_cdf(at) / (2.0 * time))
    };
    let low = if events == 0 { 0.0 } else { end(events as f64, tail)? };
    Some(Interval { low, high: end(events as f64 + 1.0, 1.0 - tail)? })
}

/// The exact conditional test that two rates are equal, two-sided: given all events, those of the
/// first are binomial with its share of the time (Przyborowski & Wilenski 1940). Sums the outcomes
/// no more probable than the observed one.
///
/// `None` for a time that is not above 0; without any event there is nothing to test and p is 1.
#[must_use]
pub fn equal_rates_p(events1: u64, time1: f64, events2: u64, time2: f64) -> Option<f64> {
    let weights = binomial(events1.checked_add(events2)?, time1, time2)?;
    let observed = *weights.get(usize::try_from(events1).ok()?)?;
    let kept: Vec<f64> = weights.into_iter().filter(|w| *w <= observed + TIE).collect();
    Some(log_sum_exp(&kept).exp().min(1.0))
}

/// The same test one-sided: at least `events1` of all events would fall to the first.
#[must_use]
pub fn higher_rate_p(events1: u64, time1: f64, events2: u64, time2: f64) -> Option<f64> {
    let weights = binomial(events1.checked_add(events2)?, time1, time2)?;
    let tail = weights.get(usize::try_from(events1).ok()?..)?;
    Some(log_sum_exp(tail).exp().min(1.0))
}

/// ln of the binomial probabilities of 0 to `all` events in the first of two times.
fn binomial(all: u64, time1: f64, time2: f64) -> Option<Vec<f64>> {
    if !(time1 > 0.0 && time2 > 0.0 && (time1 + time2).is_finite()) || all > 1_000_000 {
        return None;
    }
    let (in_first, in_second) = ((time1 / (time1 + time2)).ln(), (time2 / (time1 + time2)).ln());
    let at = |x: u64| ln_choose(all, x) + x as f64 * in_first + (all - x) as f64 * in_second;
    Some((0..=all).map(at).collect())
}

/// The exact test that a rate is the same in all spans: given all events, their counts are
/// multinomial with the shares of the time; sums the outcomes no more probable than the observed.
///
/// `events` and `times` are by span. Spans without time are left out. `None` when they differ in
/// number, an event lies in a span without time, fewer than two spans remain, or there are too
/// many outcomes to enumerate (over two million).
#[must_use]
pub fn constant_rate_p(events: &[u64], times: &[f64]) -> Option<f64> {
    if events.len() != times.len() || times.iter().any(|time| !time.is_finite() || *time < 0.0) {
        return None;
    }
    let spans: Vec<(u64, f64)> = events.iter().copied().zip(times.iter().copied()).collect();
    if spans.iter().any(|(events, time)| *events > 0 && *time <= 0.0) {
        return None;
    }
    let spans: Vec<(u64, f64)> = spans.into_iter().filter(|(_, time)| *time > 0.0).collect();
    let total: f64 = spans.iter().map(|(_, time)| time).sum();
    let all: u64 = spans.iter().map(|(events, _)| events).sum();
    let parts = spans.len() as u64;
    if parts < 2 || ln_choose(all + parts - 1, parts - 1).exp() > MOST_WAYS {
        return None;
    }
    let shares: Vec<f64> = spans.iter().map(|(_, time)| (time / total).ln()).collect();
    let term = |x: u64, share: f64| x as f64 * share - ln_factorial(x);
    let observed: f64 = spans.iter().zip(&shares).map(|((x, _), share)| term(*x, *share)).sum();
    let mut kept = Vec::new();
    let mut partial = vec![(0usize, all, 0.0)];
    while let Some((at, left, weight)) = partial.pop() {
        let Some(share) = shares.get(at) else { continue };
        if at + 1 == shares.len() {
            let weight = weight + term(left, *share);
            if weight <= observed + TIE {
                kept.push(weight + ln_factorial(all));
            }
            continue;
        }
        partial.extend((0..=left).map(|x| (at + 1, left - x, weight + term(x, *share))));
    }
    Some(log_sum_exp(&kept).exp().min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // q2.garwood.zero (Garwood 1936: 3.689 and 2.996), q2.exponential.6-MP and .control (events
    // and weeks of Freireich et al. 1963), q2.hazard.bins; digits: scipy 1.17.1 chi2.ppf.
    #[test]
    fn published_rates() {
        for (events, time, low, high) in [
            (0, 1.0, 0.0, 3.688_879_454_113_935),
            (9, 359.0, 0.011_463_434_811_639, 0.047_589_981_758_828),
            (21, 182.0, 0.071_424_895_516_902, 0.176_377_641_400_788),
            (5, 118.4, 0.013_711_878_294_919, 0.098_550_102_021_303),
            (0, 1012.0, 0.0, 0.003_645_137_800_508),
        ] {
            let got = garwood(events, time, 0.95).expect("a rate");
            holds("rate::garwood", got.low, low);
            holds("rate::garwood", got.high, high);
        }
        let one_sided = garwood(0, 1.0, 0.9).expect("a rate");
        holds("rate::garwood", one_sided.high, 2.995_732_273_553_99);
        assert_eq!(garwood(0, 0.0, 0.95), None);
        assert_eq!(garwood(0, 1.0, 1.0), None);
    }

    // q5.poisson.eba1977 (R help poisson.test), .gu2008 (Gu et al. 2008), .beforeafter.typical.
    #[test]
    fn published_comparisons() {
        for (x1, t1, x2, t2, two, greater) in [
            (11, 800.0, 21, 3011.0, 0.079_668_633_033, 0.056_008_659_788),
            (60, 51_477.5, 30, 54_308.7, 6.751_826_586_863e-4, 4.280_526_940_501e-4),
            (5, 40.0, 0, 30.0, 0.075_385_256_143, 0.060_926_994_705),
        ] {
            holds("rate::equal_rates_p", equal_rates_p(x1, t1, x2, t2).expect("rates"), two);
            holds("rate::higher_rate_p", higher_rate_p(x1, t1, x2, t2).expect("rates"), greater);
        }
        assert_eq!(equal_rates_p(1, 0.0, 1, 1.0), None);
        assert!((equal_rates_p(0, 2.0, 0, 1.0).expect("rates") - 1.0).abs() < 1e-12);
    }

    // q2.hazard.constant_test: 5, 2, 1, 0 events, scipy 1.17.1 multinomial enumeration.
    #[test]
    fn early_hazard_is_not_constant() {
        let p = constant_rate_p(&[5, 2, 1, 0], &[118.4, 221.0, 640.5, 1012.0]).expect("spans");
        holds("rate::constant_rate_p", p, 2.298_653_501_850e-6);
        let same = constant_rate_p(&[5, 2, 1, 0, 0], &[118.4, 221.0, 640.5, 1012.0, 0.0]);
        assert_eq!(same, Some(p));
        assert_eq!(constant_rate_p(&[1, 0], &[0.0, 5.0]), None);
        assert_eq!(constant_rate_p(&[1], &[5.0]), None);
        assert!((constant_rate_p(&[0, 0], &[1.0, 5.0]).expect("spans") - 1.0).abs() < 1e-12);
    }
}
