//! The week in `culprits.json`: what it was, what vehicles share, and a vehicle's own week.

use schemars::JsonSchema;
use serde::Serialize;

use crate::reports::culprits_json::{decimals, digits};
use crate::vocabulary::{Suspect, Verdict};
use crate::weeks::{Common, FleetWeek, VehicleWeek};

#[derive(Serialize, JsonSchema)]
pub(in crate::reports) struct WeekJson<'a> {
    first_day: String,
    last_day: String,
    compared: bool,
    bays: Vec<&'a str>,
    common: Vec<CommonJson<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct CommonJson<'a> {
    suspect: Option<&'a Suspect>,
    by: &'a str,
    value: &'a str,
    vehicles: &'a [String],
    at_fault_with: u64,
    vehicles_with: u64,
    at_fault_without: Option<u64>,
    vehicles_without: Option<u64>,
    p_value: Option<f64>,
    p_adjusted: Option<f64>,
    shown: bool,
}

#[derive(Serialize, JsonSchema)]
pub(in crate::reports) struct VehicleJson<'a> {
    need: &'static str,
    rank: usize,
    change: &'static str,
    urgency: Option<f64>,
    severity: Option<f64>,
    severity_class: Option<&'a str>,
    safety: bool,
    trend: Option<f64>,
    verdict_before: Option<&'a Verdict>,
    book: Option<&'a str>,
    minutes: Option<f64>,
    part: Option<&'a str>,
    starts: u64,
    starts_logged: u64,
    starts_judged: u64,
    starts_with_incident: u64,
    starts_usual: Option<f64>,
    starts_missing: Option<u64>,
    logs_rejected: u64,
    records_rejected: u64,
}

/// The week as a whole.
pub(in crate::reports) fn week_json(week: &FleetWeek) -> WeekJson<'_> {
    let bays = week.vehicles.iter().filter(|v| v.need == crate::weeks::Need::Bay);
    WeekJson {
        first_day: week.span.first.to_string(),
        last_day: week.span.last.to_string(),
        compared: week.compared,
        bays: bays.map(|v| v.vehicle.as_str()).collect(),
        common: week.common.iter().map(common).collect(),
    }
}

fn common(c: &Common) -> CommonJson<'_> {
    CommonJson {
        suspect: c.suspect.as_ref(),
        by: c.by,
        value: &c.value,
        vehicles: &c.vehicles,
        at_fault_with: c.with.0,
        vehicles_with: c.with.1,
        at_fault_without: c.p_value.map(|_| c.without.0),
        vehicles_without: c.p_value.map(|_| c.without.1),
        p_value: c.p_value.and_then(digits),
        p_adjusted: c.p_adjusted.and_then(digits),
        shown: c.shown,
    }
}

/// One vehicle's week; `rank` is its place by urgency, from 1.
pub(in crate::reports) fn vehicle_json(v: &VehicleWeek, rank: usize) -> VehicleJson<'_> {
    let seen = &v.seen;
    VehicleJson {
        need: v.need.word(),
        rank,
        change: v.changed.change.word(),
        urgency: v.urgency.and_then(|u| decimals(u, 1e6)),
        severity: v.mean_severity.and_then(|s| decimals(s, 1e6)),
        severity_class: v.severity.as_ref().and_then(|s| s.class.as_deref()),
        safety: v.safety,
        trend: v.changed.trend.and_then(|t| decimals(t, 1e6)),
        verdict_before: v.was.as_ref().map(|was| &was.verdict),
        book: (!v.booking.what.is_empty()).then_some(v.booking.what.as_str()),
        minutes: v.booking.minutes.and_then(digits),
        part: v.booking.part.as_deref(),
        starts: seen.starts,
        starts_logged: seen.logged,
        starts_judged: seen.judged,
        starts_with_incident: seen.hits,
        starts_usual: seen.usual.and_then(digits),
        starts_missing: seen.missing,
        logs_rejected: seen.logs_rejected,
        records_rejected: seen.records_rejected,
    }
}
