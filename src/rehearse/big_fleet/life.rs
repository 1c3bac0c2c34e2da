//! Two years of one vehicle of a large fleet: its modules, failures, swaps, starts and reports.

use chrono::{DateTime, Datelike, NaiveDate, Utc};

use crate::rehearse::chance::Chance;
use crate::rehearse::scenario::NetworkPlan;
use crate::vocabulary::Instant;

/// Seconds of a day and a month.
const DAY_S: f64 = 86_400.0;
const MONTH_S: f64 = 2_629_800.0;
/// The first second of the two years: 2024-01-01T00:00:00Z, and how long they last.
const BEGIN: Instant = Instant(1_704_067_200_000_000_000);
const DAYS: f64 = 731.0;
/// Failures of an ordinary module a month.
const RATE: f64 = 0.000_15;
/// How many times as often modules of the bad batch fail.
pub(super) const BAD_RATIO: f64 = 3.0;
/// Days between two visits with a tester.
const VISIT_DAYS: f64 = 91.0;
/// Starts with a logger on, in two years.
const LOGGED: u32 = 4;
/// Places where vehicles are kept.
const SITES: u32 = 20;

/// What all vehicles share.
pub(super) struct Plan<'a> {
    pub seed: u64,
    pub networks: &'a [NetworkPlan],
    pub bad_node: &'static str,
    pub bad_batch: &'static str,
}

/// A fitted module.
pub(super) struct Part {
    pub node: String,
    pub part_number: String,
    pub hardware: String,
    pub software: String,
    pub batch: String,
    pub built: Instant,
    pub installed: Instant,
    pub removed: Option<Instant>,
}

