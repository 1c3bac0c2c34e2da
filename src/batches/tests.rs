//! Invented modules with known faults. Test builds only.

use std::collections::BTreeSet;

use chrono_tz::Tz::UTC;

use super::{BatchView, Fleet, Group, Seen, SeenIncident, Swap, view};
use crate::numerics::lcg::Lcg;
use crate::read::{ModuleRow, ServiceAction, ServiceNote, VehicleRow};
use crate::vocabulary::{Instant, Place, Suspect};

/// 2024-01-01T00:00:00Z.
const BEGIN: Instant = Instant(1_704_067_200_000_000_000);
const MONTH_S: f64 = 2_629_800.0;

fn month(months: f64) -> Instant {
    BEGIN.plus_seconds(months * MONTH_S)
}

fn nowhere() -> Place {
    Place::whole(&"modules.csv".into())
}

fn module(vehicle: &str, node: &str, batch: &str, installed: f64) -> ModuleRow {
    ModuleRow {
        vehicle: vehicle.to_owned(),
        node: node.to_owned(),
        part_number: None,
        hardware: None,
        software: None,
        batch: Some(batch.to_owned()),
        built_on: Some(month(installed - 1.0)),
        installed_on: Some(month(installed)),
        removed_on: None,
        removal_reason: None,
        place: nowhere(),
    }
}

fn incident(at: f64, node: &str) -> SeenIncident {
    SeenIncident { begin: month(at), nodes: BTreeSet::from([node.to_owned()]), bus: false }
}

/// Watched for the two years from the beginning on.
fn seen(vehicle: &str, nodes: &[(&str, f64)], incidents: Vec<SeenIncident>) -> Seen {
    Seen {
        vehicle: vehicle.to_owned(),
        from: Some(month(0.0)),
        to: Some(month(24.0)),
        nodes: nodes.iter().map(|(node, p)| ((*node).to_owned(), *p)).collect(),
        incidents,
    }
}

/// The units of one vehicle: from, to, failed, failure's age.
fn units(seen: &Seen, rows: &[ModuleRow], notes: &[ServiceNote]) -> (Vec<[f64; 4]>, Fleet) {
    let mut fleet = Fleet::new(UTC);
    let rows: Vec<&ModuleRow> = rows.iter().collect();
    let notes: Vec<&ServiceNote> = notes.iter().collect();
    fleet.add(seen, None, &rows, &notes);
    let found = fleet.units.iter().map(|u| [u.from, u.to, u.failed, u.failed_at]).collect();
    (found, fleet)
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() < 1e-9, "{got} is not {want}");
}

#[test]
fn watched_months_begin_late_and_end_early() {
    // Fitted a year before the first record; taken out after eight months of it.
    let mut early = module("A", "pump", "B1", -12.0);
    early.removed_on = Some(month(8.0));
    early.removal_reason = Some("upgrade".to_owned());
    // Its successor fails at age 4, by 0.8.
    let late = module("A", "pump", "B2", 8.0);
    let of = seen("A", &[("pump", 0.8)], vec![incident(12.0, "pump")]);
    let (found, fleet) = units(&of, &[early, late], &[]);
    let [[from, to, failed, _], [own_from, own_to, own_failed, at]] = found.as_slice() else {
        panic!("{found:?}")
    };
    close(*from, 12.0);
    close(*to, 20.0);
    close(*failed, 0.0);
    close(*own_from, 0.0);
    close(*own_to, 16.0);
    close(*own_failed, 0.8);
    close(*at, 4.0);
    // By probability: 0.8 of it ends at 4 months, 0.2 goes on to 16.
    let months: f64 = fleet.units.iter().map(|u| super::groups::of_unit(u).all_months()).sum();
    close(months, 8.0 + 0.8 * 4.0 + 0.2 * 16.0);
}

#[test]
fn a_vehicle_without_records_is_not_watched() {
    let silent = Seen { vehicle: "A".to_owned(), ..Seen::default() };
    let (found, fleet) = units(&silent, &[module("A", "pump", "B1", 0.0)], &[]);
    assert!(found.is_empty());
    assert_eq!(fleet.unwatched, 1);
}

