//! `culprits.json`: the ranked culprits for programs to read.
//!
//! The field names are the contract with users. Unknown is `null`; a number that is not finite is
//! unknown. Reused facts are not told apart from fresh ones, so that a second run gives the same
//! bytes.

use std::io::Write;

use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use crate::conditions::{ConditionRisk, Exposure};
use crate::incidents::Incident;
use crate::repairs::Outlook;
use crate::reports::outlooks::{self, OutlookJson, outlook_json};
use crate::reports::standing::{Standing, by_name, judged, standing};
use crate::reports::tests_json::{Step, Test, step, test};
use crate::reports::weekly::{VehicleJson, WeekJson, ranks, vehicle_json, week_json};
use crate::reports::wording::each_once;
use crate::reports::{Heading, ReportError, Told};
use crate::suspects::{Evidence, SuspectFinding, VehicleFinding};
use crate::vocabulary::{Instant, Mechanism, Suspect, Verdict};

/// Most pieces of evidence for, and against, that a suspect carries here; `evidence.csv` has all.
const MOST_EVIDENCE: usize = 12;
/// With more vehicles than this a fleet is large: quiet vehicles then have no outlook here, and suspects below
/// one in a thousand no evidence; the CSV tables have all.
const LARGE: usize = 2_000;
/// The least probability with which a suspect of a large fleet has its evidence here.
const LEAST_TOLD: f64 = 1e-3;

#[derive(Serialize, JsonSchema)]
pub(super) struct Culprits<'a> {
    schema: &'static str,
    pipeline: &'a str,
    inputs: Inputs,
    #[serde(skip_serializing_if = "Option::is_none")]
    week: Option<WeekJson<'a>>,
    #[schemars(with = "Vec<Vehicle<'a>>")]
    vehicles: Vehicles<'a>,
}

/// The vehicles, each put together when its turn to be written comes.
struct Vehicles<'a> {
    told: &'a Told<'a>,
    large: bool,
}

impl Serialize for Vehicles<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Told { findings, outlooks, week, .. } = *self.told;
        let ranked = ranks(week);
        to.collect_seq(by_name(findings).into_iter().map(|finding| Vehicle {
            week: ranked.get(finding.vehicle.as_str()).map(|(rank, v)| vehicle_json(v, *rank)),
            ..vehicle(finding, outlooks::of(outlooks, &finding.vehicle), self.large)
        }))
    }
}

#[derive(Serialize, JsonSchema)]
struct Inputs {
    bus_logs: u64,
    frames: u64,
    scan_reports: u64,
    rejected: u64,
    table_rows: u64,
    skipped_files: u64,
    outside_period: u64,
}

#[derive(Serialize, JsonSchema)]
struct Vehicle<'a> {
    vehicle: &'a str,
    network: Option<&'a str>,
    starts: usize,
    starts_judged: usize,
    incidents: usize,
    verdict: &'a Verdict,
    no_data: bool,
    because: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    week: Option<VehicleJson<'a>>,
    suspects: Vec<Ranked<'a>>,
    explained: usize,
    other_causes: Vec<Cause<'a>>,
    hangs_on: &'a [String],
    conditions: Vec<Condition<'a>>,
    next_tests: Vec<Test<'a>>,
    sequence: Vec<Step<'a>>,
    incidents_list: Vec<Happening<'a>>,
    unnamed_senders: Vec<Unnamed<'a>>,
    unplaced: Vec<Unplaced<'a>>,
    remarks: &'a [String],
    #[serde(flatten)]
    outlook: Option<OutlookJson<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct Ranked<'a> {
    suspect: &'a Suspect,
    probability: Option<f64>,
    prior: Option<f64>,
    mechanisms: Vec<Acting>,
    #[serde(rename = "for")]
    speaking_for: Vec<Weighed<'a>>,
    against: Vec<Weighed<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct Cause<'a> {
    suspect: &'a Suspect,
    probability: Option<f64>,
    incidents: usize,
    of: usize,
}

