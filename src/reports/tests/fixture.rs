//! Invented findings: a decided vehicle, an undecided one, a quiet one, one without data, and one
//! whose every text is hostile.

use std::sync::Arc;

use chrono_tz::Tz::UTC;

use super::fixture_tests::next_tests;
use crate::conditions::{Ahead, ConditionRisk, Exposure, Sourced, WeatherTable, invented, trials};
use crate::incidents::{Accusation, Disturbed, Incident, SilentNode};
use crate::read::{AfterPartRow, ServiceAction, ServiceNote, Tally};
use crate::repairs::{self, AfterTable, Outlook, outlook};
use crate::reports::{Heading, View};
use crate::suspects::{Evidence, SuspectFinding, TestStep, VehicleFinding};
use crate::vocabulary::{Instant, Mechanism, Place, Reject, Suspect, Verdict};

/// 2026-01-05T05:30:00Z.
const BEGIN: Instant = Instant(1_767_591_000_000_000_000);

/// Markup, a path, a formula, an escape sequence and a right-to-left override in one text.
pub(super) const HOSTILE: &str =
    "=../<script>alert(\"x\")</script>'\u{202e}&{{ 7*7 }}\u{1b}[31m\u{0}\n,\"";

pub(in crate::reports) fn heading(view: View) -> Heading {
    Heading {
        title: "Weekly network review".to_owned(),
        view,
        timezone: chrono_tz::Europe::London,
        period: Some("2026-01-05 to before 2026-01-26".to_owned()),
        strict: false,
        remarks: vec![],
    }
}

pub(super) fn place(file: &str, line: u64) -> Place {
    Place::line(&Arc::from(file), line)
}

pub(super) fn fleet() -> Vec<VehicleFinding> {
    let mut fleet = vec![decided("LH-07"), undecided("LH-03"), hostile()];
    for number in [1, 2, 4, 5, 6, 8, 9, 10, 11, 12] {
        fleet.push(quiet(&format!("LH-{number:02}")));
    }
    fleet.push(VehicleFinding {
        because: "no log and no scan report names this vehicle".to_owned(),
        ..empty("LH-13", Verdict::Quiet)
    });
    fleet
}

pub(super) fn empty(vehicle: &str, verdict: Verdict) -> VehicleFinding {
    VehicleFinding {
        vehicle: vehicle.to_owned(),
        network: Some("HT4".to_owned()),
        verdict,
        because: String::new(),
        suspects: vec![],
        explained: 0,
        other_causes: Vec::new(),
        hangs_on: Vec::new(),
        exposures: vec![],
        incidents: vec![],
        conditions: vec![],
        next_tests: vec![],
        sequence: vec![],
        unnamed_senders: vec![],
        unplaced: vec![],
        remarks: vec![],
    }
}

fn exposures(vehicle: &str, hit: impl Fn(usize) -> bool) -> Vec<Exposure> {
    (0..41_usize)
        .map(|i| {
            let start = BEGIN.plus_seconds(i as f64 * 41_000.0);
            let cold = ((i * 37) % 29) as f64 * 0.6 - 4.0;
            let known = i % 13 != 5;
            let sourced = |value, source| Some(Sourced { value, source, age_s: 600.0 });
            Exposure {
                incidents: u32::from(hit(i)),
                judged: i % 17 != 16,
                ambient_c: if known { sourced(cold, "weather") } else { None },
                humidity_pct: sourced(80.0, "weather"),
                dew_spread_k: Some(1.2),
                rain_12h_mm: Some(0.4),
                wet: if known { Some(i % 3 == 0 || hit(i)) } else { None },
                soak_s: Some(39_000.0),
                first_of_day: Some(i % 2 == 0),
                supply_v: sourced(12.1, "log"),
                low_supply: Some(false),
                odometer_km: Some(61_000.0 + i as f64 * 9.5),
                late: Some(i > 20),
                place: place(&format!("bus/{vehicle}/{i:03}.log"), 1),
                ..invented::exposure(vehicle, start)
            }
        })
        .collect()
}

