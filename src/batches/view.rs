//! The stage's one way through: modules, notes and findings in, the batch view out.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use rayon::prelude::*;

use super::ahead::{UnitAhead, ahead};
use super::attribution::Diagnosis;
use super::build_weeks::{BuildWeeks, build_weeks};
use super::flags::{Group, Kind, NodeUnits, groups};
use super::groups::Tally;
use super::life::{Life, life};
use super::seen::Seen;
use super::units::{Fleet, Unit};
use crate::read::{ModuleRow, ServiceNote, VehicleRow};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;

/// Most flagged groups whose lives are drawn and whose modules are listed.
const MOST_LEADING: usize = 12;

/// All that is asked of the batch view.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The vehicles table.
    pub vehicles: &'a [VehicleRow],
    /// The modules table.
    pub modules: &'a [ModuleRow],
    /// The service notes.
    pub notes: &'a [ServiceNote],
    /// What was found, a vehicle each.
    pub findings: &'a [VehicleFinding],
    /// The zone of the tables' days.
    pub zone: Tz,
}

/// One node over all vehicles.
#[derive(Debug, Clone, PartialEq)]
pub struct NodeRate {
    /// The node.
    pub node: String,
    /// Units watched.
    pub units: u64,
    /// Months watched.
    pub unit_months: f64,
    /// Failures, by probability.
    pub failures: f64,
    /// Its groups that were looked at.
    pub groups: u64,
}

/// The comparison of modules.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchView {
    /// Every group that was looked at: flagged first, then by the probability of a ratio above 2.
    pub groups: Vec<Group>,
    /// What the ratios of each kind of group are like.
    pub kinds: Vec<Kind>,
    /// Every node, by failures and name.
    pub nodes: Vec<NodeRate>,
    /// The lives of the leading flagged groups.
    pub lives: Vec<Life>,
    /// Build weeks of nodes with failures.
    pub build_weeks: Vec<BuildWeeks>,
    /// Modules of the leading flagged groups that are still fitted.
    pub ahead: Vec<UnitAhead>,
    /// Swaps for a network fault, by vehicle and time.
    pub diagnoses: Vec<Diagnosis>,
    /// Of the swaps: held, came back, not known.
    pub swaps: [u64; 3],
    /// First and last moment watched.
    pub watched: Option<(Instant, Instant)>,
    /// What a person should know before believing this.
    pub remarks: Vec<String>,
}

impl BatchView {
    /// Flagged groups that no other one explains.
    pub fn leading(&self) -> impl Iterator<Item = &Group> {
        self.groups.iter().filter(|g| g.flagged && g.explained_by.is_none())
    }
}

/// The batch view of findings.
#[must_use]
pub fn batches(asked: &Asked<'_>) -> BatchView {
    let mut vehicles: BTreeMap<&str, &VehicleRow> = BTreeMap::new();
    for row in asked.vehicles {
        // The first row of a vehicle counts, as elsewhere.
        vehicles.entry(&row.vehicle).or_insert(row);
    }
    let mut modules: BTreeMap<&str, Vec<&ModuleRow>> = BTreeMap::new();
    for row in asked.modules {
        modules.entry(&row.vehicle).or_default().push(row);
    }
    let mut notes: BTreeMap<&str, Vec<&ServiceNote>> = BTreeMap::new();
    for note in asked.notes {
        notes.entry(&note.vehicle).or_default().push(note);
    }
    let found: BTreeMap<&str, &VehicleFinding> =
        asked.findings.iter().map(|f| (f.vehicle.as_str(), f)).collect();
    let mut fleet = Fleet::new(asked.zone);
    for (vehicle, rows) in &mut modules {
        rows.sort_by(|a, b| {
            (&a.node, a.installed_on, &a.place).cmp(&(&b.node, b.installed_on, &b.place))
        });
        let seen = match found.get(vehicle) {
            Some(finding) => Seen::of(finding),
            None => Seen { vehicle: (*vehicle).to_owned(), ..Seen::default() },
        };
        let notes = notes.get(vehicle).map(Vec::as_slice).unwrap_or_default();
        fleet.add(&seen, vehicles.get(vehicle).copied(), rows, notes);
    }
    for (vehicle, finding) in found.iter().filter(|(vehicle, _)| !modules.contains_key(*vehicle)) {
        fleet.add(&Seen::of(finding), vehicles.get(vehicle).copied(), &[], &[]);
    }
    view(fleet)
}

