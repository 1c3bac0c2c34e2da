//! What comes first, what several vehicles share, and what was seen.

use super::{daily, network, node, place, vehicle, whole};
use crate::read::{Account, ModuleRow};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Suspect;
use crate::weeks::{Change, Need, Severities};

#[test]
fn safety_first_then_urgency() {
    let often = daily(|d| d % 2 == 0);
    let week = whole(
        &[
            vehicle("a-radio-surer", node("radio"), 0.99, &often),
            vehicle("b-radio", node("radio"), 0.8, &often),
            vehicle("c-front", Suspect::Branch("front".to_owned()), 0.8, &often),
            vehicle("d-quiet", node("radio"), 0.9, &daily(|_| false)),
            vehicle("e-new-radio", node("radio"), 0.8, &daily(|d| d >= 24)),
        ],
        &[],
        &[],
    );
    let order: Vec<&str> = week.vehicles.iter().map(|v| v.vehicle.as_str()).collect();
    // Of two radios the new one is more urgent than the surer one.
    assert_eq!(order, ["c-front", "e-new-radio", "a-radio-surer", "b-radio", "d-quiet"]);
    let first = &week.vehicles[0];
    assert!(first.safety && first.urgency.is_some_and(|u| u > 1.0));
    // Probability times severity times trend, and nothing else.
    for v in week.vehicles.iter().filter(|v| v.leader.is_some()) {
        let product = v.probability.zip(v.mean_severity).map(|(p, s)| p * s);
        let urgency = product.map(|p| p * v.changed.trend.unwrap_or(1.0));
        assert!((urgency.unwrap_or(-1.0) - v.urgency.unwrap_or(-2.0)).abs() < 1e-12);
        assert!(!v.booking.what.is_empty() && v.booking.minutes.is_some());
    }
    assert_eq!(week.vehicles[4].urgency, None);
    assert_eq!((week.needing(Need::Bay), week.changed(Change::New)), (4, 1));
}

fn module(vehicle: &str, batch: &str) -> ModuleRow {
    ModuleRow {
        vehicle: vehicle.to_owned(),
        node: "radio".to_owned(),
        part_number: Some("P1".to_owned()),
        hardware: None,
        software: None,
        batch: Some(batch.to_owned()),
        built_on: None,
        installed_on: None,
        removed_on: None,
        removal_reason: None,
        place: place(),
    }
}

/// Thirty vehicles; those for which `at_fault` holds have a radio at fault.
fn thirty(at_fault: impl Fn(usize) -> bool, suspect: &Suspect) -> Vec<VehicleFinding> {
    let one = |n: usize| {
        let starts = daily(|d| at_fault(n) && d % 2 == 0);
        vehicle(&format!("v{n:02}"), suspect.clone(), 0.95, &starts)
    };
    (0..30).map(one).collect()
}

#[test]
fn a_shared_batch_is_said_once() {
    let findings = thirty(|n| n < 5, &node("radio"));
    let modules: Vec<ModuleRow> =
        (0..30).map(|n| module(&format!("v{n:02}"), if n < 6 { "B7" } else { "B8" })).collect();
    let names: Vec<String> = (0..30).map(|n| format!("v{n:02}")).collect();
    let sites: Vec<(&str, &str)> = names
        .iter()
        .map(|v| (v.as_str(), if v.ends_with('3') { "quay" } else { "yard" }))
        .collect();
    let week = whole(&findings, &modules, &sites);
    let told: Vec<(&str, &str, bool)> =
        week.common.iter().map(|c| (c.by, c.value.as_str(), c.shown)).collect();
    assert_eq!(told, [("batch", "B7", true)]);
    let batch = &week.common[0];
    assert_eq!((batch.with, batch.without), ((5, 6), (0, 24)));
    // (5 of 6 and 0 of 24): one-sided mid-P of Fisher's test, by hand: C(6,5) / C(30,5) / 2.
    let by_hand = 6.0 / 142_506.0 / 2.0;
    assert!(batch.p_value.is_some_and(|p| (p - by_hand).abs() < 1e-12), "{batch:?}");
    assert!(batch.p_adjusted > batch.p_value);
}

#[test]
fn the_same_software_is_said_once() {
    let findings = thirty(|n| n % 5 == 0, &node("radio"));
    // Batches and places lie across it.
    let modules: Vec<ModuleRow> = (0..30)
        .map(|n| ModuleRow {
            software: Some(if n % 5 == 0 || n == 7 { "S2.1" } else { "S2.0" }.to_owned()),
            ..module(&format!("v{n:02}"), if n % 2 == 0 { "B7" } else { "B8" })
        })
        .collect();
    let week = whole(&findings, &modules, &[]);
    let [one] = week.common.as_slice() else { panic!("{:#?}", week.common) };
    assert_eq!((one.by, one.value.as_str(), one.shown), ("software", "S2.1", true));
    assert_eq!((one.suspect.as_ref(), one.vehicles.len()), (Some(&node("radio")), 6));
    assert_eq!((one.with, one.without), ((6, 7), (0, 23)));
    // By hand: C(7,6) / C(30,6) / 2.
    let by_hand = 7.0 / 593_775.0 / 2.0;
    assert!(one.p_value.is_some_and(|p| (p - by_hand).abs() < 1e-12), "{one:?}");
}

