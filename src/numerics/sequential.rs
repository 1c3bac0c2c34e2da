//! Trials watched one after another, with leave to stop at any time.
//!
//! In: two risks to tell apart and the error probabilities, or the counts so far. Out: the lines
//! of Wald's sequential probability ratio test (Wald 1947), and the weight of the trials so far
//! for "unchanged" against "cured" where the unchanged risk was itself estimated. Every trial
//! counts, hits too: a count that is begun anew after each hit proves anything in time.

use super::beta_binomial::ln_ordered;

/// The lines between which nothing is decided: after n trials, x hits accept at or below
/// `slope * n - accept`, and reject at or above `slope * n + reject`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lines {
    /// How far the lower line starts below 0.
    pub accept: f64,
    /// How far the upper line starts above 0.
    pub reject: f64,
    /// Hits a trial at which both lines rise.
    pub slope: f64,
}

/// Wald's lines for a good risk and a bad one, `alpha` the probability of rejecting the good one,
/// `beta` that of accepting the bad one.
///
/// `None` unless 0 < good < bad < 1, both errors lie above 0 and add up to less than 1.
#[must_use]
pub fn sprt_lines(good: f64, bad: f64, alpha: f64, beta: f64) -> Option<Lines> {
    let risks = good > 0.0 && good < bad && bad < 1.0;
    let errors = alpha > 0.0 && beta > 0.0 && alpha + beta < 1.0;
    if !(risks && errors) {
        return None;
    }
    let scale = (bad / good).ln() + ((-good).ln_1p() - (-bad).ln_1p());
    Some(Lines {
        accept: ((1.0 - alpha) / beta).ln() / scale,
        reject: ((1.0 - beta) / alpha).ln() / scale,
        slope: ((-good).ln_1p() - (-bad).ln_1p()) / scale,
    })
}

/// ln of how much better "unchanged" explains the trials than "cured".
///
/// Unchanged: the risk is still that of the earlier trials, known only as far as their
/// `posterior` (the two parameters of a beta distribution) tells. Cured: the risk is `cured`.
/// The ratio of the two is a martingale under either, so it may be looked at after every trial: a
/// cured risk lifts it to ln(1/α) with probability at most α however long one waits (Ville 1939),
/// and an unchanged one lowers it to ln(β) with probability at most β. `None` for more hits than
/// trials, a risk outside (0, 1) or parameters that are not positive.
#[must_use]
pub fn unchanged_against_cured(
    hits: u64,
    trials: u64,
    posterior: (f64, f64),
    cured: f64,
) -> Option<f64> {
    let misses = trials.checked_sub(hits)?;
    let fits = cured > 0.0 && cured < 1.0 && posterior.0 > 0.0 && posterior.1 > 0.0;
    let if_cured = hits as f64 * cured.ln() + misses as f64 * (-cured).ln_1p();
    fits.then(|| ln_ordered(hits, trials, posterior) - if_cured)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // q5.sprt.nist: NIST/SEMATECH e-Handbook 6.2.6 prints -0.939 + 0.0397 n and 1.205 + 0.0397 n.
    #[test]
    fn handbook_lines() {
        let lines = sprt_lines(0.01, 0.10, 0.05, 0.10).expect("risks");
        holds("sequential::sprt_lines", lines.accept, 0.938_861_602_566_659);
        holds("sequential::sprt_lines", lines.reject, 1.205_378_646_300_54);
        holds("sequential::sprt_lines", lines.slope, 0.039_747_432_210_872);
        let first = (1..).find(|n| lines.slope * f64::from(*n) >= lines.accept);
        assert_eq!(first, Some(24));
        // q5.sprt.fix: .005 against .15, both errors .05: 19 clean trials in a row.
        let lines = sprt_lines(0.005, 0.15, 0.05, 0.05).expect("risks");
        let first = (1..).find(|n| lines.slope * f64::from(*n) >= lines.accept);
        assert_eq!(first, Some(19));
        assert_eq!(sprt_lines(0.1, 0.1, 0.05, 0.05), None);
        assert_eq!(sprt_lines(0.01, 0.1, 0.5, 0.5), None);
    }

    // q5.sprt.fix: a risk known to be .15 (a posterior of huge counts) adds 3.4012 for a hit and
    // takes .15751 for a clean trial.
    #[test]
    fn steps_of_a_known_risk() {
        let known = (1.5e6, 8.5e6);
        let step =
            |hits, trials| unchanged_against_cured(hits, trials, known, 0.005).expect("possible");
        assert!((step(1, 1) - 3.401_197_381_662).abs() < 1e-5);
        assert!((step(0, 1) + 0.157_506_387_674).abs() < 1e-5);
        // q5.clean_starts_needed: 5/40 and 28 clean trials against a risk of nearly 0: 5 %.
        let weight = unchanged_against_cured(0, 28, (5.5, 35.5), 1e-12).expect("possible");
        let fewer = unchanged_against_cured(0, 27, (5.5, 35.5), 1e-12).expect("possible");
        assert!(weight <= 0.05f64.ln() && fewer > 0.05f64.ln());
        // q5.posterior_fixed: 4/20 before, 20 clean, prior .6: .976 882 577 745 140.
        let weight = unchanged_against_cured(0, 20, (4.5, 16.5), 1e-15).expect("possible").exp();
        let fixed = 0.6 / (0.6 + 0.4 * weight);
        holds("sequential::unchanged_against_cured", fixed, 0.976_882_577_745_14);
        assert_eq!(unchanged_against_cured(2, 1, known, 0.01), None);
        assert_eq!(unchanged_against_cured(0, 1, known, 0.0), None);
    }

    // Anytime validity: watched for 400 trials, a cured risk is called unchanged, and an unchanged
    // one (drawn from the posterior) cured, no more often than stated. Seed 5, 2000 runs each.
    #[test]
    fn looking_every_day_is_allowed() {
        let mut state = 5u64;
        let mut uniform = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        let posterior = (4.5, 16.5);
        let beta = |uniform: &mut dyn FnMut() -> f64| {
            use statrs::distribution::{Beta, ContinuousCDF};
            Beta::new(4.5, 16.5).map_or(0.0, |beta| beta.inverse_cdf(uniform()))
        };
        let (mut false_alarms, mut false_cures) = (0u32, 0u32);
        for run in 0..4000 {
            let cured = run % 2 == 0;
            let risk = if cured { 0.005 } else { beta(&mut uniform) };
            let mut hits = 0;
            for trial in 1..=400 {
                hits += u64::from(uniform() < risk);
                let weight = unchanged_against_cured(hits, trial, posterior, 0.005);
                let weight = weight.expect("possible");
                if weight >= 20f64.ln() {
                    false_alarms += u32::from(cured);
                    break;
                }
                if weight <= 0.05f64.ln() {
                    false_cures += u32::from(!cured);
                    break;
                }
            }
        }
        assert!(false_alarms <= 115, "{false_alarms} of 2000 false alarms");
        assert!(false_cures <= 115, "{false_cures} of 2000 false cures");
    }
}
