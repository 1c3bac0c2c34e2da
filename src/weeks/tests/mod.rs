//! Invented findings, and a week of them.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono_tz::Tz;

mod changes;
mod order;

use super::span::{Span, day};
use super::{Before, Earlier, FleetWeek, Papers, Severities, review, week_in_view};
use crate::conditions::Exposure;
use crate::conditions::invented::{self, incident};
use crate::incidents::Incident;
use crate::read::{ModuleRow, TestTable, VehicleRow};
use crate::suspects::{SuspectFinding, VehicleFinding};
use crate::vocabulary::{Instant, Network, Node, Place, Suspect, Verdict};

/// 2026-01-05T06:00:00Z, a Monday.
const MONDAY: Instant = Instant(1_767_592_800_000_000_000);
const DAY_S: f64 = 86_400.0;

fn at(days: f64) -> Instant {
    MONDAY.plus_seconds(days * DAY_S)
}

fn place() -> Place {
    Place::whole(&Arc::from("invented"))
}

fn exposure(vehicle: &str, days: f64, hit: bool) -> Exposure {
    Exposure { incidents: u32::from(hit), ..invented::exposure(vehicle, at(days)) }
}

/// A vehicle with starts on days, each with or without an incident; one suspect has `p`, `none` the rest.
fn vehicle(name: &str, suspect: Suspect, p: f64, starts: &[(f64, bool)]) -> VehicleFinding {
    let exposures: Vec<Exposure> = starts.iter().map(|(d, hit)| exposure(name, *d, *hit)).collect();
    let incidents: Vec<Incident> =
        exposures.iter().filter(|e| e.incidents > 0).map(|e| incident(e.start, 40.0)).collect();
    let ranked = |suspect: Suspect, probability: f64| SuspectFinding {
        suspect,
        probability,
        prior: 0.1,
        range: (probability, probability),
        mechanisms: Vec::new(),
        evidence: Vec::new(),
    };
    let quiet = incidents.is_empty();
    let mut suspects = vec![ranked(suspect.clone(), p), ranked(Suspect::None, 1.0 - p)];
    suspects.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    VehicleFinding {
        vehicle: name.to_owned(),
        network: Some("N".to_owned()),
        verdict: match (quiet, p >= 0.75) {
            (true, _) => Verdict::Quiet,
            (false, true) => Verdict::Suspect(suspect),
            (false, false) => Verdict::Undecided,
        },
        because: String::new(),
        suspects: if quiet { Vec::new() } else { suspects },
        explained: 0,
        other_causes: Vec::new(),
        hangs_on: Vec::new(),
        exposures,
        incidents,
        conditions: Vec::new(),
        next_tests: Vec::new(),
        sequence: Vec::new(),
        unnamed_senders: Vec::new(),
        unplaced: Vec::new(),
        remarks: Vec::new(),
    }
}

fn node(name: &str) -> Suspect {
    Suspect::Node(name.to_owned())
}

fn week() -> Span {
    Span::ending(day(at(27.0), Tz::UTC), Tz::UTC).expect("a week")
}

/// The finding without what happened from an instant on.
fn cut(finding: &VehicleFinding, begin: Instant) -> VehicleFinding {
    let mut was = finding.clone();
    was.exposures.retain(|e| e.start < begin);
    was.incidents.retain(|i| i.start < begin);
    if was.incidents.is_empty() {
        was.suspects.clear();
        was.verdict = Verdict::Quiet;
    }
    was
}

fn whole(findings: &[VehicleFinding], modules: &[ModuleRow], sites: &[(&str, &str)]) -> FleetWeek {
    let seen: Vec<(String, Instant)> = findings
        .iter()
        .filter_map(|f| Some((f.vehicle.clone(), f.exposures.iter().map(|e| e.start).max()?)))
        .collect();
    let in_view = week_in_view(&seen, None, Tz::UTC).expect("something was seen");
    let begin = in_view.span.begin;
    let earlier = |f: &VehicleFinding| (f.vehicle.clone(), Earlier::of(&cut(f, begin), None));
    let before: Before = findings.iter().map(earlier).collect();
    let network = network();
    let vehicles: Vec<VehicleRow> = sites
        .iter()
        .map(|(vehicle, site)| VehicleRow {
            vehicle: (*vehicle).to_owned(),
            network: None,
            model: None,
            site: Some((*site).to_owned()),
            in_service: None,
            odometer_km: None,
            place: place(),
        })
        .collect();
    let papers = Papers {
        network_of: &|_| Some(&network),
        vehicles: &vehicles,
        modules,
        tests: &TestTable::shipped(),
        severities: &Severities::new(Vec::new()),
        logs: &BTreeMap::new(),
        zone: Tz::UTC,
    };
    review(in_view, findings, &[], &before, &papers)
}

fn network() -> Network {
    let with = |name: &str, branch: &str| Node {
        name: name.to_owned(),
        branches: vec![branch.to_owned()],
        ..Node::default()
    };
    Network {
        name: "N".to_owned(),
        nodes: vec![with("brake", "front"), with("radio", "rear"), with("climate", "rear")],
        ..Network::default()
    }
}

fn daily(hit: impl Fn(usize) -> bool) -> Vec<(f64, bool)> {
    (0..28).map(|d| (d as f64, hit(d))).collect()
}
