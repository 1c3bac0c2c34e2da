//! The tables that are only written: codes, answers, incidents, exposures.
//!
//! Incidents and exposures are made by later stages, which this one must not know; their rows
//! are therefore plain types of their own, filled by whoever writes the outputs.

use arrow::array::ArrayRef;

use crate::facts::columns::{counts, flags, lists, numbers, places, smalls, texts, times};
use crate::facts::schema::{ANSWERS, CODES, EXPOSURES, INCIDENTS};
use crate::facts::table::{Places, Row};
use crate::facts::table_shape::Table;
use crate::observe::{AnswerRow, CodeKind, CodeRow};
use crate::vocabulary::{Code, CodeStatus, Instant, Place};

/// One incident with the conditions of its start, as the table `incidents` shows it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct IncidentRow {
    /// The vehicle.
    pub vehicle: String,
    /// Begin of the start.
    pub start: Instant,
    /// First sign.
    pub begin: Instant,
    /// Last sign.
    pub end: Instant,
    /// The bus, when known.
    pub bus: Option<String>,
    /// Seconds from start to first sign, when known.
    pub since_start_s: Option<f64>,
    /// Whether a log covers it; if not, silence, life and disturbance are written as not known.
    pub logged: bool,
    /// Nodes that fell silent, in order.
    pub silent: Vec<String>,
    /// Nodes alive throughout.
    pub alive: Vec<String>,
    /// Kinds of the disturbances, one for each; repeats are written once.
    pub disturbances: Vec<String>,
    /// The accused, one for each accusation; repeats are counted and written once.
    pub accused: Vec<String>,
    /// Nodes that said the bus was down.
    pub bus_down: Vec<String>,
    /// Nodes that said their own supply was low.
    pub own_supply: Vec<String>,
    /// Nodes that replied to the tester.
    pub answered: Vec<String>,
    /// Nodes that did not.
    pub unanswered: Vec<String>,
    /// Lowest supply voltage, volts.
    pub supply_v: Option<f64>,
    /// Ambient temperature, °C.
    pub ambient_c: Option<f64>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Whether the start was wet.
    pub wet: Option<bool>,
    /// Seconds since the end of the start before.
    pub soak_s: Option<f64>,
    /// Where its signs stand, in order; repeats are written once.
    pub places: Vec<Place>,
}

