//! The whole space of suspects of one vehicle, each in every manner in which it may act.

use std::collections::BTreeSet;

use super::rates;
use crate::vocabulary::{Mechanism, Network, Suspect};

/// How a hypothesis acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Manner {
    /// A node without power: it restarts when it comes back.
    Dead,
    /// A node with power but off the bus.
    CutOff,
    /// A disturber that keeps talking.
    Talks,
    /// A disturber that goes bus-off.
    BusOff,
    /// A disturber that floods the bus with valid frames of its own identifiers: it is heard too often.
    Floods,
    /// A disturber that floods the bus with identifiers that nobody sends: its own frames starve, too.
    Strays,
    /// A wiring branch open.
    Branch,
    /// A feed lost.
    Feed,
    /// A ground lost.
    Ground,
    /// The wires of a bus or their termination.
    Wires,
    /// Battery voltage.
    Supply,
    /// The tester's doing.
    Artefact,
    /// Codes of an old fault.
    Stale,
    /// None of these.
    Other,
}

/// One hypothesis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    pub suspect: Suspect,
    pub manner: Manner,
    /// Which nodes it strikes first, by node number: the node itself, or all below a branch.
    pub struck: Vec<bool>,
    /// Which nodes it can reach: those on the same bus.
    pub reach: Vec<bool>,
    /// Of an open branch: whether the nodes beyond it have lost one another, too.
    pub apart: bool,
    /// Of a node that floods with its own identifiers: per node how surely that one's frames wait behind them all.
    pub outranks: Vec<f64>,
    pub prior: f64,
    /// Share of its class's weight, in contacts: the nodes that hang on it directly.
    pub contacts: f64,
}

impl Hypothesis {
    pub(super) fn mechanism(&self) -> Option<Mechanism> {
        match self.manner {
            Manner::Dead | Manner::CutOff => Some(Mechanism::DropsOut),
            Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays => {
                Some(Mechanism::Disturbs)
            }
            _ => None,
        }
    }
}

/// The nodes and hypotheses of one vehicle.
#[derive(Debug, Clone)]
pub(super) struct Space {
    /// Node names, sorted.
    pub nodes: Vec<String>,
    /// Per node: whether it is known by more than another node's word.
    pub known: Vec<bool>,
    pub hypotheses: Vec<Hypothesis>,
}

impl Space {
    pub(super) fn node(&self, name: &str) -> Option<usize> {
        self.nodes.binary_search_by(|n| n.as_str().cmp(name)).ok()
    }

    /// The space for the nodes that are fitted; `buses` are used when no description names any. A node
    /// that only others' codes name, that is neither described nor ever `met`, has a small prior.
    pub(super) fn new(
        fitted: &[String],
        network: Option<&Network>,
        buses: &BTreeSet<String>,
        met: &BTreeSet<String>,
    ) -> Space {
        let mut nodes: Vec<String> = fitted.to_vec();
        nodes.sort();
        nodes.dedup();
        let mut builder = Builder { count: nodes.len(), hypotheses: Vec::new() };
        let homes: Vec<Vec<String>> = nodes.iter().map(|n| homes(n, network)).collect();
        let same_bus = |a: usize| -> Vec<bool> {
            (0..nodes.len())
                .map(|b| {
                    homes[a].is_empty()
                        || homes[b].is_empty()
                        || homes[a].iter().any(|bus| homes[b].contains(bus))
                })
                .collect()
        };
        let ranks: Vec<Vec<u32>> = nodes.iter().map(|n| ranks(n, network)).collect();
        for (number, name) in nodes.iter().enumerate() {
            let only: Vec<bool> = (0..nodes.len()).map(|n| n == number).collect();
            let suspect = Suspect::Node(name.clone());
            for (manner, weight) in [
                (Manner::Dead, rates::PRIOR_DROPS_OUT * rates::SHARE_DEAD),
                (Manner::CutOff, rates::PRIOR_DROPS_OUT * (1.0 - rates::SHARE_DEAD)),
                (Manner::BusOff, rates::PRIOR_DISTURBS * rates::SHARES_DISTURBER[0]),
                (Manner::Talks, rates::PRIOR_DISTURBS * rates::SHARES_DISTURBER[1]),
                (Manner::Floods, rates::PRIOR_DISTURBS * rates::SHARES_DISTURBER[2]),
                (Manner::Strays, rates::PRIOR_DISTURBS * rates::SHARES_DISTURBER[3]),
            ] {
                builder.add(suspect.clone(), manner, only.clone(), same_bus(number), weight);
                if let (Manner::Floods, Some(last)) = (manner, builder.hypotheses.last_mut()) {
                    last.outranks = outranks(&ranks[number], &ranks);
                }
            }
        }
        if let Some(network) = network {
            builder.wiring(&nodes, network);
        }
        builder.buses(&homes, buses);
        builder.rest();
        let described =
            |name: &String| network.is_some_and(|n| n.nodes.iter().any(|d| d.name == *name));
        let known = nodes
            .iter()
            .map(|name| network.is_none() || described(name) || met.contains(name))
            .collect();
        let mut space = Space { nodes, known, hypotheses: builder.hypotheses };
        space.share_priors();
        space
    }

