//! A report taken hours later, or under a wrong clock, still finds its start; codes are fresh or not.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::freshness::{self, Freshness};
use super::incident::SilentNode;
use super::placing::{By, Home, place};
use super::start::Start;
use super::trouble::Trouble;
use crate::observe::{AnswerReading, AnswerRow, CodeKind, CodeRow};
use crate::read::ScanReport;
use crate::vocabulary::{CodeStatus, Instant, Place, TroubleCode};

const HOUR: f64 = 3600.0;

fn spot() -> Place {
    Place::whole(&Arc::from("x"))
}

fn at(hours: f64) -> Instant {
    Instant(1_767_600_000_000_000_000).plus_seconds(hours * HOUR)
}

fn start(hours: f64) -> Start {
    Start {
        begin: at(hours),
        end: at(hours).plus_seconds(60.0),
        logged: true,
        woke: true,
        judged: true,
        reports: vec![],
        incidents: 0,
        place: spot(),
    }
}

/// The steering angle sensor is silent from 12 s to 30 s after a start.
fn trouble(start: &Start) -> Trouble {
    let (due, end) = (start.begin.plus_seconds(12.0), start.begin.plus_seconds(30.0));
    let silent = SilentNode {
        node: "steering-angle".into(),
        last_heard: due,
        due,
        end,
        returned: true,
        restarted: None,
        place: spot(),
    };
    Trouble {
        begin: due,
        end,
        bus: "chassis".into(),
        silent: vec![silent],
        disturbances: vec![],
        losses: BTreeMap::new(),
    }
}

fn code(report: u32, status: CodeStatus, occurrences: u32, since: Option<f64>) -> CodeRow {
    CodeRow {
        vehicle: "V".into(),
        report,
        taken_at: at(0.0),
        reporter: "body".into(),
        code: TroubleCode { word: 0xC126, failure_type: None }.into(),
        status,
        occurrences: Some(occurrences),
        since_start_s: since,
        kind: CodeKind::NotHeard,
        accused: Some("steering-angle".into()),
        place: spot(),
    }
}

fn placed(taken_hours: f64, since: &[f64]) -> Home {
    let starts = [start(0.0), start(24.0), start(48.0)];
    let trouble = [trouble(&starts[1])];
    let report = ScanReport {
        vehicle: "V".into(),
        taken_at: at(taken_hours),
        odometer_km: None,
        ambient_c: None,
        humidity_pct: None,
        battery_v: None,
        since_start_s: None,
        nodes: vec![],
        place: spot(),
    };
    let codes: Vec<CodeRow> =
        since.iter().map(|s| code(0, CodeStatus::Confirmed, 1, Some(*s))).collect();
    let own: Vec<(&CodeRow, Freshness)> = codes.iter().map(|c| (c, Freshness::Fresh)).collect();
    place(&report, &own, &starts, &trouble, None)
}

#[test]
fn a_report_finds_its_start_by_time_by_codes_or_not_at_all() {
    let by_codes = Home::Start { place: 1, by: By::Codes };
    // During the start of another day: its time decides, whatever its codes say.
    assert_eq!(placed(48.005, &[14.0]), Home::Start { place: 2, by: By::Time });
    // Nine hours later: its codes were set while the sensor was silent.
    assert_eq!(placed(33.0, &[14.0, 16.5]), by_codes);
    // A clock that is a day slow: three codes that fit leave no doubt, one does not.
    assert_eq!(placed(10.0, &[14.0, 15.0, 16.5]), by_codes);
    assert_eq!(placed(10.0, &[14.0]), Home::Own);
    // Codes set at another time of a start belong to no trouble that a log shows.
    assert_eq!(placed(33.0, &[900.0, 905.0]), Home::Own);
}

#[test]
fn a_code_is_fresh_when_its_counter_or_time_moved() {
    let codes = [
        code(0, CodeStatus::Stored, 1, Some(14.0)),
        code(1, CodeStatus::Stored, 1, Some(14.0)),
        code(2, CodeStatus::Stored, 2, Some(14.0)),
        code(3, CodeStatus::Stored, 2, Some(31.0)),
        code(4, CodeStatus::Confirmed, 2, Some(31.0)),
    ];
    use Freshness::{Fresh, PerhapsOld, Repeated};
    assert_eq!(freshness::judge(&codes, &[]), [PerhapsOld, Repeated, Fresh, Fresh, Repeated]);
}

#[test]
fn a_code_told_late_is_no_news_while_the_others_stand_still() {
    let row = |report, reporter: &str, occurrences| CodeRow {
        reporter: reporter.into(),
        ..code(report, CodeStatus::Stored, occurrences, None)
    };
    // The brakes answered the first report, and told their code only in the second.
    let answers = [AnswerRow {
        vehicle: "V".into(),
        report: 0,
        taken_at: at(0.0),
        node: "brakes".into(),
        answered: true,
        reading: AnswerReading::Answered,
        place: spot(),
    }];
    let judged = |moved: u32| {
        let codes = [
            row(0, "body", 3),
            row(0, "engine", 2),
            row(1, "body", 3),
            row(1, "engine", 2 + moved),
            row(1, "brakes", 4),
        ];
        freshness::judge(&codes, &answers).pop()
    };
    assert_eq!(judged(0), Some(Freshness::Repeated));
    assert_eq!(judged(1), Some(Freshness::Fresh), "another node has counted it again");
}
