//! The blocks of evidence that rest on the finer facts of logs: whose schedule the errors keep, waits of one length,
//! error passive senders, faults that transceivers name, and who fell silent before whom.
//!
//! As in `blocks`: natural logarithms, `None` when the block is absent, 0 for a hypothesis that it does not touch.

use super::blocks::{bernoulli, student};
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Keeping};
use super::scene::Scene;
use super::signs::Lock;
use crate::numerics::logs::log_sum_exp;

/// A sum over so many nodes or pairs as that of `most` at most: what those of one incident show is not independent.
fn as_few(sum: f64, count: f64, most: f64) -> f64 {
    if count == 0.0 { 0.0 } else { sum / count * count.min(most) }
}

/// The sign of the first node that a hypothesis strikes and that has one.
fn sign_of<T: Copy>(signs: &[Option<T>], h: &Hypothesis) -> Option<T> {
    signs.iter().zip(&h.struck).filter(|(_, struck)| **struck).find_map(|(sign, _)| *sign)
}

/// Whether errors keep the schedule of a node, or avoid it.
pub(super) fn locks(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    scene.signs.locks.iter().flatten().next()?;
    let keeping: &[(f64, Keeping)] = match h.manner {
        Manner::BusOff => &rates::KEEPS_BUS_OFF,
        Manner::Talks => &rates::KEEPS_TALKER,
        Manner::CutOff => &rates::KEEPS_CUT_OFF,
        _ => return Some(0.0),
    };
    let Some(lock) = sign_of(&scene.signs.locks, h) else { return Some(0.0) };
    Some(kept(lock, keeping) - kept(lock, &rates::KEEPS_BY_CHANCE))
}

/// ln likelihood of the hits, the moments counted as so many at most.
fn kept(lock: Lock, keeping: &[(f64, Keeping)]) -> f64 {
    if lock.moments <= 0.0 {
        return 0.0;
    }
    let chance = (lock.expected / lock.moments).clamp(0.001, 0.9);
    let counted = lock.moments.min(rates::MOST_MOMENTS);
    let (hits, misses) =
        (lock.hits / lock.moments * counted, (1.0 - lock.hits / lock.moments) * counted);
    let terms: Vec<f64> = keeping
        .iter()
        .map(|(share, keeping)| {
            let p = match keeping {
                Keeping::Beyond(part) => chance + (1.0 - chance) * part,
                Keeping::Times(factor) => (chance * factor).min(0.95),
            };
            share.ln() + hits * p.ln() + misses * (1.0 - p).ln()
        })
        .collect();
    log_sum_exp(&terms)
}

/// Whose frames failed more or less often than others' before they passed.
pub(super) fn tries(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    if scene.flood {
        return None;
    }
    scene.signs.tries.iter().flatten().next()?;
    let own: &[(f64, f64, f64)] = match h.manner {
        Manner::Talks => &rates::TRIES_TALKER,
        Manner::BusOff | Manner::CutOff => &rates::TRIES_STRUCK,
        _ => return Some(0.0),
    };
    let Some(tries) = sign_of(&scene.signs.tries, h) else { return Some(0.0) };
    let terms: Vec<f64> = own
        .iter()
        .map(|(share, mean, spread)| {
            let spread = spread.hypot(tries.error);
            share.ln() + student((tries.off - mean) / spread, spread)
        })
        .collect();
    let ratio = log_sum_exp(&terms) - student(tries.off / tries.error, tries.error);
    Some(ratio.clamp(-rates::MOST_BY_LOSS, rates::MOST_BY_LOSS))
}

/// Who came back after waits of one length, again and again.
pub(super) fn waits(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let (own, victims, otherwise) = rates::WAITS;
    let values: Vec<f64> = scene
        .signs
        .waits
        .iter()
        .enumerate()
        .filter_map(|(node, fixed)| Some((node, (*fixed)?)))
        .map(|(node, fixed)| {
            let p = match h.manner {
                Manner::BusOff if h.struck[node] => own,
                Manner::Talks | Manner::Wires if h.reach[node] => victims,
                Manner::BusOff if h.reach[node] => victims / 2.0,
                _ => otherwise,
            };
            bernoulli(fixed, p)
        })
        .collect();
    (!values.is_empty())
        .then(|| as_few(values.iter().sum(), values.len() as f64, rates::NODES_COUNT))
}