/// The batch view of a fleet's modules.
#[must_use]
pub fn view(mut fleet: Fleet) -> BatchView {
    let swap_share = fleet.settle();
    let swaps = fleet.swaps();
    let mut units = std::mem::take(&mut fleet.units);
    // Within a node the order of adding stays: sums are the same at any number of threads.
    units.sort_by_key(|unit| unit.node);
    let mut nodes = by_node(&units);
    let (groups, kinds) = groups(&fleet, &mut nodes);
    let of = |group: &Group| nodes.iter().find(|node| node.number == group.node_number);
    let leading: Vec<&Group> = groups
        .iter()
        .filter(|g| g.flagged && g.explained_by.is_none())
        .take(MOST_LEADING)
        .collect();
    let lives: Vec<Life> = leading
        .par_iter()
        .filter_map(|group| of(group).map(|node| life(group, node.units)))
        .collect();
    let ahead: Vec<UnitAhead> = leading
        .par_iter()
        .filter_map(|group| of(group).map(|node| ahead(&fleet, node, group)))
        .flatten_iter()
        .collect();
    let build_weeks: Vec<BuildWeeks> =
        nodes.par_iter().filter_map(|node| build_weeks(&fleet, node)).collect();
    let mut rates: Vec<NodeRate> = nodes
        .iter()
        .map(|node| NodeRate {
            node: fleet.nodes.name(node.number).to_string(),
            units: node.whole.units,
            unit_months: node.whole.all_months(),
            failures: node.whole.all_failures(),
            groups: groups.iter().filter(|g| g.node_number == node.number).count() as u64,
        })
        .collect();
    rates.sort_by(|a, b| b.failures.total_cmp(&a.failures).then_with(|| a.node.cmp(&b.node)));
    let remarks = remarks(&fleet, swaps, swap_share);
    let watched = fleet.first.zip(fleet.last);
    let mut diagnoses = std::mem::take(&mut fleet.diagnoses);
    diagnoses.sort_by(|a, b| (&a.vehicle, a.time, &a.node).cmp(&(&b.vehicle, b.time, &b.node)));
    BatchView {
        groups,
        kinds,
        nodes: rates,
        lives,
        build_weeks,
        ahead,
        diagnoses,
        swaps,
        watched,
        remarks,
    }
}

fn by_node(units: &[Unit]) -> Vec<NodeUnits<'_>> {
    units
        .chunk_by(|a, b| a.node == b.node)
        .filter_map(|units| {
            let number = units.first()?.node;
            Some(NodeUnits { number, units, whole: Tally::NOTHING })
        })
        .collect()
}

fn remarks(fleet: &Fleet, [held, back, unknown]: [u64; 3], share: f64) -> Vec<String> {
    let mut said = Vec::new();
    if fleet.unwatched > 0 {
        said.push(format!(
            "{} module(s) were never watched: their vehicle has no judged start, or they were not fitted \
             while it was watched; they count neither as failed nor as sound",
            fleet.unwatched
        ));
    }
    if fleet.impossible > 0 {
        said.push(format!(
            "{} row(s) of the modules table say that a module was taken out before it was fitted; they are \
             left out",
            fleet.impossible
        ));
    }
    for (node, vehicles) in &fleet.without_row {
        said.push(format!(
            "{node} is suspected in {vehicles} vehicle(s) for which the modules table has no row of it: these \
             failures stand in no group"
        ));
    }
    if back > 0 {
        said.push(format!(
            "{back} of {} swaps for a network fault cured nothing: the same fault came back, so neither the \
             old part nor the new one is charged",
            held + back + unknown
        ));
    }
    if fleet.before_records > 0 {
        said.push(format!(
            "{} swap(s) for a network fault lie before the first record of their vehicle and count for nothing",
            fleet.before_records
        ));
    }
    if unknown > 0 {
        said.push(format!(
            "a swap for a network fault of which no record tells counts as {share:.2} of a failure: the share \
             of swaps that held, {held} of {} (one of each added)",
            held + back
        ));
    }
    let weeks = fleet.incomplete_weeks();
    if weeks > 0 {
        said.push(format!(
            "recent weeks undercount: for the newest {weeks} week(s) more than one in ten of the vehicles are still \
             to be heard from, so failures of these weeks are still to come in. Rates and ratios are corrected \
             for it: a vehicle's months end with its last record"
        ));
    }
    let (late, watched) = fleet.late();
    if late > 0 {
        said.push(format!(
            "{late} of {watched} vehicles sent nothing in the last 28 days: their months end with their last \
             record, so that what is still to be reported does not look clean"
        ));
    }
    let young = fleet.young_faults();
    if young > 0 {
        said.push(format!(
            "{young} vehicle(s) had their first incident in the last 28 days and no module is at 50 % yet: \
             the newest failures are counted low"
        ));
    }
    said
}