    /// Splits a class's weight over its members by their contacts, since contacts are what fails, then scales all to 1.
    fn share_priors(&mut self) {
        let mut members = std::collections::BTreeMap::new();
        for h in &self.hypotheses {
            *members.entry(h.manner).or_insert(0.0) += h.contacts;
        }
        for h in &mut self.hypotheses {
            h.prior *= h.contacts / members.get(&h.manner).copied().unwrap_or(1.0);
            let alone = h.struck.iter().filter(|s| **s).count() == 1;
            let hearsay = h.struck.iter().zip(&self.known).any(|(struck, known)| *struck && !known);
            if alone && hearsay {
                h.prior *= rates::HEARSAY;
            }
        }
        let total: f64 = self.hypotheses.iter().map(|h| h.prior).sum();
        for h in &mut self.hypotheses {
            h.prior /= total;
        }
    }
}

fn homes(node: &str, network: Option<&Network>) -> Vec<String> {
    network
        .and_then(|n| n.nodes.iter().find(|d| d.name == node))
        .map(|d| d.buses.clone())
        .unwrap_or_default()
}

/// The places in arbitration of what a node sends by the description, the strongest first.
fn ranks(node: &str, network: Option<&Network>) -> Vec<u32> {
    let described = network.and_then(|n| n.nodes.iter().find(|d| d.name == node));
    let mut ranks: Vec<u32> =
        described.iter().flat_map(|d| &d.sends).map(|s| s.id.arbitration()).collect();
    ranks.sort_unstable();
    ranks
}

/// Per node how surely all its frames wait behind a flood of `own` identifiers: where the strongest of these
/// floods, and where any of them does. The lower identifier wins. (FACTS 4.5)
fn outranks(own: &[u32], all: &[Vec<u32>]) -> Vec<f64> {
    let share = |other: &Vec<u32>| {
        let (Some(best), Some(strongest)) = (own.first(), other.first()) else { return 1.0 };
        let any = own.iter().filter(|o| *o < strongest).count() as f64 / own.len() as f64;
        let by_best = if best < strongest { 1.0 } else { 0.0 };
        rates::FLOODS_BY_STRONGEST * by_best + (1.0 - rates::FLOODS_BY_STRONGEST) * any
    };
    all.iter().map(share).collect()
}

struct Builder {
    count: usize,
    hypotheses: Vec<Hypothesis>,
}

impl Builder {
    fn add(
        &mut self,
        suspect: Suspect,
        manner: Manner,
        struck: Vec<bool>,
        reach: Vec<bool>,
        prior: f64,
    ) {
        let outranks = vec![1.0; struck.len()];
        self.hypotheses.push(Hypothesis {
            suspect,
            manner,
            struck,
            reach,
            outranks,
            apart: false,
            prior,
            contacts: 1.0,
        });
    }

    /// The last hypothesis has so many contacts.
    fn contacts(&mut self, nodes: usize) {
        if let Some(last) = self.hypotheses.last_mut() {
            last.contacts = nodes.max(1) as f64;
        }
    }

