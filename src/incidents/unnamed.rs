//! Unnamed senders: identifiers that no description names and that are silent together are grouped.
//!
//! Two identifiers share a sender when they run by one clock, or when their silences coincide over the
//! vehicle's logs (Jaccard index of at least one half, average linkage). Two of different clocks never do,
//! however often they fall silent together: that is one feed, not one sender. Moments at which a crowd fell
//! silent do not count. What nothing tells stays alone.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::numerics::clusters;
use crate::observe::{ClockGroupRow, IdentifierRow, LogFacts, UNNAMED, address_name};
use crate::protocol::j1939;

/// Groups by clock count from this confidence on.
const SURE: f64 = 0.9;
/// Identifiers compared at most; further ones stay alone.
const MOST: usize = 512;

/// A clock that more than this share of a bus's cyclic identifiers keep, so many at least, is no sender's but the log's:
/// made up, replayed, or of a bus with one beat for all.
const CLOCK_OF_ALL: f64 = 2.0 / 3.0;
const FEWEST_OF_ALL: usize = 6;
/// Silences begin together when they are due within this (nanoseconds), bucketed.
const TOGETHER: i64 = 500_000_000;
/// More identifiers than these, and than a third of all, are no one sender's.
const CROWD: usize = 12;
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
    leave_out_crowds(&mut silent, identifiers.len());
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

