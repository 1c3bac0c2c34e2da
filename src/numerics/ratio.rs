//! The ratio of two risks and how far the counts let it range.
//!
//! In: [`TwoGroups`] and a confidence. Out: the plain ratio, a ratio that is finite with empty
//! cells, and score intervals. No half is ever added silently: the score intervals need none, and
//! an end that the counts do not bound is `None`. Refuses tables with an empty group.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::table::TwoGroups;

/// An interval of a ratio: `low` is 0 and `high` is `None` where the counts give no bound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioInterval {
    /// Lower end, at least 0.
    pub low: f64,
    /// Upper end; `None` when unbounded.
    pub high: Option<f64>,
}

/// Where the search for an end gives up: a ratio of e^60 is no ratio that counts can bound.
const FARTHEST: f64 = 60.0;

/// The plain ratio of the two risks.
///
/// `None` when it is not a finite number: an empty group, or no hit in the second group.
#[must_use]
pub fn risk_ratio(table: TwoGroups) -> Option<f64> {
    if table.trials1() == 0 || table.trials2() == 0 || table.hits2() == 0 {
        return None;
    }
    let risk1 = table.hits1() as f64 / table.trials1() as f64;
    Some(risk1 / (table.hits2() as f64 / table.trials2() as f64))
}

/// The ratio of the posterior means (hits + 1/2) / (trials + 1) under Jeffreys' prior.
///
/// Finite and positive for every table, so it can stand where the plain ratio is infinite. It is
/// smaller there than the ratio of posterior medians: the prior's long tail towards a risk of 0
/// moves a median far more than a mean. `None` when a group is empty.
#[must_use]
pub fn shrunk_ratio(table: TwoGroups) -> Option<f64> {
    if table.trials1() == 0 || table.trials2() == 0 {
        return None;
    }
    let mean = |hits: u64, trials: u64| (hits as f64 + 0.5) / (trials as f64 + 1.0);
    Some(mean(table.hits1(), table.trials1()) / mean(table.hits2(), table.trials2()))
}

/// Score interval of the ratio (Koopman 1984).
///
/// `confidence` lies between 0 and 1, as in 0.95. No hit in the first group: `low` is 0. No hit in
/// the second: `high` is `None`. No hit at all: from 0 without bound. `None` when a group is empty
/// or the confidence is not between 0 and 1.
#[must_use]
pub fn koopman(table: TwoGroups, confidence: f64) -> Option<RatioInterval> {
    score_interval(table, critical_value(confidence)?)
}

/// Score interval with the variance of Miettinen & Nurminen 1985: wider by N / (N - 1).
///
/// Degenerate tables as for [`koopman`].
#[must_use]
pub fn miettinen_nurminen(table: TwoGroups, confidence: f64) -> Option<RatioInterval> {
    let all = (table.trials1() + table.trials2()) as f64;
    score_interval(table, critical_value(confidence)? * all / (all - 1.0))
}

fn critical_value(confidence: f64) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    Some(ChiSquared::new(1.0).ok()?.inverse_cdf(confidence))
}

fn score_interval(table: TwoGroups, critical: f64) -> Option<RatioInterval> {
    if table.trials1() == 0 || table.trials2() == 0 {
        return None;
    }
    // The score is 0 at the estimate and grows away from it on both sides.
    let estimate = match (table.hits1(), table.hits2()) {
        (0, 0) => return Some(RatioInterval { low: 0.0, high: None }),
        (0, _) => -FARTHEST,
        (_, 0) => FARTHEST,
        _ => risk_ratio(table)?.ln(),
    };
    let low = match table.hits1() {
        0 => 0.0,
        _ => crossing(table, critical, estimate, -1.0).map_or(0.0, f64::exp),
    };
    let high = match table.hits2() {
        0 => None,
        _ => crossing(table, critical, estimate, 1.0).map(f64::exp),
    };
    Some(RatioInterval { low, high })
}

