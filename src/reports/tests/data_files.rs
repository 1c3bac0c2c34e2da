//! JSON by the contract, CSV by its quoting rules.

use serde_json::Value;

use super::disarmed::disarmed_below;
use super::fixture;
use super::fixture_closer::{telling, write};
use crate::reports::culprits_json::culprits_json;
use crate::reports::{Formats, Told, View};
use crate::vocabulary::Verdict;

fn culprits(findings: &[crate::suspects::VehicleFinding]) -> Value {
    let heading = fixture::heading(View::Fleet);
    let json = |told: &Told<'_>| {
        let mut bytes = Vec::new();
        culprits_json(&heading, told, &mut bytes).expect("JSON");
        bytes
    };
    serde_json::from_slice(&telling(findings, &fixture::tally(), json)).expect("valid JSON")
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().expect("object").keys().map(String::as_str).collect()
}

fn assert_has(value: &Value, expected: &[&str]) {
    let found = keys(value);
    for key in expected {
        assert!(found.contains(key), "expected the field {key}, found {found:?}");
    }
}

#[test]
fn json_has_every_field_of_the_contract() {
    let json = culprits(&fixture::fleet());
    assert_eq!(json["schema"], "buswitness/culprits/1");
    assert_eq!(json["pipeline"], "Weekly network review");
    assert_has(&json["inputs"], &["bus_logs", "frames", "scan_reports", "rejected"]);
    assert_eq!(json["inputs"]["rejected"], 41);
    let vehicles = json["vehicles"].as_array().expect("vehicles");
    let vehicle = vehicles.iter().find(|v| v["vehicle"] == "LH-07").expect("LH-07");
    assert_has(
        vehicle,
        &[
            "vehicle",
            "starts",
            "incidents",
            "verdict",
            "suspects",
            "conditions",
            "next_tests",
            "incidents_list",
            "because",
            "remarks",
            "unplaced",
            "unnamed_senders",
        ],
    );
    assert_eq!(vehicle["verdict"], "node:steering-angle");
    assert_eq!((&vehicle["starts"], &vehicle["incidents"]), (&41.into(), &7.into()));
    let first = &vehicle["suspects"][0];
    assert_has(first, &["suspect", "probability", "mechanisms", "for", "against"]);
    assert_eq!(first["mechanisms"][0]["mechanism"], "disturbs");
    assert_eq!(first["mechanisms"][1]["mechanism"], "drops-out");
    assert_has(&first["for"][0], &["weight_db", "what", "where"]);
    assert_eq!(first["for"][0]["where"][0], "bus/LH-07/003.log:20318");
    assert_eq!(first["against"][0]["weight_db"], -1.1);
    assert_has(
        &vehicle["conditions"][0],
        &[
            "condition",
            "incidents_with",
            "starts_with",
            "incidents_without",
            "starts_without",
            "risk_ratio",
            "low",
            "high",
            "p_value",
        ],
    );
    assert_eq!(vehicle["conditions"][0]["high"], Value::Null);
    let test = &vehicle["next_tests"][0];
    assert_has(test, &["test", "bits", "minutes", "meaning", "caution", "target", "order_holds"]);
    assert_eq!(test["outcomes"][0]["leader"], "node:steering-angle");
    assert_eq!(test["setup_minutes"], 12.0);
    assert_eq!(vehicle["next_tests"][1]["setup"], Value::Null);
    assert_eq!(vehicle["sequence"], Value::Array(vec![]));
    let open = vehicles.iter().find(|v| v["vehicle"] == "LH-03").expect("LH-03");
    assert_eq!(open["sequence"][1]["decided_probability"], 0.81);
    assert_eq!(vehicle["next_tests"][1]["caution"], Value::Null);
    let incident = &vehicle["incidents_list"][0];
    assert_eq!(incident["start"], "2026-01-06T15:40:00Z");
    assert_eq!(incident["seconds"], 74.0);
    assert_eq!(incident["silent"][0], "steering-angle");
    assert_has(incident, &["bus", "disturbed", "ambient_c", "since_start_s", "wet"]);
}

#[test]
fn probabilities_of_a_vehicle_add_up_to_one() {
    for vehicle in culprits(&fixture::fleet())["vehicles"].as_array().expect("vehicles") {
        let suspects = vehicle["suspects"].as_array().expect("suspects");
        if vehicle["verdict"] == "quiet" {
            assert!(suspects.is_empty());
            continue;
        }
        let sum: f64 = suspects.iter().filter_map(|s| s["probability"].as_f64()).sum();
        assert!((sum - 1.0).abs() < 1e-9, "{sum}");
    }
}

#[test]
fn what_is_not_finite_or_not_logged_is_null() {
    let mut finding = fixture::decided("A");
    finding.conditions[0].p_value = f64::NAN;
    finding.conditions[0].high = Some(f64::INFINITY);
    finding.incidents[0].logged = false;
    finding.incidents[0].disturbances.clear();
    let json = culprits(&[finding]);
    let vehicle = &json["vehicles"][0];
    assert_eq!(vehicle["conditions"][0]["p_value"], Value::Null);
    assert_eq!(vehicle["conditions"][0]["high"], Value::Null);
    assert_eq!(vehicle["incidents_list"][0]["disturbed"], Value::Null);
}

#[test]
fn evidence_is_largest_first_and_at_most_twelve_a_side() {
    let mut finding = fixture::decided("A");
    let piece = finding.suspects[0].evidence[0].clone();
    finding.suspects[0].evidence = (0..40)
        .map(|i| crate::suspects::Evidence { weight_db: f64::from(i) - 19.5, ..piece.clone() })
        .collect();
    let json = culprits(&[finding]);
    let first = &json["vehicles"][0]["suspects"][0];
    for (side, expected) in [("for", 19.5), ("against", -19.5)] {
        let pieces = first[side].as_array().expect("pieces");
        assert_eq!(pieces.len(), 12);
        assert_eq!(pieces[0]["weight_db"], expected);
    }
}

#[test]
fn no_data_is_told_apart_from_quiet() {
    let json = culprits(&[fixture::quiet("A"), fixture::empty("B", Verdict::Quiet)]);
    assert_eq!(json["vehicles"][0]["no_data"], false);
    assert_eq!(json["vehicles"][1]["no_data"], true);
}

#[test]
fn csv_round_trips_and_disarms_formulas() {
    let folder = tempfile::tempdir().expect("folder");
    let formats = Formats { html: false, json: false, csv: true, parquet: false };
    let mut findings = fixture::fleet();
    findings[0].vehicle = "=cmd|' /C calc'!A0, \"q\"\nnext".to_owned();
    write(folder.path(), formats, &findings, &fixture::tally(), &[]).expect("written");
    for table in [
        "culprits",
        "evidence",
        "incidents",
        "exposures",
        "conditions",
        "next_tests",
        "repairs",
        "reproduce",
        "time_since_start",
        "rejects",
    ] {
        let path = folder.path().join(format!("{table}.csv"));
        let mut reader = csv::Reader::from_path(&path).expect(table);
        let columns = reader.headers().expect("header").len();
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect(table)).collect();
        assert!(!rows.is_empty(), "{table} has rows");
        for row in rows {
            assert_eq!(row.len(), columns);
        }
    }
    assert!(disarmed_below(folder.path()) > 20, "the inputs are full of formulas");
    let text = std::fs::read_to_string(folder.path().join("culprits.csv")).expect("culprits");
    assert!(text.contains("\"'=cmd|' /C calc'!A0, \"\"q\"\"\nnext\""));
}