#[test]
fn a_swap_that_cured_nothing_charges_no_part() {
    let mut old = module("A", "pump", "B1", 0.0);
    old.removed_on = Some(month(10.0));
    old.removal_reason = Some("network-fault".to_owned());
    let rows = [old, module("A", "pump", "B2", 10.0)];
    let again = seen("A", &[("pump", 0.7)], vec![incident(9.0, "pump"), incident(11.0, "pump")]);
    let (found, fleet) = units(&again, &rows, &[]);
    assert!(found.iter().all(|unit| unit[2] <= 0.0), "{found:?}");
    assert_eq!(fleet.diagnoses[0].became, Swap::CameBack);
    assert_eq!(fleet.diagnoses[0].batch.as_deref(), Some("B1"));
    // Quiet ever since: the old part is charged.
    let held = seen("A", &[("pump", 0.7)], vec![incident(9.0, "pump")]);
    let (found, fleet) = units(&held, &rows, &[]);
    close(found[0][2], 0.7);
    close(found[1][2], 0.0);
    assert_eq!(fleet.diagnoses[0].became, Swap::Held);
    // Incidents of another module after the swap do not speak against it.
    let other = seen("A", &[("pump", 0.7)], vec![incident(9.0, "pump"), incident(15.0, "brake")]);
    assert_eq!(units(&other, &rows, &[]).1.diagnoses[0].became, Swap::Held);
}

#[test]
fn a_swap_without_a_record_counts_by_the_share_that_held() {
    let mut old = module("A", "pump", "B1", 0.0);
    old.removed_on = Some(month(10.0));
    old.removal_reason = Some("network-fault".to_owned());
    let (_, mut fleet) = units(&seen("A", &[], vec![]), &[old.clone()], &[]);
    assert_eq!(fleet.diagnoses[0].became, Swap::NotKnown);
    close(fleet.settle(), 0.5);
    close(fleet.units[0].failed, 0.5);
    close(fleet.units[0].failed_at, 10.0);
    // A removal for another reason is no failure.
    old.removal_reason = Some("accident".to_owned());
    let (found, fleet) = units(&seen("A", &[], vec![]), &[old], &[]);
    assert!(found[0][2] <= 0.0 && fleet.diagnoses.is_empty());
}

#[test]
fn a_note_cuts_where_the_table_is_silent() {
    let note = ServiceNote {
        time: month(10.0),
        vehicle: "A".to_owned(),
        action: ServiceAction::Replace,
        target: Some(Suspect::Node("pump".to_owned())),
        outcome: None,
        note: String::new(),
        place: nowhere(),
    };
    let of = seen("A", &[("pump", 0.9)], vec![incident(6.0, "pump")]);
    let (found, fleet) = units(&of, &[module("A", "pump", "B1", 0.0)], &[note]);
    assert_eq!(found.len(), 2);
    close(found[0][1], 10.0);
    close(found[0][2], 0.9);
    close(found[1][0], 0.0);
    assert_eq!(fleet.units[1].values[3], 0, "the new part's batch is not known");
    assert_eq!(fleet.diagnoses[0].became, Swap::Held);
}

#[test]
fn a_removal_before_its_fitting_is_left_out() {
    let mut wrong = module("A", "pump", "B1", 10.0);
    wrong.removed_on = Some(month(2.0));
    let (found, fleet) = units(&seen("A", &[], vec![]), &[wrong], &[]);
    assert!(found.is_empty());
    assert_eq!(fleet.impossible, 1);
}

/// Nodes of an invented vehicle.
const NODES: [&str; 4] = ["pump", "brake", "door", "lamp"];
/// Batches of a node of an invented fleet, of fifty vehicles each.
const BATCHES: usize = 12;
const PER_BATCH: usize = 50;
/// Failures a month: 50 modules of a batch watched for two years, 6.7 failures.
const RATE: f64 = 0.006;