/// What one node said in a report: whether it answered, and the code it holds, with its status.
pub(super) struct Said {
    pub node: String,
    pub answered: bool,
    pub code: Option<(String, &'static str)>,
}

/// A report.
pub(super) struct Report {
    pub taken: Instant,
    pub since_start_s: f64,
    pub ambient_c: f64,
    pub said: Vec<Said>,
}

/// A start with a logger on, and the silence of a node in it.
pub(super) struct Logged {
    pub begin: Instant,
    pub end: Instant,
    pub silent: Option<(String, Instant, Instant)>,
}

/// One vehicle's two years.
pub(super) struct Lived {
    pub name: String,
    pub network: String,
    pub model: String,
    pub site: String,
    pub in_service: Instant,
    pub odometer_km: f64,
    pub nodes: Vec<(String, f64)>,
    pub parts: Vec<Part>,
    pub reports: Vec<Report>,
    pub starts: Vec<Logged>,
    /// Failed modules, modules of the bad batch, those of it that failed.
    pub counts: [u64; 3],
}

/// A fault: whose, from when, until when.
struct Fault {
    place: usize,
    from: Instant,
    until: Instant,
}

pub(super) fn live(plan: &Plan<'_>, number: u32) -> Lived {
    let name = format!("F{number:06}");
    let mut chance = Chance::of(plan.seed, &["big fleet", &name]);
    let network = &plan.networks[chance.index(plan.networks.len())];
    // In service from two years before the first day until 60 days before the last.
    let in_service = BEGIN.plus_seconds(DAY_S * chance.within([-730.0, DAYS - 60.0]).floor());
    let end = BEGIN.plus_seconds(DAY_S * DAYS);
    let mut lived = Lived {
        network: network.name.clone(),
        model: network.model.clone(),
        site: format!("site-{:02}", 1 + chance.whole(0, SITES - 1)),
        in_service,
        odometer_km: f64::from(chance.whole(5_000, 200_000)),
        nodes: network
            .node
            .iter()
            .map(|node| {
                let period = node.sends.iter().filter_map(|s| s.period_ms).fold(1000.0, f64::min);
                (node.name.clone(), period / 1000.0)
            })
            .collect(),
        parts: Vec::new(),
        reports: Vec::new(),
        starts: Vec::new(),
        counts: [0; 3],
        name,
    };
    let mut faults = Vec::new();
    for (place, node) in network.node.iter().enumerate() {
        let mut fitted = part(&node.name, in_service, &mut chance);
        let bad = node.name == plan.bad_node && fitted.batch == plan.bad_batch;
        let rate = if bad { RATE * BAD_RATIO } else { RATE };
        let from = in_service.plus_seconds(MONTH_S * chance.wait(1.0 / rate));
        lived.counts[1] += u64::from(bad);
        // What failed before the first record was mended before it, too: nobody told the tables.
        if from < end && from >= BEGIN {
            lived.counts[0] += 1;
            lived.counts[2] += u64::from(bad);
            let swapped = from.plus_seconds(DAY_S * chance.within([20.0, 110.0]));
            let until = if swapped < end && chance.happens(0.7) { swapped } else { end };
            if until < end {
                fitted.removed = Some(until);
            }
            faults.push(Fault { place, from, until });
        }
        let swapped = fitted.removed;
        lived.parts.push(fitted);
        if let Some(time) = swapped {
            lived.parts.push(part(&node.name, time, &mut chance));
        }
    }
    reports(network, &faults, &mut lived, end, &mut chance);
    starts(network, &faults, &mut lived, end, &mut chance);
    lived
}

fn date(time: Instant) -> NaiveDate {
    DateTime::<Utc>::from_timestamp_nanos(time.0).date_naive()
}

fn part(node: &str, installed: Instant, chance: &mut Chance) -> Part {
    let built = installed.plus_seconds(-DAY_S * chance.within([30.0, 90.0]).floor());
    let day = date(built);
    let letters: String = node.chars().filter(char::is_ascii_alphabetic).take(2).collect();
    Part {
        node: node.to_owned(),
        part_number: format!("{}-{}", node.to_uppercase(), ["A", "B", "C"][chance.index(3)]),
        hardware: format!("H{:02}", chance.whole(3, 5)),
        software: format!("S{}.{}", 1 + (day.year() - 2021).max(0) / 2, chance.whole(0, 2)),
        batch: format!("{}{}M{:02}", letters.to_uppercase(), day.format("%y"), day.month()),
        built,
        installed,
        removed: None,
    }
}

/// Visits every three months, and three more while a fault lasts.
fn reports(
    network: &NetworkPlan,
    faults: &[Fault],
    lived: &mut Lived,
    end: Instant,
    chance: &mut Chance,
) {
    let mut times = Vec::new();
    let mut time =
        lived.in_service.max(BEGIN).plus_seconds(DAY_S * chance.within([1.0, VISIT_DAYS]));
    while time < end {
        times.push(time);
        time = time.plus_seconds(DAY_S * chance.within([0.8 * VISIT_DAYS, 1.2 * VISIT_DAYS]));
    }
    for fault in faults {
        let mut time = fault.from;
        for _ in 0..3 {
            time = time.plus_seconds(DAY_S * chance.within([2.0, 9.0]));
            if time < fault.until {
                times.push(time);
            }
        }
    }
    times.sort_unstable();
    times.dedup();
    for taken in times {
        let mut said: Vec<Said> = network
            .node
            .iter()
            .map(|node| Said { node: node.name.clone(), answered: true, code: None })
            .collect();
        for fault in faults.iter().filter(|f| f.from <= taken && taken < f.until) {
            let Some(code) = network.node[fault.place].lost_codes.first() else { continue };
            for _ in 0..3 {
                let place = chance.index(said.len());
                if place != fault.place {
                    said[place].code = Some((code.clone(), "confirmed"));
                }
            }
            said[fault.place].answered = chance.happens(0.6);
        }
        if chance.happens(0.01) {
            let (by, of) = (chance.index(said.len()), chance.index(said.len()));
            if by != of && said[by].code.is_none() {
                said[by].code = network.node[of].lost_codes.first().map(|c| (c.clone(), "stored"));
            }
        }
        lived.reports.push(Report {
            taken,
            since_start_s: chance.within([60.0, 1_200.0]).floor(),
            ambient_c: (chance.normal() * 8.0 + 9.0).round(),
            said,
        });
    }
}

fn starts(
    network: &NetworkPlan,
    faults: &[Fault],
    lived: &mut Lived,
    end: Instant,
    chance: &mut Chance,
) {
    let from = lived.in_service.max(BEGIN);
    let span = end.seconds_since(from);
    let mut begins: Vec<Instant> =
        (0..LOGGED).map(|_| from.plus_seconds(span * chance.unit())).collect();
    // A logger goes in when a fault is told of.
    for fault in faults {
        let span = fault.until.seconds_since(fault.from);
        begins.extend((0..LOGGED).map(|_| fault.from.plus_seconds(span * chance.unit())));
    }
    begins.sort_unstable();
    begins.dedup_by(|a, b| a.seconds_since(*b).abs() < 3_600.0);
    for begin in begins {
        let end = begin.plus_seconds(chance.within([60.0, 180.0]));
        let active = faults.iter().find(|f| f.from <= begin && begin < f.until);
        let silent = active.filter(|_| chance.happens(0.6)).map(|fault| {
            let due = begin.plus_seconds(chance.within([5.0, 30.0]));
            let back = due.plus_seconds(chance.within([2.0, 12.0]));
            (network.node[fault.place].name.clone(), due, back)
        });
        lived.starts.push(Logged { begin, end, silent });
    }
}
