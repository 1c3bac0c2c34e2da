//! What a log says of codes and answers, as scan reports: one a session of a tester, and two a start for
//! what nodes broadcast (held from the beginning, or come). Places are lines of the log, times are the log's own.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::observe::{AnswerReading, AnswerRow, LogFacts, LoggedAnswerRow, LoggedCodeRow};
use crate::read::{CodeReport, NodeReport, ScanReport};
use crate::vocabulary::{Code, Instant, Place};

/// A tester that rests longer than this has ended its session (seconds).
const SESSION_RESTS: f64 = 60.0;
/// The same code of a node again after so long is told again (seconds).
const AGAIN: f64 = 30.0;

/// The scan reports that a vehicle's logs hold, by time and place.
#[must_use]
pub fn logged_reports(vehicle: &str, logs: &[(Arc<str>, LogFacts)]) -> Vec<ScanReport> {
    let mut reports = Vec::new();
    for (_, facts) in logs {
        for session in sessions(facts) {
            reports.extend(session.report(vehicle));
        }
        reports.extend(broadcasts(vehicle, facts));
    }
    reports.sort_by(|a, b| (a.taken_at, &a.place).cmp(&(b.taken_at, &b.place)));
    reports
}

/// Gives answers that were read in logs their full reading.
pub fn mark_answers(answers: &mut [AnswerRow], logs: &[(Arc<str>, LogFacts)]) {
    let mut readings: BTreeMap<(&str, &Place), AnswerReading> = BTreeMap::new();
    for row in logs.iter().flat_map(|(_, facts)| &facts.logged_answers) {
        readings.insert((&row.node, &row.place), row.reading);
    }
    for answer in answers {
        if let Some(reading) = readings.get(&(answer.node.as_str(), &answer.place)) {
            answer.reading = *reading;
        }
    }
}

fn is_broadcast(row: &LoggedCodeRow) -> bool {
    row.by.starts_with("dm")
}

/// What a tester learned in a row, every node with one outcome.
#[derive(Debug)]
struct Session<'a> {
    begin: Instant,
    answers: Vec<&'a LoggedAnswerRow>,
    codes: Vec<&'a LoggedCodeRow>,
    end: Option<Instant>,
}

/// The sessions of one log. A node whose outcome changes begins a new one, which those who go on
/// answering belong to as well.
fn sessions(facts: &LogFacts) -> Vec<Session<'_>> {
    let mut all: Vec<Session<'_>> = Vec::new();
    for row in &facts.logged_answers {
        let Some(session) = all.last_mut() else {
            all.push(Session {
                begin: row.first,
                answers: vec![row],
                codes: Vec::new(),
                end: None,
            });
            continue;
        };
        let rested = session.last().is_none_or(|l| row.first.seconds_since(l) > SESSION_RESTS);
        let other = session
            .answers
            .iter()
            .any(|a| a.node == row.node && a.reading.answered() != row.reading.answered());
        if rested || other {
            session.end = other.then_some(row.first);
            let on = |a: &&&LoggedAnswerRow| !rested && a.last > row.first && a.node != row.node;
            let mut answers: Vec<_> = session.answers.iter().filter(on).copied().collect();
            answers.push(row);
            all.push(Session { begin: row.first, answers, codes: Vec::new(), end: None });
        } else {
            session.answers.push(row);
        }
    }
    for code in facts.logged_codes.iter().filter(|c| !is_broadcast(c)) {
        let home = all.iter_mut().rev().find(|s| s.begin <= code.first);
        match home {
            Some(session) => session.codes.push(code),
            None => {
                let begin = code.first;
                all.insert(0, Session { begin, answers: Vec::new(), codes: vec![code], end: None });
            }
        }
    }
    all
}

impl Session<'_> {
    fn last(&self) -> Option<Instant> {
        let answers = self.answers.iter().map(|a| a.last);
        answers.chain(self.codes.iter().map(|c| c.first)).max()
    }

    fn report(&self, vehicle: &str) -> Option<ScanReport> {
        let end = self.last()?;
        let taken_at = self.end.map_or(end, |e| e.min(end));
        let mut nodes: Vec<NodeReport> = Vec::new();
        for row in &self.answers {
            // Several rows of a node are of one kind here: the first stands for them.
            if !nodes.iter().any(|n| n.node == row.node) {
                nodes.push(NodeReport {
                    node: row.node.clone(),
                    answered: Some(row.reading.answered()),
                    codes: Vec::new(),
                    place: row.place.clone(),
                });
            }
        }
        add_codes(&mut nodes, &self.codes);
        report(vehicle, taken_at, nodes)
    }
}

/// What nodes broadcast: for every bus and start a report of what they held from the beginning, and one
/// of what the log shows to have come.
fn broadcasts(vehicle: &str, facts: &LogFacts) -> Vec<ScanReport> {
    let mut groups: BTreeMap<(&str, Instant, bool), Vec<&LoggedCodeRow>> = BTreeMap::new();
    for row in facts.logged_codes.iter().filter(|c| is_broadcast(c)) {
        groups.entry((&row.bus, row.start, row.dated)).or_default().push(row);
    }
    let made = groups.into_iter().filter_map(|((_, _, dated), rows)| {
        let mut nodes = Vec::new();
        add_codes(&mut nodes, &rows);
        let taken_at = rows.iter().map(|r| if dated { r.last } else { r.first }).max()?;
        report(vehicle, taken_at, nodes)
    });
    made.collect()
}

fn add_codes(nodes: &mut Vec<NodeReport>, rows: &[&LoggedCodeRow]) {
    let mut told: BTreeMap<(&str, Code), Instant> = BTreeMap::new();
    for row in rows {
        // The same code with another count or status is the same word.
        let before = told.insert((&row.reporter, row.code), row.last);
        if before.is_some_and(|last| row.first.seconds_since(last) < AGAIN) {
            continue;
        }
        let code = CodeReport {
            code: row.code,
            status: row.status,
            occurrences: row.occurrences,
            since_start_s: row.dated.then(|| row.first.seconds_since(row.start)),
            place: row.place.clone(),
        };
        match nodes.iter_mut().find(|n| n.node == row.reporter) {
            Some(node) => node.codes.push(code),
            None => nodes.push(NodeReport {
                node: row.reporter.clone(),
                answered: None,
                codes: vec![code],
                place: row.place.clone(),
            }),
        }
    }
}

fn report(vehicle: &str, taken_at: Instant, nodes: Vec<NodeReport>) -> Option<ScanReport> {
    let place = nodes.iter().map(|n| &n.place).min()?.clone();
    Some(ScanReport {
        vehicle: vehicle.to_owned(),
        taken_at,
        odometer_km: None,
        ambient_c: None,
        humidity_pct: None,
        battery_v: None,
        since_start_s: None,
        nodes,
        place,
    })
}
