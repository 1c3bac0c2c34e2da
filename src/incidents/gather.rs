//! The stage's one way through: facts of one vehicle in, starts and incidents out.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::absences;
use super::attach;
use super::freshness::{self, Freshness};
use super::habits;
use super::incident::Incident;
use super::mute_bus;
use super::overlaps;
use super::placing::{self, By, Home};
use super::start::Start;
use super::starts;
use super::taken_off::TakenOff;
use super::trouble;
use super::unnamed;
use crate::observe::{AnswerRow, BusEventKind, CodeKind, CodeRow, LogFacts, UNNAMED};
use crate::read::{ScanReport, ServiceNote};
use crate::vocabulary::{Network, Place};

/// Events of one log that are told by name.
const MOST_EVENTS: usize = 20;
/// Steps of a log's clock that are told one by one.
const MOST_STEPS: usize = 20;

/// One vehicle's facts.
#[derive(Debug, Clone, Copy)]
pub struct VehicleFacts<'a> {
    /// Its network description, if it has one.
    pub network: Option<&'a Network>,
    /// Facts of its logs, with the logs' names, in order of name.
    pub logs: &'a [(Arc<str>, LogFacts)],
    /// Its scan reports, by time and place.
    pub reports: &'a [ScanReport],
    /// What their codes say, by report.
    pub codes: &'a [CodeRow],
    /// Who replied, by report.
    pub answers: &'a [AnswerRow],
    /// What was done to it, by time.
    pub notes: &'a [ServiceNote],
}

/// What a vehicle's facts amount to.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    /// Its starts, by time.
    pub starts: Vec<Start>,
    /// Its incidents, by time.
    pub incidents: Vec<Incident>,
    /// Codes and reports that could not be placed, in words.
    pub unplaced: Vec<(String, Place)>,
    /// Unnamed senders with their identifiers.
    pub unnamed: Vec<(String, Vec<String>)>,
    /// What a person should know: refusals, blind spots, clocks.
    pub remarks: Vec<String>,
    /// Nodes that the vehicle has, as far as anything shows.
    pub fitted: Vec<String>,
}

/// Brings logs and reports of one vehicle together.
#[must_use]
pub fn gather(facts: &VehicleFacts<'_>) -> Gathered {
    let mut logs = facts.logs.to_vec();
    let overlaps = overlaps::once(&mut logs);
    for (place, silence) in absences::find(facts.logs) {
        logs[place].1.silences.push(silence);
    }
    let (names, unnamed) = unnamed::group(&logs, facts.network.is_some());
    let fitted = fitted(facts, &names);
    if facts.network.is_some() {
        // What is no node of a described vehicle cannot fall silent: a flood that ended, a tester.
        for (_, log) in &mut logs {
            log.silences.retain(|s| fitted.contains(names.get(&s.node).unwrap_or(&s.node)));
        }
    }
    let mut out =
        Gathered { starts: starts::of_logs(&logs), unnamed, fitted, ..Gathered::default() };
    remarks(&logs, &mut out);
    out.remarks.extend(overlaps);
    let off = TakenOff::of(facts.notes, facts.network, facts.logs, &names);
    off.excuse_silences(&mut logs, &names, &mut out.remarks);
    habits::excuse(&mut logs, &names, &mut out.remarks);
    let trouble = trouble::find(&logs, &names);
    // Judged before any code is left out: a code set by a disconnection is old news afterwards.
    let fresh = freshness::judge(facts.codes, facts.answers);
    let (codes, fresh, answers) =
        off.testimony(facts.codes, &fresh, facts.answers, facts.reports, &mut out.remarks);
    let facts = &VehicleFacts { codes: &codes, answers: &answers, ..*facts };
    place_reports(facts, &trouble, &fresh, &mut out);
    let trouble = if mute_bus::restore(&mut logs, &names, (facts.codes, &fresh), &mut out) {
        trouble::find(&logs, &names)
    } else {
        trouble
    };
    out.incidents = attach::incidents(facts, &logs, &names, &trouble, &fresh, &out);
    lone_answers(facts, &mut out);
    for start in &mut out.starts {
        let own = out.incidents.iter().filter(|i| i.start == start.begin).count();
        start.incidents = u32::try_from(own).unwrap_or(u32::MAX);
    }
    out
}

