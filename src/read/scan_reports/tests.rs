//! Scan reports that are right, and every way in which one can be wrong.

use std::collections::BTreeMap;

use chrono_tz::UTC;

use super::*;
use crate::read::{Account, Reading, ScanReport};
use crate::vocabulary::CodeStatus;

const GOOD: &str = r#"{"schema": "buswitness/scan-report/1", "vehicle": "T-014", "taken_at": "2026-01-12T06:41:00Z",
 "odometer_km": 81234,
 "conditions": {"ambient_c": -3.5, "humidity_pct": 96, "battery_v": 12.1, "since_start_s": 140},
 "nodes": [
   {"node": "body", "answered": true,
    "codes": [{"code": "U0126", "failure_type": "00", "status": "confirmed",
               "occurrences": 3, "since_start_s": 41}]},
   {"node": "steering-angle", "answered": false}
 ]}
"#;

fn json(text: impl AsRef<[u8]>) -> Reading<Vec<ScanReport>> {
    read_scan_json(text.as_ref(), &"s.json".into(), None, UTC)
}

fn table(text: &str) -> Reading<Vec<ScanReport>> {
    read_scan_table(text.as_bytes(), &"s.csv".into(), None, &BTreeMap::new(), UTC)
}

fn reasons(account: &Account) -> Vec<String> {
    account.rejects.iter().map(|r| format!("{}: {}", r.place, r.reason)).collect()
}

fn one_line() -> String {
    let mut line = GOOD.replace('\n', " ");
    line.push('\n');
    line
}

#[test]
fn the_report_of_the_contract() {
    let read = json(GOOD);
    assert_eq!(reasons(&read.account), [""; 0]);
    assert!(read.account.leniencies.is_empty());
    let report = &read.records[0];
    assert_eq!((report.vehicle.as_str(), report.ambient_c), ("T-014", Some(-3.5)));
    assert_eq!(report.nodes[0].codes[0].code.to_string(), "U0126");
    assert_eq!(report.nodes[0].codes[0].status, CodeStatus::Confirmed);
    assert_eq!(report.nodes[0].codes[0].occurrences, Some(3));
    assert_eq!(report.nodes[0].codes[0].place.to_string(), "s.json:6");
    assert_eq!(report.nodes[1].answered, Some(false));
    assert_eq!(report.nodes[1].place.to_string(), "s.json:8");
}

#[test]
fn one_object_lines_and_arrays_read_the_same() {
    let line = one_line();
    let forms = [
        line.repeat(3),
        format!("[{},\n{},\n{}]", line.trim(), line.trim(), line.trim()),
        GOOD.repeat(3),
        format!("[{}]", [line.trim(); 3].join(",")),
    ];
    for text in forms {
        let read = json(&text);
        assert_eq!(reasons(&read.account), [""; 0]);
        assert_eq!(read.records.len(), 3);
        assert_eq!(read.records[2].nodes.len(), 2);
    }
}

#[test]
fn a_spoilt_line_costs_one_report() {
    let line = one_line();
    let spoilt = line.replace("\"odometer_km\": 81234,", "\"odometer_km\": ");
    let read = json(format!("{line}{spoilt}{line}{}", &line[..100]));
    assert_eq!(read.records.len(), 2);
    let found = reasons(&read.account);
    assert!(found[0].starts_with("s.json:2: scan report: not JSON (column "), "{found:?}");
    assert!(found[1].starts_with("s.json:4: scan report: not JSON"), "{found:?}");
    let unclosed = line.trim_end().strip_suffix('}').unwrap().to_owned() + "\n";
    let read = json(format!("{unclosed}{line}{line}"));
    assert_eq!((read.records.len(), read.account.rejects.len()), (2, 1));
}

#[test]
fn what_a_report_needs() {
    for (from, to, expected) in [
        ("\"vehicle\": \"T-014\",", "", "s.json:1: scan report without `vehicle`"),
        ("\"taken_at\"", "\"taken\"", "s.json:1: scan report without `taken_at`"),
        ("2026-01-12T06:41:00Z", "monday", "s.json:1: scan report: `taken_at`: `monday` is not"),
    ] {
        let read = json(GOOD.replace(from, to));
        assert!(reasons(&read.account)[0].starts_with(expected), "{:?}", reasons(&read.account));
        assert!(read.records.is_empty());
    }
    let text = GOOD.replace("\"vehicle\": \"T-014\",", "");
    let read = read_scan_json(text.as_bytes(), &"s".into(), Some("LH-01"), UTC);
    assert_eq!(read.records[0].vehicle, "LH-01");
}

