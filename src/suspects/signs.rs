//! What the finer facts of an incident's logs tell of its nodes, in numbers by node: whose schedule errors keep,
//! who came back after waits of one length, who fell silent first, who said it was error passive, and what a
//! transceiver said of the wires. What a log cannot tell is `None`, which gives no evidence.

use std::collections::BTreeMap;

use super::hypotheses::Space;
use super::rates;
use crate::incidents::{Incident, SilentNode};
use crate::numerics::centre::median;
use crate::observe::{AnswerReading, LockBasis, ReturnKind, surely_before};

/// Silences of one node and start that show whether they have one length.
const FEWEST_RETURNS: usize = 3;
/// Nodes, and failed frames, from which on tries are compared.
const FEWEST_NODES: usize = 4;
const FEWEST_FAILED: f64 = 20.0;

/// How often errors stood where a frame of a node was due.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Lock {
    /// Moments of errors at which a frame of the node was due.
    pub hits: f64,
    /// All moments.
    pub moments: f64,
    /// Hits that would be by chance.
    pub expected: f64,
}

/// How much more often than others' a node's frames failed before they passed.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Tries {
    /// ln of its failed tries a frame over the middle of all others'.
    pub off: f64,
    /// Standard deviation of it for a node like the others.
    pub error: f64,
}

/// With how many others an order of falling silent is sure.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Order {
    /// Others that fell silent later.
    pub before: f64,
    /// Others that had fallen silent earlier.
    pub after: f64,
}

/// The finer signs of one incident.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Signs {
    /// Per node; `None` where the test could not be made.
    pub locks: Vec<Option<Lock>>,
    /// Per node: whether its silences have one length again and again; `None` with too few of them.
    pub waits: Vec<Option<bool>>,
    /// Per node that fell silent.
    pub order: Vec<Option<Order>>,
    /// Per node; `None` without an error channel, in a flood, or where too little failed.
    pub tries: Vec<Option<Tries>>,
    /// Per node: whether its CAN FD frames said that it was error passive; `None` where no node's did.
    pub passive: Vec<Option<bool>>,
    /// Whether error messages name a fault of the wires; `None` without an error channel.
    pub wire_errors: Option<bool>,
}

impl Signs {
    pub(super) fn new(incident: &Incident, space: &Space) -> Signs {
        let count = space.nodes.len();
        let finer = &incident.finer;
        let mut signs = Signs {
            locks: vec![None; count],
            waits: vec![None; count],
            order: vec![None; count],
            tries: vec![None; count],
            passive: vec![None; count],
            wire_errors: (!finer.errors.is_empty()).then(|| finer.errors.iter().any(|e| e.wires)),
        };
        // Lost frames of nodes in step with one another fall together by their beats alone: only error
        // frames have moments of their own.
        for row in finer.locks.iter().filter(|r| r.basis == LockBasis::ErrorFrames) {
            let Some(slot) = space.node(&row.node).and_then(|n| signs.locks.get_mut(n)) else {
                continue;
            };
            let lock = slot.get_or_insert_with(Lock::default);
            lock.hits += row.hits as f64;
            lock.moments += row.moments as f64;
            lock.expected += row.expected;
        }
        signs.returns(incident, space);
        signs.orders(incident, space);
        signs.tries(incident, space);
        if !finer.passives.is_empty() {
            for (passive, name) in signs.passive.iter_mut().zip(&space.nodes) {
                *passive = Some(finer.passives.iter().any(|r| r.node == *name));
            }
        }
        signs
    }

    fn returns(&mut self, incident: &Incident, space: &Space) {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let back = |s: &&SilentNode| s.returned && s.restarted != Some(true);
        for silent in incident.silent.iter().filter(back) {
            *counts.entry(&silent.node).or_default() += 1;
        }
        for (name, times) in counts {
            let mut rows = incident.finer.returns.iter();
            let fixed = rows.any(|r| r.node == name && r.kind == ReturnKind::BusOff);
            if (fixed || times >= FEWEST_RETURNS)
                && let Some(slot) = space.node(name).and_then(|n| self.waits.get_mut(n))
            {
                *slot = Some(fixed);
            }
        }
    }