/// A fleet whose modules fail at one rate; `bad` plants a batch of pumps with twenty failures, three
/// times as many as the others let expect.
fn invented(seed: u64, bad: bool) -> BatchView {
    let mut lcg = Lcg(seed);
    let mut fleet = Fleet::new(UTC);
    let vehicles = BATCHES * PER_BATCH;
    for number in 0..vehicles {
        let name = format!("V{number:04}");
        let sites = ["north", "south", "east", "west"];
        let vehicle = VehicleRow {
            vehicle: name.clone(),
            network: None,
            model: None,
            site: Some(sites[pick(&mut lcg, 4)].to_owned()),
            in_service: None,
            odometer_km: None,
            place: nowhere(),
        };
        // Fitted over three years, batch after batch; watched for the last two.
        let installed = -12.0 + 24.0 * number as f64 / vehicles as f64 + lcg.uniform();
        let (mut rows, mut nodes, mut incidents) = (Vec::new(), Vec::new(), Vec::new());
        for node in NODES {
            let batch = number / PER_BATCH;
            let mut row = module(&name, node, &format!("B{batch:02}"), installed);
            row.part_number = Some(format!("P{}", pick(&mut lcg, 3)));
            row.software = Some(format!("S{}", pick(&mut lcg, 5)));
            rows.push(row);
            let planted = bad && node == "pump" && batch == 4;
            let entry = installed.max(0.0);
            // Twenty of the fifty, spread over the batch.
            let at = if planted {
                let fails = (number % PER_BATCH) * 20 % PER_BATCH < 20;
                if fails { entry + lcg.uniform() * (24.0 - entry) } else { 99.0 }
            } else {
                entry - (1.0 - lcg.uniform()).ln() / RATE
            };
            if at < 24.0 {
                nodes.push((node.to_owned(), 0.88 + 0.12 * lcg.uniform()));
                incidents.push(incident(at, node));
            }
        }
        incidents.sort_by_key(|i| i.begin);
        let seen = Seen {
            vehicle: name.clone(),
            from: Some(month(0.0)),
            to: Some(month(24.0)),
            nodes,
            incidents,
        };
        let rows: Vec<&ModuleRow> = rows.iter().collect();
        fleet.add(&seen, Some(&vehicle), &rows, &[]);
    }
    view(fleet)
}

fn pick(lcg: &mut Lcg, of: usize) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below `of`")]
    let place = (lcg.uniform() * of as f64) as usize;
    place.min(of - 1)
}

fn planted(view: &BatchView) -> Option<&Group> {
    view.leading().find(|g| g.node == "pump" && g.by.to_string() == "batch" && g.value == "B04")
}

#[test]
fn a_planted_batch_is_found_and_hardly_anything_else() {
    let mut strangers = 0;
    for seed in 1..=5 {
        let view = invented(seed, true);
        let found = planted(&view);
        let found = found.unwrap_or_else(|| {
            let own = |g: &&Group| g.node == "pump" && g.value == "B04";
            panic!("seed {seed}: {:#?}", view.groups.iter().find(own))
        });
        assert!((17.5..=20.0).contains(&found.failures), "{found:?}");
        assert!((2.0..=5.5).contains(&found.ratio), "{found:?}");
        assert!(found.ratio_low > 1.2 && found.shrunk_ratio < found.ratio, "{found:?}");
        strangers += view.leading().filter(|g| g.value != "B04").count();
        let life = view.lives.iter().find(|life| life.value == "B04").expect("its lives");
        assert!(life.log_rank.as_ref().is_some_and(|test| test.p_value < 0.01), "{life:?}");
        let weibull = life.own.weibull.expect("twenty failures");
        assert!(weibull.shape_low.is_some_and(|low| low < 3.0));
        let ahead: Vec<_> = view.ahead.iter().filter(|u| u.value == "B04").collect();
        assert!(ahead.iter().all(|u| u.batch.as_deref() == Some("B04")));
        assert_eq!(ahead.len(), 50, "all are still fitted");
        // Failing ones first; the others by what is to come.
        let failing = ahead.iter().filter(|u| u.failing()).count();
        assert!(failing == 20 && ahead[..failing].iter().all(|u| u.failing()));
        let later: Vec<f64> = ahead[failing..].iter().map(|u| u.to_come).collect();
        assert!(later.windows(2).all(|pair| pair[0] >= pair[1]) && later[0] > 0.05);
    }
    assert!(strangers <= 1, "{strangers} other groups lead in five fleets");
}

#[test]
fn the_same_fleet_gives_the_same_view() {
    assert_eq!(invented(3, true), invented(3, true));
}

