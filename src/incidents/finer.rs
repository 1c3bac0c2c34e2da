//! Carries the finer facts of the logs to the incident they belong to, under the names of its nodes.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::incident::{FinerSigns, Incident};
use crate::observe::{AnswerReading, LogFacts};
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
    let mut tries: BTreeMap<String, (f64, f64)> = BTreeMap::new();
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
        let overlaps = |from: Instant, to: Instant| {
            to.seconds_since(incident.begin) >= -AROUND
                && from.seconds_since(incident.end) <= AROUND
        };
        for row in finer.passives.iter().filter(|r| overlaps(r.first, r.last)) {
            let mut row = row.clone();
            row.node = named(&row.node);
            signs.passives.push(row);
        }
        for row in log.losses.iter().filter(|r| here(&r.bus, r.begin)) {
            let Some(failed) = row.failed else { continue };
            let sum = tries.entry(named(&row.node)).or_default();
            sum.0 += f64::from(failed);
            sum.1 += (row.expected - row.missing).max(0.0);
        }
        // Alive but not served is no missing answer, so no report brings it here.
        let unserved = log
            .logged_answers
            .iter()
            .filter(|r| r.reading == AnswerReading::AliveUnserved && overlaps(r.first, r.last));
        signs.readings.extend(unserved.map(|r| (named(&r.node), r.reading, r.place.clone())));
    }
    signs.tries =
        tries.into_iter().map(|(node, (failed, passed))| (node, failed, passed)).collect();
    signs
}