#[test]
fn different_faults_at_one_wash_down_place_are_said_once() {
    // Six of the seven vehicles at the quay: three radios, three climate controls. Elsewhere one radio.
    let one = |n: usize| {
        let suspect = node(if n.is_multiple_of(2) { "radio" } else { "climate" });
        let starts = daily(|d| (n < 6 || n == 20) && d % 2 == 0);
        vehicle(&format!("v{n:02}"), suspect, 0.95, &starts)
    };
    let findings: Vec<VehicleFinding> = (0..40).map(one).collect();
    let names: Vec<String> = (0..40).map(|n| format!("v{n:02}")).collect();
    let place = |n: usize| if n < 7 { "quay" } else { "yard" };
    let sites: Vec<(&str, &str)> =
        names.iter().enumerate().map(|(n, v)| (v.as_str(), place(n))).collect();
    let common = whole(&findings, &[], &sites).common;
    let [one] = common.as_slice() else { panic!("{common:#?}") };
    assert_eq!((one.by, one.value.as_str(), one.shown), ("site", "quay", true));
    // Any fault of the bus: neither kind of module says it as well.
    assert_eq!((one.suspect.as_ref(), one.with, one.without), (None, (6, 7), (1, 33)));
    // Nobody washed together, nothing shared: the same faults over eight places.
    let eight = ["a", "b", "c", "d", "e", "f", "g", "h"];
    let apart: Vec<(&str, &str)> =
        names.iter().enumerate().map(|(n, v)| (v.as_str(), eight[n % 8])).collect();
    assert!(whole(&findings, &[], &apart).common.iter().all(|c| !c.shown));
}

#[test]
fn faults_spread_evenly_share_nothing() {
    let findings = thirty(|n| n % 6 == 0, &node("radio"));
    let modules: Vec<ModuleRow> =
        (0..30).map(|n| module(&format!("v{n:02}"), if n % 4 < 2 { "B7" } else { "B8" })).collect();
    assert!(whole(&findings, &modules, &[]).common.iter().all(|c| !c.shown));
}

#[test]
fn the_same_branch_in_one_model_is_said_without_a_test() {
    let findings = thirty(|n| n < 2, &Suspect::Branch("rear".to_owned()));
    let common = whole(&findings, &[], &[]).common;
    assert_eq!(common.len(), 1);
    assert_eq!((common[0].vehicles.len(), common[0].p_value, common[0].shown), (2, None, false));
}

#[test]
fn what_was_seen() {
    // Daily starts, then one in the week: five and more are missing.
    let mut starts = daily(|_| false);
    starts.truncate(22);
    let other = vehicle("b", node("radio"), 0.9, &daily(|_| false));
    let week = whole(&[vehicle("a", node("radio"), 0.9, &starts), other], &[], &[]);
    let of = |name: &str| {
        week.vehicles.iter().find(|v| v.vehicle == name).map(|v| v.seen).expect("there")
    };
    let (a, b) = (of("a"), of("b"));
    assert_eq!((a.starts, a.usual, a.missing), (1, Some(7.0), Some(6)));
    assert_eq!((b.starts, b.missing), (7, Some(0)));
    assert_eq!(week.weeks.len(), 4);
    assert!(week.compared);
}

#[test]
fn an_unknown_usual_is_not_a_number() {
    let week =
        whole(&[vehicle("a", node("radio"), 0.9, &[(20.0, false), (27.0, false)])], &[], &[]);
    let seen = week.vehicles[0].seen;
    assert_eq!((seen.usual, seen.missing), (None, None));
}

#[test]
fn the_shipped_severities_are_sound() {
    let (table, account) = Severities::shipped();
    assert_eq!(account, Account::default());
    assert!(table.rows().len() >= 15);
    let of = |suspect: Suspect| table.of(&suspect, Some(&network()));
    let brake = of(node("brake"));
    assert!(brake.safety && brake.degree >= 9.0 && !brake.hands_off);
    assert!(of(node("airbag")).hands_off);
    assert_eq!(of(node("something")).class, None);
    // Wiring is as grave as the gravest module on it.
    assert!((of(Suspect::Branch("front".to_owned())).degree - brake.degree).abs() < 1e-12);
    assert!(!of(Suspect::Branch("rear".to_owned())).safety);
    assert!(of(Suspect::None).degree < of(node("radio")).degree);
    let safety_first: Vec<bool> = table.rows().iter().map(|row| row.safety).collect();
    assert!(safety_first.is_sorted_by(|a, b| a >= b));
}