#[test]
fn a_bad_part_is_refused_alone() {
    for (from, to, expected) in [
        ("\"U0126\"", "\"X0126\"", "s.json:6: trouble code `X0126` begins with `X`"),
        ("\"U0126\"", "null", "s.json:6: empty trouble code"),
        ("\"00\"", "\"0G\"", "s.json:6: code U0126: failure type `0G`"),
        ("\"confirmed\"", "\"confrmed\"", "s.json:6: unknown status `confrmed`; did you mean"),
        ("-3.5", "-99", "s.json:3: `ambient_c`: -99 is outside"),
        ("96", "101", "s.json:3: `humidity_pct`: 101 is outside"),
        ("12.1", "1210", "s.json:3: `battery_v`: 1210 is outside"),
        ("81234", "\"far\"", "s.json:2: `odometer_km`: `far` is not a number"),
        ("\"node\": \"body\"", "\"nod\": \"body\"", "s.json:5: node without its name"),
        ("true", "3", "s.json:5: `answered` should be true or false"),
    ] {
        let read = json(GOOD.replacen(from, to, 1));
        assert!(reasons(&read.account)[0].starts_with(expected), "{:?}", reasons(&read.account));
        assert_eq!(read.account.rejects.len(), 1);
        assert_eq!(read.records.len(), 1);
    }
}

#[test]
fn leniencies_are_counted() {
    let text = GOOD
        .replace("81234", "\"81234\"")
        .replace("\"answered\": true", "\"answered\": true, \"maker\": 1")
        .replace("\"confirmed\"", "\"0x2f\"");
    let read = json(text);
    assert_eq!(read.records[0].odometer_km, Some(81234.0));
    assert_eq!(read.records[0].nodes[0].codes[0].status, CodeStatus::Raw(0x2F));
    assert_eq!(read.account.leniencies["text read where a number is expected"], 1);
    assert_eq!(read.account.leniencies["unknown field `maker` ignored"], 1);
}

#[test]
fn latin_1_depth_and_nothing() {
    let mut bytes = one_line().into_bytes();
    let at = bytes.windows(4).position(|w| w == b"body").unwrap();
    bytes[at] = 0xE9;
    bytes.extend(one_line().bytes());
    let read = json(&bytes);
    assert_eq!(
        reasons(&read.account),
        ["s.json:1: scan report: not UTF-8 (byte 0xE9); save the file as UTF-8"]
    );
    assert_eq!(read.records.len(), 1);
    let deep = format!("{{\"a\":{}{}}}", "[".repeat(200_000), "]".repeat(200_000));
    assert!(reasons(&json(deep).account)[0].contains("nested more than 64 deep"));
    assert!(reasons(&json("[]").account)[0].contains("no scan report in it"));
    assert!(reasons(&json("{\"a\": 1} 5").account)[1].contains("found a number"));
}

#[test]
fn rows_of_one_scan_are_one_report() {
    let read = table(
        "taken_at,vehicle,node,answered,code,failure_type,status,occurrences,ambient_c,battery_v,since_start_s,code_since_start_s\n\
         2026-01-12T06:41:00Z,T-014,body,true,U0126,00,confirmed,3,-3.5,12.1,140,41\n\
         2026-01-12T06:41:00Z,T-014,body,true,U0121-87,,0x08,,,,,\n\
         2026-01-12T06:41:00Z,T-015,body,true,,,,,,,,\n\
         2026-01-12T06:41:00Z,T-014,steering-angle,false,,,,,-9,,,\n\
         2026-01-12T06:41:00Z,T-014,body,true,U012,,,,,,,\n\
         ,T-014,body,true,U0100,,,,,,,\n\
         2026-01-12T06:41:00Z,,body,true,U0100,,,,,,,\n",
    );
    assert_eq!(read.records.len(), 2);
    let report = &read.records[0];
    assert_eq!(report.nodes.len(), 2);
    assert_eq!(report.nodes[0].codes.len(), 2);
    assert_eq!(report.nodes[0].codes[1].code.failure_type(), Some(0x87));
    assert_eq!(report.nodes[0].codes[0].since_start_s, Some(41.0));
    assert_eq!(report.since_start_s, Some(140.0));
    assert_eq!(report.nodes[1].answered, Some(false));
    let found = reasons(&read.account);
    assert!(found[0].starts_with("s.csv:6: trouble code `U012` is too short"), "{found:?}");
    assert!(found[1].starts_with("s.csv:7: `taken_at` is empty"), "{found:?}");
    assert!(found[2].starts_with("s.csv:8: `vehicle` is empty"), "{found:?}");
    assert_eq!(
        read.account.leniencies["scan row that contradicts an earlier one of its report"],
        1
    );
}

#[test]
fn a_code_and_its_field_must_agree() {
    let read = table("taken_at,vehicle,node,code,failure_type\n2026-01-12 06:41,a,b,U0100-87,88\n");
    assert!(reasons(&read.account)[0].contains("names failure type 87, the field beside it 88"));
}
