//! Who listens to whom, learned from who ever accused whom in vehicles of the same network.
//!
//! A node that nobody listens to can never be accused, and a chatty one that many listen to is accused
//! more often; the weights account for it pair by pair. A pair that was ever seen listens; a pair that
//! stayed mute although others missed the same node probably does not.

use std::collections::BTreeMap;

use super::rates;
use crate::incidents::Incident;

/// Chance that a listening reporter stays mute in one incident in which others missed the accused.
const STAYS_MUTE: f64 = 0.5;

/// Probabilities of listening for the pairs of one network.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Listening {
    seen: BTreeMap<(String, String), u32>,
    mute: BTreeMap<(String, String), u32>,
}

impl Listening {
    /// Adds one vehicle's incidents.
    pub fn learn(&mut self, incidents: &[Incident]) {
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
                let stores = incident.accusations.iter().any(|a| a.reporter == *reporter);
                for name in accused.iter().filter(|n| stores && **n != reporter) {
                    let says = incident
                        .accusations
                        .iter()
                        .any(|a| a.reporter == *reporter && a.accused == **name);
                    if !says {
                        *self.mute.entry((reporter.clone(), (*name).to_owned())).or_default() += 1;
                    }
                }
            }
        }
    }

    /// Probability that `reporter` listens to `accused`.
    #[must_use]
    pub fn probability(&self, reporter: &str, accused: &str) -> f64 {
        let pair = (reporter.to_owned(), accused.to_owned());
        if self.seen.contains_key(&pair) {
            return 0.97;
        }
        let mute = self.mute.get(&pair).copied().unwrap_or(0).min(20);
        let silent = rates::LISTENS * STAYS_MUTE.powi(i32::try_from(mute).unwrap_or(20));
        silent / (silent + 1.0 - rates::LISTENS)
    }
}