/// Who said in its CAN FD frames that it was error passive.
pub(super) fn passive(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let (own, victims, otherwise) = rates::PASSIVE;
    let values: Vec<f64> = scene
        .signs
        .passive
        .iter()
        .enumerate()
        .filter_map(|(node, passive)| Some((node, (*passive)?)))
        .map(|(node, passive)| {
            let p = match h.manner {
                Manner::BusOff | Manner::Talks | Manner::CutOff if h.struck[node] => own,
                Manner::Talks | Manner::Wires if h.reach[node] => victims,
                Manner::Branch if h.struck[node] => victims,
                _ => otherwise,
            };
            bernoulli(passive, p)
        })
        .collect();
    (!values.is_empty()).then(|| values.iter().sum())
}

/// Whether a transceiver named a fault of the wires.
pub(super) fn wire_errors(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let named = scene.signs.wire_errors?;
    let (wires, branch, otherwise) = rates::WIRES_NAMED;
    let p = match h.manner {
        Manner::Wires => wires,
        Manner::Branch => branch,
        _ => otherwise,
    };
    Some(bernoulli(named, p))
}

/// Who fell silent before whom, pair by pair as far as the periods tell (Plackett 1975 for two).
pub(super) fn order(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    scene.signs.order.iter().flatten().next()?;
    let weight = match h.manner {
        Manner::Dead | Manner::CutOff | Manner::BusOff => rates::FALLS_FIRST,
        Manner::Talks => rates::TALKER_FALLS,
        _ => return Some(0.0),
    };
    let Some(order) = sign_of(&scene.signs.order, h) else { return Some(0.0) };
    let first = falls_before(weight);
    let sum = order.before * (2.0 * first).ln() + order.after * (2.0 * (1.0 - first)).ln();
    Some(as_few(sum, order.before + order.after, rates::PAIRS_COUNT))
}

/// Probability that a node of a weight falls silent before one of weight 1, whatever others fall.
fn falls_before(weight: f64) -> f64 {
    weight / (weight + 1.0)
}

#[cfg(test)]
mod tests {
    use super::falls_before;

    /// Outside values: `q3.plackett_luce` (Plackett 1975, Luce 1959; weights 4, 2, 1, 1: this order .125, the first first
    /// .5). Over all 24 orders so weighed, a pair stands as the two alone would.
    #[test]
    fn a_pair_stands_as_in_the_whole_order() {
        let weights = [4.0, 2.0, 1.0, 1.0];
        let mut orders: Vec<(Vec<usize>, f64)> = vec![(Vec::new(), 1.0)];
        for _ in weights {
            let longer = |(order, p): &(Vec<usize>, f64)| {
                let left: Vec<usize> = (0..4).filter(|n| !order.contains(n)).collect();
                let all: f64 = left.iter().map(|n| weights[*n]).sum();
                let next = |n: usize| ([order.clone(), vec![n]].concat(), p * weights[n] / all);
                left.into_iter().map(next).collect::<Vec<_>>()
            };
            orders = orders.iter().flat_map(longer).collect();
        }
        let sum = |holds: &dyn Fn(&[usize]) -> bool| -> f64 {
            orders.iter().filter(|(order, _)| holds(order)).map(|(_, p)| p).sum()
        };
        assert!((sum(&|o| o == [0, 1, 2, 3]) - 0.125).abs() < 1e-12);
        assert!((sum(&|o| o[0] == 0) - 0.5).abs() < 1e-12);
        for (node, weight) in [(0, 4.0), (1, 2.0)] {
            let at = |o: &[usize], n: usize| o.iter().position(|m| *m == n);
            let before = sum(&|o| at(o, node) < at(o, 3));
            assert!((before - falls_before(weight)).abs() < 1e-12, "{node}: {before}");
        }
    }
}
