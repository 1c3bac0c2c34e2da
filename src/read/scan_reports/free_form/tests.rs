//! Small reports, each for one rule of reading.

use chrono_tz::UTC;

use super::*;
use crate::read::networks::read_network;

const NETWORK: &str = r#"
network = "N"
[[node]]
name = "body"
title = "Body control module"
aliases = ["BCM"]
[[node]]
name = "brake"
title = "Anti-lock brake controller"
aliases = ["ABS"]
[[node]]
name = "steering-angle"
title = "Steering angle sensor module"
aliases = ["SASM"]
[[node]]
name = "tail-lift"
"#;

/// A report as `node[answered]: code status xN; …`, a line each.
fn read(text: &str) -> (Vec<String>, Vec<String>) {
    let words = Words::english();
    let network = read_network(NETWORK.as_bytes(), &"n".into()).records.expect("a network");
    let around = Around {
        words: &words,
        path_vehicle: Some("V1"),
        path_start: Some("2026-01-12"),
        zone: UTC,
        vehicles: &[],
        network_of: &|_| Some(&network),
    };
    let kind = crate::read::recognising::recognise(text.as_bytes());
    let document = take_apart(text.as_bytes(), &kind, &"r".into());
    let read = read_free_form(document, &"r".into(), &around);
    let nodes = read.records.report.map(|report| report.nodes).unwrap_or_default();
    let shown = nodes.iter().map(|node| {
        let codes: Vec<String> = node
            .codes
            .iter()
            .map(|c| {
                let times = c.occurrences.map_or(String::new(), |n| format!(" x{n}"));
                format!("{} {}{times}", c.code, c.status).trim().to_owned()
            })
            .collect();
        let answered = node.answered.map_or("?", |yes| if yes { "yes" } else { "no" });
        format!("{} {answered}: {}", node.node, codes.join(", "))
    });
    let rejects = read.account.rejects.iter().map(|r| format!("{}: {}", r.place, r.reason));
    (shown.collect(), rejects.collect())
}

fn nodes(text: &str) -> Vec<String> {
    read(text).0
}

#[test]
fn a_codes_own_text_is_no_heading() {
    let text = "Body control\nU0126\nSteering angle sensor module\nU0121 Lost communication with anti-lock brake controller (stored)\n\nABS\nU0140 confirmed\n";
    assert_eq!(nodes(text), ["body yes: U0126, U0121 stored", "brake yes: U0140 confirmed"]);
}

#[test]
fn a_legend_and_an_example_invent_no_code() {
    let text = "Body control\nU0126 pending\n\nLegend:\nU0100 would mean a lost engine controller.\nExample: C0035\n";
    assert_eq!(nodes(text), ["body yes: U0126 pending"]);
    let (found, rejects) = read("BCM\nU0126\nA code such as U0100 is set when the bus is down.\n");
    assert_eq!((found.len(), rejects.len()), (1, 0));
}

#[test]
fn summaries_do_not_double() {
    let text = "Summary:\nU0126 U0121\n\nBody control\nU0126-87 stored\nU0121 pending 3x\n";
    assert_eq!(nodes(text), ["body yes: U0126-87 stored, U0121 pending x3"]);
}

#[test]
fn answers_and_modules_that_are_not_there() {
    let text =
        "Body control: OK\nABS ..... NO RESPONSE\nTail lift: not fitted\nSASM did not answer\n";
    assert_eq!(nodes(text), ["body yes: ", "brake no: ", "steering-angle no: "]);
    let text = "No response: ABS, tail lift\nBCM: no faults\n";
    assert_eq!(nodes(text), ["brake no: ", "tail-lift no: ", "body yes: "]);
}

#[test]
fn tables_by_marks_and_by_blanks() {
    let text = "| Module | Code | Status |\n|---|---|---|\n| BCM | U0126 | stored |\n| | U0121 | 0x2F |\n| ABS | - | no response |\n";
    let expected = ["body yes: U0126 stored, U0121 0x2F", "brake no: "];
    assert_eq!(nodes(text), expected);
    let text = "Module        Code    Status       Text\nBody control  U0126   stored       Lost communication with steering\n              U0121   pending      angle sensor\nABS                   no response\n";
    assert_eq!(nodes(text), ["body yes: U0126 stored, U0121 pending", "brake no: "]);
}

#[test]
fn records_with_the_module_behind_the_code() {
    let text =
        "Code: U0126\nModule: BCM\nStatus: stored\n\nCode: U0140\nModule: ABS\nStatus: pending\n";
    assert_eq!(nodes(text), ["body yes: U0126 stored", "brake yes: U0140 pending"]);
    let text = "Module: BCM\nCode: U0126\nStatus: active\nCount: 4\nModule: ABS\nCode: U0140\n";
    assert_eq!(nodes(text), ["body yes: U0126 confirmed x4", "brake yes: U0140"]);
}

#[test]
fn part_numbers_are_no_codes_and_orphans_are_told() {
    let (found, rejects) = read("Batch: B2431\nBCM\nSoftware version: C0123\nU0126\n");
    assert_eq!((found, rejects.len()), (vec!["body yes: U0126".to_owned()], 0));
    let (_, rejects) = read("BCM: OK\n\nAll codes:\nU0155\n");
    assert!(rejects[0].contains("r:4: code U0155 stands under no module"), "{rejects:?}");
}

#[test]
fn sentences_in_which_a_module_reports() {
    let text = "The body control module reported U0126, and ABS logged U0140 (stored).\n";
    let found = nodes("The body control module reported U0126.\nABS logged U0140 (stored).\n");
    assert_eq!(found, ["body yes: U0126", "brake yes: U0140 stored"]);
    assert!(read(text).0.iter().any(|line| line.starts_with("body yes: U0126")));
}

#[test]
fn status_lists_and_class_words() {
    let text = "Brake control unit\nConfirmed codes (1):\n- U0140\nPending codes:\n- U0126\n";
    assert_eq!(nodes(text), ["brake yes: U0140 confirmed, U0126 pending"]);
}
