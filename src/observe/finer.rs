//! Gathers the finer facts of one bus: clocks here, and of each start what disturbed and who fell silent.

use std::sync::Arc;

use super::channel::Channel;
use super::clock_groups;
use super::disturbances::Sign;
use super::finer_rows::{
    ClockGroupRow, ClockStepRow, ErrorDetailRow, FinerFacts, LockBasis, LockRow, PassiveRow,
};
use super::locks::{self, Members};
use super::period::Period;
use super::returns;
use super::rows::LogFacts;
use super::starts::Span;
use crate::protocol::error_details;
use crate::vocabulary::{Identifier, Instant, Place, seconds};

/// What belongs to the whole log: steps of its clock, and identifiers by clock.
pub(super) fn of_log(
    channel: &Channel,
    periods: &[Option<Period>],
    (bus, file): (&str, &Arc<str>),
    hands: usize,
    facts: &mut FinerFacts,
) {
    let repair = channel.steps.repair();
    facts.clock_steps.extend(channel.steps.found.iter().map(|step| ClockStepRow {
        bus: bus.to_owned(),
        at: repair.time(Instant(step.at.0)),
        step_s: seconds(step.by.saturating_sub(step.back)),
        agreed: step.agreed,
        place: Place::line(file, step.line),
    }));
    facts.clock_groups.extend(clock_groups::find(channel, periods, hands).into_iter().map(|m| {
        ClockGroupRow {
            bus: bus.to_owned(),
            id: m.id,
            group: m.group,
            skew: m.skew,
            confidence: m.confidence,
        }
    }));
}

/// What belongs to one disturbance: its error frames in detail, and whose schedule it keeps. `nodes` are the names
/// and cyclic identifiers of all nodes.
pub(super) fn of_disturbance(
    channel: &Channel,
    nodes: &[(&str, Members<'_>)],
    (bus, start): (&str, Instant),
    sign: &Sign,
    facts: &mut FinerFacts,
) {
    let runs = channel.error_runs.iter().filter(|r| r.begin <= sign.end && r.end >= sign.begin);
    let mut details: std::collections::BTreeMap<u64, u64> = std::collections::BTreeMap::new();
    for (bits, frames) in runs.flat_map(|r| &r.details) {
        *details.entry(*bits).or_default() += frames;
    }
    for (bits, frames) in &details {
        let detail = error_details::detail(*bits);
        facts.errors.push(ErrorDetailRow {
            bus: bus.to_owned(),
            start,
            begin: sign.begin,
            class: detail.class,
            spot: detail.spot.map(str::to_owned),
            frames: *frames,
            wires: detail.wires,
        });
    }
    let members: Vec<Members<'_>> = nodes.iter().map(|(_, m)| m.clone()).collect();
    let (basis, found) = if details.is_empty() {
        (LockBasis::MissingFrames, locks::test_missing(&members, sign.begin, sign.end))
    } else {
        (LockBasis::ErrorFrames, locks::test(&channel.moments, &members, sign.begin, sign.end))
    };
    for ((node, _), lock) in nodes.iter().zip(found) {
        let Some(lock) = lock else { continue };
        facts.locks.push(LockRow {
            bus: bus.to_owned(),
            start,
            begin: sign.begin,
            node: (*node).to_owned(),
            basis,
            moments: lock.moments,
            hits: lock.hits,
            expected: lock.expected,
            p: lock.p,
        });
    }
}

/// What follows from the silences of one bus, once all are known: how nodes came back, who fell silent first.
pub(super) fn of_silences(
    channel: &Channel,
    bus: &str,
    node: impl Fn(Identifier) -> String,
    facts: &mut LogFacts,
) {
    let own: Vec<_> = facts.silences.iter().filter(|s| s.bus == bus).cloned().collect();
    let claims = returns::claims(channel, node);
    let presences = &facts.presences;
    let period = |node: &str| {
        let rows = presences.iter().filter(|r| r.bus == bus && r.node == node);
        rows.filter_map(|r| r.fastest_period_s).min_by(f64::total_cmp)
    };
    let kinds = returns::kinds(&own, &claims, period);
    facts.finer.returns.extend(kinds);
    facts.finer.orders.extend(returns::orders(&own));
}

/// Which nodes said in a start that they were error passive.
pub(super) fn passives(
    channel: &Channel,
    (bus, span): (&str, &Span),
    node: impl Fn(Identifier) -> String,
    file: &Arc<str>,
    facts: &mut FinerFacts,
) {
    let mut rows: Vec<PassiveRow> = Vec::new();
    for (id, (frames, first, last, line)) in &channel.passives {
        if !span.holds(*first) {
            continue;
        }
        let name = node(*id);
        let place = Place::line(file, *line);
        match rows.iter_mut().find(|r| r.node == name) {
            Some(row) => {
                row.frames += frames;
                row.last = row.last.max(*last);
                if *first < row.first {
                    (row.first, row.place) = (*first, place);
                }
            }
            None => rows.push(PassiveRow {
                bus: bus.to_owned(),
                start: span.begin,
                node: name,
                frames: *frames,
                first: *first,
                last: *last,
                place,
            }),
        }
    }
    rows.sort_by(|a, b| a.node.cmp(&b.node));
    facts.passives.extend(rows);
}
