//! The batch view on a page and in files, with hostile names. Test builds only.

use chrono_tz::Tz::UTC;
use serde_json::Value;

use super::defined::{baseless, undefined};
use super::disarmed::disarmed_below;
use super::fixture::{HOSTILE, decided, fleet, heading, place, quiet};
use crate::batches::{Asked, BatchView, batches};
use crate::read::{ModuleRow, Tally};
use crate::reports::{Formats, View, batch_lines, render_batches, write_whole};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;

/// A steering angle sensor in each vehicle, some of a hostile batch.
fn view(findings: &[VehicleFinding], hostile: impl Fn(u64) -> bool) -> BatchView {
    let modules: Vec<ModuleRow> = findings
        .iter()
        .zip(0u64..)
        .map(|(finding, number)| ModuleRow {
            vehicle: finding.vehicle.clone(),
            node: "steering-angle".to_owned(),
            part_number: Some("P1".to_owned()),
            hardware: None,
            software: Some(format!("S{}", number % 2)),
            batch: Some(if hostile(number) { HOSTILE.to_owned() } else { "B1".to_owned() }),
            built_on: Some(Instant(1_700_000_000_000_000_000)),
            installed_on: Some(Instant(1_710_000_000_000_000_000)),
            removed_on: None,
            removal_reason: None,
            place: place("modules.csv", number + 2),
        })
        .collect();
    batches(&Asked { vehicles: &[], modules: &modules, notes: &[], findings, zone: UTC })
}

/// Faults of either batch: nothing stands out.
fn even_view() -> BatchView {
    view(&fleet(), |number| number % 3 == 0)
}

/// Every sensor of the hostile batch is at fault, and no other.
fn flagged_view() -> BatchView {
    let faulty = (0..12).map(|number| decided(&format!("{HOSTILE}{number}")));
    let sound = (0..36).map(|number| quiet(&format!("LH-{number:02}")));
    let view = view(&faulty.chain(sound).collect::<Vec<_>>(), |number| number < 12);
    assert!(view.leading().any(|group| group.value == HOSTILE), "{:?}", view.groups);
    assert!(!view.lives.is_empty() && !view.ahead.is_empty(), "drawn and still fitted");
    view
}

#[test]
fn hostile_names_stay_text_in_every_file() {
    for view in [even_view(), flagged_view()] {
        stay_text(&view);
    }
}

fn stay_text(view: &BatchView) {
    assert!(view.groups.iter().any(|g| g.value == HOSTILE), "{:?}", view.groups);
    let folder = tempfile::tempdir().expect("folder");
    let outputs = render_batches(&heading(View::Batches), Formats::ALL, view, &Tally::default())
        .expect("rendered");
    let written = write_whole(folder.path(), &outputs).expect("written");
    let names: Vec<String> = written
        .iter()
        .filter_map(|p| Some(p.file_name()?.to_string_lossy().into_owned()))
        .collect();
    let wanted = [
        "report.html",
        "batches.json",
        "batches.csv",
        "batch_units.csv",
        "build_weeks.csv",
        "swaps.csv",
    ];
    assert_eq!(names, wanted);
    let page = std::fs::read_to_string(folder.path().join("report.html")).expect("a page");
    // The one script is ours: it sorts tables.
    assert_eq!(page.matches("<script").count(), 1);
    assert!(
        !page.contains("<script>alert") && !page.contains('\u{202e}') && !page.contains(" style=")
    );
    assert!(page.contains("class=\"answer"), "the answer comes first");
    assert_eq!(undefined(&page), [] as [String; 0], "words without a definition");
    assert_eq!(baseless(&page), [] as [String; 0], "pictures that rest on nothing");
    assert_eq!(page.matches("<svg").count(), page.matches("</svg>").count());
    assert_eq!(page.matches("<section").count(), page.matches("</section>").count());
    let json: Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("batches.json")).expect("a file"))
            .expect("JSON");
    assert_eq!(json["schema"], "buswitness/batches/1");
    let group = &json["groups"][0];
    for key in [
        "node",
        "by",
        "value",
        "units",
        "unit_months",
        "failures",
        "expected",
        "ratio",
        "ratio_low",
        "ratio_high",
        "shrunk_ratio",
        "shrunk_low",
        "shrunk_high",
        "p_value",
        "p_adjusted",
        "flagged",
    ] {
        assert!(group.get(key).is_some(), "the contract's `{key}` is missing: {group}");
    }
    assert!(disarmed_below(folder.path()) > 0, "the batch begins like a formula");
}

#[test]
fn the_terminal_says_the_answer_first() {
    for (view, answer) in [
        (even_view(), "No group of modules stands out: "),
        (flagged_view(), "Steering-angle modules of batch "),
    ] {
        let lines = batch_lines(&view, 80);
        assert!(lines.starts_with(answer), "{lines}");
        assert!(lines.lines().all(|line| line.chars().count() <= 80), "{lines}");
        assert!(!lines.contains('\u{1b}'), "no escape sequence of an input gets through");
    }
}