/// One exposure, as the table `exposures` shows it. A value comes with its source and its age.
#[derive(Debug, Clone, PartialEq)]
pub struct ExposureRow {
    /// The vehicle.
    pub vehicle: String,
    /// Begin of the start.
    pub start: Instant,
    /// End of the start.
    pub end: Instant,
    /// Whether a log covers it.
    pub logged: bool,
    /// Whether it could have shown an incident.
    pub judged: bool,
    /// How many incidents happened in it.
    pub incidents: u32,
    /// Ambient temperature, °C; source; seconds of age.
    pub ambient_c: Option<(f64, &'static str, f64)>,
    /// Relative humidity, percent; source; seconds of age.
    pub humidity_pct: Option<(f64, &'static str, f64)>,
    /// Temperature less dew point, K.
    pub dew_spread_k: Option<f64>,
    /// Precipitation in the 12 whole hours before, mm.
    pub rain_12h_mm: Option<f64>,
    /// Whether it was wet.
    pub wet: Option<bool>,
    /// Whether a wash was noted in the hours before.
    pub washed: Option<bool>,
    /// Seconds since the end of the start before.
    pub soak_s: Option<f64>,
    /// Whether it was the first of the local day.
    pub first_of_day: Option<bool>,
    /// Lowest supply voltage, volts; source; seconds of age.
    pub supply_v: Option<(f64, &'static str, f64)>,
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Where the start was read.
    pub place: Place,
}

impl Row for CodeRow {
    const TABLE: &'static Table = &CODES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        let codes: Vec<String> = rows.iter().map(|r| r.code.bare().to_string()).collect();
        let byte = |code: Code| code.failure_type().map(|b| format!("{b:02X}"));
        let failures: Vec<Option<String>> = rows.iter().map(|r| byte(r.code)).collect();
        let known =
            |status: CodeStatus| (status != CodeStatus::Unknown).then(|| status.to_string());
        let statuses: Vec<Option<String>> = rows.iter().map(|r| known(r.status)).collect();
        vec![
            ("vehicle", texts(rows.iter().map(|r| Some(r.vehicle.as_str())))),
            ("report", smalls(rows.iter().map(|r| Some(r.report)))),
            ("taken_at", times(rows.iter().map(|r| r.taken_at))),
            ("reporter", texts(rows.iter().map(|r| Some(r.reporter.as_str())))),
            ("code", texts(codes.iter().map(|code| Some(code.as_str())))),
            ("failure_type", texts(failures.iter().map(Option::as_deref))),
            ("status", texts(statuses.iter().map(Option::as_deref))),
            ("occurrences", smalls(rows.iter().map(|r| r.occurrences))),
            ("since_start_s", numbers(rows.iter().map(|r| r.since_start_s))),
            ("kind", texts(rows.iter().map(|r| Some(code_word(r.kind))))),
            ("accused", texts(rows.iter().map(|r| r.accused.as_deref()))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

fn code_word(kind: CodeKind) -> &'static str {
    match kind {
        CodeKind::NotHeard => "not-heard",
        CodeKind::HeardInvalid => "heard-invalid",
        CodeKind::BusDown => "bus-down",
        CodeKind::OwnSupply => "own-supply",
        CodeKind::Other => "other",
    }
}

impl Row for AnswerRow {
    const TABLE: &'static Table = &ANSWERS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("vehicle", texts(rows.iter().map(|r| Some(r.vehicle.as_str())))),
            ("report", smalls(rows.iter().map(|r| Some(r.report)))),
            ("taken_at", times(rows.iter().map(|r| r.taken_at))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("answered", flags(rows.iter().map(|r| Some(r.answered)))),
            ("reading", texts(rows.iter().map(|r| Some(r.reading.word())))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

/// Each text once, where it first stands.
fn once(cells: impl Iterator<Item = String>) -> Vec<String> {
    let mut kept: Vec<String> = Vec::new();
    for cell in cells {
        if !kept.contains(&cell) {
            kept.push(cell);
        }
    }
    kept
}

/// Each name once, sorted.
fn named(cells: &[String]) -> Vec<String> {
    let mut kept = cells.to_vec();
    kept.sort();
    kept.dedup();
    kept
}

impl Row for IncidentRow {
    const TABLE: &'static Table = &INCIDENTS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        let known = |r: &Self, list: Vec<String>| r.logged.then_some(list);
        let kinds = |r: &Self| known(r, once(r.disturbances.iter().cloned()));
        let disturbed = |r: &Self| r.logged.then_some(!r.disturbances.is_empty());
        let place_texts = |r: &Self| Some(once(r.places.iter().map(Place::to_string)));
        vec![
            ("vehicle", texts(rows.iter().map(|r| Some(r.vehicle.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("seconds", numbers(rows.iter().map(|r| Some(r.end.seconds_since(r.begin))))),
            ("bus", texts(rows.iter().map(|r| r.bus.as_deref()))),
            ("since_start_s", numbers(rows.iter().map(|r| r.since_start_s))),
            ("logged", flags(rows.iter().map(|r| Some(r.logged)))),
            ("silent", lists(rows.iter().map(|r| known(r, r.silent.clone())))),
            ("alive", lists(rows.iter().map(|r| known(r, r.alive.clone())))),
            ("disturbed", flags(rows.iter().map(|r| disturbed(r)))),
            ("disturbances", lists(rows.iter().map(|r| kinds(r)))),
            ("accusations", counts(rows.iter().map(|r| r.accused.len() as u64))),
            ("accused", lists(rows.iter().map(|r| Some(named(&r.accused))))),
            ("bus_down", lists(rows.iter().map(|r| Some(r.bus_down.clone())))),
            ("own_supply", lists(rows.iter().map(|r| Some(r.own_supply.clone())))),
            ("answered", lists(rows.iter().map(|r| Some(r.answered.clone())))),
            ("unanswered", lists(rows.iter().map(|r| Some(r.unanswered.clone())))),
            ("supply_v", numbers(rows.iter().map(|r| r.supply_v))),
            ("ambient_c", numbers(rows.iter().map(|r| r.ambient_c))),
            ("humidity_pct", numbers(rows.iter().map(|r| r.humidity_pct))),
            ("wet", flags(rows.iter().map(|r| r.wet))),
            ("soak_s", numbers(rows.iter().map(|r| r.soak_s))),
            ("places", lists(rows.iter().map(|r| place_texts(r)))),
        ]
    }
}

impl Row for ExposureRow {
    const TABLE: &'static Table = &EXPOSURES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("vehicle", texts(rows.iter().map(|r| Some(r.vehicle.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("logged", flags(rows.iter().map(|r| Some(r.logged)))),
            ("judged", flags(rows.iter().map(|r| Some(r.judged)))),
            ("incidents", smalls(rows.iter().map(|r| Some(r.incidents)))),
            ("ambient_c", numbers(rows.iter().map(|r| r.ambient_c.map(|v| v.0)))),
            ("ambient_source", texts(rows.iter().map(|r| r.ambient_c.map(|v| v.1)))),
            ("ambient_age_s", numbers(rows.iter().map(|r| r.ambient_c.map(|v| v.2)))),
            ("humidity_pct", numbers(rows.iter().map(|r| r.humidity_pct.map(|v| v.0)))),
            ("humidity_source", texts(rows.iter().map(|r| r.humidity_pct.map(|v| v.1)))),
            ("humidity_age_s", numbers(rows.iter().map(|r| r.humidity_pct.map(|v| v.2)))),
            ("dew_spread_k", numbers(rows.iter().map(|r| r.dew_spread_k))),
            ("rain_12h_mm", numbers(rows.iter().map(|r| r.rain_12h_mm))),
            ("wet", flags(rows.iter().map(|r| r.wet))),
            ("washed", flags(rows.iter().map(|r| r.washed))),
            ("soak_s", numbers(rows.iter().map(|r| r.soak_s))),
            ("first_of_day", flags(rows.iter().map(|r| r.first_of_day))),
            ("supply_v", numbers(rows.iter().map(|r| r.supply_v.map(|v| v.0)))),
            ("supply_source", texts(rows.iter().map(|r| r.supply_v.map(|v| v.1)))),
            ("supply_age_s", numbers(rows.iter().map(|r| r.supply_v.map(|v| v.2)))),
            ("odometer_km", numbers(rows.iter().map(|r| r.odometer_km))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}
