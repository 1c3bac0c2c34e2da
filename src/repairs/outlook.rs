//! What lies ahead of one vehicle, brought together.

use serde::{Deserialize, Serialize};

use super::after_part::{AfterPart, AfterTable, after_part};
use super::changes::{Kind, changes};
use super::held::{Repair, State, weigh};
use crate::conditions::{Ahead, Trial, When, when};
use crate::read::ServiceNote;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Network;

/// All that is needed.
#[derive(Debug)]
pub struct Case<'a> {
    /// What was found.
    pub finding: &'a VehicleFinding,
    /// Its judged starts, by time.
    pub trials: &'a [Trial<'a>],
    /// Its service notes, by time.
    pub notes: &'a [ServiceNote],
    /// Its network description.
    pub network: Option<&'a Network>,
    /// The coming mornings.
    pub ahead: Ahead<'a>,
    /// Confidence at which a repair counts as held.
    pub confidence: f64,
    /// What follows a replaced part.
    pub table: &'a AfterTable,
}

/// When it happens, how to make it happen, whether the repair has held, what the part needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// The vehicle.
    pub vehicle: String,
    /// When and how.
    pub when: When,
    /// Every change, by time.
    pub repairs: Vec<Repair>,
    /// Where the verdict is a node.
    pub after_part: Option<AfterPart>,
}

/// The last lasting repair.
#[must_use]
pub fn last_lasting(repairs: &[Repair]) -> Option<&Repair> {
    repairs.iter().rev().find(|repair| repair.kind == Kind::Lasting)
}

/// The outlook of one vehicle.
#[must_use]
pub fn outlook(case: &Case<'_>) -> Outlook {
    let found = changes(case.notes, case.trials);
    let repairs: Vec<Repair> =
        found.into_iter().map(|change| weigh(change, case.confidence)).collect();
    // A repair that has held, and nothing since: how it was before tells how to make it happen.
    let cured = last_lasting(&repairs)
        .filter(|repair| repair.state == State::Held)
        .map(|repair| repair.from);
    let faulty =
        case.trials.partition_point(|trial| cured.is_none_or(|cured| trial.exposure.start < cured));
    let faulty = case.trials.get(..faulty).unwrap_or(case.trials);
    let mut when = when(case.trials, faulty, &case.finding.conditions, &case.ahead);
    if let (Some(plan), true) = (&mut when.reproduction, faulty.len() < case.trials.len()) {
        plan.remarks.push(
            "learned from the starts before the repair that has held: it should not happen any \
             more"
                .to_owned(),
        );
    }
    Outlook {
        vehicle: case.finding.vehicle.clone(),
        when,
        repairs,
        after_part: after_part(&case.finding.verdict, case.network, case.table),
    }
}
