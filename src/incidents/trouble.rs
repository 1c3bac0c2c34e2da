//! Trouble seen by logs: silences and disturbances that matter, joined where they are close in time.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::incident::{Disturbed, SilentNode};
use crate::observe::{DisturbanceKind, LogFacts, SilenceRow};
use crate::vocabulary::Instant;

/// Signs nearer than this are one incident (seconds).
const JOINS: f64 = 30.0;
/// A single silence counts from here on (seconds); shorter ones only in company.
const ALONE: f64 = 0.15;
/// So many short silences of one node in one start are company enough.
const REPEATED: usize = 3;
/// Thinned traffic without other signs counts from here on (seconds).
const THIN: f64 = 0.3;

/// Silences and disturbances that belong together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trouble {
    pub begin: Instant,
    pub end: Instant,
    pub bus: String,
    pub silent: Vec<SilentNode>,
    pub disturbances: Vec<Disturbed>,
    /// By node: cyclic frames due during the disturbances, and frames missing.
    pub losses: BTreeMap<String, (f64, f64)>,
}

/// The words for the kinds of disturbance.
pub(super) fn kind_word(kind: DisturbanceKind) -> &'static str {
    match kind {
        DisturbanceKind::ErrorFrames => "error-frames",
        DisturbanceKind::Flood => "flood",
        DisturbanceKind::UnknownIdentifiers => "unknown-identifiers",
        DisturbanceKind::Thinned => "thinned",
        DisturbanceKind::Starved => "starved",
    }
}

enum Sign {
    Silent(SilentNode),
    Disturbed(Disturbed),
}

/// All trouble of one vehicle, by time. `names` renames unnamed senders.
pub(super) fn find(
    logs: &[(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
) -> Vec<Trouble> {
    let mut signs: Vec<(Instant, Instant, String, Sign)> = Vec::new();
    for (_, facts) in logs {
        for silence in facts.silences.iter().filter(|s| matters(s, facts)) {
            let node = names.get(&silence.node).unwrap_or(&silence.node).clone();
            let silent = SilentNode {
                node,
                last_heard: silence.last_heard,
                due: silence.due,
                end: silence.end,
                returned: silence.returned,
                restarted: silence.restarted,
                place: silence.place.clone(),
            };
            signs.push((silence.due, silence.end, silence.bus.clone(), Sign::Silent(silent)));
        }
        for row in &facts.disturbances {
            let thin = matches!(row.kind, DisturbanceKind::Thinned | DisturbanceKind::Starved);
            if thin && row.end.seconds_since(row.begin) < THIN {
                continue;
            }
            let node = row.node.as_ref().map(|n| names.get(n).unwrap_or(n).clone());
            let disturbed = Disturbed {
                kind: kind_word(row.kind),
                begin: row.begin,
                end: row.end,
                count: row.count,
                node,
                detail: row.detail.clone(),
                place: row.place.clone(),
            };
            signs.push((row.begin, row.end, row.bus.clone(), Sign::Disturbed(disturbed)));
        }
    }
    signs.sort_by(|a, b| (a.0, a.1, &a.2, order(&a.3)).cmp(&(b.0, b.1, &b.2, order(&b.3))));
    let mut found: Vec<Trouble> = Vec::new();
    for (begin, end, bus, sign) in signs {
        let joins = found.last().is_some_and(|t| begin.seconds_since(t.end) <= JOINS);
        if !joins {
            found.push(Trouble {
                begin,
                end,
                bus,
                silent: Vec::new(),
                disturbances: Vec::new(),
                losses: BTreeMap::new(),
            });
        }
        let Some(trouble) = found.last_mut() else { continue };
        trouble.end = trouble.end.max(end);
        match sign {
            Sign::Silent(silent) => trouble.silent.push(silent),
            Sign::Disturbed(disturbed) => {
                add_losses(trouble, logs, names, disturbed.begin);
                trouble.disturbances.push(disturbed);
            }
        }
    }
    found
}

fn add_losses(
    trouble: &mut Trouble,
    logs: &[(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
    begin: Instant,
) {
    let rows = logs.iter().flat_map(|(_, facts)| &facts.losses);
    for row in rows.filter(|r| r.begin == begin && r.bus == trouble.bus) {
        let node = names.get(&row.node).unwrap_or(&row.node).clone();
        let sum = trouble.losses.entry(node).or_default();
        sum.0 += row.expected;
        sum.1 += row.missing;
    }
}

fn order(sign: &Sign) -> (u8, &str) {
    match sign {
        Sign::Silent(s) => (0, &s.node),
        Sign::Disturbed(d) => (1, d.kind),
    }
}

fn matters(silence: &SilenceRow, facts: &LogFacts) -> bool {
    if silence.end.seconds_since(silence.due) >= ALONE {
        return true;
    }
    let same = facts
        .silences
        .iter()
        .filter(|s| s.node == silence.node && s.start == silence.start && s.bus == silence.bus);
    if same.count() >= REPEATED {
        return true;
    }
    facts.disturbances.iter().any(|d| {
        d.bus == silence.bus
            && d.begin.seconds_since(silence.end) < 1.0
            && silence.due.seconds_since(d.end) < 1.0
    })
}
