//! What a missing answer means: read together with the node's cyclic frames, over all buses of the log.
//!
//! The table of FACTS 6.4. A request into a blind spot, or onto a bus on which nobody else is alive
//! either, says nothing of the node. A node that had not come up yet when it was asked is not mute.

use crate::observe::senders::Senders;
use crate::observe::{AnswerReading, BusEventKind, LogFacts, LoggedAnswerRow, PresenceRow};
use crate::vocabulary::Instant;

/// How long an answer is waited for (nanoseconds).
const ANSWER_DUE: i64 = 150_000_000;
/// Somebody else who answers within this shows that bus and tester work (nanoseconds).
const NEAR: i64 = 10_000_000_000;
/// A node must have been up so long before its claim tells of a restart (nanoseconds).
const UP: i64 = 3_000_000_000;
/// A claim so long after a silence ended still belongs to it (nanoseconds).
const CLAIMS_AFTER: i64 = 2_000_000_000;

/// Whether a node's cyclic frames came at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cyclic {
    Present,
    Absent,
    NotYet,
    Unknown,
}

/// Settles the readings of all rows; of `unsure` only those of nodes off the wire are kept.
pub(in crate::observe) fn settle(
    facts: &mut LogFacts,
    unsure: Vec<LoggedAnswerRow>,
    senders: &Senders,
) {
    restarts(facts);
    let mut rows = std::mem::take(&mut facts.logged_answers);
    let answered: Vec<LoggedAnswerRow> =
        rows.iter().filter(|r| r.reading.answered()).cloned().collect();
    rows.retain_mut(|row| {
        if row.reading.answered() {
            return true;
        }
        if row.reading == AnswerReading::NotAnswered {
            row.reading = match cyclic(facts, senders, &row.node, row.first) {
                Cyclic::Present => AnswerReading::AliveUnserved,
                Cyclic::Absent => AnswerReading::OffTheWire,
                Cyclic::NotYet => return false,
                Cyclic::Unknown => AnswerReading::NotAnswered,
            };
        }
        !blind(facts, row) && others_live(facts, row, &answered)
    });
    rows.extend(unsure.into_iter().filter(|row| {
        cyclic(facts, senders, &row.node, row.first) == Cyclic::Absent
            && !blind(facts, row)
            && others_live(facts, row, &answered)
    }));
    rows.sort_by(|a, b| {
        (a.first, &a.bus, &a.place, &a.node).cmp(&(b.first, &b.bus, &b.place, &b.node))
    });
    facts.logged_answers = rows;
}

/// A claim tells of a restart when the node had been there; a silence that it ends was one.
fn restarts(facts: &mut LogFacts) {
    let mut events = std::mem::take(&mut facts.bus_events);
    events.retain(|event| {
        if event.kind != BusEventKind::Restarted {
            return true;
        }
        let mut ended = facts.silences.iter_mut().filter(|s| {
            s.node == event.node
                && s.bus == event.bus
                && s.returned
                && s.last_heard < event.time
                && event.time.0.saturating_sub(s.end.0) <= CLAIMS_AFTER
        });
        if let Some(silence) = ended.next_back() {
            silence.restarted = Some(true);
            return true;
        }
        facts.presences.iter().any(|p| {
            p.node == event.node
                && p.bus == event.bus
                && p.start == event.start
                && event.time.0.saturating_sub(p.first.0) >= UP
        })
    });
    facts.bus_events = events;
}

fn silent(facts: &LogFacts, node: &str, time: Instant) -> bool {
    let until = time.0.saturating_add(ANSWER_DUE);
    facts.silences.iter().any(|s| s.node == node && s.due.0 <= until && s.end > time)
}

/// Presences with cyclic frames in starts that hold a moment.
fn present(facts: &LogFacts, time: Instant) -> impl Iterator<Item = &PresenceRow> {
    facts.presences.iter().filter(move |p| {
        p.fastest_period_s.is_some()
            && facts.starts.iter().any(|s| {
                s.judged && s.bus == p.bus && s.begin == p.start && s.begin <= time && time <= s.end
            })
    })
}

fn cyclic(facts: &LogFacts, senders: &Senders, node: &str, time: Instant) -> Cyclic {
    let mut found = Cyclic::Unknown;
    for p in present(facts, time).filter(|p| p.node == node) {
        let periods = (p.fastest_period_s.unwrap_or(0.0) * 5.0).max(0.5);
        if time < p.first {
            found = Cyclic::NotYet;
        } else if silent(facts, node, time) || time.seconds_since(p.last) > periods {
            return Cyclic::Absent;
        } else {
            return Cyclic::Present;
        }
    }
    // Described as cyclic on a bus of this log, and not once there while others are.
    let missing = || {
        senders.cyclic_buses(node).any(|bus| {
            let at = |p: &&PresenceRow| p.bus == bus && p.first <= time && time <= p.last;
            present(facts, time).filter(at).count() >= 2
        })
    };
    if found == Cyclic::Unknown && missing() { Cyclic::Absent } else { found }
}

fn blind(facts: &LogFacts, row: &LoggedAnswerRow) -> bool {
    let until = row.first.0.saturating_add(ANSWER_DUE);
    facts.blind_spots.iter().any(|b| b.bus == row.bus && b.begin.0 <= until && b.end >= row.first)
}

/// Whether somebody else is alive where the node was asked.
fn others_live(facts: &LogFacts, row: &LoggedAnswerRow, answered: &[LoggedAnswerRow]) -> bool {
    let near = answered.iter().any(|other| {
        other.node != row.node
            && other.first.0.saturating_sub(NEAR) <= row.last.0
            && row.first.0 <= other.last.0.saturating_add(NEAR)
    });
    near || present(facts, row.first).any(|p| {
        p.node != row.node
            && p.first <= row.first
            && row.first <= p.last
            && !silent(facts, &p.node, row.first)
    })
}
