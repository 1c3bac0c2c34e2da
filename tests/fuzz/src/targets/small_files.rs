//! Tables, reports and descriptions: no panic, no more records than bytes could hold, and what gives
//! nothing gives a reason.

use std::path::Path;

use chrono_tz::Tz;

use super::file;
use crate::pipeline::plan::Plan;
use crate::read::networks::read_network;
use crate::read::scan_reports::{read_scan_json, read_scan_table};
use crate::read::tables::{ColumnChoices, read_modules, read_service, read_vehicles, read_weather};

/// A zone with changes of its clocks.
const ZONE: Tz = Tz::Europe__Helsinki;

/// A record takes a byte at least.
fn bounded(records: usize, data: &[u8]) {
    assert!(records <= data.len(), "{records} records in {} bytes", data.len());
}

/// JSON and JSON Lines.
pub fn scan_json(data: &[u8]) {
    bounded(read_scan_json(data, &file(), Some("V"), ZONE).records.len(), data);
}

/// Scan reports as a table.
pub fn scan_table(data: &[u8]) {
    let choices = ColumnChoices::new();
    bounded(read_scan_table(data, &file(), Some("V"), &choices, ZONE).records.len(), data);
}

/// The weather table.
pub fn weather(data: &[u8]) {
    let read = read_weather(data, &file(), &ColumnChoices::new(), ZONE);
    bounded(read.records.len(), data);
    for row in &read.records {
        let known = [row.temperature_c, row.humidity_pct, row.precipitation_mm];
        assert!(known.iter().flatten().all(|v| v.is_finite()), "a value that is no number");
    }
}

/// The vehicles table.
pub fn vehicles(data: &[u8]) {
    let read = read_vehicles(data, &file(), &ColumnChoices::new(), ZONE);
    bounded(read.records.len(), data);
    assert!(read.records.iter().all(|row| !row.vehicle.is_empty()));
}

/// The modules table.
pub fn modules(data: &[u8]) {
    bounded(read_modules(data, &file(), &ColumnChoices::new(), ZONE).records.len(), data);
}

/// Service notes.
pub fn service(data: &[u8]) {
    bounded(read_service(data, &file(), &ColumnChoices::new(), ZONE).records.len(), data);
}

/// A network description.
pub fn network(data: &[u8]) {
    let read = read_network(data, &file());
    assert!(read.records.is_some() || !read.account.rejects.is_empty(), "no network, no reason");
}

/// A pipeline file.
pub fn pipeline(data: &[u8]) {
    if let Err(faults) = Plan::check(data, &file(), Path::new("")) {
        assert!(!faults.0.is_empty(), "a pipeline that is refused has a fault");
    }
}
