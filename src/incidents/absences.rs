//! Nodes that were not there from the beginning of a start, told by how they usually behave.
//!
//! A node that joins seconds later than in the vehicle's other starts, or that a whole start lacks
//! although most starts have it, had fallen silent before it was ever heard. With fewer than three
//! other starts nothing is usual, and a late joiner is only waking up.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::numerics::centre;
use crate::observe::{LogFacts, PresenceRow, SilenceRow};
use crate::vocabulary::Instant;

/// Starts needed before anything is usual.
const FEWEST_STARTS: usize = 3;
/// Later than usual by this much (seconds) is a silence.
const LATE: f64 = 3.0;
/// A start must last this long (seconds) before a node that never came is missed.
const LONG_ENOUGH: f64 = 10.0;
/// Share of the judged starts in which a node must have been heard to be missed in another.
const USUALLY_THERE: f64 = 0.6;

/// Silences at the beginning of starts, with the position of the log they belong to.
pub(super) fn find(logs: &[(Arc<str>, LogFacts)]) -> Vec<(usize, SilenceRow)> {
    let mut usual: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
    let mut judged: BTreeMap<&str, usize> = BTreeMap::new();
    for (_, facts) in logs {
        for start in facts.starts.iter().filter(|s| s.judged && s.woke) {
            *judged.entry(&start.bus).or_default() += 1;
        }
        for row in cyclic(facts).filter(|r| woke(facts, r)) {
            let delay = row.first.seconds_since(row.start);
            usual.entry((&row.bus, &row.node)).or_default().push(delay);
        }
    }
    let mut found = Vec::new();
    for (place, (_, facts)) in logs.iter().enumerate() {
        for ((bus, node), delays) in &usual {
            let starts = judged.get(bus).copied().unwrap_or(0);
            if starts < FEWEST_STARTS || (delays.len() as f64) < USUALLY_THERE * starts as f64 {
                continue;
            }
            let Some(normal) = centre::median(delays) else { continue };
            for start in facts.starts.iter().filter(|s| s.bus == *bus && s.judged && s.woke) {
                // Whoever was heard was there, whether or not a beat could be told.
                let row = facts
                    .presences
                    .iter()
                    .find(|r| r.bus == *bus && r.node == *node && r.start == start.begin);
                let (end, returned) = match row {
                    Some(row) if row.first.seconds_since(start.begin) < normal + LATE => continue,
                    Some(row) => (row.first, true),
                    None if start.end.seconds_since(start.begin) < LONG_ENOUGH + normal => continue,
                    None => (start.end, false),
                };
                found.push((place, late(start.begin, normal, end, returned, bus, node, start)));
            }
        }
    }
    found
}

fn late(
    begin: Instant,
    normal: f64,
    end: Instant,
    returned: bool,
    bus: &str,
    node: &str,
    start: &crate::observe::StartRow,
) -> SilenceRow {
    SilenceRow {
        bus: bus.to_owned(),
        start: begin,
        node: node.to_owned(),
        last_heard: begin,
        due: begin.plus_seconds(normal),
        end,
        returned,
        restarted: None,
        identifiers: 0,
        place: start.place.clone(),
    }
}

pub(super) fn cyclic(facts: &LogFacts) -> impl Iterator<Item = &PresenceRow> {
    facts.presences.iter().filter(|r| r.fastest_period_s.is_some())
}

fn woke(facts: &LogFacts, row: &PresenceRow) -> bool {
    facts.starts.iter().any(|s| s.bus == row.bus && s.begin == row.start && s.woke && s.judged)
}