#[derive(Serialize, JsonSchema)]
struct Acting {
    mechanism: Mechanism,
    probability: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Weighed<'a> {
    weight_db: Option<f64>,
    what: &'a str,
    #[serde(rename = "where")]
    places: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct Condition<'a> {
    condition: &'a str,
    incidents_with: u32,
    starts_with: u32,
    incidents_without: u32,
    starts_without: u32,
    starts_unknown: u32,
    risk_ratio: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    p_value: Option<f64>,
    smallest_p: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Happening<'a> {
    start: Instant8601,
    begin: Instant8601,
    seconds: Option<f64>,
    bus: Option<&'a str>,
    silent: Vec<&'a str>,
    disturbed: Option<bool>,
    logged: bool,
    ambient_c: Option<f64>,
    since_start_s: Option<f64>,
    wet: Option<bool>,
    supply_v: Option<f64>,
    accusations: usize,
    unanswered: Vec<&'a str>,
}

#[derive(Serialize, JsonSchema)]
struct Unnamed<'a> {
    sender: &'a str,
    identifiers: &'a [String],
}

#[derive(Serialize, JsonSchema)]
struct Unplaced<'a> {
    what: &'a str,
    #[serde(rename = "where")]
    place: String,
}

/// A time as RFC 3339 text.
struct Instant8601(Instant);

impl Serialize for Instant8601 {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl JsonSchema for Instant8601 {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Time".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "string", "format": "date-time"})
    }
}

/// Writes `culprits.json`. Of a large fleet it is written without spaces, and leaves out what nobody reads
/// there: see [`LARGE`].
pub(super) fn culprits_json(
    heading: &Heading,
    told: &Told<'_>,
    out: &mut dyn Write,
) -> Result<(), ReportError> {
    let Told { findings, week, tally, .. } = *told;
    let large = findings.len() > LARGE;
    let culprits = Culprits {
        schema: "buswitness/culprits/1",
        pipeline: &heading.title,
        inputs: Inputs {
            bus_logs: tally.bus_logs,
            frames: tally.frames,
            scan_reports: tally.scan_reports,
            rejected: tally.rejected(),
            table_rows: tally.table_rows,
            skipped_files: tally.skipped.len() as u64,
            outside_period: tally.outside_period,
        },
        week: week.map(week_json),
        vehicles: Vehicles { told, large },
    };
    let written = match large {
        true => serde_json::to_writer(&mut *out, &culprits),
        false => serde_json::to_writer_pretty(&mut *out, &culprits),
    };
    let ended = written.and_then(|()| out.write_all(b"\n").map_err(serde_json::Error::io));
    ended.map_err(|source| ReportError::Json { source })
}

fn vehicle<'a>(
    finding: &'a VehicleFinding,
    outlook: Option<&'a Outlook>,
    large: bool,
) -> Vehicle<'a> {
    let quiet = finding.incidents.is_empty();
    Vehicle {
        vehicle: &finding.vehicle,
        network: finding.network.as_deref(),
        starts: finding.exposures.len(),
        starts_judged: judged(finding),
        incidents: finding.incidents.len(),
        verdict: &finding.verdict,
        no_data: standing(finding) == Standing::NoData,
        because: &finding.because,
        week: None,
        suspects: finding.suspects.iter().map(|suspect| ranked(suspect, large)).collect(),
        explained: finding.explained,
        other_causes: finding
            .other_causes
            .iter()
            .map(|c| Cause {
                suspect: &c.suspect,
                probability: probability(c.probability),
                incidents: c.incidents,
                of: c.of,
            })
            .collect(),
        hangs_on: &finding.hangs_on,
        conditions: finding.conditions.iter().map(condition).collect(),
        next_tests: finding.next_tests.iter().map(test).collect(),
        sequence: finding.sequence.iter().map(step).collect(),
        incidents_list: finding.incidents.iter().map(|i| happening(finding, i)).collect(),
        unnamed_senders: finding
            .unnamed_senders
            .iter()
            .map(|(sender, identifiers)| Unnamed { sender, identifiers })
            .collect(),
        unplaced: finding
            .unplaced
            .iter()
            .map(|(what, place)| Unplaced { what, place: place.to_string() })
            .collect(),
        remarks: &finding.remarks,
        outlook: outlook.filter(|_| !(large && quiet)).map(outlook_json),
    }
}

