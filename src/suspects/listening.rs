//! Who listens to whom, learned from who ever accused whom in vehicles of the same network.
//!
//! A node that nobody listens to can never be accused, and a chatty one that many listen to is accused
//! more often; the weights account for it pair by pair. A pair that was ever seen listens; a pair that
//! stayed mute although others missed the same node probably does not.

use std::collections::{BTreeMap, BTreeSet};

use super::rates;
use crate::incidents::Incident;

/// Chance that a listening reporter stays mute in one incident in which others missed the accused.
const STAYS_MUTE: f64 = 0.5;
/// The same when the reporter accuses many, and nobody the one in question.
const IS_SPARED: f64 = 0.7;
/// So many accused are many.
const BROAD: usize = 3;

/// Probabilities of listening for the pairs of one network.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Listening {
    seen: BTreeMap<(String, String), u32>,
    mute: BTreeMap<(String, String), u32>,
    /// Accused by nobody, while the reporter accused many others.
    spared: BTreeMap<(String, String), u32>,
}

impl Listening {
    /// Adds one vehicle's incidents; `nodes` are the nodes that the vehicle has.
    pub fn learn(&mut self, incidents: &[Incident], nodes: &[String]) {
        for incident in incidents {
            for a in &incident.accusations {
                *self.seen.entry((a.reporter.clone(), a.accused.clone())).or_default() += 1;
            }
            let mut accused: Vec<&str> = incident
                .accusations
                .iter()
                .filter(|a| !a.heard)
                .map(|a| a.accused.as_str())
                .collect();
            accused.sort_unstable();
            accused.dedup();
            for reporter in &incident.reporters {
                let said: BTreeSet<&str> = incident
                    .accusations
                    .iter()
                    .filter(|a| a.reporter == *reporter)
                    .map(|a| a.accused.as_str())
                    .collect();
                let stores = !said.is_empty();
                if said.len() >= BROAD {
                    let spared = nodes.iter().filter(|n| {
                        *n != reporter
                            && !said.contains(n.as_str())
                            && !accused.contains(&n.as_str())
                    });
                    for name in spared {
                        *self.spared.entry((reporter.clone(), name.clone())).or_default() += 1;
                    }
                }
                for name in accused.iter().filter(|n| stores && **n != reporter) {
                    if !said.contains(*name) {
                        *self.mute.entry((reporter.clone(), (*name).to_owned())).or_default() += 1;
                    }
                }
            }
        }
    }

    /// Probability that `reporter` listens to `accused`; `own` is what the vehicle in question taught: that
    /// one of its nodes was spared is evidence there, and must not count as a lesson, too.
    #[must_use]
    pub fn probability(&self, own: &Listening, reporter: &str, accused: &str) -> f64 {
        let pair = (reporter.to_owned(), accused.to_owned());
        if self.seen.contains_key(&pair) {
            return 0.97;
        }
        let count = |map: &BTreeMap<_, u32>| map.get(&pair).copied().unwrap_or(0);
        let power = |base: f64, times: u32| base.powi(i32::try_from(times.min(20)).unwrap_or(20));
        let spared = count(&self.spared).saturating_sub(count(&own.spared));
        let silent =
            rates::LISTENS * power(STAYS_MUTE, count(&self.mute)) * power(IS_SPARED, spared);
        silent / (silent + 1.0 - rates::LISTENS)
    }
}
