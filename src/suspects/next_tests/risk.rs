//! How probable an incident is at the starts of a test: as the vehicle stands, and once the conditions of
//! the fault have been brought about.
//!
//! A risk is a Beta distribution over the probability at one start. A test under a condition is an action of
//! its own, with the set-up in its price: a cold night tells nothing, but what follows it does (METHODS 4.4).

use crate::conditions::{ConditionRisk, Exposure};
use crate::numerics::beta_binomial::{JEFFREYS, ln_ordered};
use crate::read::{TestKind, TestTable};

/// Up to this p-value a condition counts as borne out.
const BORNE_OUT: f64 = 0.05;
/// Where no condition is borne out, a set-up is worth a thought below this risk at a start. (J)
const RARE: f64 = 0.3;
/// A guessed risk is worth no more than so many starts. (J)
const GUESSED: f64 = 4.0;

/// The risk under a set-up.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trigger {
    pub beta: (f64, f64),
    pub setting_up: TestKind,
    /// What to do, as the end of a sentence.
    pub words: String,
}

/// The risk with and without a set-up.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Risk {
    pub now: (f64, f64),
    pub under: Vec<Trigger>,
}

impl Risk {
    pub(super) fn new(
        conditions: &[ConditionRisk],
        exposures: &[Exposure],
        table: &TestTable,
    ) -> Risk {
        let best = conditions.iter().find(|c| {
            c.p_value <= BORNE_OUT && c.starts_with > 0 && c.risk_ratio.is_some_and(|r| r > 1.0)
        });
        if let Some((c, (setting_up, words))) = best.and_then(|c| Some((c, set_up(&c.condition)?)))
        {
            let words = format!("{words} (the fault comes with: {})", c.condition);
            let beta = posterior(c.incidents_with, c.starts_with);
            let trigger = Trigger { beta, setting_up, words };
            let now = posterior(c.incidents_without, c.starts_without);
            return Risk { now, under: vec![trigger] };
        }
        let judged = || exposures.iter().filter(|e| e.judged);
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let hits = judged().filter(|e| e.incidents > 0).count();
        let now = posterior(count(hits), count(judged().count()));
        let mut under = Vec::new();
        if mean(now) < RARE {
            for (kind, words) in [
                (TestKind::Spray, "after spraying the wiring with water"),
                (TestKind::ColdSoak, "after a cold night, wiring wetted"),
            ] {
                let raised = with_odds(now, table.of(kind).raises_odds, GUESSED);
                let words = words.to_owned();
                under.push(Trigger { beta: raised, setting_up: kind, words });
            }
        }
        Risk { now, under }
    }
}

/// How a condition of the declared family can be brought about; `None` for one that cannot.
fn set_up(condition: &str) -> Option<(TestKind, &'static str)> {
    match (condition.contains("wet"), condition.contains("ambient"), condition) {
        (true, true, _) => Some((TestKind::ColdSoak, "after a cold night, wiring wetted")),
        (true, false, _) | (_, _, "washed") => {
            Some((TestKind::Spray, "after spraying the wiring with water"))
        }
        (false, true, _) => Some((TestKind::ColdSoak, "after a cold night")),
        (_, _, "soak_h >= 6" | "first start of the day") => {
            Some((TestKind::ColdSoak, "after a night at rest"))
        }
        _ => None,
    }
}

fn posterior(hits: u32, trials: u32) -> (f64, f64) {
    let misses = trials.saturating_sub(hits);
    (JEFFREYS.0 + f64::from(hits), JEFFREYS.1 + f64::from(misses))
}

fn mean(beta: (f64, f64)) -> f64 {
    beta.0 / (beta.0 + beta.1)
}

/// The same spread of knowledge, at most worth `most` starts, with the odds of the mean multiplied.
pub(super) fn with_odds(beta: (f64, f64), factor: f64, most: f64) -> (f64, f64) {
    let worth = (beta.0 + beta.1).min(most);
    let odds = factor * beta.0 / beta.1;
    let raised = odds / (1.0 + odds);
    (worth * raised, worth * (1.0 - raised))
}

/// Probability that `starts` in a row are without incident although the cause is there:
/// B(a, b + m) / B(a, b).
pub(super) fn clean(beta: (f64, f64), starts: u32) -> f64 {
    ln_ordered(0, u64::from(starts), beta).exp().clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Outside values: scipy 1.17.1 betaln, risk Beta(4.5, 16.5) (METHODS 4.3, `q4.vehicle.eig`).
    #[test]
    fn clean_starts_by_luck() {
        for (starts, want) in [
            (1, 0.785_714_285_714_285_6),
            (5, 0.334_935_461_956_521_74),
            (10, 0.139_104_711_789_002_86),
            (15, 0.066_728_989_840_562_93),
            (30, 0.012_470_767_088_189_515),
        ] {
            assert!((clean((4.5, 16.5), starts) - want).abs() < 1e-9, "{starts}");
        }
    }

    #[test]
    fn odds_are_raised_and_a_guess_stays_a_guess() {
        let (a, b) = with_odds((2.0, 18.0), 3.0, 4.0);
        assert!((a + b - 4.0).abs() < 1e-12 && (a / b - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn every_condition_of_the_family_is_set_up_or_known_not_to_be() {
        let known = crate::conditions::FAMILY.map(|c| (c.name, set_up(c.name).map(|s| s.0)));
        let expected = [
            Some(TestKind::ColdSoak),
            Some(TestKind::Spray),
            Some(TestKind::ColdSoak),
            Some(TestKind::ColdSoak),
            None,
            Some(TestKind::ColdSoak),
            Some(TestKind::Spray),
            None,
        ];
        assert_eq!(known.map(|k| k.1), expected, "{known:?}");
    }
}