fn incident(vehicle: &str, exposure: &Exposure, index: usize) -> Incident {
    let at = |s: f64| exposure.start.plus_seconds(s);
    let file = format!("bus/{vehicle}/{index:03}.log");
    let silent = |node: &str, from: f64, to: f64, returned| SilentNode {
        node: node.to_owned(),
        last_heard: at(from - 0.4),
        due: at(from),
        end: at(to),
        returned,
        restarted: Some(true),
        place: place(&file, 20_318 + index as u64),
    };
    let accuse = |reporter: &str, heard| Accusation {
        reporter: reporter.to_owned(),
        accused: "steering-angle".to_owned(),
        heard,
        code: "U0126".to_owned(),
        place: place("scans/LH-07-0112.json", 1),
    };
    let names = |list: &[&str]| list.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
    Incident {
        end: at(86.0),
        bus: Some("chassis".to_owned()),
        silent: vec![
            silent("steering-angle", 12.4, 86.0, false),
            silent("brake-control", 31.0, 58.5, true),
            silent("parking-brake", 31.6, 40.2, true),
        ],
        alive: names(&["body", "engine", "gateway", "cluster", "climate", "tail-lift"]),
        disturbances: vec![Disturbed {
            kind: "error-frames",
            begin: at(29.5),
            end: at(33.0),
            count: 2312,
            node: None,
            detail: "bit errors in the acknowledge slot".to_owned(),
            place: place(&file, 20_900),
        }],
        accusations: vec![
            accuse("body", false),
            accuse("brake-control", false),
            accuse("engine", true),
        ],
        bus_down: vec![("brake-control".to_owned(), place(&file, 21_000))],
        answered: vec![("body".to_owned(), place("scans/LH-07-0112.json", 1))],
        unanswered: vec![("steering-angle".to_owned(), place("scans/LH-07-0112.json", 1))],
        supply_v: Some(12.1),
        reporters: names(&["body", "brake-control", "engine", "gateway"]),
        reports: vec![place("scans/LH-07-0112.json", 1)],
        ..invented::incident(exposure.start, 12.0)
    }
}

fn piece(weight_db: f64, what: &str, places: usize) -> Evidence {
    let places = (0..places).map(|i| place("bus/LH-07/003.log", 20_318 + i as u64)).collect();
    Evidence { weight_db, what: what.to_owned(), places }
}

fn suspect(suspect: Suspect, probability: f64, evidence: Vec<Evidence>) -> SuspectFinding {
    SuspectFinding {
        suspect,
        probability,
        range: (probability * 0.8, (probability * 1.3).min(0.99)),
        prior: 0.11,
        mechanisms: vec![
            (Mechanism::Disturbs, probability * 0.9),
            (Mechanism::DropsOut, probability * 0.1),
        ],
        evidence,
    }
}

pub(in crate::reports) fn decided(vehicle: &str) -> VehicleFinding {
    let exposures = exposures(vehicle, |i| matches!(i, 3 | 9 | 12 | 20 | 23 | 29 | 37));
    let hit = exposures.iter().enumerate().filter(|(_, e)| e.incidents > 0);
    let incidents = hit.map(|(i, e)| incident(vehicle, e, i)).collect();
    let node = |name: &str| Suspect::Node(name.to_owned());
    VehicleFinding {
        because: "it alone fell silent first in every incident, and no neighbour on its feed or \
                  ground was missed"
            .to_owned(),
        suspects: vec![
            suspect(
                node("steering-angle"),
                0.91,
                vec![
                    piece(12.4, "silent in 7 of 7 incidents, first to fall silent in 6", 7),
                    piece(
                        6.0,
                        "accused by 3 of 4 nodes that were read out, in 7 of 7 incidents",
                        5,
                    ),
                    piece(1.8, "accuses no other node in 7 incidents", 1),
                    piece(-1.1, "answered the tester in 1 of 4 scans", 1),
                ],
            ),
            suspect(
                Suspect::Branch("front-splice".to_owned()),
                0.05,
                vec![
                    piece(2.2, "2 of 3 nodes on it silent together in 7 of 7 incidents", 7),
                    piece(-9.3, "wheel-speed on the same branch heard throughout 7 incidents", 7),
                ],
            ),
            suspect(node("brake-control"), 0.02, vec![piece(-4.0, "silent second, 19 s later", 7)]),
            suspect(Suspect::Feed("F12".to_owned()), 0.012, vec![]),
            suspect(Suspect::Bus("chassis".to_owned()), 0.005, vec![]),
            suspect(
                Suspect::Supply,
                0.002,
                vec![piece(-14.0, "never below 12.0 V in 7 incidents", 7)],
            ),
            suspect(Suspect::None, 0.001, vec![]),
        ],
        incidents,
        exposures,
        conditions: vec![
            risk("ambient_c < 2", [7, 14, 0, 24], Some(24.8), Some(3.1), None, 0.000_31, 3),
            risk("wet", [7, 16, 0, 22], None, Some(2.7), None, 0.0009, 3),
            risk("soak_s > 21600", [7, 40, 0, 1], Some(1.0), Some(0.2), Some(8.0), 0.8, 0),
        ],
        next_tests: next_tests(),
        unplaced: vec![("code U0126 without a time".to_owned(), place("scans/LH-07.txt", 14))],
        remarks: vec!["2 starts were recorded too poorly to show an incident".to_owned()],
        ..empty(vehicle, Verdict::Suspect(node("steering-angle")))
    }
}

fn risk(
    condition: &str,
    counts: [u32; 4],
    risk_ratio: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    p_value: f64,
    starts_unknown: u32,
) -> ConditionRisk {
    let [incidents_with, starts_with, incidents_without, starts_without] = counts;
    ConditionRisk {
        condition: condition.to_owned(),
        incidents_with,
        starts_with,
        incidents_without,
        starts_without,
        risk_ratio,
        low,
        high,
        p_value,
        smallest_p: p_value * 0.9,
        starts_unknown,
    }
}

