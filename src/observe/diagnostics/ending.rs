//! What the log has shown when it ends, as rows with names and places.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::Diagnostics;
use super::broadcasts::What;
use super::held::Holder;
use super::outcomes::{Outcome, Run};
use crate::observe::senders::Senders;
use crate::observe::{
    AnswerReading, BusEventKind, BusEventRow, LogFacts, LoggedAnswerRow, LoggedCodeRow,
};
use crate::vocabulary::{Identifier, Instant, Place};

/// What rows are named by.
#[derive(Debug, Clone, Copy)]
pub(in crate::observe) struct Named<'a> {
    pub senders: &'a Senders,
    pub bus: &'a str,
    pub file: &'a Arc<str>,
}

/// Adds the rows of one bus; its starts are in `facts` already. Returns rows that stand only if the
/// node's cyclic frames were gone too: it was never seen to answer, but the standard says it should.
pub(in crate::observe) fn rows(
    diagnostics: &Diagnostics,
    named: &Named<'_>,
    sends: &dyn Fn(Identifier) -> bool,
    facts: &mut LogFacts,
) -> Vec<LoggedAnswerRow> {
    let starts: Vec<Instant> =
        facts.starts.iter().filter(|s| s.bus == named.bus).map(|s| s.begin).collect();
    let ending = Ending { diagnostics, named, sends, starts };
    for held in &diagnostics.held.held {
        let reporter = match held.holder {
            Holder::Answers(id) => named.senders.answering(named.bus, id),
            Holder::Address(address) => named.senders.at_address(named.bus, address),
        };
        facts.logged_codes.push(LoggedCodeRow {
            bus: named.bus.to_owned(),
            start: ending.start(held.first),
            reporter,
            by: held.by.word(),
            code: held.code,
            status: held.status,
            occurrences: held.occurrences,
            first: held.first,
            last: held.last,
            times: held.times,
            dated: held.dated,
            place: Place::line(named.file, held.line),
        });
    }
    ending.events(facts);
    let (sure, unsure) = ending.answers();
    facts.logged_answers.extend(sure);
    unsure
}

struct Ending<'a> {
    diagnostics: &'a Diagnostics,
    named: &'a Named<'a>,
    /// Whether the log has frames of an identifier.
    sends: &'a dyn Fn(Identifier) -> bool,
    starts: Vec<Instant>,
}

impl Ending<'_> {
    /// The start that a moment lies in.
    fn start(&self, time: Instant) -> Instant {
        let before = self.starts.iter().filter(|s| **s <= time).max();
        before.or(self.starts.first()).copied().unwrap_or(time)
    }

    fn events(&self, facts: &mut LogFacts) {
        let named = self.named;
        let mut add = |time, node, kind, line| {
            facts.bus_events.push(BusEventRow {
                bus: named.bus.to_owned(),
                start: self.start(time),
                time,
                node,
                kind,
                place: Place::line(named.file, line),
            });
        };
        for cleared in &self.diagnostics.exchanges.cleared {
            let node = named.senders.answering(named.bus, cleared.by);
            add(cleared.time, node, BusEventKind::CodesCleared, cleared.line);
        }
        for claimed in &self.diagnostics.broadcasts.claims {
            let kind = match claimed.what {
                What::Up => BusEventKind::Restarted,
                What::Conflict => BusEventKind::AddressConflict,
                What::CannotClaim => BusEventKind::CannotClaim,
            };
            let node = named.senders.at_address(named.bus, claimed.address);
            add(claimed.time, node, kind, claimed.line);
        }
    }

    /// The node that a request to one node means; `None` when nothing shows that there is one.
    fn asked(&self, request: Identifier) -> Option<String> {
        let senders = self.named.senders;
        if let Some(node) = senders.described_diagnostic(request) {
            return Some(node.to_owned());
        }
        let answer = self.diagnostics.exchanges.pairs.answer_of(request)?;
        let described = senders.described_diagnostic(answer).is_some();
        let answers = self.diagnostics.exchanges.answering.contains(&answer);
        (described || answers || (self.sends)(answer))
            .then(|| senders.answering(self.named.bus, answer))
    }

    fn row(&self, run: &Run, node: String, reading: AnswerReading) -> LoggedAnswerRow {
        LoggedAnswerRow {
            bus: self.named.bus.to_owned(),
            start: self.start(run.first),
            node,
            reading,
            first: run.first,
            last: run.last,
            times: run.times,
            place: Place::line(self.named.file, run.line),
        }
    }

    /// Rows that stand, and rows that stand only with more.
    fn answers(&self) -> (Vec<LoggedAnswerRow>, Vec<LoggedAnswerRow>) {
        let exchanges = &self.diagnostics.exchanges;
        let senders = self.named.senders;
        // Who ever answered a question to everybody will be missed when it does not.
        let mut expected: BTreeMap<(Identifier, u8), u64> = BTreeMap::new();
        for run in exchanges.outcomes.runs.iter().filter(|r| r.functional) {
            *expected.entry((run.request, run.service)).or_default() |= run.who;
        }
        let (mut sure, mut unsure) = (Vec::new(), Vec::new());
        for run in &exchanges.outcomes.runs {
            let reading = match run.outcome {
                Outcome::Answered => AnswerReading::Answered,
                Outcome::Late => AnswerReading::Late,
                Outcome::Mute => AnswerReading::NotAnswered,
                Outcome::LostAfterPending => AnswerReading::LostAfterPending,
                Outcome::LostInAnswer => AnswerReading::LostInAnswer,
                Outcome::BehindGateway => AnswerReading::BehindGateway,
            };
            if !run.functional {
                sure.extend(self.asked(run.request).map(|node| self.row(run, node, reading)));
                continue;
            }
            let due = expected.get(&(run.request, run.service)).copied().unwrap_or(0);
            let mut told = BTreeSet::new();
            for (place, id) in exchanges.answering.iter().enumerate() {
                let reading = match (run.who >> place & 1, due >> place & 1) {
                    (1, _) => AnswerReading::Answered,
                    (_, 1) => AnswerReading::NotAnswered,
                    _ => continue,
                };
                let node = senders.answering(self.named.bus, *id);
                if told.insert(node.clone()) {
                    sure.push(self.row(run, node, reading));
                }
            }
            for node in senders.legislated() {
                if told.insert(node.clone()) {
                    unsure.push(self.row(run, node.clone(), AnswerReading::OffTheWire));
                }
            }
        }
        (joined(sure), unsure)
    }
}

/// Rows of one node in order of time; neighbours with the same reading are one.
fn joined(mut rows: Vec<LoggedAnswerRow>) -> Vec<LoggedAnswerRow> {
    rows.sort_by(|a, b| {
        (&a.node, a.first, a.last, a.reading).cmp(&(&b.node, b.first, b.last, b.reading))
    });
    let mut out: Vec<LoggedAnswerRow> = Vec::with_capacity(rows.len());
    for row in rows {
        match out.last_mut() {
            Some(last)
                if (&last.node, last.start, last.reading)
                    == (&row.node, row.start, row.reading) =>
            {
                last.last = last.last.max(row.last);
                last.times = last.times.saturating_add(row.times);
            }
            _ => out.push(row),
        }
    }
    out.sort_by(|a, b| (a.first, &a.place, &a.node).cmp(&(b.first, &b.place, &b.node)));
    out
}
