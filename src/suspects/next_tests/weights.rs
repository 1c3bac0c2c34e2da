//! The posterior as the tests see it: hypotheses that matter, grouped by suspect, and the verdict rule.

use std::collections::BTreeMap;

use super::outcomes::{Link, Rates};
use crate::numerics::information::entropy;
use crate::numerics::logs::ln_from_decibans;
use crate::suspects::hypotheses::Space;
use crate::suspects::rates;
use crate::vocabulary::Suspect;

/// Hypotheses less probable than this are left out; the rest is scaled to 1.
const MATTERS: f64 = 1e-7;

/// The hypotheses that matter. Suspects, not manners, are what a test should tell apart.
#[derive(Debug, Clone)]
pub(super) struct Weights {
    /// Probability of each.
    pub mass: Vec<f64>,
    /// Position of each in the space.
    pub at: Vec<usize>,
    /// Position of its suspect.
    group: Vec<usize>,
    pub suspects: Vec<Suspect>,
}

/// Where the suspects stand with given weights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Standing {
    /// Sum of the weights.
    pub total: f64,
    /// The leader's position.
    pub leader: usize,
    /// Its share of the total.
    pub share: f64,
    /// Whether the verdict rule names it.
    pub decided: bool,
}

impl Weights {
    pub(super) fn new(space: &Space, posterior: &[f64]) -> Weights {
        let mut suspects = Vec::new();
        let mut places: BTreeMap<&Suspect, usize> = BTreeMap::new();
        let mut found = Weights { mass: vec![], at: vec![], group: vec![], suspects: vec![] };
        for (at, (h, p)) in space.hypotheses.iter().zip(posterior).enumerate() {
            if *p >= MATTERS {
                let place = *places.entry(&h.suspect).or_insert_with(|| {
                    suspects.push(h.suspect.clone());
                    suspects.len() - 1
                });
                found.mass.push(*p);
                found.at.push(at);
                found.group.push(place);
            }
        }
        let total: f64 = found.mass.iter().sum();
        found.mass.iter_mut().for_each(|p| *p /= total);
        found.suspects = suspects;
        found
    }

    /// The probability of the positive outcome under each hypothesis that matters.
    pub(super) fn likelihood(&self, links: &[Link], rates: &Rates) -> Vec<f64> {
        links.iter().map(|link| rates[*link as usize]).collect()
    }

    /// Sums by suspect.
    fn by_suspect(&self, mass: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut sums = vec![0.0; self.suspects.len()];
        for (place, p) in self.group.iter().zip(mass) {
            if let Some(sum) = sums.get_mut(*place) {
                *sum += p;
            }
        }
        sums
    }

    /// Entropy over suspects, bits.
    pub(super) fn entropy(&self) -> f64 {
        entropy(&self.by_suspect(self.mass.iter().copied()))
    }

    /// Expected information about the suspect, bits: never below 0.
    pub(super) fn information(&self, likelihood: &[f64]) -> f64 {
        let joint = |positive: bool| self.by_suspect(split(&self.mass, likelihood, positive));
        let remains = entropy(&joint(true)) + entropy(&joint(false));
        (self.entropy() - remains).max(0.0)
    }

    /// The weights that one outcome leaves, not scaled: their sum is the outcome's probability.
    pub(super) fn after(mass: &[f64], likelihood: &[f64], positive: bool) -> Vec<f64> {
        split(mass, likelihood, positive).collect()
    }

    /// Who leads, and whether that is a verdict.
    pub(super) fn standing(&self, mass: &[f64]) -> Standing {
        let sums = self.by_suspect(mass.iter().copied());
        let total: f64 = sums.iter().sum();
        let (mut leader, mut first, mut second) = (0, 0.0, 0.0);
        for (place, sum) in sums.iter().enumerate() {
            if *sum > first {
                second = first;
                (leader, first) = (place, *sum);
            } else if *sum > second {
                second = *sum;
            }
        }
        let share = if total > 0.0 { first / total } else { 0.0 };
        let ahead = first >= second * ln_from_decibans(rates::SEPARATED_DB).exp();
        Standing { total, leader, share, decided: share >= rates::DECIDED && ahead }
    }
}

fn split(mass: &[f64], likelihood: &[f64], positive: bool) -> impl Iterator<Item = f64> {
    mass.iter().zip(likelihood).map(move |(p, l)| if positive { p * l } else { p * (1.0 - l) })
}
