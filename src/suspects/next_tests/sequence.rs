//! Up to three tests in a row, and how probably the case is decided after each.
//!
//! All orders of the few best tests are gone through with their trees of outcomes; a branch ends as soon as the
//! verdict rule names a suspect. The best order is the one with the most probability of a verdict, less what
//! its expected minutes are worth. What was set up for one test serves the ones after it.

use super::Candidate;
use super::weights::Weights;
use crate::read::{TestKind, TestTable};

/// Tests in a row.
const LONGEST: usize = 3;
/// A certain verdict is held worth so many minutes of work and waiting: a day. (J)
const VERDICT_MINUTES: f64 = 1440.0;

/// A step of the best order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Step {
    /// Position among the candidates given.
    pub test: usize,
    /// Probability that the case is decided after this step.
    pub decided: f64,
    /// Minutes to set it up, when nothing before it has.
    pub setup: f64,
}

struct Search<'a> {
    weights: &'a Weights,
    pool: &'a [&'a Candidate],
    table: &'a TestTable,
    best: (f64, Vec<Step>),
}

/// The best order of tests from the pool; empty when the case is decided or no order pays.
pub(super) fn best(weights: &Weights, pool: &[&Candidate], table: &TestTable) -> Vec<Step> {
    let now = weights.standing(&weights.mass);
    if now.decided {
        return Vec::new();
    }
    let mut search = Search { weights, pool, table, best: (1e-6, Vec::new()) };
    search.deeper(&mut Vec::new(), std::slice::from_ref(&weights.mass), 0.0, 0.0);
    search.best.1
}

impl Search<'_> {
    /// Tries every further test on the branches that are still open. Strictly better wins, so that of equal orders
    /// the one of the better single tests stands.
    fn deeper(&mut self, so_far: &mut Vec<Step>, open: &[Vec<f64>], decided: f64, minutes: f64) {
        let going_on: f64 = open.iter().flatten().sum();
        let ready: Vec<TestKind> =
            so_far.iter().filter_map(|s| self.pool.get(s.test)?.setting_up).collect();
        for (test, candidate) in self.pool.iter().enumerate() {
            let done = so_far.iter().filter_map(|s| self.pool.get(s.test));
            if done.clone().any(|d| d.kind == candidate.kind && d.target == candidate.target) {
                continue;
            }
            let setup = match candidate.setting_up {
                Some(kind) if !ready.contains(&kind) => self.table.of(kind).setup_minutes,
                _ => 0.0,
            };
            let (mut still_open, mut by_now) = (Vec::new(), decided);
            for mass in open {
                for positive in [true, false] {
                    let after = Weights::after(mass, &candidate.likelihood, positive);
                    let standing = self.weights.standing(&after);
                    if standing.decided {
                        by_now += standing.total;
                    } else if standing.total > 1e-9 {
                        still_open.push(after);
                    }
                }
            }
            let spent = minutes + going_on * (candidate.minutes + setup);
            so_far.push(Step { test, decided: by_now.min(1.0), setup });
            let worth = by_now - spent / VERDICT_MINUTES;
            if worth > self.best.0 + 1e-12 {
                self.best = (worth, so_far.clone());
            }
            if so_far.len() < LONGEST && !still_open.is_empty() {
                self.deeper(so_far, &still_open, by_now, spent);
            }
            so_far.pop();
        }
    }
}
