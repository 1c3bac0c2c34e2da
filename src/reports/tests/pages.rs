//! The pages: hostile names stay text, the answer stands first, nothing is loaded from outside.

use std::collections::BTreeMap;

use super::fixture;
use super::fixture_closer::{telling, write_reports};
use crate::read::Tally;
use crate::reports::page_names::page_names;
use crate::reports::{Formats, View, pages};
use crate::suspects::VehicleFinding;

fn rendered(view: View, findings: &[VehicleFinding]) -> BTreeMap<String, String> {
    telling(findings, &fixture::tally(), |told| pages::pages(&fixture::heading(view), told))
        .expect("pages")
        .into_iter()
        .map(|o| (o.name.clone(), String::from_utf8(o.bytes().expect("made")).expect("text")))
        .collect()
}

/// Writes the pages of the fixture for a person to look at, when `BUSWITNESS_LOOK` names a folder.
#[test]
fn pages_to_look_at() {
    let Some(folder) = std::env::var_os("BUSWITNESS_LOOK") else { return };
    let folder = std::path::PathBuf::from(folder);
    for (name, view, findings) in [
        ("fleet", View::Fleet, fixture::fleet()),
        ("session", View::Session, vec![fixture::decided("LH-07")]),
    ] {
        let heading = fixture::heading(view);
        telling(&findings, &fixture::tally(), |told| {
            write_reports(&folder.join(name), &heading, Formats::ALL, told, &[])
        })
        .expect("written");
    }
}

#[test]
fn hostile_texts_stay_text() {
    let pages = rendered(View::Fleet, &fixture::fleet());
    assert_eq!(pages.len(), 5);
    for (name, page) in &pages {
        assert_eq!(page.matches("<script").count(), 1, "{name}: only the page's own");
        assert!(!page.contains('\u{202e}') && !page.contains('\u{1b}'), "{name}");
        assert!(!page.contains(&"W".repeat(900)), "{name}: an endless name was not cut");
        assert!(!page.contains(" 49"), "{name}: a text was taken for a template");
    }
    assert!(pages.values().any(|p| p.contains("&lt;script&gt;")));
}

#[test]
fn what_lies_ahead_stands_on_the_page() {
    let pages = rendered(View::Session, &[fixture::decided("LH-07")]);
    let page = &pages["report.html"];
    for heading in ["reproduce", "held", "after", "when-course", "when-strength"] {
        assert!(page.contains(&format!("id=\"{heading}\"")), "{heading}");
    }
    assert!(page.contains("never tested under the trigger") || page.contains("not yet shown"));
    assert!(page.contains("general steps") && page.contains("Kaplan-Meier"));
}

#[test]
fn pages_ask_for_nothing_from_outside() {
    for (name, page) in rendered(View::Fleet, &fixture::fleet()) {
        assert!(page.contains("default-src 'none'"), "{name}");
        for forbidden in [
            "http:",
            "https:",
            "@import",
            "url(//",
            "<script ",
            "<iframe",
            "<link rel=\"s",
            " style=\"",
        ] {
            assert!(!page.contains(forbidden), "{name} contains {forbidden}");
        }
        for source in page.split("src=\"").skip(1) {
            assert!(source.starts_with("data:"), "{name}");
        }
    }
}

#[test]
fn headings_descend_one_level_at_a_time() {
    for (name, page) in rendered(View::Fleet, &fixture::fleet()) {
        let mut before = 0;
        for level in page.split("<h").skip(1).filter_map(|t| t.chars().next()?.to_digit(10)) {
            assert!(level <= before + 1, "{name}: h{level} after h{before}");
            before = level;
        }
        assert_eq!(page.matches("<h1").count(), 1, "{name}");
        assert_eq!(page.matches("<table").count(), page.matches("<caption").count(), "{name}");
    }
}

