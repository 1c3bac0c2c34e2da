//! Risks that were themselves estimated: the beta-binomial distribution and what follows from it.
//!
//! In: counts, and the two parameters of a beta prior ([`JEFFREYS`] where nothing better is
//! known). Out: log-probabilities, the probability that one risk exceeds another, the probability
//! of a clean run, and the length of a run that would prove something. Refuses parameters that
//! are not positive and counts that are not possible.

use std::f64::consts::FRAC_PI_2;

use statrs::distribution::{Beta, ContinuousCDF};

use super::logs::{ln_beta, ln_choose};
use super::table::TwoGroups;

/// The parameters (1/2, 1/2) of Jeffreys' prior of a proportion.
pub const JEFFREYS: (f64, f64) = (0.5, 0.5);

/// No search for a run of clean trials goes beyond this length.
const LONGEST_RUN: u64 = 1 << 40;

/// ln of the probability of `hits` among `trials` whose common risk is Beta(a, b).
///
/// Minus infinity for more hits than trials; not a number unless `a > 0` and `b > 0`.
#[must_use]
pub fn ln_pmf(hits: u64, trials: u64, prior: (f64, f64)) -> f64 {
    ln_choose(trials, hits) + ln_ordered(hits, trials, prior)
}

/// ln of the probability of one given order of `hits` and misses, risk as in [`ln_pmf`].
///
/// This is the weight of repeated testimony that shares one unknown rate: five repeats are worth
/// less than five independent ones. Minus infinity for more hits than trials.
#[must_use]
pub fn ln_ordered(hits: u64, trials: u64, prior: (f64, f64)) -> f64 {
    let (a, b) = prior;
    match trials.checked_sub(hits) {
        Some(misses) => ln_beta(a + hits as f64, b + misses as f64) - ln_beta(a, b),
        None => f64::NEG_INFINITY,
    }
}

/// Probability that the first group's risk is the greater, both with the same beta prior.
///
/// Exact: the two posteriors' parameters differ by whole numbers, so the probability is reached
/// from 1/2 (equal posteriors) in as many steps as there are trials, each adding the closed-form
/// change (Thompson 1933). Absolute error near 1e-13: for use as a probability, not as the log of
/// a far tail. An empty group keeps its prior. `None` unless both parameters are positive.
#[must_use]
pub fn probability_greater(table: TwoGroups, prior: (f64, f64)) -> Option<f64> {
    let (a, b) = prior;
    if !(a > 0.0 && b > 0.0) {
        return None;
    }
    let hits = [table.hits1(), table.hits2()];
    let misses = [table.trials1() - table.hits1(), table.trials2() - table.hits2()];
    // The second group's posterior stands still while another walks from it to the first group's.
    let (a2, b2) = (a + hits[1] as f64, b + misses[1] as f64);
    let change = |x: f64, y: f64| (ln_beta(x + a2, y + b2) - ln_beta(x, y) - ln_beta(a2, b2)).exp();
    let mut greater = 0.5;
    for step in hits[1].min(hits[0])..hits[1].max(hits[0]) {
        let x = a + step as f64;
        let gain = change(x, b2) / x;
        greater += if hits[0] > hits[1] { gain } else { -gain };
    }
    let a1 = a + hits[0] as f64;
    for step in misses[1].min(misses[0])..misses[1].max(misses[0]) {
        let y = b + step as f64;
        let loss = change(a1, y) / y;
        greater += if misses[0] > misses[1] { -loss } else { loss };
    }
    Some(greater.clamp(0.0, 1.0))
}

/// Probability that the next `run` trials are all clean after `hits` in `trials`.
///
/// The posterior predictive: it averages over what the risk may be, and so is larger than
/// (1 - hits / trials)^run. `None` for more hits than trials or a prior that is not positive.
#[must_use]
pub fn predictive_clean(hits: u64, trials: u64, run: u64, prior: (f64, f64)) -> Option<f64> {
    let misses = trials.checked_sub(hits)?;
    if !(prior.0 > 0.0 && prior.1 > 0.0) {
        return None;
    }
    let (a, b) = (prior.0 + hits as f64, prior.1 + misses as f64);
    Some((ln_beta(a, b + run as f64) - ln_beta(a, b)).exp().min(1.0))
}

