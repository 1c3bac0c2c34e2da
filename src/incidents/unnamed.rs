//! Unnamed senders: identifiers that no description names and that are silent together are grouped.
//!
//! Two identifiers share a sender when their silences coincide over the vehicle's logs (Jaccard
//! index of at least one half). Identifiers that were never silent stay alone: nothing tells.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::observe::{IdentifierRow, LogFacts, UNNAMED, address_name};
use crate::protocol::j1939;

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
    let mut groups: Vec<Vec<String>> = Vec::new();
    for name in identifiers.keys().filter(|n| n.starts_with(&single)) {
        let own = silent.get(name);
        let home = groups.iter().position(|group| {
            group.first().is_some_and(|first| jaccard(own, silent.get(first)) >= SHARED)
        });
        match home {
            Some(place) => groups[place].push(name.clone()),
            None => groups.push(vec![name.clone()]),
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

/// Overlap of two sets of moments; neighbouring buckets count as the same moment.
fn jaccard(a: Option<&BTreeSet<i64>>, b: Option<&BTreeSet<i64>>) -> f64 {
    let (Some(a), Some(b)) = (a, b) else { return 0.0 };
    let near = |set: &BTreeSet<i64>, t: i64| set.range(t - 1..=t + 1).next().is_some();
    let common = a.iter().filter(|t| near(b, **t)).count();
    let all = a.len() + b.iter().filter(|t| !near(a, **t)).count();
    if all == 0 { 0.0 } else { common as f64 / all as f64 }
}