#[test]
fn every_link_on_a_page_leads_somewhere() {
    let pages = rendered(View::Fleet, &fixture::fleet());
    for (name, page) in &pages {
        for link in page.split("href=\"").skip(1).filter_map(|t| t.split('"').next()) {
            let there = match link.strip_prefix('#') {
                Some(anchor) => page.contains(&format!("id=\"{anchor}\"")),
                None => link == "data:," || pages.contains_key(link),
            };
            assert!(there, "{name} links to {link}");
        }
    }
}

#[test]
fn undecided_is_said_plainly() {
    let pages = rendered(View::Fleet, &fixture::fleet());
    let page = &pages["vehicle-lh-03.html"];
    assert!(page.contains("Undecided: the steering-angle module (44 %)"));
    assert!(page.contains("What separates the leaders"));
    assert!(page.contains("Tests in a row") && page.contains("decided after it: 81 %"));
    assert!(pages["report.html"].contains("without data is not quiet"));
}

#[test]
fn a_session_with_one_vehicle_opens_with_its_answer() {
    let pages = rendered(View::Session, &[fixture::decided("LH-07")]);
    assert!(pages["report.html"].contains("Most likely the steering-angle module"));
    assert!(!pages["report.html"].contains("All vehicles"));
}

#[test]
fn pages_without_findings_still_tell_what_was_read() {
    let heading = fixture::heading(View::Fleet);
    let pages = telling(&[], &Tally::default(), |told| pages::pages(&heading, told));
    let pages = pages.expect("pages");
    assert_eq!(pages.len(), 2);
    let page = String::from_utf8(pages[0].bytes().expect("made")).expect("text");
    assert!(page.contains("No vehicle was found in the inputs."));
    assert!(page.contains("Nothing was rejected."));
}

#[test]
fn a_finding_with_suspects_and_nothing_else_has_a_page() {
    let mut finding = fixture::decided("bare");
    finding.exposures.clear();
    finding.incidents.clear();
    finding.conditions.clear();
    finding.next_tests.clear();
    assert_eq!(rendered(View::Fleet, &[finding]).len(), 3);
}

#[test]
fn page_names_are_safe_and_unique() {
    let vehicles = ["../../etc/passwd", "LH-01", "lh-01", "", "a/b", "a\\b", "\u{202e}x", "NUL"];
    let names = page_names(vehicles.into_iter());
    let mut seen = std::collections::BTreeSet::new();
    for name in names.values() {
        assert!(name.starts_with("vehicle-") && name.ends_with(".html") && name.len() < 90);
        assert!(name.bytes().all(|b| b.is_ascii_lowercase()
            || b.is_ascii_digit()
            || matches!(b, b'-' | b'_' | b'.')));
        assert!(!name.contains(".."), "{name}");
        assert!(seen.insert(name.clone()), "{name} twice");
    }
    assert_eq!(names["LH-01"], "vehicle-lh-01.html");
    assert_eq!(names.len(), vehicles.len());
}

// A page for each of thousands of vehicles is read by nobody: the first in the overview have one.
#[test]
fn a_large_fleet_has_so_many_pages_and_no_more() {
    let named = |at: usize| VehicleFinding {
        vehicle: format!("v{at:03}"),
        ..fixture::empty("", crate::vocabulary::Verdict::Undecided)
    };
    let findings: Vec<VehicleFinding> = (0..503).map(named).collect();
    let pages = rendered(View::Fleet, &findings);
    assert_eq!(pages.keys().filter(|name| name.starts_with("vehicle-")).count(), 500);
    let overview = &pages["report.html"];
    assert!(overview.contains("The first 500 of 503 vehicles; culprits.csv has all."));
    assert_eq!(overview.matches("data-label=\"Verdict\"").count(), 500, "each with its page");
    assert!(overview.len() < 1_500_000, "{} bytes", overview.len());
    assert!(!overview.contains("href=\"\"") && !pages.contains_key("vehicle-v500.html"));
}