pub(super) fn undecided(vehicle: &str) -> VehicleFinding {
    let mut finding = decided(vehicle);
    finding.verdict = Verdict::Undecided;
    finding.because = "both fell silent together each time; they share feed F12, and no test has \
                       told them apart"
        .to_owned();
    finding.sequence = [(25.0, 0.62), (12.0, 0.81)]
        .into_iter()
        .map(|(minutes, decided)| TestStep {
            test: "wiggle the connector".to_owned(),
            target: Suspect::Node("steering-angle".to_owned()),
            minutes,
            setup_minutes: 0.0,
            decided,
        })
        .collect();
    let shares = [0.44, 0.39, 0.10, 0.05, 0.01, 0.006, 0.004];
    for (suspect, share) in finding.suspects.iter_mut().zip(shares) {
        suspect.probability = share;
    }
    finding
}

pub(super) fn quiet(vehicle: &str) -> VehicleFinding {
    VehicleFinding { exposures: exposures(vehicle, |_| false), ..empty(vehicle, Verdict::Quiet) }
}

pub(super) fn hostile() -> VehicleFinding {
    let long = format!("{HOSTILE}{}", "W".repeat(10_000));
    let mut finding = decided(&long);
    finding.network = Some(long.clone());
    finding.because = long.clone();
    finding.verdict = Verdict::Suspect(Suspect::Node(long.clone()));
    finding.suspects[0].suspect = Suspect::Node(long.clone());
    finding.suspects[0].probability = 0.905;
    finding.suspects[1].probability = 0.055;
    finding.suspects[0].evidence[0].what = long.clone();
    finding.suspects[0].evidence[0].places = vec![place(&long, 3)];
    finding.conditions[0].condition = long.clone();
    finding.next_tests[0].test = long.clone();
    finding.next_tests[0].caution = long.clone();
    finding.next_tests[0].setup = long.clone();
    finding.next_tests[0].outcomes[0].outcome = long.clone();
    finding.next_tests[0].outcomes[0].leader = Suspect::Node(long.clone());
    finding.remarks = vec![long.clone()];
    finding.unplaced = vec![(long.clone(), place(&long, 9))];
    finding.unnamed_senders = vec![(long.clone(), vec![long.clone(), "1A0".to_owned()])];
    for incident in &mut finding.incidents {
        incident.bus = Some(long.clone());
        incident.silent[0].node = long.clone();
        incident.alive[0] = long.clone();
        incident.accusations[0].reporter = long.clone();
        incident.accusations[0].accused = long.clone();
        incident.disturbances[0].detail = long.clone();
    }
    finding
}

/// The outlook of each vehicle, as the stage before would work it out from these findings and a note
/// with every text hostile.
pub(super) fn outlooks(findings: &[VehicleFinding]) -> Vec<Outlook> {
    let forecast = WeatherTable::default();
    let table = AfterTable::new(vec![AfterPartRow {
        class: "any".to_owned(),
        words: vec![],
        needed: vec![HOSTILE.to_owned()],
        cautions: vec![HOSTILE.to_owned()],
        place: place(HOSTILE, 2),
    }]);
    findings
        .iter()
        .map(|finding| {
            let note = |at: usize, action| ServiceNote {
                time: BEGIN.plus_seconds(at as f64 * 41_000.0 - 600.0),
                vehicle: finding.vehicle.clone(),
                action,
                target: Some(Suspect::Node(HOSTILE.to_owned())),
                outcome: None,
                note: HOSTILE.to_owned(),
                place: place(HOSTILE, 4),
            };
            outlook(&repairs::Case {
                finding,
                trials: &trials(&finding.exposures, &finding.incidents),
                notes: &[
                    note(14, ServiceAction::Disconnect),
                    note(18, ServiceAction::Reconnect),
                    note(30, ServiceAction::Replace),
                ],
                network: None,
                ahead: Ahead { forecast: &forecast, given: true, site: Some(HOSTILE), zone: UTC },
                confidence: 0.95,
                table: &table,
            })
        })
        .collect()
}

pub(super) fn tally() -> Tally {
    Tally {
        bus_logs: 612,
        logs_reused: 400,
        logs_unopened: 0,
        facts_unused: (0, 0),
        frames: 4_310_000,
        scan_reports: 37,
        table_rows: 2204,
        bytes: 88_123_456,
        skipped: vec![("bus/LH-02/empty.log".to_owned(), "empty file".to_owned())],
        outside_period: 12,
        leniencies: vec![("byte order mark skipped".to_owned(), 2)],
        rejects: vec![
            Reject::one(
                place("bus/LH-01/004.log", 881),
                "expected 16 hex digits of data for length 8, found 15",
            ),
            Reject { records: 40, ..Reject::one(place(HOSTILE, 1), HOSTILE) },
        ],
    }
}
