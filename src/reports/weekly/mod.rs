//! A fleet's week as a page, as fields of `culprits.json` and as tables.
//!
//! Everything here is said by `weeks`; this folder chooses words and coordinates.

mod json;
mod page;
mod picture;
mod tables;
mod terminal;
mod words;

pub(super) use json::{VehicleJson, WeekJson, vehicle_json, week_json};
pub(super) use page::page;
pub use tables::fleet_table;
pub(super) use tables::tables;
pub use terminal::week_lines;

use std::collections::BTreeMap;

use crate::weeks::{FleetWeek, VehicleWeek};

/// Each vehicle's place by urgency, from 1, and its week.
pub(super) fn ranks(week: Option<&FleetWeek>) -> BTreeMap<&str, (usize, &VehicleWeek)> {
    let vehicles = week.map_or(&[][..], |week| week.vehicles.as_slice());
    vehicles.iter().zip(1..).map(|(v, rank)| (v.vehicle.as_str(), (rank, v))).collect()
}
