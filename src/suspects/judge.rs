//! The stage's one way through: incidents of one vehicle in, its finding out.

use std::collections::BTreeSet;

use super::findings::{SuspectFinding, VehicleFinding};
use super::hypotheses::Space;
use super::listening::Listening;
use super::next_tests::next_tests;
use super::ranking::rank;
use super::scene::Scene;
use super::verdict::verdict;
use super::wording;
use crate::conditions::{ConditionRisk, Exposure};
use crate::incidents::{Gathered, Incident};
use crate::read::ServiceNote;
use crate::vocabulary::Network;

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
}

/// Weighs the suspects of one vehicle.
#[must_use]
pub fn judge(case: Case<'_>) -> VehicleFinding {
    let Case { vehicle, network, gathered, exposures, conditions, notes, listening } = case;
    let incidents: Vec<&Incident> = gathered.incidents.iter().collect();
    let mut remarks = gathered.remarks.clone();
    if network.is_none() {
        remarks.push(
            "no network description: branches, feeds and grounds cannot be suspected, and identifiers \
             have no names; add one under `networks` and name it in the vehicles table"
                .to_owned(),
        );
    }
    let mut suspects = Vec::new();
    let mut tests = Vec::new();
    if !incidents.is_empty() {
        let buses: BTreeSet<String> = incidents.iter().filter_map(|i| i.bus.clone()).collect();
        let space = Space::new(&gathered.fitted, network, &buses);
        let scenes: Vec<Scene> =
            incidents.iter().map(|i| Scene::new(i, &space, listening)).collect();
        let ranking = rank(&space, &scenes, notes, &exposures);
        let (risk, trigger) = trigger(&conditions, &exposures);
        tests = next_tests(&space, &ranking, risk, &trigger);
        suspects = ranking
            .suspects
            .iter()
            .map(|ranked| SuspectFinding {
                suspect: ranked.suspect.clone(),
                probability: ranked.probability,
                prior: ranked.prior,
                mechanisms: ranked.mechanisms.clone(),
                evidence: wording::evidence(ranked, &ranking, &space, &incidents, notes),
            })
            .collect();
    }
    let (verdict, because) = verdict(&suspects, incidents.len());
    VehicleFinding {
        vehicle: vehicle.to_owned(),
        network: network.map(|n| n.name.clone()),
        verdict,
        because,
        suspects,
        exposures,
        incidents: gathered.incidents,
        conditions,
        next_tests: tests,
        unnamed_senders: gathered.unnamed,
        unplaced: gathered.unplaced,
        remarks,
    }
}

/// Risk of an incident under the strongest condition that is borne out, and its name in words.
fn trigger(conditions: &[ConditionRisk], exposures: &[Exposure]) -> (f64, String) {
    let best = conditions
        .iter()
        .find(|c| c.p_value <= 0.05 && c.starts_with > 0 && c.risk_ratio.is_some_and(|r| r > 1.0));
    if let Some(c) = best {
        let risk = (f64::from(c.incidents_with) + 0.5) / (f64::from(c.starts_with) + 1.0);
        return (risk, format!("with {}", c.condition));
    }
    let judged = exposures.iter().filter(|e| e.judged);
    let (mut hit, mut all) = (0.5, 1.0);
    for e in judged {
        hit += f64::from(u8::from(e.incidents > 0));
        all += 1.0;
    }
    (hit / all, "as before".to_owned())
}
