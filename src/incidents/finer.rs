//! Carries the finer facts of the logs to the incident they belong to, under the names of its nodes.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::incident::{FinerSigns, Incident};
use crate::observe::LogFacts;
use crate::vocabulary::Instant;

/// Signs may stand this long (seconds) before or after the incident.
const AROUND: f64 = 1.0;

/// The finer facts that belong to an incident. `names` renames unnamed senders.
pub(super) fn of(
    incident: &Incident,
    logs: &[(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
) -> FinerSigns {
    let mut signs = FinerSigns::default();
    let within = |time: Instant| {
        time.seconds_since(incident.begin) >= -AROUND && time.seconds_since(incident.end) <= AROUND
    };
    let here = |bus: &str, time: Instant| {
        within(time) && incident.bus.as_deref().is_none_or(|own| own == bus)
    };
    let named = |node: &str| names.get(node).map_or_else(|| node.to_owned(), Clone::clone);
    for (_, log) in logs {
        let finer = &log.finer;
        signs.errors.extend(finer.errors.iter().filter(|r| here(&r.bus, r.begin)).cloned());
        for row in finer.locks.iter().filter(|r| here(&r.bus, r.begin)) {
            let mut row = row.clone();
            row.node = named(&row.node);
            signs.locks.push(row);
        }
        for row in finer.returns.iter().filter(|r| here(&r.bus, r.due)) {
            let mut row = row.clone();
            row.node = named(&row.node);
            signs.returns.push(row);
        }
        for row in finer.orders.iter().filter(|r| here(&r.bus, r.begin)) {
            let mut row = row.clone();
            (row.earlier, row.later) = (named(&row.earlier), named(&row.later));
            signs.orders.push(row);
        }
        let overlaps = |from: Instant, to: Instant| {
            to.seconds_since(incident.begin) >= -AROUND
                && from.seconds_since(incident.end) <= AROUND
        };
        for row in finer.passives.iter().filter(|r| overlaps(r.first, r.last)) {
            let mut row = row.clone();
            row.node = named(&row.node);
            signs.passives.push(row);
        }
    }
    signs
}
