//! The binomial tail: how likely so many hits or more are by chance.
//!
//! In: hits, trials, the probability of one hit. Out: the logarithm of the upper tail, summed itself and never
//! taken as one less the lower tail. Refuses probabilities outside 0 to 1.

use super::logs::{ln_choose, log_sum_exp};

/// ln P(X ≥ hits) for X binomial; 0 for no hits, minus infinity for more hits than trials.
#[must_use]
pub fn ln_upper(hits: u64, trials: u64, p: f64) -> Option<f64> {
    if p.is_nan() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    if hits == 0 {
        return Some(0.0);
    }
    if hits > trials || p <= 0.0 {
        return Some(f64::NEG_INFINITY);
    }
    if p >= 1.0 {
        return Some(0.0);
    }
    let (hit, miss) = (p.ln(), (-p).ln_1p());
    let terms: Vec<f64> = (hits..=trials)
        .map(|k| ln_choose(trials, k) + k as f64 * hit + (trials - k) as f64 * miss)
        .collect();
    Some(log_sum_exp(&terms).min(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // Whole numbers over powers of two: 56/2¹⁰, 21700/2²⁰; (1/3)⁵; 1 − (9/10)⁷.
    #[test]
    fn exact_tails() {
        for (hits, trials, p, want) in [
            (8, 10, 0.5, 56.0f64 / 1024.0),
            (15, 20, 0.5, 21_700.0 / 1_048_576.0),
            (5, 5, 1.0 / 3.0, 1.0 / 243.0),
            (1, 7, 0.1, 1.0 - 0.9f64.powi(7)),
        ] {
            holds("binomial::ln_upper", ln_upper(hits, trials, p).expect("p"), want.ln());
        }
        assert_eq!(ln_upper(0, 5, 0.2), Some(0.0));
        assert_eq!(ln_upper(6, 5, 0.2), Some(f64::NEG_INFINITY));
        assert_eq!(ln_upper(1, 5, 1.5), None);
    }
}