/// How many clean trials in a row make an unchanged risk improbable at the given confidence.
///
/// The shortest run whose [`predictive_clean`] under Jeffreys' prior is at most 1 - confidence.
/// `None` when no hit was ever seen (no risk was shown that could have gone), for impossible
/// counts, and for a confidence outside (0, 1).
#[must_use]
pub fn clean_needed(hits: u64, trials: u64, confidence: f64) -> Option<u64> {
    if hits == 0 || !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    shortest(|run| Some(predictive_clean(hits, trials, run, JEFFREYS)? <= 1.0 - confidence))
}

/// How many trials make at least one hit as probable as `chance`, for a risk that is Beta(a, b).
///
/// Averages over what the risk may be, so it is larger than with the mean risk. `None` unless both
/// parameters are positive and the chance lies inside (0, 1), or when no run below 2^40 is enough.
#[must_use]
pub fn first_hit_within(risk: (f64, f64), chance: f64) -> Option<u64> {
    if !(risk.0 > 0.0 && risk.1 > 0.0 && chance > 0.0 && chance < 1.0) {
        return None;
    }
    shortest(|run| Some(ln_ordered(0, run, risk) <= (-chance).ln_1p()))
}

/// The shortest run for which `enough` says yes, when it says yes to every longer one.
fn shortest(enough: impl Fn(u64) -> Option<bool>) -> Option<u64> {
    let mut long = 1;
    while !enough(long)? {
        long *= 2;
        if long > LONGEST_RUN {
            return None;
        }
    }
    let mut short = long / 2;
    while long - short > 1 {
        let middle = u64::midpoint(short, long);
        if enough(middle)? {
            long = middle;
        } else {
            short = middle;
        }
    }
    Some(long)
}

/// Probability that the second group's risk is below `ratio` times the first's, both posteriors
/// with the same beta prior: with 0.2, that the risk fell by at least 80 %.
///
/// By Gauss-Legendre quadrature over the first risk as sin², where the posterior is smooth; the
/// ratio 1 agrees with [`probability_greater`]. An empty group keeps its prior. `None` unless both
/// parameters are at least 1/2 and the ratio lies inside (0, 1].
#[must_use]
pub fn probability_fell_to(table: TwoGroups, ratio: f64, prior: (f64, f64)) -> Option<f64> {
    let (a, b) = prior;
    if !(a >= 0.5 && b >= 0.5 && ratio > 0.0 && ratio <= 1.0) {
        return None;
    }
    let first = (a + table.hits1() as f64, b + (table.trials1() - table.hits1()) as f64);
    let second = (a + table.hits2() as f64, b + (table.trials2() - table.hits2()) as f64);
    let below = Beta::new(second.0, second.1).ok()?;
    let scale = ln_beta(first.0, first.1);
    let density = |angle: f64| {
        let (sine, cosine) = angle.sin_cos();
        let weight = (2.0 * first.0 - 1.0) * sine.ln() + (2.0 * first.1 - 1.0) * cosine.ln();
        if weight - scale < -45.0 {
            return 0.0;
        }
        2.0 * (weight - scale).exp() * below.cdf(ratio * sine * sine)
    };
    let width = FRAC_PI_2 / 256.0;
    let mut sum = 0.0;
    for panel in 0..256 {
        let middle = (f64::from(panel) + 0.5) * width;
        for (node, weight) in GAUSS {
            let off = node * width / 2.0;
            sum += weight * (density(middle - off) + density(middle + off));
        }
    }
    Some((sum * width / 2.0).clamp(0.0, 1.0))
}

/// Positive nodes and weights of the six-point Gauss-Legendre rule (Abramowitz & Stegun 25.4).
const GAUSS: [(f64, f64); 3] = [
    (0.238_619_186_083_196_9, 0.467_913_934_572_691),
    (0.661_209_386_466_264_5, 0.360_761_573_048_138_6),
    (0.932_469_514_203_152, 0.171_324_492_379_170_35),
];