/// Missing answers that are part of no incident are still told.
fn lone_answers(facts: &VehicleFacts<'_>, out: &mut Gathered) {
    for answer in facts.answers.iter().filter(|a| !a.answered && out.fitted.contains(&a.node)) {
        let told = |i: &Incident| i.unanswered.iter().any(|(_, place)| *place == answer.place);
        if !out.incidents.iter().any(told) {
            let what = format!("{} did not answer once, with nothing beside it", answer.node);
            out.unplaced.push((what, answer.place.clone()));
        }
    }
}

/// Nodes that anything shows to be there: they sent, answered, or held a code. A described node that
/// never did any of it, though it was asked, is not fitted.
fn fitted(facts: &VehicleFacts<'_>, names: &BTreeMap<String, String>) -> Vec<String> {
    let mut there: BTreeSet<String> = BTreeSet::new();
    // Starts in which nothing disturbed the bus: what is there then belongs there.
    let mut calm = 0;
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for (_, log) in facts.logs {
        for start in &log.starts {
            if log.disturbances.iter().any(|d| d.start == start.begin && d.bus == start.bus) {
                continue;
            }
            calm += 1;
            let own = log.presences.iter().filter(|r| r.start == start.begin && r.bus == start.bus);
            for row in own.filter(|r| r.fastest_period_s.is_some()) {
                *seen.entry(&row.node).or_default() += 1;
            }
        }
    }
    // Who answers a tester in a log under a name that only its identifier gives is, where nodes are described, one of
    // these under another name: it must not stand beside them as a node of which nothing else is ever seen.
    let named = |node: &str| {
        facts.network.is_none_or(|n| n.nodes.iter().any(|described| described.name == node))
    };
    for row in facts.logs.iter().flat_map(|(_, log)| &log.presences) {
        // Where nodes are described, a stranger on the bus is somebody's doing, not a node, unless it
        // is there with a beat in most starts: then the description lacks it.
        let stranger = !named(&row.node);
        let steady = row.node.starts_with(UNNAMED)
            && seen.get(row.node.as_str()).is_some_and(|n| 2 * n > calm);
        if !stranger || steady {
            there.insert(names.get(&row.node).unwrap_or(&row.node).clone());
        }
    }
    let in_log = |place: &Place| facts.logs.iter().any(|(name, _)| *name == place.file);
    let own = |node: &str, place: &Place| named(node) || !in_log(place);
    let answers = facts.answers.iter().filter(|a| a.answered && own(&a.node, &a.place));
    there.extend(answers.map(|a| a.node.clone()));
    let reporters = facts.codes.iter().filter(|c| own(&c.reporter, &c.place));
    there.extend(reporters.map(|c| c.reporter.clone()));
    // Accused by others and not described as absent: somebody once heard it.
    there.extend(facts.codes.iter().filter_map(|c| c.accused.clone()));
    let asked: BTreeSet<&str> = facts.answers.iter().map(|a| a.node.as_str()).collect();
    for node in facts.network.map(|n| n.nodes.as_slice()).unwrap_or_default() {
        if !asked.contains(node.name.as_str()) && facts.logs.is_empty() {
            there.insert(node.name.clone());
        }
    }
    there.into_iter().collect()
}

