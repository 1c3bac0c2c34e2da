//! Whether a rate changed once along a row of spans, and where.
//!
//! In: events and what would be expected (or the time watched) by span, in order. Out: the probability
//! of each place of a single change, the rates before and after it, and the Bayes factor for a change
//! against one rate throughout. Both rates have the prior Gamma(1, 1), so the expected numbers should be
//! such that a rate of 1 is the ordinary one. Events may be sums of probabilities.

use statrs::function::gamma::ln_gamma;

use super::logs::{log_sum_exp, normalise};

/// A single change of a rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// For each span but the last: probability that it is the last one of the old rate, if there was
    /// a change.
    pub probabilities: Vec<f64>,
    /// The most probable last span of the old rate; the earliest one of equals.
    pub last_before: usize,
    /// Events by expected, up to it.
    pub before: f64,
    /// Events by expected, after it.
    pub after: f64,
    /// log10 of the Bayes factor: above 0 speaks for a change somewhere.
    pub log10_bayes: f64,
}

/// A single change point with conjugate priors and every place as probable as another (Raftery &
/// Akman 1986; Carlin, Gelfand & Smith 1992).
///
/// `None` with fewer than two spans, slices of different length, negative counts, or nothing expected.
#[must_use]
pub fn single_change(events: &[f64], expected: &[f64]) -> Option<Change> {
    let usable = |all: &[f64]| all.iter().all(|one| one.is_finite() && *one >= 0.0);
    let total: (f64, f64) = (events.iter().sum(), expected.iter().sum());
    let alike = events.len() == expected.len() && events.len() >= 2;
    if !alike || !usable(events) || !usable(expected) || total.1 <= 0.0 {
        return None;
    }
    let ln_marginal = |x: f64, t: f64| ln_gamma(1.0 + x) - (1.0 + x) * (1.0 + t).ln();
    let (mut x, mut t) = (0.0, 0.0);
    let mut sums = Vec::with_capacity(events.len() - 1);
    for (event, expect) in events.iter().zip(expected).take(events.len() - 1) {
        x += event;
        t += expect;
        sums.push((x, t));
    }
    let weights: Vec<f64> = sums
        .iter()
        .map(|(x, t)| ln_marginal(*x, *t) + ln_marginal(total.0 - x, total.1 - t))
        .collect();
    let probabilities = normalise(&weights)?;
    let mut last_before = 0;
    for (place, weight) in weights.iter().enumerate() {
        if weights.get(last_before).is_none_or(|best| weight > best) {
            last_before = place;
        }
    }
    let (x, t) = *sums.get(last_before)?;
    let ratio = |x: f64, t: f64| if t > 0.0 { x / t } else { f64::NAN };
    let mean = log_sum_exp(&weights) - (weights.len() as f64).ln();
    Some(Change {
        probabilities,
        last_before,
        before: ratio(x, t),
        after: ratio(total.0 - x, total.1 - t),
        log10_bayes: (mean - ln_marginal(total.0, total.1)) / std::f64::consts::LN_10,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    /// Coal-mining disasters by year, 1851 to 1962 (Jarrett 1979).
    const COAL: [u8; 112] = [
        4, 5, 4, 1, 0, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4,
        2, 5, 2, 2, 3, 4, 2, 1, 3, 2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2,
        0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 2, 1, 0, 0, 0, 1, 1, 0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2,
        3, 3, 0, 0, 0, 1, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0, 1,
    ];

    // q6.changepoint.coal: last year of the old rate 1891, probability .245, rates 3.098 and .901,
    // log10 Bayes factor 12.569 (scipy 1.17.1; Raftery & Akman 1986, Carlin et al. 1992 agree).
    #[test]
    fn published_coal_mining_disasters() {
        let events: Vec<f64> = COAL.iter().map(|one| f64::from(*one)).collect();
        let found = single_change(&events, &[1.0; 112]).expect("112 years");
        assert_eq!(1851 + found.last_before, 1891);
        let share = found.probabilities[found.last_before];
        holds("change_point::single_change", share, 0.245_020_171_993_866_2);
        holds("change_point::single_change", found.before, 3.097_560_975_609_756);
        holds("change_point::single_change", found.after, 0.901_408_450_704_225_4);
        holds("change_point::single_change", found.log10_bayes, 12.569_458_710_729_178);
        assert!((found.probabilities.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn one_rate_speaks_against_a_change() {
        let found = single_change(&[2.0; 30], &[2.0; 30]).expect("thirty spans");
        assert!(found.log10_bayes < 0.0);
        assert_eq!(single_change(&[1.0], &[1.0]), None);
        assert_eq!(single_change(&[1.0, 2.0], &[0.0, 0.0]), None);
        assert_eq!(single_change(&[1.0, -2.0], &[1.0, 1.0]), None);
    }
}