/// Four hundred vehicles with one pump each, failing at one rate: the second half were fitted half a year before
/// the end. They call in every three months; `known` puts the end of their records there, as it is, and not
/// at the fleet's last day. Gives failures and expected ones of the newer batch.
fn told_late(seed: u64, known: bool) -> (f64, f64) {
    let mut lcg = Lcg(seed);
    let mut fleet = Fleet::new(UTC);
    for number in 0..400 {
        let name = format!("V{number:04}");
        let (batch, installed) = if number < 200 { ("OLD", 0.0) } else { ("NEW", 18.0) };
        let last = 24.0 - 3.0 * lcg.uniform();
        let fails = installed - (1.0 - lcg.uniform()).ln() / 0.02;
        let told = fails < last;
        let mut of = seen(
            &name,
            if told { &[("pump", 1.0)] } else { &[] },
            if told { vec![incident(fails, "pump")] } else { vec![] },
        );
        of.to = Some(month(if known { last } else { 24.0 }));
        fleet.add(&of, None, &[&module(&name, "pump", batch, installed)], &[]);
    }
    let view = view(fleet);
    if known {
        // Three months less a tenth of the vehicles, which is 11.7 weeks: the newest eleven are not all told.
        let said = view.remarks.iter().find(|r| r.starts_with("recent weeks undercount"));
        let weeks = said.and_then(|r| r.split_whitespace().find_map(|word| word.parse().ok()));
        assert!(weeks.is_some_and(|weeks: u64| (10..=12).contains(&weeks)), "{said:?}");
    }
    let new = view.groups.iter().find(|g| g.by.to_string() == "batch" && g.value == "NEW");
    new.map_or((0.0, 0.0), |g| (g.failures, g.expected))
}

#[test]
fn reports_that_come_late_do_not_flatter_the_newest_batch() {
    let ratio = |known: bool| {
        let all: Vec<(f64, f64)> = (1..=40).map(|seed| told_late(seed, known)).collect();
        let failures: f64 = all.iter().map(|one| one.0).sum();
        assert!(failures > 500.0, "{failures}");
        failures / all.iter().map(|one| one.1).sum::<f64>()
    };
    // Both batches fail at one rate. About 700 failures: the error of the ratio is 4 %.
    let (corrected, plain) = (ratio(true), ratio(false));
    assert!((corrected - 1.0).abs() < 0.12, "{corrected}");
    assert!(plain < 0.9, "without the ends of records the newest batch looks good: {plain}");
}

#[test]
fn weeks_that_are_told_are_not_said_to_be_missing() {
    let mut fleet = Fleet::new(UTC);
    for number in 0..20 {
        let name = format!("V{number}");
        fleet.add(&seen(&name, &[], vec![]), None, &[&module(&name, "pump", "B1", 0.0)], &[]);
    }
    assert_eq!(fleet.incomplete_weeks(), 0);
    // One that was sold a year ago is not waited for; two in five that are five weeks late are.
    let mut gone = seen("gone", &[], vec![]);
    gone.to = Some(month(12.0));
    fleet.add(&gone, None, &[], &[]);
    assert_eq!(fleet.incomplete_weeks(), 0);
    for number in 0..13 {
        let mut late = seen(&format!("late{number}"), &[], vec![]);
        late.to = Some(month(24.0).plus_seconds(-5.0 * 7.0 * 86_400.0 + 60.0));
        fleet.add(&late, None, &[], &[]);
    }
    assert_eq!(fleet.incomplete_weeks(), 4);
}

mod slow {
    //! Many fleets: what the flags are worth.

    use rayon::prelude::*;

    use super::{invented, planted};

    // The share of fleets without a bad batch in which anything is flagged, and of fleets with one in which
    // it is found: rate ratio 3, twenty failures.
    #[test]
    #[ignore = "slow: cargo test slow:: -- --ignored"]
    fn false_flags_and_found_batches() {
        let false_flags: Vec<u64> = (1..=200u64)
            .into_par_iter()
            .filter(|seed| invented(*seed, false).leading().next().is_some())
            .collect();
        assert!(
            false_flags.len() <= 10,
            "{} of 200 sound fleets flagged: {false_flags:?}",
            false_flags.len()
        );
        let missed: Vec<u64> = (1001..=1200u64)
            .into_par_iter()
            .filter(|seed| planted(&invented(*seed, true)).is_none())
            .collect();
        assert!(missed.len() <= 4, "{} of 200 planted batches missed: {missed:?}", missed.len());
    }
}