fn ranked(finding: &SuspectFinding, large: bool) -> Ranked<'_> {
    let told = !large || finding.probability >= LEAST_TOLD;
    let mut speaking_for: Vec<&Evidence> = finding.speaking_for().filter(|_| told).collect();
    let mut against: Vec<&Evidence> = finding.speaking_against().filter(|_| told).collect();
    // Stable sorts: pieces of equal weight stay in the order in which they were weighed.
    speaking_for.sort_by(|a, b| b.weight_db.total_cmp(&a.weight_db));
    against.sort_by(|a, b| a.weight_db.total_cmp(&b.weight_db));
    Ranked {
        suspect: &finding.suspect,
        probability: probability(finding.probability),
        prior: probability(finding.prior),
        mechanisms: finding
            .mechanisms
            .iter()
            .map(|&(mechanism, share)| Acting { mechanism, probability: probability(share) })
            .collect(),
        speaking_for: speaking_for.into_iter().take(MOST_EVIDENCE).map(weighed).collect(),
        against: against.into_iter().take(MOST_EVIDENCE).map(weighed).collect(),
    }
}

fn weighed(evidence: &Evidence) -> Weighed<'_> {
    Weighed {
        weight_db: decimals(evidence.weight_db, 1e3),
        what: &evidence.what,
        places: evidence.places.iter().map(ToString::to_string).collect(),
    }
}

fn condition(risk: &ConditionRisk) -> Condition<'_> {
    Condition {
        condition: &risk.condition,
        incidents_with: risk.incidents_with,
        starts_with: risk.starts_with,
        incidents_without: risk.incidents_without,
        starts_without: risk.starts_without,
        starts_unknown: risk.starts_unknown,
        risk_ratio: risk.risk_ratio.and_then(digits),
        low: risk.low.and_then(digits),
        high: risk.high.and_then(digits),
        p_value: digits(risk.p_value),
        smallest_p: digits(risk.smallest_p),
    }
}

fn happening<'a>(finding: &'a VehicleFinding, incident: &'a Incident) -> Happening<'a> {
    let exposure: Option<&Exposure> = finding.exposures.iter().find(|e| e.start == incident.start);
    let disturbed = !incident.disturbances.is_empty();
    Happening {
        start: Instant8601(incident.start),
        begin: Instant8601(incident.begin),
        seconds: decimals(incident.end.seconds_since(incident.begin), 1e3),
        bus: incident.bus.as_deref(),
        silent: each_once(incident.silent.iter().map(|s| s.node.as_str())),
        disturbed: (incident.logged || disturbed).then_some(disturbed),
        logged: incident.logged,
        ambient_c: exposure
            .and_then(|e| e.ambient_c.as_ref())
            .and_then(|sourced| decimals(sourced.value, 1e3)),
        since_start_s: incident.since_start_s.and_then(|s| decimals(s, 1e3)),
        wet: exposure.and_then(|e| e.wet),
        supply_v: incident.supply_v.and_then(|v| decimals(v, 1e3)),
        accusations: incident.accusations.len(),
        unanswered: incident.unanswered.iter().map(|(node, _)| node.as_str()).collect(),
    }
}

pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// A probability to twelve decimals, so that a vehicle's probabilities still add up to 1.
pub(super) fn probability(value: f64) -> Option<f64> {
    decimals(value, 1e12)
}

/// A value rounded to a power of ten.
pub(super) fn decimals(value: f64, scale: f64) -> Option<f64> {
    finite(value).map(|v| {
        let scaled = v * scale;
        // Far out, a double has no decimals left to round.
        if scaled.abs() < 9e15 { scaled.round() / scale } else { v }
    })
}

/// A value to six significant digits: more would be noise of the last bits.
pub(super) fn digits(value: f64) -> Option<f64> {
    finite(value).and_then(|v| format!("{v:.5e}").parse().ok())
}
