//! What an observation is worth before it is made: in bits, in losses avoided, and in which order to act.
//!
//! In: probabilities of hypotheses, `likelihood[h][o]` the probability of outcome `o` under hypothesis `h`,
//! `loss[a][h]` the loss of action `a` under hypothesis `h`. Out: bits, losses, an order. `None` for
//! shapes that do not fit, and for values that are no probabilities or not finite.

use std::cmp::Ordering;

/// Entropy in bits (Shannon 1948) of weights that add up to their own total, times that total.
///
/// With weights that add up to 1 this is the entropy itself. With the weights of one outcome, the joint
/// probabilities, it is that outcome's share of the entropy that remains, so that the shares of
/// all outcomes add up. Weights of 0 add nothing; no weight at all gives 0.
#[must_use]
pub fn entropy(weights: &[f64]) -> f64 {
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return 0.0;
    }
    let own = |w: &f64| if *w > 0.0 { -w * (w / total).log2() } else { 0.0 };
    weights.iter().map(own).sum::<f64>().max(0.0)
}

/// Expected information of an observation in bits: the entropy of the hypotheses less what is expected to
/// remain of it (Lindley 1956). Never below 0.
#[must_use]
pub fn expected_information(prior: &[f64], likelihood: &[Vec<f64>]) -> Option<f64> {
    let joint = joint(prior, likelihood)?;
    let remains: f64 = joint.iter().map(|outcome| entropy(outcome)).sum();
    Some((entropy(prior) - remains).max(0.0))
}

/// The least expected loss that an action has.
#[must_use]
pub fn least_loss(weights: &[f64], loss: &[Vec<f64>]) -> Option<f64> {
    let mut least: Option<f64> = None;
    for action in loss {
        if action.len() != weights.len() {
            return None;
        }
        let expected: f64 = action.iter().zip(weights).map(|(l, w)| l * w).sum();
        if !expected.is_finite() {
            return None;
        }
        least = Some(least.map_or(expected, |so_far| so_far.min(expected)));
    }
    least
}

/// Expected value of sample information: by how much an observation is expected to lower the least
/// expected loss, its own cost not counted (Raiffa & Schlaifer 1961).
#[must_use]
pub fn sample_value(prior: &[f64], likelihood: &[Vec<f64>], loss: &[Vec<f64>]) -> Option<f64> {
    let without = least_loss(prior, loss)?;
    let mut with = 0.0;
    for outcome in joint(prior, likelihood)? {
        with += least_loss(&outcome, loss)?;
    }
    Some((without - with).max(0.0))
}

/// Expected value of perfect information: what an observation that never errs would be worth.
#[must_use]
pub fn perfect_value(prior: &[f64], loss: &[Vec<f64>]) -> Option<f64> {
    let certain = |own: usize| -> Vec<f64> {
        (0..prior.len()).map(|at| if at == own { 1.0 } else { 0.0 }).collect()
    };
    let likelihood: Vec<Vec<f64>> = (0..prior.len()).map(certain).collect();
    sample_value(prior, &likelihood, loss)
}

/// The order in which to try remedies that each cure one of the possible single faults: falling
/// probability over cost (Kadane & Simon 1977). Equal ratios stay in the given order.
#[must_use]
pub fn cheapest_order(probability: &[f64], cost: &[f64]) -> Option<Vec<usize>> {
    let sound = |value: &f64| value.is_finite() && *value >= 0.0;
    let fits = probability.len() == cost.len()
        && probability.iter().all(sound)
        && cost.iter().all(|c| sound(c) && *c > 0.0);
    let ratios: Vec<f64> = probability.iter().zip(cost).map(|(p, c)| p / c).collect();
    let mut order: Vec<usize> = (0..ratios.len()).collect();
    order.sort_by(|a, b| match (ratios.get(*a), ratios.get(*b)) {
        (Some(a), Some(b)) => b.total_cmp(a),
        _ => Ordering::Equal,
    });
    fits.then_some(order)
}

/// Expected cost of trying remedies in an order until the fault is found: each is paid for as long as
/// none before it has cured.
#[must_use]
pub fn order_cost(order: &[usize], probability: &[f64], cost: &[f64]) -> Option<f64> {
    let mut left = 1.0;
    let mut sum = 0.0;
    for &next in order {
        sum += cost.get(next)? * left;
        left -= probability.get(next)?;
    }
    sum.is_finite().then_some(sum)
}

