//! What `run` and `check` print with `--json`: one object, its `schema` first, for scripts.
//!
//! Every command's object begins with `schema` (`buswitness/NAME/1`) and ends with `remarks`. A call that
//! fails prints no object: its message goes to standard error, its exit code is 2.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::Serialize;

use crate::read::Tally;
use crate::reports::culprits_json::{finite, probability};
use crate::reports::standing::{Standing, leader, listing_order, standing};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Reject;

/// What a run came to.
#[derive(Serialize, JsonSchema)]
pub(super) struct Ran {
    schema: &'static str,
    report: Option<String>,
    written: Vec<String>,
    inputs: Read,
    vehicles: Vec<Line>,
    skipped: Vec<Skipped>,
    rejected: Vec<Refused>,
    leniencies: Vec<Lenient>,
    remarks: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct Read {
    bus_logs: u64,
    bus_logs_from_kept_facts: u64,
    frames: u64,
    bytes: u64,
    scan_reports: u64,
    table_rows: u64,
    outside_period: u64,
    rejected: u64,
}

#[derive(Serialize, JsonSchema)]
struct Line {
    vehicle: String,
    standing: &'static str,
    verdict: String,
    leader: Option<String>,
    probability: Option<f64>,
    incidents: usize,
    starts: usize,
    next_test: Option<String>,
    next_test_minutes: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Skipped {
    file: String,
    reason: String,
}

#[derive(Serialize, JsonSchema)]
struct Refused {
    place: String,
    records: u64,
    reason: String,
}

#[derive(Serialize, JsonSchema)]
struct Lenient {
    what: String,
    times: u64,
}

/// What `check` found.
#[derive(Serialize, JsonSchema)]
pub(super) struct Checked {
    schema: &'static str,
    sound: bool,
    files: Vec<TakenFor>,
    rejected: Vec<Refused>,
    leniencies: Vec<Lenient>,
    remarks: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct TakenFor {
    file: String,
    taken_for: String,
    understood: Vec<String>,
}

/// The object of `run --json`; vehicles in the order of the overview.
#[must_use]
pub fn run_json(
    findings: &[VehicleFinding],
    tally: &Tally,
    written: &[PathBuf],
    remarks: &[String],
) -> String {
    let mut sorted: Vec<&VehicleFinding> = findings.iter().collect();
    sorted.sort_by(|a, b| listing_order(a, b));
    let written: Vec<String> = written.iter().map(|path| path.display().to_string()).collect();
    object(&Ran {
        schema: "buswitness/run/1",
        report: written.first().cloned(),
        written,
        inputs: Read {
            bus_logs: tally.bus_logs,
            bus_logs_from_kept_facts: tally.logs_reused,
            frames: tally.frames,
            bytes: tally.bytes,
            scan_reports: tally.scan_reports,
            table_rows: tally.table_rows,
            outside_period: tally.outside_period,
            rejected: tally.rejected(),
        },
        vehicles: sorted.into_iter().map(line).collect(),
        skipped: tally
            .skipped
            .iter()
            .map(|(file, reason)| Skipped { file: file.clone(), reason: reason.clone() })
            .collect(),
        rejected: refused(&tally.rejects),
        leniencies: lenient(tally),
        remarks: remarks.to_vec(),
    })
}

/// The object of `check --json`. What a file was taken for comes with a line for each thing understood.
#[must_use]
pub fn check_json(
    taken: &[(String, String)],
    tally: &Tally,
    remarks: &[String],
    sound: bool,
) -> String {
    let file = |(file, what): &(String, String)| {
        let mut lines = what.lines();
        TakenFor {
            file: file.clone(),
            taken_for: lines.next().unwrap_or_default().to_owned(),
            understood: lines.map(|line| line.trim().to_owned()).collect(),
        }
    };
    object(&Checked {
        schema: "buswitness/check/1",
        sound,
        files: taken.iter().map(file).collect(),
        rejected: refused(&tally.rejects),
        leniencies: lenient(tally),
        remarks: remarks.to_vec(),
    })
}

fn object(value: &impl Serialize) -> String {
    // Texts, numbers and lists only: there is nothing in it that could fail.
    serde_json::to_string_pretty(value).unwrap_or_default()
}

fn line(finding: &VehicleFinding) -> Line {
    let first = leader(finding);
    let test = finding.next_tests.first();
    Line {
        vehicle: finding.vehicle.clone(),
        standing: match standing(finding) {
            Standing::Decided => "decided",
            Standing::Undecided => "undecided",
            Standing::Quiet => "quiet",
            Standing::NoData => "no-data",
        },
        verdict: finding.verdict.to_string(),
        leader: first.map(|s| s.suspect.to_string()),
        probability: first.and_then(|s| probability(s.probability)),
        incidents: finding.incidents.len(),
        starts: finding.exposures.len(),
        next_test: test.map(|t| t.test.clone()),
        next_test_minutes: test.and_then(|t| finite(t.minutes)),
    }
}

fn refused(rejects: &[Reject]) -> Vec<Refused> {
    rejects
        .iter()
        .map(|r| Refused {
            place: r.place.to_string(),
            records: r.records,
            reason: r.reason.clone(),
        })
        .collect()
}

fn lenient(tally: &Tally) -> Vec<Lenient> {
    let each = tally.leniencies.iter();
    each.map(|(what, times)| Lenient { what: what.clone(), times: *times }).collect()
}