/// Takes out the moments at which a crowd of identifiers fell silent: that is a bus or a branch of it, and tells
/// nothing of who sends what.
fn leave_out_crowds(silent: &mut BTreeMap<String, BTreeSet<i64>>, identifiers: usize) {
    let mut at: BTreeMap<i64, BTreeSet<&str>> = BTreeMap::new();
    for (name, moments) in silent.iter() {
        for moment in moments {
            at.entry(*moment).or_default().insert(name);
        }
    }
    let most = CROWD.max(identifiers / 3);
    let together = |moment: i64| {
        let near = at.range(moment - 1..=moment + 1).flat_map(|(_, who)| who);
        near.collect::<BTreeSet<_>>().len()
    };
    let crowds: BTreeSet<i64> = at.keys().copied().filter(|m| together(*m) > most).collect();
    silent.retain(|_, moments| {
        moments.retain(|moment| !crowds.contains(moment));
        !moments.is_empty()
    });
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
            let crowded = crowded(facts);
            let sure = |r: &&ClockGroupRow| {
                r.confidence >= SURE && !crowded.contains(&(r.bus.as_str(), r.group))
            };
            for row in facts.finer.clock_groups.iter().filter(sure) {
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

/// Clocks that most of their bus keeps, by bus and group.
fn crowded(facts: &LogFacts) -> BTreeSet<(&str, u32)> {
    let mut sizes: BTreeMap<(&str, u32), usize> = BTreeMap::new();
    for row in &facts.finer.clock_groups {
        *sizes.entry((&row.bus, row.group)).or_default() += 1;
    }
    let cyclic = |bus: &str| facts.identifiers.iter().filter(|i| i.bus == bus && i.cyclic).count();
    let crowd = |bus: &str, size: usize| {
        size >= FEWEST_OF_ALL && size as f64 > CLOCK_OF_ALL * cyclic(bus) as f64
    };
    sizes.into_iter().filter(|((bus, _), size)| crowd(bus, *size)).map(|(key, _)| key).collect()
}

/// Overlap of two sets of moments; neighbouring buckets count as the same moment.
fn jaccard(a: Option<&BTreeSet<i64>>, b: Option<&BTreeSet<i64>>) -> f64 {
    let (Some(a), Some(b)) = (a, b) else { return 0.0 };
    let near = |set: &BTreeSet<i64>, t: i64| set.range(t - 1..=t + 1).next().is_some();
    let common = a.iter().filter(|t| near(b, **t)).count();
    let all = a.len() + b.iter().filter(|t| !near(a, **t)).count();
    if all == 0 { 0.0 } else { common as f64 / all as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::incidents::invented;
    use crate::observe::SilenceRow;
    use crate::vocabulary::{Identifier, Instant, Place};

    /// Thirty identifiers; each list falls silent together, a minute apart.
    fn senders(silent: &[&[u32]]) -> usize {
        let at = |s: f64| Instant(1_700_000_000_000_000_000).plus_seconds(s);
        let (name, mut log) = invented::log("a.log", "can0", at(0.0), at(900.0));
        let node = |id: u32| format!("{UNNAMED}id-{id:03X}");
        for id in 0x100..0x11E {
            log.identifiers.push(IdentifierRow {
                bus: "can0".to_owned(),
                id: Identifier::base(id),
                node: node(id),
                frames: 9000,
                cyclic: true,
                period_s: Some(0.1),
                jitter_s: Some(0.001),
            });
        }
        for (minute, ids) in (1..).zip(silent) {
            log.silences.extend(ids.iter().map(|id| SilenceRow {
                bus: "can0".to_owned(),
                start: at(0.0),
                node: node(*id),
                last_heard: at(f64::from(minute) * 60.0),
                due: at(f64::from(minute) * 60.0 + 0.1),
                end: at(f64::from(minute) * 60.0 + 2.0),
                returned: true,
                restarted: None,
                identifiers: 1,
                place: Place::whole(&name),
            }));
        }
        group(&[(name, log)], false).1.len()
    }

    /// Thirty identifiers, of which so many keep one clock by every log.
    #[test]
    fn a_clock_that_nearly_all_keep_is_nobody_s() {
        let senders = |of_one: u32| {
            let at = |s: f64| Instant(1_700_000_000_000_000_000).plus_seconds(s);
            let (name, mut log) = invented::log("a.log", "can0", at(0.0), at(900.0));
            for id in 0x100..0x11E {
                log.identifiers.push(IdentifierRow {
                    bus: "can0".to_owned(),
                    id: Identifier::base(id),
                    node: format!("{UNNAMED}id-{id:03X}"),
                    frames: 9000,
                    cyclic: true,
                    period_s: Some(0.1),
                    jitter_s: Some(0.001),
                });
                log.finer.clock_groups.push(ClockGroupRow {
                    bus: "can0".to_owned(),
                    id: Identifier::base(id),
                    group: if id < 0x100 + of_one { 0 } else { id },
                    skew: (0.0, 0.1),
                    confidence: 0.99,
                });
            }
            group(&[(name, log)], false).1.len()
        };
        assert_eq!(senders(5), 26);
        assert_eq!(senders(28), 30);
    }

    // Twice a second, as bus-off makes it: fifteen silences near to each other are still five identifiers.
    #[test]
    fn a_crowd_is_counted_in_identifiers() {
        let mut silent = BTreeMap::new();
        for n in 0..5 {
            silent.insert(format!("{UNNAMED}id-10{n}"), BTreeSet::from([10, 11, 12]));
        }
        leave_out_crowds(&mut silent, 30);
        assert_eq!(silent.len(), 5);
        for n in 5..20 {
            silent.insert(format!("{UNNAMED}id-1{n}"), BTreeSet::from([11]));
        }
        leave_out_crowds(&mut silent, 30);
        assert!(silent.is_empty(), "{silent:?}");
    }

    #[test]
    fn who_falls_silent_together_is_one_sender_but_a_crowd_is_a_bus() {
        let few: Vec<u32> = (0x100..0x105).collect();
        let crowd: Vec<u32> = (0x100..0x11A).collect();
        assert_eq!(senders(&[]), 30);
        assert_eq!(senders(&[&few]), 26, "five are one");
        assert_eq!(senders(&[&crowd, &crowd, &crowd]), 30);
        assert_eq!(senders(&[&few, &crowd]), 26, "what the crowd hides the other moment tells");
    }
}
