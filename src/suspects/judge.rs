//! The stage's one way through: incidents of one vehicle in, its finding out.

use std::collections::BTreeSet;

use super::doubts::{between_leaders, explained_by_leader, hangs_on, is_open, other_causes, range};
use super::findings::{SuspectFinding, VehicleFinding};
use super::habit::remember;
use super::hypotheses::Space;
use super::listening::Listening;
use super::next_tests::{Asked, next_tests};
use super::ranking::rank;
use super::scene::Scene;
use super::verdict::verdict;
use super::wording;
use crate::conditions::{ConditionRisk, Exposure};
use crate::incidents::{Gathered, Incident};
use crate::read::{ServiceAction, ServiceNote, ServiceOutcome, TestTable};
use crate::vocabulary::{Network, Suspect};

/// All that is known of one vehicle when its suspects are weighed.
#[derive(Debug)]
pub struct Case<'a> {
    /// The vehicle.
    pub vehicle: &'a str,
    /// Its network description, if any.
    pub network: Option<&'a Network>,
    /// Starts, incidents, remarks.
    pub gathered: Gathered,
    /// Its starts with their conditions.
    pub exposures: Vec<Exposure>,
    /// Risk by condition.
    pub conditions: Vec<ConditionRisk>,
    /// Its service notes, by time.
    pub notes: &'a [ServiceNote],
    /// Who listens to whom in vehicles of this network.
    pub listening: &'a Listening,
    /// What tests take and tell.
    pub tests: &'a TestTable,
}

/// Weighs the suspects of one vehicle.
#[must_use]
pub fn judge(case: Case<'_>) -> VehicleFinding {
    let Case { vehicle, network, gathered, exposures, conditions, notes, listening, tests } = case;
    let incidents: Vec<&Incident> = gathered.incidents.iter().collect();
    let mut remarks = gathered.remarks.clone();
    if network.is_none() {
        remarks.push(
            "no network description is used: branches, feeds and grounds cannot be suspected, and identifiers \
             have no names; add one under `networks` and name it in the vehicles table"
                .to_owned(),
        );
    }
    let mut suspects = Vec::new();
    let (mut causes, mut hanging, mut explained) = (Vec::new(), Vec::new(), 0);
    let (mut next, mut sequence) = (Vec::new(), Vec::new());
    let (mut apart, mut open) = (String::new(), false);
    if !incidents.is_empty() {
        let buses: BTreeSet<String> = incidents.iter().filter_map(|i| i.bus.clone()).collect();
        let space = Space::new(&gathered.fitted, network, &buses, &met(&incidents));
        let mut own = Listening::default();
        own.learn_of(&gathered);
        let mut scenes: Vec<Scene> =
            incidents.iter().map(|i| Scene::new(i, &space, (listening, &own))).collect();
        for (scene, incident) in scenes.iter_mut().zip(&incidents) {
            scene.repaired_before = (!notes.is_empty()).then(|| repaired_before(incident, notes));
        }
        remember(&mut scenes);
        let notes = &telling(notes, &incidents);
        let ranking = rank(&space, &scenes, notes, &exposures);
        causes = other_causes(&space, &ranking, &scenes);
        hanging = hangs_on(&space, &ranking);
        apart = between_leaders(&ranking);
        open = is_open(&space, &ranking);
        explained = explained_by_leader(&space, &ranking);
        let leaders: Vec<Suspect> = ranking.suspects.iter().map(|r| r.suspect.clone()).collect();
        (next, sequence) = next_tests(&Asked {
            space: &space,
            posterior: &ranking.posterior,
            leaders: &leaders,
            network,
            conditions: &conditions,
            exposures: &exposures,
            table: tests,
        });
        suspects = ranking
            .suspects
            .iter()
            .map(|ranked| SuspectFinding {
                suspect: ranked.suspect.clone(),
                probability: ranked.probability,
                range: range(&space, &ranking, ranked),
                prior: ranked.prior,
                mechanisms: ranked.mechanisms.clone(),
                evidence: wording::evidence(ranked, &ranking, &space, &incidents, notes),
            })
            .collect();
    }
    let (verdict, because) = verdict(&suspects, incidents.len(), (&apart, open));
    VehicleFinding {
        vehicle: vehicle.to_owned(),
        network: network.map(|n| n.name.clone()),
        verdict,
        because,
        suspects,
        explained,
        other_causes: causes,
        hangs_on: hanging,
        exposures,
        incidents: gathered.incidents,
        conditions,
        next_tests: next,
        sequence,
        unnamed_senders: gathered.unnamed,
        unplaced: gathered.unplaced,
        remarks,
    }
}

/// The nodes that were heard on the bus or asked by the tester.
fn met(incidents: &[&Incident]) -> BTreeSet<String> {
    let mut met = BTreeSet::new();
    for i in incidents {
        met.extend(i.silent.iter().map(|s| s.node.clone()));
        met.extend(i.alive.iter().cloned());
        met.extend(i.reporters.iter().cloned());
        met.extend(i.answered.iter().chain(&i.unanswered).map(|(n, _)| n.clone()));
    }
    met
}

/// The notes that can tell anything: a change before anything was seen cannot have changed what was seen.
fn telling(notes: &[ServiceNote], incidents: &[&Incident]) -> Vec<ServiceNote> {
    let first = incidents.iter().filter(|i| !i.perhaps_old).map(|i| i.begin).min();
    let after = |n: &&ServiceNote| first.is_some_and(|t| n.time >= t);
    let in_vain = |n: &&ServiceNote| n.outcome == Some(ServiceOutcome::NoChange);
    notes.iter().filter(|n| after(n) || in_vain(n)).cloned().collect()
}

/// Whether a node that an incident's codes accuse had been worked on before they were first read.
fn repaired_before(incident: &Incident, notes: &[ServiceNote]) -> bool {
    notes.iter().any(|n| {
        let changes = matches!(
            n.action,
            ServiceAction::Replace | ServiceAction::Repair | ServiceAction::Clean
        );
        let accused = |name: &String| incident.accusations.iter().any(|a| a.accused == *name);
        changes
            && n.time < incident.begin
            && n.outcome != Some(ServiceOutcome::NoChange)
            && matches!(&n.target, Some(Suspect::Node(name)) if accused(name))
    })
}
