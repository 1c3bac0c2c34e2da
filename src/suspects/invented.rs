//! Invented incidents on a small network for the tests of this stage. Test builds only.

use super::listening::Listening;
use super::{Case, VehicleFinding, judge};
use crate::conditions::Exposure;
use crate::conditions::invented::{exposure, incident};
use crate::incidents::{Accusation, Gathered, Incident, SilentNode};
use crate::read::{ServiceNote, TestTable};
use crate::vocabulary::{Branch, Bus, Instant, Network, Node, Place};

/// A day after the last, seconds.
pub(super) const DAY: f64 = 86_400.0;

pub(super) fn place() -> Place {
    Place::line(&"invented.log".into(), 7)
}

/// Nodes on one bus: name, branch, feed, ground.
pub(super) fn network(nodes: &[(&str, &str, &str, &str)]) -> Network {
    let mut branches: Vec<String> = nodes.iter().map(|n| n.1.to_owned()).collect();
    branches.sort();
    branches.dedup();
    let node = |(name, branch, feed, ground): &(&str, &str, &str, &str)| Node {
        name: (*name).to_owned(),
        buses: vec!["chassis".to_owned()],
        branches: vec![(*branch).to_owned()],
        feed: Some((*feed).to_owned()),
        ground: Some((*ground).to_owned()),
        ..Node::default()
    };
    Network {
        name: "small".to_owned(),
        buses: vec![Bus { name: "chassis".to_owned(), ..Bus::default() }],
        nodes: nodes.iter().map(node).collect(),
        branches: branches
            .into_iter()
            .map(|name| Branch { name, bus: Some("chassis".to_owned()), upstream: None })
            .collect(),
    }
}

/// An incident that a log covers, on the given day: who of `all` was silent, from one moment on, for `seconds`.
pub(super) fn silence(day: u32, silent: &[&str], all: &[&str], seconds: f64) -> Incident {
    let start = Instant(1_767_592_800_000_000_000).plus_seconds(f64::from(day) * DAY);
    let begin = start.plus_seconds(40.0);
    let node = |name: &&str| SilentNode {
        node: (*name).to_owned(),
        last_heard: begin.plus_seconds(-0.1),
        due: begin,
        end: begin.plus_seconds(seconds),
        returned: true,
        restarted: None,
        place: place(),
    };
    let alive = all.iter().filter(|n| !silent.contains(n));
    Incident {
        end: begin.plus_seconds(seconds),
        bus: Some("chassis".to_owned()),
        since_start_s: None,
        silent: silent.iter().map(node).collect(),
        alive: alive.map(|n| (*n).to_owned()).collect(),
        ..incident(start, 40.0)
    }
}

/// Lets reporters accuse: reporter, accused.
pub(super) fn accuse(incident: &mut Incident, reporters: &[&str], pairs: &[(&str, &str)]) {
    incident.reporters = reporters.iter().map(|r| (*r).to_owned()).collect();
    incident.accusations.extend(pairs.iter().map(|(reporter, accused)| Accusation {
        reporter: (*reporter).to_owned(),
        accused: (*accused).to_owned(),
        heard: false,
        code: "U0100".to_owned(),
        place: place(),
    }));
}

/// A start without an incident.
pub(super) fn healthy_start(day: u32) -> Exposure {
    let start = Instant(1_767_592_800_000_000_000).plus_seconds(f64::from(day) * DAY + 40_000.0);
    Exposure { place: place(), ..exposure("V", start) }
}

/// The finding of one vehicle.
pub(super) fn found(
    network: Option<&Network>,
    all: &[&str],
    incidents: Vec<Incident>,
    notes: &[ServiceNote],
    healthy: &[Exposure],
) -> VehicleFinding {
    let mut exposures: Vec<Exposure> = healthy.to_vec();
    exposures.extend(incidents.iter().map(|i| Exposure {
        start: i.start,
        end: i.start.plus_seconds(1800.0),
        incidents: 1,
        ..healthy_start(0)
    }));
    exposures.sort_by_key(|e| e.start);
    let gathered = Gathered {
        incidents,
        fitted: all.iter().map(|n| (*n).to_owned()).collect(),
        ..Gathered::default()
    };
    let table = TestTable::shipped();
    let mut listening = Listening::default();
    listening.learn_of(&gathered);
    judge(Case {
        vehicle: "V",
        network,
        gathered,
        exposures,
        conditions: Vec::new(),
        notes,
        listening: &listening,
        tests: &table,
    })
}
