//! Scan reports as a table: a row per code, or one row with an empty code for a node without.
//!
//! Rows of the same vehicle and time are one report, wherever they stand in the file. What belongs to
//! the scan (temperature, battery, odometer) is taken from the first row that gives it; a later row
//! that says otherwise is counted.

use std::collections::BTreeMap;
use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::account::Reading;
use crate::read::scan_reports::codes::read_code;
use crate::read::tables::{ColumnChoices, SCAN_REPORTS, Sheet};
use crate::read::{CodeReport, NodeReport, ScanReport};

/// Reads scan reports from a table.
pub fn read_scan_table(
    source: impl Read,
    name: &Arc<str>,
    path_vehicle: Option<&str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<ScanReport>> {
    let mut reports: Vec<ScanReport> = Vec::new();
    let mut sheet = match Sheet::open(source, name, &SCAN_REPORTS, choices, zone) {
        Ok(sheet) => sheet,
        Err(account) => return Reading { records: reports, account },
    };
    let mut known = BTreeMap::new();
    while sheet.advance() {
        let Some((report, node)) = row(&mut sheet, path_vehicle) else { continue };
        let key = (report.vehicle.clone(), report.taken_at);
        let at = *known.entry(key).or_insert_with(|| {
            reports.push(ScanReport { nodes: Vec::new(), ..report.clone() });
            reports.len() - 1
        });
        if merge_conditions(&mut reports[at], &report) {
            sheet.account.lenient("scan row that contradicts an earlier one of its report");
        }
        merge_node(&mut reports[at], node);
    }
    Reading { records: reports, account: sheet.account }
}

fn row<R: Read>(
    sheet: &mut Sheet<R>,
    path_vehicle: Option<&str>,
) -> Option<(ScanReport, NodeReport)> {
    let Some(vehicle) = sheet.text("vehicle").or(path_vehicle.map(str::to_owned)) else {
        sheet.refuse("`vehicle` is empty and the path gives none");
        return None;
    };
    let taken_at = sheet.must_time("taken_at")?;
    let node = sheet.must_text("node")?;
    let report = ScanReport {
        vehicle,
        taken_at,
        odometer_km: sheet.number("odometer_km"),
        ambient_c: sheet.number("ambient_c"),
        humidity_pct: sheet.number("humidity_pct"),
        battery_v: sheet.number("battery_v"),
        since_start_s: sheet.number("since_start_s"),
        nodes: Vec::new(),
        place: sheet.place(),
    };
    let answered = sheet.flag("answered");
    let codes = code(sheet).into_iter().collect();
    Some((report, NodeReport { node, answered, codes, place: sheet.place() }))
}

fn code<R: Read>(sheet: &mut Sheet<R>) -> Option<CodeReport> {
    let code = sheet.text("code")?;
    let failure = sheet.text("failure_type").unwrap_or_default();
    let status = sheet.text("status").unwrap_or_default();
    match read_code(&code, &failure, &status, &mut sheet.account) {
        Ok((code, status)) => Some(CodeReport {
            code: code.into(),
            status,
            occurrences: sheet.whole("occurrences"),
            since_start_s: sheet.number("code_since_start_s"),
            place: sheet.place(),
        }),
        Err(reason) => {
            sheet.refuse(reason);
            None
        }
    }
}

/// Fills what the report lacks; true when the row says something else than the report.
fn merge_conditions(report: &mut ScanReport, row: &ScanReport) -> bool {
    let mut contradicts = false;
    for (kept, found) in [
        (&mut report.odometer_km, row.odometer_km),
        (&mut report.ambient_c, row.ambient_c),
        (&mut report.humidity_pct, row.humidity_pct),
        (&mut report.battery_v, row.battery_v),
        (&mut report.since_start_s, row.since_start_s),
    ] {
        match (*kept, found) {
            (None, found) => *kept = found,
            (Some(a), Some(b)) => contradicts |= (a - b).abs() > 1e-9,
            (Some(_), None) => {}
        }
    }
    contradicts
}

fn merge_node(report: &mut ScanReport, row: NodeReport) {
    match report.nodes.iter_mut().find(|node| node.node == row.node) {
        Some(node) => {
            node.answered = node.answered.or(row.answered);
            node.codes.extend(row.codes);
        }
        None => report.nodes.push(row),
    }
}