    /// Failed tries before a frame passes do not depend on how long a node waits after bus-off, as lost frames do.
    fn tries(&mut self, incident: &Incident, space: &Space) {
        let rows: Vec<(usize, f64, f64)> = incident
            .finer
            .tries
            .iter()
            .filter_map(|(name, failed, passed)| Some((space.node(name)?, *failed, *passed)))
            .filter(|(_, failed, passed)| failed + passed >= rates::FEWEST_DUE)
            .collect();
        let failed: f64 = rows.iter().map(|r| r.1).sum();
        if rows.len() < FEWEST_NODES || failed < FEWEST_FAILED {
            return;
        }
        let points: Vec<(f64, f64)> = rows
            .iter()
            .map(|(_, failed, passed)| {
                let counting = 1.0 / (failed + 0.5) + 1.0 / (passed + 0.5);
                (
                    ((failed + 0.5) / (passed + 0.5)).ln(),
                    rates::TRIES_SCATTER.hypot(counting.sqrt()),
                )
            })
            .collect();
        for (n, (node, _, _)) in rows.iter().enumerate() {
            let others = || points.iter().enumerate().filter(|(m, _)| *m != n).map(|(_, p)| p);
            let values: Vec<f64> = others().map(|(value, _)| *value).collect();
            let Some(middle) = median(&values) else { continue };
            let sizes: Vec<f64> =
                others().map(|(value, error)| ((value - middle) / error).abs()).collect();
            let wider = scatter_beyond(&sizes);
            let (value, error) = points[n];
            if let Some(slot) = self.tries.get_mut(*node) {
                *slot = Some(Tries { off: value - middle, error: error * wider });
            }
        }
    }

    fn orders(&mut self, incident: &Incident, space: &Space) {
        for (earlier, later) in ordered(incident, space) {
            if let Some(slot) = self.order.get_mut(earlier) {
                slot.get_or_insert_default().before += 1.0;
            }
            if let Some(slot) = self.order.get_mut(later) {
                slot.get_or_insert_default().after += 1.0;
            }
        }
    }
}

/// How many times as wide as foreseen residuals scatter, from their sizes in standard errors; at least 1. The middle of
/// the sizes of a normal error is 0.674 of its standard deviation.
pub(super) fn scatter_beyond(sizes: &[f64]) -> f64 {
    (median(sizes).unwrap_or(0.0) / 0.674).max(1.0)
}

/// Who surely fell silent before whom in an incident: pairs of node numbers, the earlier first. Only the first silence of
/// each node in the incident is ordered: after it the waits decide.
pub(super) fn ordered(incident: &Incident, space: &Space) -> Vec<(usize, usize)> {
    let mut first: BTreeMap<usize, &SilentNode> = BTreeMap::new();
    for silent in incident.silent.iter().filter(|s| s.last_heard > incident.start) {
        let Some(node) = space.node(&silent.node) else { continue };
        let slot = first.entry(node).or_insert(silent);
        if silent.due < slot.due {
            *slot = silent;
        }
    }
    let mut pairs = Vec::new();
    for (node, own) in &first {
        let later = first.iter().filter(|(other, silent)| {
            *other != node
                && surely_before((own.last_heard, own.due), (silent.last_heard, silent.due))
                    .is_some()
        });
        pairs.extend(later.map(|(other, _)| (*node, *other)));
    }
    pairs
}

/// What an answer, or that none came, says about its node: mute or not, and with which share of the weight of a plain
/// answer or a plain missing one. (FACTS 6.4)
pub(super) fn weight_of_answer(reading: AnswerReading) -> (bool, f64) {
    match reading {
        AnswerReading::Answered => (false, 1.0),
        AnswerReading::NotAnswered | AnswerReading::OffTheWire | AnswerReading::LostInAnswer => {
            (true, 1.0)
        }
        AnswerReading::BehindGateway => (true, rates::BY_GATEWAY),
        AnswerReading::Late | AnswerReading::LostAfterPending => (true, rates::LATE),
        AnswerReading::AliveUnserved => (false, rates::UNSERVED),
    }
}
