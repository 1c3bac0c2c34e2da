//! Who listens to whom, learned from who ever accused whom in vehicles of the same network.
//!
//! A node that nobody listens to can never be accused, and a chatty one that many listen to is accused
//! more often; the weights account for it pair by pair. A pair that was ever seen listens; a pair that
//! stayed mute although others missed the same node probably does not.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::rates;
use crate::incidents::Gathered;

/// Chance that a listening reporter stays mute in one incident in which others missed the accused.
const STAYS_MUTE: f64 = 0.5;
/// The same when the reporter accuses many, and nobody the one in question.
const IS_SPARED: f64 = 0.7;
/// So many accused are many.
const BROAD: usize = 3;

/// Probabilities of listening for the pairs of one network.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Listening {
    /// By reporter and accused.
    pairs: BTreeMap<String, BTreeMap<String, Counts>>,
}

/// How often one accused another.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Counts {
    seen: u32,
    mute: u32,
    /// Accused by nobody, while the reporter accused many others.
    spared: u32,
}

impl Listening {
    /// Adds the incidents that were gathered of one vehicle, among the nodes that it has.
    pub fn learn_of(&mut self, gathered: &Gathered) {
        let nodes = &gathered.fitted;
        for incident in &gathered.incidents {
            for a in &incident.accusations {
                self.of(&a.reporter, &a.accused).seen += 1;
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
                        self.of(reporter, name).spared += 1;
                    }
                }
                for name in accused.iter().filter(|n| stores && **n != reporter) {
                    if !said.contains(*name) {
                        self.of(reporter, name).mute += 1;
                    }
                }
            }
        }
    }

    /// Adds what was learned elsewhere; in whatever order, it comes to the same.
    pub fn join(&mut self, other: &Listening) {
        for (reporter, row) in &other.pairs {
            for (accused, counts) in row {
                let own = self.of(reporter, accused);
                own.seen = own.seen.saturating_add(counts.seen);
                own.mute = own.mute.saturating_add(counts.mute);
                own.spared = own.spared.saturating_add(counts.spared);
            }
        }
    }

    fn of(&mut self, reporter: &str, accused: &str) -> &mut Counts {
        let row = self.pairs.entry(reporter.to_owned()).or_default();
        row.entry(accused.to_owned()).or_default()
    }

    fn counts(&self, reporter: &str, accused: &str) -> Counts {
        let row = self.pairs.get(reporter).and_then(|row| row.get(accused));
        row.copied().unwrap_or_default()
    }

    /// Whether another set of lessons says the same of all that the reporters of a vehicle may hear: then
    /// its suspects come out the same.
    #[must_use]
    pub fn alike(&self, other: &Listening, gathered: &Gathered) -> bool {
        let mut own = Listening::default();
        own.learn_of(gathered);
        let reporters: BTreeSet<&str> =
            gathered.incidents.iter().flat_map(|i| &i.reporters).map(String::as_str).collect();
        let says = |one: &Listening, reporter: &str, accused: &str| {
            one.probability(&own, reporter, accused).to_bits()
        };
        reporters.into_iter().all(|reporter| {
            let rows = [self, other].map(|one| one.pairs.get(reporter));
            let mut accused = rows.into_iter().flatten().flat_map(BTreeMap::keys);
            accused.all(|accused| says(self, reporter, accused) == says(other, reporter, accused))
        })
    }

    /// Probability that `reporter` listens to `accused`; `own` is what the vehicle in question taught: that
    /// one of its nodes was spared is evidence there, and must not count as a lesson, too.
    #[must_use]
    pub fn probability(&self, own: &Listening, reporter: &str, accused: &str) -> f64 {
        let all = self.counts(reporter, accused);
        if all.seen > 0 {
            return 0.97;
        }
        let power = |base: f64, times: u32| base.powi(i32::try_from(times.min(20)).unwrap_or(20));
        let spared = all.spared.saturating_sub(own.counts(reporter, accused).spared);
        let silent = rates::LISTENS * power(STAYS_MUTE, all.mute) * power(IS_SPARED, spared);
        silent / (silent + 1.0 - rates::LISTENS)
    }
}

#[cfg(test)]
mod tests {
    use super::super::invented::{accuse, silence};
    use super::*;

    fn taught(days: &[u32]) -> Listening {
        let mut listening = Listening::default();
        for day in days {
            let mut incident = silence(*day, &["c"], &["a", "b", "c"], 3.0);
            let reporters: &[&str] = if day % 2 == 0 { &["a", "b"] } else { &["a"] };
            accuse(&mut incident, reporters, &[("a", "c")]);
            listening.learn_of(&Gathered { incidents: vec![incident], ..Gathered::default() });
        }
        listening
    }

    #[test]
    fn what_is_learned_apart_is_what_is_learned_together() {
        let whole = taught(&[1, 2, 3, 4]);
        let (mut forward, mut backward) = (taught(&[1, 2]), taught(&[3, 4]));
        forward.join(&taught(&[3, 4]));
        backward.join(&taught(&[1, 2]));
        assert_eq!((&forward, &backward), (&whole, &whole));
        assert_ne!(whole, taught(&[1, 2, 3]));
        forward.join(&Listening::default());
        assert_eq!(forward, whole);
    }
}