/// ln of the ratio beyond `from`, in the given direction, at which the score is critical.
fn crossing(table: TwoGroups, critical: f64, from: f64, direction: f64) -> Option<f64> {
    let (mut inside, mut outside) = (from, from);
    let mut stride = 0.5;
    while score(table, outside) <= critical {
        if outside * direction > FARTHEST {
            return None;
        }
        inside = outside;
        outside += direction * stride;
        stride *= 1.5;
    }
    while (outside - inside).abs() > 1e-12 * inside.abs().max(1.0) {
        let middle = f64::midpoint(inside, outside);
        if score(table, middle) <= critical {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    Some(f64::midpoint(inside, outside))
}

/// The squared score statistic of the hypothesis that the ratio is e^`ln_ratio`.
fn score(table: TwoGroups, ln_ratio: f64) -> f64 {
    let ratio = ln_ratio.exp();
    let (x1, n1) = (table.hits1() as f64, table.trials1() as f64);
    let (x2, n2) = (table.hits2() as f64, table.trials2() as f64);
    // Most likely second risk under the hypothesis: the smaller root of a p^2 - b p + c = 0, in
    // the form that does not subtract two nearly equal numbers.
    let a = (n1 + n2) * ratio;
    let b = n1 * ratio + x1 + n2 + x2 * ratio;
    let c = x1 + x2;
    let risk2 = 2.0 * c / (b + (b * b - 4.0 * a * c).max(0.0).sqrt());
    let risk1 = (ratio * risk2).min(1.0);
    let variance = risk1 * (1.0 - risk1) / n1 + ratio * ratio * risk2 * (1.0 - risk2).max(0.0) / n2;
    let distance = x1 / n1 - ratio * x2 / n2;
    if variance > 0.0 {
        distance * distance / variance
    } else if distance.abs() < 1e-12 {
        0.0
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    fn table(hits1: u64, trials1: u64, hits2: u64, trials2: u64) -> TwoGroups {
        TwoGroups::new(hits1, trials1, hits2, trials2).expect("possible")
    }

    const UNBOUNDED: f64 = f64::INFINITY;

    // q1.rr.koopman1984 (Koopman 1984: 2.94 to 7.15), .perondi (Fagerland, Lydersen & Laake 2017),
    // .ritland, .zero2 (contingencytables 3.0.0), .typical, .typical0; digits: statsmodels 0.15.0
    // confint_proportions_2indep(compare='ratio', method='score') and the same inversion by root
    // finding where a cell is empty. Each row: Koopman low and high, Miettinen-Nurminen the same.
    const REFERENCE: [([u64; 4], [f64; 4]); 6] = [
        ([36, 40, 16, 80], [2.939_569_192_2, 7.152_223_434_9, 2.934_646_459_5, 7.166_298_299_5]),
        ([7, 34, 1, 34], [1.220_852_853_5, 42.575_717_609_8, 1.208_567_975_1, 43.032_972_238_7]),
        ([0, 16, 15, 72], [0.0, 0.961_902_051_0, 0.0, 0.971_450_732_5]),
        ([3, 4, 0, 2], [0.825_724_041_6, UNBOUNDED, 0.711_266_568_8, UNBOUNDED]),
        ([5, 30, 1, 120], [3.189_438_152_5, 126.003_114_663_8, 3.174_017_704_4, 126.617_223_132_5]),
        ([4, 25, 0, 90], [3.833_747_111_0, UNBOUNDED, 3.800_786_967_8, UNBOUNDED]),
    ];

    #[test]
    fn published_intervals() {
        for ([x1, n1, x2, n2], want) in REFERENCE {
            let table = table(x1, n1, x2, n2);
            let both = [
                ("ratio::koopman", koopman(table, 0.95), &want[..2]),
                ("ratio::miettinen_nurminen", miettinen_nurminen(table, 0.95), &want[2..]),
            ];
            for (statistic, got, want) in both {
                let got = got.expect("two groups");
                holds(statistic, got.low, want[0]);
                match got.high {
                    Some(high) => holds(statistic, high, want[1]),
                    None => assert!(want[1].is_infinite(), "{statistic} {x1}/{n1} {x2}/{n2}"),
                }
            }
        }
    }

    #[test]
    fn degenerate_tables() {
        for empty in [table(0, 0, 1, 4), table(1, 4, 0, 0)] {
            assert_eq!(koopman(empty, 0.95), None);
            assert_eq!(risk_ratio(empty), None);
            assert_eq!(shrunk_ratio(empty), None);
        }
        let nothing = RatioInterval { low: 0.0, high: None };
        assert_eq!(koopman(table(0, 5, 0, 9), 0.95), Some(nothing));
        assert_eq!(koopman(table(1, 5, 1, 9), 1.0), None);
        assert_eq!(koopman(table(1, 5, 1, 9), f64::NAN), None);
        let all = koopman(table(5, 5, 9, 9), 0.95).expect("two groups");
        assert!(all.low < 1.0 && all.high.is_some_and(|high| high > 1.0), "{all:?}");
    }

    #[test]
    fn exchanged_groups_give_the_reciprocal_interval() {
        for n1 in [1, 4, 9] {
            for n2 in [2, 7, 12] {
                for x1 in 0..=n1 {
                    for x2 in 0..=n2 {
                        let here = koopman(table(x1, n1, x2, n2), 0.9).expect("two groups");
                        let there = koopman(table(x2, n2, x1, n1), 0.9).expect("two groups");
                        let high = there.high.map_or(0.0, f64::recip);
                        assert!((here.low - high).abs() < 1e-9, "{x1}/{n1} {x2}/{n2}");
                        if let Some(ratio) = risk_ratio(table(x1, n1, x2, n2)) {
                            assert!(here.low <= ratio + 1e-9);
                            assert!(here.high.is_none_or(|high| ratio <= high + 1e-9));
                        }
                    }
                }
            }
        }
    }

    // q1.rr.typical: 5/30 against 1/120 is twentyfold. Means of Beta(7.5, 2.5) and Beta(.5, 32.5),
    // scipy 1.17.1: .75 and .0151515.
    #[test]
    fn ratios() {
        holds("ratio::risk_ratio", risk_ratio(table(5, 30, 1, 120)).expect("hits"), 20.0);
        assert_eq!(risk_ratio(table(7, 9, 0, 32)), None);
        assert_eq!(risk_ratio(table(0, 9, 2, 32)), Some(0.0));
        holds("ratio::shrunk_ratio", shrunk_ratio(table(7, 9, 0, 32)).expect("groups"), 49.5);
    }
}