/// How many clean trials in a row show that a known risk is no longer there.
///
/// ln(1 - confidence) / ln(1 - risk), rounded up. `None` unless both lie between 0 and 1. Only
/// for a risk that is known from elsewhere; for one estimated from few hits it is too short by a
/// third and more: use [`clean_needed`].
#[must_use]
pub fn success_run(risk: f64, confidence: f64) -> Option<u64> {
    let inside = |p: f64| p > 0.0 && p < 1.0;
    if !(inside(risk) && inside(confidence)) {
        return None;
    }
    let run = ((-confidence).ln_1p() / (-risk).ln_1p()).ceil();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a ratio of two negative numbers; saturates far beyond any run of trials"
    )]
    Some(run as u64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::logs::decibans;
    use crate::numerics::tolerances::holds;

    const UNIFORM: (f64, f64) = (1.0, 1.0);

    fn table(hits1: u64, trials1: u64, hits2: u64, trials2: u64) -> TwoGroups {
        TwoGroups::new(hits1, trials1, hits2, trials2).expect("possible")
    }

    // scipy 1.17.1 betabinom.logpmf, and mpmath at 40 digits.
    #[test]
    fn log_probabilities() {
        holds("beta_binomial::ln_pmf", ln_pmf(3, 10, (2.5, 7.5)), -1.749_032_262_259_829);
        let all: f64 = (0..=12).map(|hits| ln_pmf(hits, 12, (0.3, 4.0)).exp()).sum();
        assert!((all - 1.0).abs() < 1e-12);
        assert!(ln_pmf(4, 3, UNIFORM).is_infinite());
        assert!(ln_pmf(1, 3, (0.0, 1.0)).is_nan());
    }

    // q3.betabinomial.reporter: five of five, one unknown rate each: 58.6 decibans, not 77.2.
    #[test]
    fn repeated_testimony_shares_its_rate() {
        let hit = ln_ordered(5, 5, (7.0, 3.0));
        let chance = ln_ordered(5, 5, (1.0, 49.0));
        holds("beta_binomial::ln_ordered", hit.exp(), 0.230_769_230_769_231);
        holds("beta_binomial::ln_ordered", chance, 3.162_045_337_406_052e-7_f64.ln());
        holds("beta_binomial::ln_ordered", decibans(hit - chance), 58.632_098_098_577);
    }

    // q1.betabin.perondi, .typical, .typical0 (closed form); Jeffreys' to more places than stored
    // there, and the last row, by mpmath quadrature at 20 digits.
    #[test]
    fn one_risk_above_another() {
        for (counts, jeffreys, uniform) in [
            ([7, 34, 1, 34], 0.990_597_334_500_063, 0.986_247_691_309_340),
            ([5, 30, 1, 120], 0.999_737_671_415_584, 0.999_716_297_863_606),
            ([4, 25, 0, 90], 0.999_775_390_677_237, 0.999_607_400_150_259),
            ([0, 30, 5, 40], 0.012_722_611_391_649, 0.028_778_926_181_435),
        ] {
            let [x1, n1, x2, n2] = counts;
            for (prior, want) in [(JEFFREYS, jeffreys), (UNIFORM, uniform)] {
                let got = probability_greater(table(x1, n1, x2, n2), prior).expect("a prior");
                holds("beta_binomial::probability_greater", got, want);
                let swapped = probability_greater(table(x2, n2, x1, n1), prior).expect("a prior");
                assert!((got + swapped - 1.0).abs() < 1e-12);
            }
        }
        assert_eq!(probability_greater(table(3, 9, 3, 9), JEFFREYS), Some(0.5));
        assert_eq!(probability_greater(table(0, 0, 0, 0), JEFFREYS), Some(0.5));
        assert_eq!(probability_greater(table(0, 0, 0, 0), (0.0, 1.0)), None);
    }

    // q5.predictive (Laplace: (n + 1) / (n + m + 1)), and mpmath at 40 digits.
    #[test]
    fn clean_runs() {
        for (hits, trials, run, prior, want) in [
            (0, 30, 30, UNIFORM, 0.508_196_721_311_475_4),
            (0, 30, 100, UNIFORM, 0.236_641_221_374_045_7),
            (0, 59, 100, UNIFORM, 0.375),
            (5, 40, 10, JEFFREYS, 0.274_108_071_390_851),
            (5, 40, 30, JEFFREYS, 0.039_960_490_232_035),
        ] {
            let got = predictive_clean(hits, trials, run, prior).expect("possible");
            holds("beta_binomial::predictive_clean", got, want);
        }
        assert_eq!(predictive_clean(2, 1, 1, JEFFREYS), None);
        assert_eq!(predictive_clean(0, 1, 1, (1.0, -1.0)), None);
    }

    // q5.clean_starts_needed, column "Bayes predictive", 95 %.
    #[test]
    fn how_long_a_run_proves_something() {
        for (hits, trials, want) in [
            (3, 10, 12),
            (3, 20, 26),
            (4, 20, 18),
            (5, 40, 28),
            (10, 40, 12),
            (3, 60, 80),
            (10, 100, 32),
        ] {
            let got = clean_needed(hits, trials, 0.95).expect("hits");
            holds("beta_binomial::clean_needed", got as f64, f64::from(want));
        }
        assert_eq!(clean_needed(0, 40, 0.95), None);
        assert_eq!(clean_needed(5, 4, 0.95), None);
        assert_eq!(clean_needed(1, 4, 1.0), None);
    }

    // q5.success_run: the well-known 22, 29, 45, 59, 299 (reliability 0.9.0 agrees).
    #[test]
    fn run_for_a_known_risk() {
        for (risk, confidence, want) in [
            (0.10, 0.90, 22),
            (0.10, 0.95, 29),
            (0.05, 0.90, 45),
            (0.05, 0.95, 59),
            (0.01, 0.95, 299),
            (0.20, 0.95, 14),
            (0.001, 0.95, 2995),
        ] {
            let got = success_run(risk, confidence).expect("inside");
            holds("beta_binomial::success_run", got as f64, f64::from(want));
        }
        assert_eq!(success_run(0.0, 0.95), None);
        assert_eq!(success_run(0.1, 1.0), None);
    }

    // scipy 1.17.1: integrate.quad of beta.pdf * beta.cdf(ratio * p) over quantile pieces.
    #[test]
    fn how_far_a_risk_fell() {
        for (counts, ratio, want) in [
            ([5, 40, 0, 30], 0.2, 0.777_330_665_957),
            ([9, 24, 0, 12], 0.2, 0.825_724_056_031),
            ([4, 20, 1, 20], 0.2, 0.359_744_427_860),
            ([7, 9, 0, 3], 0.5, 0.913_937_618_816),
            ([120, 400, 2, 300], 0.2, 0.999_998_660_198),
        ] {
            let [x1, n1, x2, n2] = counts;
            let got = probability_fell_to(table(x1, n1, x2, n2), ratio, JEFFREYS).expect("prior");
            holds("beta_binomial::probability_fell_to", got, want);
        }
        for counts in [[5, 40, 0, 30], [3, 9, 2, 11], [0, 4, 0, 0]] {
            let [x1, n1, x2, n2] = counts;
            let table = table(x1, n1, x2, n2);
            let fell = probability_fell_to(table, 1.0, JEFFREYS).expect("prior");
            let greater = probability_greater(table, JEFFREYS).expect("prior");
            holds("beta_binomial::probability_fell_to", fell, greater);
        }
        assert_eq!(probability_fell_to(table(1, 2, 0, 2), 0.0, JEFFREYS), None);
    }

    // q5.clean_starts_needed (5/40: 28 at 95 %; 4/20: 18) by its other name, and a known risk:
    // q5.success_run, .10 at .90: 22.
    #[test]
    fn first_hits() {
        for (risk, chance, want) in
            [((5.5, 35.5), 0.95, 28.0), ((4.5, 16.5), 0.95, 18.0), ((1e9, 9e9), 0.9, 22.0)]
        {
            let got = first_hit_within(risk, chance).expect("a risk");
            holds("beta_binomial::first_hit_within", got as f64, want);
        }
        assert_eq!(first_hit_within((0.0, 1.0), 0.9), None);
        assert_eq!(first_hit_within((1.0, 1.0), 1.0), None);
    }
}
