//! Puts accusations and answers to the trouble they speak of; what only reports tell of becomes an
//! incident of its own.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::finer;
use super::freshness::Freshness;
use super::gather::{Gathered, VehicleFacts};
use super::incident::{Accusation, FinerSigns, Incident};
use super::placing::SET_AFTER;
use super::start::Start;
use super::trouble::Trouble;
use crate::observe::{AnswerReading, AnswerRow, CodeKind, CodeRow, LogFacts};

/// An incident and the word of it may come in either order within this (seconds).
const AT_ONCE: f64 = 1.0;

/// All incidents of one vehicle, by time.
pub(super) fn incidents(
    facts: &VehicleFacts<'_>,
    logs: &[(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
    trouble: &[Trouble],
    fresh: &[Freshness],
    out: &Gathered,
) -> Vec<Incident> {
    let fitted: BTreeSet<&str> = out.fitted.iter().map(String::as_str).collect();
    let mut found = Vec::new();
    for start in &out.starts {
        let mut own: Vec<Incident> = trouble
            .iter()
            .filter(|t| t.begin >= start.begin && t.begin <= start.end)
            .map(|t| of_trouble(t, start))
            .collect();
        for number in &start.reports {
            attach_report(facts, fresh, &fitted, *number, start, &mut own);
        }
        for incident in &mut own {
            finish(incident, start, facts, logs, names);
            let readings = std::mem::take(&mut incident.finer.readings);
            incident.finer = finer::of(incident, logs, names);
            incident.finer.readings.extend(readings);
        }
        found.append(&mut own);
    }
    count_repeats(facts, fresh, &mut found);
    found
}

/// Counts, for an incident that only old codes tell of, the later reports that merely repeat them.
fn count_repeats(facts: &VehicleFacts<'_>, fresh: &[Freshness], found: &mut [Incident]) {
    let [only] = found else { return };
    if !only.perhaps_old {
        return;
    }
    let mut reports: BTreeMap<u32, bool> = BTreeMap::new();
    for (code, freshness) in facts.codes.iter().zip(fresh) {
        if matches!(code.kind, CodeKind::NotHeard | CodeKind::BusDown) {
            *reports.entry(code.report).or_insert(true) &= *freshness == Freshness::Repeated;
        }
    }
    only.repeats = u32::try_from(reports.values().filter(|r| **r).count()).unwrap_or(u32::MAX);
}

fn empty(start: &Start) -> Incident {
    Incident {
        start: start.begin,
        begin: start.begin,
        end: start.begin,
        bus: None,
        since_start_s: None,
        silent: Vec::new(),
        alive: Vec::new(),
        logged: false,
        disturbances: Vec::new(),
        losses: Vec::new(),
        accusations: Vec::new(),
        bus_down: Vec::new(),
        own_supply: Vec::new(),
        answered: Vec::new(),
        unanswered: Vec::new(),
        supply_v: None,
        reporters: Vec::new(),
        reports: Vec::new(),
        perhaps_old: false,
        repeats: 0,
        finer: FinerSigns::default(),
    }
}

fn of_trouble(trouble: &Trouble, start: &Start) -> Incident {
    Incident {
        begin: trouble.begin,
        end: trouble.end,
        bus: Some(trouble.bus.clone()),
        since_start_s: Some(trouble.begin.seconds_since(start.begin)),
        silent: trouble.silent.clone(),
        disturbances: trouble.disturbances.clone(),
        losses: trouble.losses.iter().map(|(n, (e, m))| (n.clone(), *e, *m)).collect(),
        logged: true,
        ..empty(start)
    }
}

/// Puts a report to the incidents that it can speak of: all of its start, unless it was read in the log
/// itself, whose time is sure; then only those that had begun.
fn attach_report(
    facts: &VehicleFacts<'_>,
    fresh: &[Freshness],
    fitted: &BTreeSet<&str>,
    number: u32,
    start: &Start,
    own: &mut Vec<Incident>,
) {
    let report = &facts.reports[number as usize];
    let in_log = facts.logs.iter().any(|(name, _)| *name == report.place.file);
    let begun = own.partition_point(|i| i.begin.seconds_since(report.taken_at) <= AT_ONCE);
    let mut later = if in_log { own.split_off(begun) } else { Vec::new() };
    attach_to(facts, fresh, fitted, number, start, own);
    own.append(&mut later);
}

fn attach_to(
    facts: &VehicleFacts<'_>,
    fresh: &[Freshness],
    fitted: &BTreeSet<&str>,
    number: u32,
    start: &Start,
    own: &mut Vec<Incident>,
) {
    let codes: Vec<(&CodeRow, Freshness)> = facts
        .codes
        .iter()
        .zip(fresh)
        .filter(|(c, f)| c.report == number && **f != Freshness::Repeated)
        .map(|(c, f)| (c, *f))
        .collect();
    let answers: Vec<_> = facts.answers.iter().filter(|a| a.report == number).collect();
    let missing = answers.iter().any(|a| !a.answered && fitted.contains(a.node.as_str()));
    let telling: Vec<&(&CodeRow, Freshness)> = codes
        .iter()
        .filter(|(c, _)| matches!(c.kind, CodeKind::NotHeard | CodeKind::BusDown))
        .collect();
    if own.is_empty() {
        let missing = missing && !lone(facts, fitted, number);
        if telling.is_empty() && !missing {
            return;
        }
        own.push(told_only(&telling, start));
    }
    for (code, _) in &codes {
        let place = nearest(own, start, code.since_start_s);
        add_code(&mut own[place], code);
    }
    // Answers speak of the last incident before the scan, the only one that could still last.
    let Some(last) = own.last_mut() else { return };
    for answer in answers.iter().filter(|a| fitted.contains(a.node.as_str())) {
        let list = if answer.answered { &mut last.answered } else { &mut last.unanswered };
        list.push((answer.node.clone(), answer.place.clone()));
        if !matches!(answer.reading, AnswerReading::Answered | AnswerReading::NotAnswered) {
            last.finer.readings.push((answer.node.clone(), answer.reading, answer.place.clone()));
        }
    }
    let report = &facts.reports[number as usize];
    for incident in own.iter_mut() {
        incident.reports.push(report.place.clone());
        let replied = answers.iter().filter(|a| a.answered).map(|a| a.node.clone());
        incident.reporters.extend(replied);
        incident.reporters.extend(codes.iter().map(|(c, _)| c.reporter.clone()));
        incident.reporters.sort();
        incident.reporters.dedup();
        if let Some(volts) = report.battery_v {
            incident.supply_v = Some(incident.supply_v.map_or(volts, |v: f64| v.min(volts)));
        }
    }
}

/// Whether a report misses one answer only, of a node that never else stayed mute: with nothing beside
/// it, that is no incident.
fn lone(facts: &VehicleFacts<'_>, fitted: &BTreeSet<&str>, number: u32) -> bool {
    let mute = |a: &&AnswerRow| !a.answered && fitted.contains(a.node.as_str());
    let here: Vec<&AnswerRow> =
        facts.answers.iter().filter(mute).filter(|a| a.report == number).collect();
    let [only] = here.as_slice() else { return false };
    facts.answers.iter().filter(mute).filter(|a| a.node == only.node).count() == 1
}

/// An incident that only reports tell of.
fn told_only(telling: &[&(&CodeRow, Freshness)], start: &Start) -> Incident {
    let since = telling.iter().filter_map(|(c, _)| c.since_start_s).min_by(f64::total_cmp);
    let begin = start.begin.plus_seconds(since.unwrap_or(0.0));
    Incident {
        begin,
        end: begin,
        since_start_s: since,
        perhaps_old: !telling.is_empty()
            && telling.iter().all(|(_, f)| *f == Freshness::PerhapsOld),
        ..empty(start)
    }
}

/// The incident whose begin lies nearest before the time at which a code was set.
fn nearest(own: &[Incident], start: &Start, since: Option<f64>) -> usize {
    let Some(since) = since else { return own.len() - 1 };
    let off = |incident: &Incident| {
        let begin = incident.begin.seconds_since(start.begin);
        let end = incident.end.seconds_since(start.begin);
        if since < begin { (begin - since) * 3.0 } else { (since - end).max(0.0) }
    };
    let best = (0..own.len()).min_by(|a, b| off(&own[*a]).total_cmp(&off(&own[*b])));
    best.unwrap_or(0)
}

fn add_code(incident: &mut Incident, code: &CodeRow) {
    let who = (code.reporter.clone(), code.place.clone());
    match code.kind {
        CodeKind::BusDown => incident.bus_down.push(who),
        CodeKind::OwnSupply => incident.own_supply.push(who),
        CodeKind::NotHeard | CodeKind::HeardInvalid => {
            let Some(accused) = &code.accused else { return };
            incident.accusations.push(Accusation {
                reporter: code.reporter.clone(),
                accused: accused.clone(),
                heard: code.kind == CodeKind::HeardInvalid,
                code: code.code.to_string(),
                place: code.place.clone(),
            });
        }
        CodeKind::Other => {}
    }
}

/// Fills in who was alive, and the lowest voltage that the logs tell.
fn finish(
    incident: &mut Incident,
    start: &Start,
    facts: &VehicleFacts<'_>,
    logs: &[(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
) {
    incident.bus_down.dedup_by(|a, b| a.0 == b.0);
    incident.own_supply.dedup_by(|a, b| a.0 == b.0);
    let covered = incident.logged || covers(incident, start, facts, logs);
    if start.logged && covered {
        incident.logged = true;
        let silent: BTreeSet<&str> = incident.silent.iter().map(|s| s.node.as_str()).collect();
        let mut alive = BTreeSet::new();
        for (_, log) in logs {
            for row in &log.presences {
                let inside = row.start >= start.begin && row.start <= start.end;
                let name = names.get(&row.node).unwrap_or(&row.node);
                if inside && row.fastest_period_s.is_some() && !silent.contains(name.as_str()) {
                    alive.insert(name.clone());
                }
            }
            for signal in log.signals.iter().filter(|s| s.quantity == "supply_v") {
                if signal.time >= start.begin && signal.time <= start.end {
                    let lowest = incident.supply_v.map_or(signal.value, |v| v.min(signal.value));
                    incident.supply_v = Some(lowest);
                }
            }
        }
        incident.alive = alive.into_iter().collect();
    }
}

/// Whether a judged log covers the times at which the codes of a told-only incident were set.
fn covers(
    incident: &Incident,
    start: &Start,
    facts: &VehicleFacts<'_>,
    logs: &[(Arc<str>, LogFacts)],
) -> bool {
    let numbers = &start.reports;
    let dated: Vec<f64> = facts
        .codes
        .iter()
        .filter(|c| numbers.contains(&c.report) && matches!(c.kind, CodeKind::NotHeard))
        .filter_map(|c| c.since_start_s)
        .collect();
    let length = start.end.seconds_since(start.begin);
    let judged = logs
        .iter()
        .flat_map(|(_, l)| &l.starts)
        .any(|s| s.judged && s.begin <= incident.begin && s.end >= incident.begin);
    // What a code complains of may have lain in a hole of the log before it.
    let in_a_hole = |t: &f64| {
        let set = start.begin.plus_seconds(*t);
        let holes = logs.iter().flat_map(|(_, l)| &l.blind_spots);
        holes.into_iter().any(|b| b.begin <= set && set.seconds_since(b.end) <= SET_AFTER)
    };
    judged
        && !dated.is_empty()
        && dated.iter().all(|t| *t <= length)
        && !dated.iter().any(in_a_hole)
}
