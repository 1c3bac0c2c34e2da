//! Unnamed senders: identifiers that no description names and that are silent together are grouped.
//!
//! Two identifiers share a sender when they run by one clock, or when their silences coincide over the
//! vehicle's logs (Jaccard index of at least one half, average linkage). Two of different clocks never do,
//! however often they fall silent together: that is one feed, not one sender. What nothing tells stays alone.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::numerics::clusters;
use crate::observe::{IdentifierRow, LogFacts, UNNAMED, address_name};
use crate::protocol::j1939;

/// Groups by clock count from this confidence on.
const SURE: f64 = 0.9;
/// Identifiers compared at most; further ones stay alone.
const MOST: usize = 512;

/// Silences begin together when they are due within this (nanoseconds), bucketed.
const TOGETHER: i64 = 500_000_000;
/// Jaccard index from which two identifiers share a sender.
const SHARED: f64 = 0.5;

/// New names by name in the facts, and the identifiers of each new name.
pub(super) type Naming = (BTreeMap<String, String>, Vec<(String, Vec<String>)>);

/// Groups the unnamed identifiers of one vehicle. Without a description, nodes that only the standard
/// names by their address are listed too, with that address.
pub(super) fn group(logs: &[(Arc<str>, LogFacts)], described: bool) -> Naming {
    let mut identifiers: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut silent: BTreeMap<String, BTreeSet<i64>> = BTreeMap::new();
    let mut addressed: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (_, facts) in logs {
        for row in facts.identifiers.iter().filter(|_| !described) {
            if let Some(address) = address(row) {
                let listed = addressed.entry(row.node.clone()).or_default();
                listed.insert(format!("source address {address}"));
                listed.insert(row.id.to_string());
            }
        }
        for row in facts.identifiers.iter().filter(|r| r.node.starts_with(UNNAMED)) {
            identifiers.entry(row.node.clone()).or_default().insert(row.id.to_string());
        }
        for row in facts.silences.iter().filter(|r| r.node.starts_with(UNNAMED)) {
            silent.entry(row.node.clone()).or_default().insert(row.due.0.div_euclid(TOGETHER));
        }
    }
    let single = format!("{UNNAMED}id-");
    let clocks = Clocks::new(logs);
    // Only what was silent or has a clock can be compared; the rest stays alone.
    let singles: Vec<&String> = identifiers.keys().filter(|n| n.starts_with(&single)).collect();
    let mut telling: Vec<&String> = singles
        .iter()
        .copied()
        .filter(|n| silent.contains_key(*n) || clocks.groups.contains_key(*n))
        .collect();
    telling.truncate(MOST);
    let distance = |a: usize, b: usize| {
        let (a, b) = (telling[a], telling[b]);
        let together = 1.0 - jaccard(silent.get(a), silent.get(b));
        match clocks.same(a, b) {
            Some(true) => 0.0,
            // Other clocks, yet always silent together: one feed or branch, not one sender.
            Some(false) => 1.0,
            None => together,
        }
    };
    let tree = clusters::average_linkage(telling.len(), distance);
    let labels = clusters::cut(telling.len(), &tree, 1.0 - SHARED);
    let mut groups: Vec<Vec<String>> = Vec::new();
    let mut homes: BTreeMap<usize, usize> = BTreeMap::new();
    for name in singles {
        let label = telling.iter().position(|n| *n == name).and_then(|n| labels.get(n));
        match label.and_then(|l| homes.get(l)) {
            Some(place) => groups[*place].push(name.clone()),
            None => {
                if let Some(label) = label {
                    homes.insert(*label, groups.len());
                }
                groups.push(vec![name.clone()]);
            }
        }
    }
    let mut names = BTreeMap::new();
    let mut listed = Vec::new();
    for (number, group) in groups.iter().enumerate() {
        let new = format!("{UNNAMED}{:02}", number + 1);
        let ids = group.iter().flat_map(|n| identifiers.get(n)).flatten().cloned().collect();
        for name in group {
            names.insert(name.clone(), new.clone());
        }
        listed.push((new, ids));
    }
    for (name, ids) in identifiers.iter().filter(|(n, _)| !n.starts_with(&single)) {
        listed.push((name.clone(), ids.iter().cloned().collect()));
    }
    let new = |name: &String| !identifiers.contains_key(name);
    for (name, lines) in addressed.iter().filter(|(name, _)| new(name)) {
        // The address first, then the identifiers.
        let (ids, address): (Vec<String>, Vec<String>) =
            lines.iter().cloned().partition(|l| !l.starts_with("source"));
        listed.push((name.clone(), address.into_iter().chain(ids).collect()));
    }
    listed.sort();
    (names, listed)
}

/// The J1939 source address that names a row's node.
fn address(row: &IdentifierRow) -> Option<u8> {
    let address = j1939::header(row.id)?.source;
    (address_name(address) == row.node).then_some(address)
}

/// Which identifiers ran by one clock, log by log.
struct Clocks {
    /// By name in the facts: log, bus and group.
    groups: BTreeMap<String, BTreeSet<(usize, String, u32)>>,
}

impl Clocks {
    fn new(logs: &[(Arc<str>, LogFacts)]) -> Clocks {
        let mut groups: BTreeMap<String, BTreeSet<(usize, String, u32)>> = BTreeMap::new();
        for (place, (_, facts)) in logs.iter().enumerate() {
            for row in facts.finer.clock_groups.iter().filter(|r| r.confidence >= SURE) {
                let name = facts.identifiers.iter().find(|i| i.bus == row.bus && i.id == row.id);
                if let Some(name) = name.map(|i| &i.node).filter(|n| n.starts_with(UNNAMED)) {
                    let group = (place, row.bus.clone(), row.group);
                    groups.entry(name.clone()).or_default().insert(group);
                }
            }
        }
        Clocks { groups }
    }

    /// Of one clock in more logs than of two; `None` when no log has both, or as many say so as not.
    fn same(&self, a: &str, b: &str) -> Option<bool> {
        let (a, b) = (self.groups.get(a)?, self.groups.get(b)?);
        let (mut yes, mut no) = (0, 0);
        for (log, bus, group) in a {
            for (_, _, other) in b.iter().filter(|(l, u, _)| l == log && u == bus) {
                yes += usize::from(group == other);
                no += usize::from(group != other);
            }
        }
        (yes != no).then_some(yes > no)
    }
}

/// Overlap of two sets of moments; neighbouring buckets count as the same moment.
fn jaccard(a: Option<&BTreeSet<i64>>, b: Option<&BTreeSet<i64>>) -> f64 {
    let (Some(a), Some(b)) = (a, b) else { return 0.0 };
    let near = |set: &BTreeSet<i64>, t: i64| set.range(t - 1..=t + 1).next().is_some();
    let common = a.iter().filter(|t| near(b, **t)).count();
    let all = a.len() + b.iter().filter(|t| !near(a, **t)).count();
    if all == 0 { 0.0 } else { common as f64 / all as f64 }
}