/// Joint probabilities, an outcome at a time.
fn joint(prior: &[f64], likelihood: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let outcomes = likelihood.first()?.len();
    let share = |p: &f64| (0.0..=1.0).contains(p);
    let fits = prior.len() == likelihood.len()
        && prior.iter().all(share)
        && likelihood.iter().all(|row| row.len() == outcomes && row.iter().all(share));
    if !fits {
        return None;
    }
    let outcome = |o: usize| {
        prior.iter().zip(likelihood).filter_map(|(p, row)| row.get(o).map(|l| p * l)).collect()
    };
    Some((0..outcomes).map(outcome).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    /// MacKay 2003, section 4.1 (from memory, recomputed in closed form): twelve balls, one of them odd;
    /// the best first weighing is four against four.
    #[test]
    fn the_weighings_of_the_twelve_balls() {
        for (balls, want) in [
            (6, 1.0),
            (5, 1.483_355_754_981_687_4),
            (4, 1.584_962_500_721_156),
            (3, 1.5),
            (2, 1.251_629_167_387_822_8),
            (1, 0.816_689_088_315_020_9),
        ] {
            let side = f64::from(balls) / 12.0;
            holds("information::entropy", entropy(&[side, side, 1.0 - 2.0 * side]), want);
            // The same by hypotheses: each ball too heavy or too light.
            let row = |h: usize| {
                let (ball, heavy) = (h / 2, h.is_multiple_of(2));
                let place = if ball < balls as usize {
                    usize::from(!heavy)
                } else if ball < 2 * balls as usize {
                    usize::from(heavy)
                } else {
                    2
                };
                (0..3).map(|o| if o == place { 1.0 } else { 0.0 }).collect()
            };
            let likelihood: Vec<Vec<f64>> = (0..24).map(row).collect();
            let got = expected_information(&[1.0 / 24.0; 24], &likelihood).expect("fits");
            holds("information::expected_information", got, want);
        }
    }

    /// The oil wildcatter (Raiffa 1968; Shenoy 1992): 20 without the test, 32.5 with it, and 35 more
    /// with certainty. Losses are payoffs turned round; the second action is not to drill.
    #[test]
    fn the_oil_wildcatter() {
        let prior = [0.5, 0.3, 0.2];
        let loss = vec![vec![70.0, -50.0, -200.0], vec![0.0; 3]];
        let likelihood = vec![vec![0.6, 0.3, 0.1], vec![0.3, 0.4, 0.3], vec![0.1, 0.4, 0.5]];
        holds("information::least_loss", least_loss(&prior, &loss).expect("fits"), -20.0);
        let value = sample_value(&prior, &likelihood, &loss).expect("fits");
        holds("information::sample_value", value, 12.5);
        let perfect = perfect_value(&prior, &loss).expect("fits");
        holds("information::perfect_value", perfect, 35.0);
        let bits = expected_information(&prior, &likelihood).expect("fits");
        holds("information::expected_information", bits, 0.160_410_901_833_196_73);
    }

    /// Kadane & Simon 1977, Heckerman, Breese & Rommelse 1995; the numbers are invented, and all 24
    /// orders were enumerated outside this crate: 49.0 is the least.
    #[test]
    fn probability_over_cost() {
        let (p, c) = ([0.4, 0.3, 0.2, 0.1], [50.0, 20.0, 8.0, 10.0]);
        let order = cheapest_order(&p, &c).expect("fits");
        assert_eq!(order, [2, 1, 3, 0]);
        holds("information::cheapest_order", order[0] as f64, 2.0);
        for (order, want) in [(&order[..], 49.0), (&[0, 1, 2, 3], 65.4), (&[2, 3, 1, 0], 50.0)] {
            holds("information::order_cost", order_cost(order, &p, &c).expect("fits"), want);
        }
        assert_eq!(cheapest_order(&p, &[1.0, 0.0, 1.0, 1.0]), None);
        assert_eq!(order_cost(&[7], &p, &c), None);
    }

    /// Invented posterior and losses, computed outside this crate in closed form: a test that
    /// changes no decision is worth nothing, whatever it tells.
    #[test]
    fn a_repair_decision() {
        let prior = [0.34, 0.14, 0.10, 0.22, 0.08, 0.07, 0.05];
        let cures: [&[usize]; 6] = [&[0, 2], &[1], &[3], &[4], &[5], &[]];
        let costs = [600.0, 700.0, 150.0, 120.0, 60.0, 0.0];
        let loss: Vec<Vec<f64>> = cures
            .iter()
            .zip(costs)
            .map(|(cured, cost)| {
                (0..7).map(|h| cost + if cured.contains(&h) { 0.0 } else { 900.0 }).collect()
            })
            .collect();
        holds("information::least_loss", least_loss(&prior, &loss).expect("fits"), 852.0);
        let binary = |positive: [f64; 7]| -> Vec<Vec<f64>> {
            positive.iter().map(|p| vec![1.0 - p, *p]).collect()
        };
        for (positive, want) in [
            ([0.05, 0.05, 0.60, 0.15, 0.80, 0.05, 0.10], 33.585),
            ([0.05, 0.05, 0.10, 0.55, 0.15, 0.10, 0.10], 41.49),
            ([0.03, 0.03, 0.03, 0.25, 0.03, 0.70, 0.08], 6.102),
            ([0.85, 0.85, 0.80, 0.85, 0.80, 0.80, 0.60], 0.0),
        ] {
            let value = sample_value(&prior, &binary(positive), &loss).expect("fits");
            holds("information::sample_value", value, want);
        }
    }

    #[test]
    fn what_does_not_fit_is_none() {
        assert_eq!(expected_information(&[1.0], &[]), None);
        assert_eq!(expected_information(&[0.5, 0.5], &[vec![1.0], vec![f64::NAN]]), None);
        assert_eq!(least_loss(&[1.0], &[vec![1.0, 2.0]]), None);
        assert_eq!(least_loss(&[1.0], &[]), None);
        assert!(entropy(&[]).abs() < 1e-300 && entropy(&[0.0, 0.3]).abs() < 1e-300);
    }
}