    fn wiring(&mut self, nodes: &[String], network: &Network) {
        let described = |name: &String| network.nodes.iter().find(|d| d.name == *name);
        let everywhere = vec![true; self.count];
        for branch in &network.branches {
            let below = network.branches_below(&branch.name);
            let struck: Vec<bool> = nodes
                .iter()
                .map(|n| {
                    described(n)
                        .is_some_and(|d| d.branches.iter().any(|b| below.contains(b.as_str())))
                })
                .collect();
            if struck.contains(&true) {
                let suspect = Suspect::Branch(branch.name.clone());
                let alone = struck.iter().filter(|s| **s).count() == 1;
                let direct =
                    |n: &&String| described(n).is_some_and(|d| d.branches.contains(&branch.name));
                let contacts = nodes.iter().filter(direct).count().max(1) as f64;
                // A single node beyond the break has nobody to lose there.
                let forms =
                    [(false, 1.0 - rates::LOST_TO_ONE_ANOTHER), (true, rates::LOST_TO_ONE_ANOTHER)];
                let forms = if alone { &[(false, 1.0)][..] } else { &forms };
                for (apart, share) in forms {
                    let (struck, reach) = (struck.clone(), everywhere.clone());
                    self.add(suspect.clone(), Manner::Branch, struck, reach, rates::PRIOR_BRANCH);
                    if let Some(last) = self.hypotheses.last_mut() {
                        (last.apart, last.contacts) = (*apart, contacts * share);
                    }
                }
            }
        }
        let feeds: BTreeSet<&String> =
            network.nodes.iter().filter_map(|n| n.feed.as_ref()).collect();
        for feed in feeds {
            let struck: Vec<bool> = nodes
                .iter()
                .map(|n| described(n).is_some_and(|d| d.feed.as_ref() == Some(feed)))
                .collect();
            if struck.contains(&true) {
                let suspect = Suspect::Feed(feed.clone());
                let count = struck.iter().filter(|s| **s).count();
                self.add(suspect, Manner::Feed, struck, everywhere.clone(), rates::PRIOR_FEED);
                self.contacts(count);
            }
        }
        let grounds: BTreeSet<&String> =
            network.nodes.iter().filter_map(|n| n.ground.as_ref()).collect();
        for ground in grounds {
            let struck: Vec<bool> = nodes
                .iter()
                .map(|n| described(n).is_some_and(|d| d.ground.as_ref() == Some(ground)))
                .collect();
            if struck.contains(&true) {
                let suspect = Suspect::Ground(ground.clone());
                let count = struck.iter().filter(|s| **s).count();
                self.add(suspect, Manner::Ground, struck, everywhere.clone(), rates::PRIOR_GROUND);
                self.contacts(count);
            }
        }
    }

    fn buses(&mut self, homes: &[Vec<String>], seen: &BTreeSet<String>) {
        let mut names: BTreeSet<String> = homes.iter().flatten().cloned().collect();
        if names.is_empty() {
            names.clone_from(seen);
        }
        if names.is_empty() {
            names.insert("bus".to_owned());
        }
        for name in names {
            let struck: Vec<bool> =
                homes.iter().map(|h| h.is_empty() || h.contains(&name)).collect();
            self.add(Suspect::Bus(name), Manner::Wires, struck.clone(), struck, rates::PRIOR_WIRES);
        }
    }

    fn rest(&mut self) {
        let nobody = vec![false; self.count];
        let all = vec![true; self.count];
        for (suspect, manner, struck, prior) in [
            (Suspect::Supply, Manner::Supply, &all, rates::PRIOR_SUPPLY),
            (Suspect::None, Manner::Artefact, &nobody, rates::PRIOR_ARTEFACT),
            (Suspect::None, Manner::Stale, &nobody, rates::PRIOR_STALE),
            (Suspect::None, Manner::Other, &nobody, rates::PRIOR_OTHER),
        ] {
            self.add(suspect, manner, struck.clone(), all.clone(), prior);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::outranks;
    use crate::vocabulary::Identifier;

    /// The strongest of 100 and 300 outranks 200 and 400, the other one 400 only; nothing is known of the last node.
    #[test]
    fn a_flood_holds_back_what_is_weaker() {
        let rank = |id: u32| Identifier::base(id).arbitration();
        let all = [
            vec![rank(0x100), rank(0x300)],
            vec![rank(0x080), rank(0x500)],
            vec![rank(0x200)],
            vec![rank(0x400)],
            vec![],
        ];
        let found = outranks(&all[0], &all);
        let half =
            super::rates::FLOODS_BY_STRONGEST + (1.0 - super::rates::FLOODS_BY_STRONGEST) / 2.0;
        for (a, b) in found.iter().zip([0.0, 0.0, half, 1.0, 1.0]) {
            assert!((a - b).abs() < 1e-12, "{found:?}");
        }
    }
}
