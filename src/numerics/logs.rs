//! Logarithms of factorials, of probabilities and of odds.
//!
//! In: counts and natural logarithms. Out: natural logarithms, decibans, normalised weights.
//! Refuses weights that have no sum (all zero, one infinite, one not a number) with `None`.

use std::f64::consts::LN_10;

use statrs::function::gamma::ln_gamma;

/// ln n!. Absolute error grows with the value: about 1e-9 at n = 100 000.
#[must_use]
pub fn ln_factorial(n: u64) -> f64 {
    // ln_gamma is a series and leaves about 1e-16 where the answer is exactly 0.
    if n < 2 { 0.0 } else { ln_gamma(n as f64 + 1.0) }
}

/// ln of the number of ways to choose `k` of `n`; minus infinity when `k > n` (there is none).
#[must_use]
pub fn ln_choose(n: u64, k: u64) -> f64 {
    if k > n {
        return f64::NEG_INFINITY;
    }
    if k == 0 || k == n {
        return 0.0;
    }
    ln_factorial(n) - ln_factorial(k) - ln_factorial(n - k)
}

/// ln of the beta function B(a, b).
///
/// Defined for `a > 0` and `b > 0`; not a number otherwise.
#[must_use]
pub fn ln_beta(a: f64, b: f64) -> f64 {
    if !(a > 0.0 && b > 0.0) {
        return f64::NAN;
    }
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

/// ln of the sum of the exponentials of `terms`.
///
/// Shifted by the largest term, so that nothing overflows and the largest never underflows.
/// An empty slice, or one of minus infinities only, is the empty sum: minus infinity. A term
/// that is not a number gives not a number, plus infinity gives plus infinity.
#[must_use]
pub fn log_sum_exp(terms: &[f64]) -> f64 {
    let largest = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if largest.is_infinite() {
        // f64::max skips what is not a number; a sum must not.
        return if terms.iter().any(|t| t.is_nan()) { f64::NAN } else { largest };
    }
    largest + terms.iter().map(|t| (t - largest).exp()).sum::<f64>().ln()
}

/// Log weights as probabilities that add up to 1, in the same order.
///
/// `None` when they have no usable sum: empty, all zero (minus infinity), an infinite weight, or
/// one that is not a number.
#[must_use]
pub fn normalise(log_weights: &[f64]) -> Option<Vec<f64>> {
    // Divided by the sum itself rather than by the exponential of its logarithm: far from 0 that
    // logarithm has lost the digits that make the shares add up to 1.
    let largest = log_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shares: Vec<f64> = log_weights.iter().map(|weight| (weight - largest).exp()).collect();
    let total: f64 = shares.iter().sum();
    let usable = total.is_finite() && total > 0.0;
    usable.then(|| shares.iter().map(|share| share / total).collect())
}

/// A natural logarithm of a ratio in decibans (Good 1950): 10 decibans are a factor of ten.
#[must_use]
pub fn decibans(ln_ratio: f64) -> f64 {
    ln_ratio * (10.0 / LN_10)
}

/// Decibans as the natural logarithm of a ratio; undoes [`decibans`].
#[must_use]
pub fn ln_from_decibans(weight_db: f64) -> f64 {
    weight_db * (LN_10 / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // Outside values of this file: mpmath loggamma/binomial/beta at 40 digits.
    #[test]
    fn factorials() {
        for (n, want) in [
            (0, 0.0),
            (1, 0.0),
            (5, 4.787_491_742_782_046),
            (20, 42.335_616_460_753_485),
            (171, 711.714_725_802_289_9),
            (100_000, 1_051_299.221_899_122),
        ] {
            holds("logs::ln_factorial", ln_factorial(n), want);
        }
    }

    #[test]
    fn choices() {
        holds("logs::ln_choose", ln_choose(60, 20), 35.971_917_248_160_71);
        holds("logs::ln_choose", ln_choose(100_000, 1200), 6_495.731_370_863_725);
        holds("logs::ln_choose", ln_choose(7, 7), 0.0);
        assert!(ln_choose(3, 4).is_infinite());
    }

    #[test]
    fn betas() {
        holds("logs::ln_beta", ln_beta(4.5, 16.5), -10.604_125_374_870_225);
        holds("logs::ln_beta", ln_beta(0.5, 90.5), -1.678_928_773_985_096);
        holds("logs::ln_beta", ln_beta(0.5, 0.5), std::f64::consts::PI.ln());
        assert!(ln_beta(0.0, 1.0).is_nan());
    }

    // scipy 1.17.1 special.logsumexp and special.softmax.
    #[test]
    fn sums_of_tiny_weights() {
        let weights = [-1000.0, -1001.0, -1002.5];
        holds("logs::log_sum_exp", log_sum_exp(&weights), -999.628_460_968_147_4);
        let shares = normalise(&weights).expect("finite weights");
        for (got, want) in shares.iter().zip([0.689_672_09, 0.253_716_18, 0.056_611_73]) {
            holds("logs::normalise", *got, want);
        }
        assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-14);
    }

    #[test]
    fn weights_without_a_sum() {
        assert!(log_sum_exp(&[]).is_infinite());
        assert!(log_sum_exp(&[f64::NEG_INFINITY, f64::NAN]).is_nan());
        assert_eq!(normalise(&[]), None);
        assert_eq!(normalise(&[f64::NEG_INFINITY; 3]), None);
        assert_eq!(normalise(&[0.0, f64::INFINITY]), None);
        assert_eq!(normalise(&[0.0, f64::NAN]), None);
        assert_eq!(normalise(&[f64::NEG_INFINITY, -7.0]), Some(vec![0.0, 1.0]));
    }

    // Good 1950: a ratio of 10 is 10 decibans, a ratio of 2 is 3.0103.
    #[test]
    fn decibans_and_back() {
        holds("logs::decibans", decibans(2f64.ln()), 3.010_299_956_639_812);
        holds("logs::ln_from_decibans", ln_from_decibans(10.0), LN_10);
        holds("logs::ln_from_decibans", ln_from_decibans(decibans(-0.7)), -0.7);
    }
}
