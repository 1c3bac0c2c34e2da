//! A fleet's week as a page, as fields of `culprits.json` and as tables.
//!
//! Everything here is said by `weeks`; this folder chooses words and coordinates.

mod json;
mod page;
mod picture;
mod tables;
mod words;

pub(super) use json::{VehicleJson, WeekJson, vehicle_json, week_json};
pub(super) use page::page;
pub(super) use tables::{fleet, tables};
