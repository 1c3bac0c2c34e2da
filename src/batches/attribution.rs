//! Which unit of a vehicle failed, and which swap cured nothing.
//!
//! A node's probability of being at fault is charged to the unit that was fitted when the fault first
//! showed, if that is one unit. If the same fault came back after a swap, neither unit is charged: the
//! first was sound, and the fault was there before the second. The swap counts against the diagnosis.
//! A unit taken out for a network fault of which no record tells is charged by the share of such swaps
//! that held where records could tell (one success and one failure added, Laplace 1774).

use super::seen::Seen;
use crate::read::{ModuleRow, ServiceAction, ServiceNote};
use crate::vocabulary::{Instant, Suspect};

/// A note and a row of the modules table nearer than this are one swap (seconds; judgement).
const SAME_SWAP_S: f64 = 7.0 * 86_400.0;
/// The word of the modules table for a unit taken out on suspicion.
const NETWORK_FAULT: &str = "network-fault";

/// One unit of a node, from when to when it was fitted.
#[derive(Debug, Clone)]
pub(super) struct Fitted<'a> {
    /// Its row; `None` for a unit that only a service note tells of.
    pub row: Option<&'a ModuleRow>,
    pub installed: Option<Instant>,
    pub removed: Option<Instant>,
    /// Taken out for a fault of the network.
    pub suspected: bool,
    /// When it failed, and how probably.
    pub failure: Option<(Instant, Charge)>,
}

/// How much of a failure a unit is charged with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Charge {
    /// The probability that the ranking gives its node.
    Ranked(f64),
    /// Taken out without a record of the fault: by the share of swaps that held.
    Unrecorded,
}

/// What became of a swap for a network fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Swap {
    /// No incident that may be the node's since, and records to tell.
    Held,
    /// The same fault came back: the part was not at fault.
    CameBack,
    /// No record before it or since.
    NotKnown,
}

/// One swap for a network fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnosis {
    /// The vehicle.
    pub vehicle: String,
    /// The node whose part was swapped.
    pub node: String,
    /// When.
    pub time: Instant,
    /// The part that was taken out.
    pub part_number: Option<String>,
    /// Its batch.
    pub batch: Option<String>,
    /// What became of it.
    pub became: Swap,
}

/// The units of one node of one vehicle in order of fitting: rows of the modules table, cut where a
/// service note tells of a swap that the table lacks.
pub(super) fn fitted<'a>(
    rows: &[&'a ModuleRow],
    node: &str,
    notes: &[&ServiceNote],
) -> Vec<Fitted<'a>> {
    let mut units: Vec<Fitted<'a>> = rows
        .iter()
        .map(|row| Fitted {
            row: Some(row),
            installed: row.installed_on,
            removed: row.removed_on,
            suspected: row.removal_reason.as_deref() == Some(NETWORK_FAULT),
            failure: None,
        })
        .collect();
    units.sort_by_key(|unit| (unit.installed, unit.removed));
    let of_node = |note: &&&ServiceNote| {
        note.action == ServiceAction::Replace
            && matches!(&note.target, Some(Suspect::Node(name)) if name == node)
    };
    for note in notes.iter().filter(of_node) {
        let near = |time: Option<Instant>| {
            time.is_some_and(|t| t.seconds_since(note.time).abs() < SAME_SWAP_S)
        };
        if units.iter().any(|unit| near(unit.removed) || near(unit.installed)) {
            continue;
        }
        let there = |unit: &&mut Fitted<'_>| {
            unit.installed.is_none_or(|i| i <= note.time)
                && unit.removed.is_none_or(|r| r > note.time)
        };
        if let Some(unit) = units.iter_mut().rev().find(there) {
            let until = unit.removed;
            unit.removed = Some(note.time);
            let suspected = unit.suspected;
            unit.suspected = true;
            let installed = Some(note.time);
            units.push(Fitted { row: None, installed, removed: until, suspected, failure: None });
            units.sort_by_key(|unit| unit.installed);
        }
    }
    units
}

/// Charges the units of one node with its faults, and judges its swaps.
pub(super) fn charge(units: &mut [Fitted<'_>], node: &str, seen: &Seen) -> Vec<Diagnosis> {
    let probability = seen.nodes.iter().find(|(name, _)| name == node).map(|(_, p)| *p);
    let touching: Vec<Instant> =
        seen.incidents.iter().filter(|i| i.touches(node)).map(|i| i.begin).collect();
    // The probability is the vehicle's as a whole: its first incident dates it where none touches the
    // node by name.
    let first = touching.first().or(seen.incidents.first().map(|i| &i.begin)).copied();
    let last = touching.last().copied().or(first);
    let mut swaps = Vec::new();
    for unit in units.iter_mut().filter(|unit| unit.suspected) {
        let Some(time) = unit.removed else { continue };
        let watched_before = seen.from.is_some_and(|from| from < time);
        let watched_after = seen.to.is_some_and(|to| to > time);
        let before = touching.first().is_some_and(|begin| *begin < time);
        let after = touching.last().is_some_and(|begin| *begin >= time);
        let became = match (before, after) {
            (_, true) => Swap::CameBack,
            (true, false) if watched_after => Swap::Held,
            _ => Swap::NotKnown,
        };
        if became == Swap::NotKnown && !before && watched_before {
            unit.failure = Some((time, Charge::Unrecorded));
        }
        swaps.push(Diagnosis {
            vehicle: seen.vehicle.clone(),
            node: node.to_owned(),
            time,
            part_number: unit.row.and_then(|row| row.part_number.clone()),
            batch: unit.row.and_then(|row| row.batch.clone()),
            became,
        });
    }
    let (Some(probability), Some(first), Some(last)) = (probability, first, last) else {
        return swaps;
    };
    let came_back = swaps.iter().any(|swap| swap.became == Swap::CameBack);
    let holds = |unit: &Fitted<'_>, time: Instant| {
        unit.installed.is_none_or(|i| i <= time) && unit.removed.is_none_or(|r| time <= r)
    };
    let one = units.iter().position(|unit| holds(unit, first));
    // Incidents under more than one unit are no unit's own, whatever the reason of the swap.
    if let Some(unit) = one.and_then(|place| units.get_mut(place))
        && !came_back
        && holds(unit, last)
    {
        unit.failure = Some((first, Charge::Ranked(probability)));
    }
    swaps
}