fn remarks(logs: &[(Arc<str>, LogFacts)], out: &mut Gathered) {
    for (name, facts) in logs {
        events(name, facts, out);
        for start in facts.starts.iter().filter(|s| !s.judged) {
            out.remarks.push(format!("{name} ({}): silence not judged: {}", start.bus, start.why));
        }
        for step in facts.finer.clock_steps.iter().filter(|s| s.agreed.0 > 0).take(MOST_STEPS) {
            out.remarks.push(format!(
                "{} ({}): the log's clock steps by {:.4} s here; {} of {} identifiers show it; taken out",
                step.place, step.bus, step.step_s, step.agreed.0, step.agreed.1
            ));
        }
        if !facts.blind_spots.is_empty() {
            let seconds: f64 = facts.blind_spots.iter().map(|b| b.end.seconds_since(b.begin)).sum();
            out.remarks.push(format!(
                "{name}: {} blind spot(s) of the logger, {seconds:.1} s in all; nothing is concluded from them",
                facts.blind_spots.len()
            ));
        }
    }
}

/// What protocols tell beside codes and answers, each kind of each node once.
fn events(name: &str, facts: &LogFacts, out: &mut Gathered) {
    let mut told: BTreeMap<(&str, BusEventKind), (usize, &Place)> = BTreeMap::new();
    for event in &facts.bus_events {
        told.entry((&event.node, event.kind)).or_insert((0, &event.place)).0 += 1;
    }
    for ((node, kind), (times, place)) in told.into_iter().take(MOST_EVENTS) {
        let times = if times > 1 { format!(", {times} times in {name}") } else { String::new() };
        out.remarks.push(format!("{place}: {}{times}", kind.words(node)));
    }
}

fn place_reports(
    facts: &VehicleFacts<'_>,
    trouble: &[trouble::Trouble],
    fresh: &[Freshness],
    out: &mut Gathered,
) {
    let mut earliest = None;
    let logged = out.starts.clone();
    for (number, report) in (0u32..).zip(facts.reports) {
        let own: Vec<(&CodeRow, Freshness)> = facts
            .codes
            .iter()
            .zip(fresh)
            .filter(|(c, _)| c.report == number)
            .map(|(c, f)| (c, *f))
            .collect();
        match placing::place(report, &own, &logged, trouble, earliest) {
            Home::Start { place, by } => {
                let begin = logged[place].begin;
                if by == By::Codes {
                    let hours = report.taken_at.seconds_since(begin) / 3600.0;
                    out.remarks.push(format!(
                        "{}: taken {hours:.1} h after the start of {begin}; put there because its codes fit",
                        report.place
                    ));
                }
                if let Some(start) = out.starts.iter_mut().find(|s| s.begin == begin) {
                    start.reports.push(number);
                }
                earliest = Some(begin);
            }
            Home::Own => own_start(report, number, out),
            Home::Unplaced => out.unplaced.push((
                "fresh codes without a time, and no start that they fit".to_owned(),
                report.place.clone(),
            )),
        }
        let repeated =
            own.iter().filter(|(c, f)| *f == Freshness::Repeated && c.kind != CodeKind::Other);
        let count = repeated.count();
        if count > 0 {
            out.unplaced.push((
                format!("{count} code(s) with nothing new since an earlier report"),
                report.place.clone(),
            ));
        }
    }
    out.starts.sort_by(|a, b| (a.begin, &a.place).cmp(&(b.begin, &b.place)));
}

fn own_start(report: &ScanReport, number: u32, out: &mut Gathered) {
    let begin = report.taken_at.plus_seconds(-report.since_start_s.unwrap_or(0.0));
    if let Some(same) =
        out.starts.iter_mut().find(|s| !s.logged && begin.seconds_since(s.begin).abs() < 60.0)
    {
        same.reports.push(number);
        same.end = same.end.max(report.taken_at);
        return;
    }
    out.starts.push(Start {
        begin,
        end: report.taken_at,
        logged: false,
        woke: report.since_start_s.is_some(),
        judged: true,
        reports: vec![number],
        incidents: 0,
        place: report.place.clone(),
    });
}
