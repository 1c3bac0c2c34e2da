//! What is needed of one vehicle's finding: how long it was watched, which nodes are suspected, when
//! it had incidents and whom they touched.

use std::collections::BTreeSet;

use crate::incidents::Incident;
use crate::suspects::VehicleFinding;
use crate::vocabulary::{Instant, Suspect};

/// Probabilities below this are left out: they are what remains of the priors.
const LEAST: f64 = 0.005;
/// A vehicle's first record tells of the day before it too: codes are kept (judgement).
const BEFORE_S: f64 = 86_400.0;

/// One vehicle as the batch view needs it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Seen {
    /// The vehicle.
    pub vehicle: String,
    /// It was watched from here: a day before its first judged start; `None`: never watched.
    pub from: Option<Instant>,
    /// To here: the end of its last judged start. Later months are unknown, not clean.
    pub to: Option<Instant>,
    /// Nodes with their probability of being at fault, by name.
    pub nodes: Vec<(String, f64)>,
    /// Its incidents by time, but for those that only old codes tell of.
    pub incidents: Vec<SeenIncident>,
}

/// One incident.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenIncident {
    /// Its first sign.
    pub begin: Instant,
    /// Nodes that were silent, accused or did not answer.
    pub nodes: BTreeSet<String>,
    /// Whether the bus as a whole was disturbed or down: such an incident may be anybody's.
    pub bus: bool,
}

impl SeenIncident {
    /// Whether it may be a fault of that node.
    #[must_use]
    pub fn touches(&self, node: &str) -> bool {
        self.bus || self.nodes.contains(node)
    }
}

impl Seen {
    /// What a finding says.
    #[must_use]
    pub fn of(finding: &VehicleFinding) -> Seen {
        let judged = || finding.exposures.iter().filter(|e| e.judged);
        let mut nodes: Vec<(String, f64)> = Vec::new();
        let mut add = |suspect: &Suspect, probability: f64| {
            let Suspect::Node(name) = suspect else { return };
            if probability < LEAST {
                return;
            }
            match nodes.iter_mut().find(|(node, _)| node == name) {
                // A second cause has incidents of its own beside the leader's.
                Some((_, own)) => *own = own.max(probability),
                None => nodes.push((name.clone(), probability)),
            }
        };
        for one in &finding.suspects {
            add(&one.suspect, one.probability);
        }
        for other in &finding.other_causes {
            add(&other.suspect, other.probability);
        }
        nodes.sort_by(|a, b| a.0.cmp(&b.0));
        let fresh = finding.incidents.iter().filter(|i| !i.perhaps_old);
        let mut incidents: Vec<SeenIncident> = fresh.map(incident).collect();
        incidents.sort_by_key(|i| i.begin);
        Seen {
            vehicle: finding.vehicle.clone(),
            from: judged().map(|e| e.start).min().map(|first| first.plus_seconds(-BEFORE_S)),
            to: judged().map(|e| e.end).max(),
            nodes,
            incidents,
        }
    }
}

fn incident(incident: &Incident) -> SeenIncident {
    let silent = incident.silent.iter().map(|s| &s.node);
    let accused = incident.accusations.iter().map(|a| &a.accused);
    let mute = incident.unanswered.iter().map(|(node, _)| node);
    SeenIncident {
        begin: incident.begin,
        nodes: silent.chain(accused).chain(mute).cloned().collect(),
        bus: !incident.disturbances.is_empty() || !incident.bus_down.is_empty(),
    }
}
