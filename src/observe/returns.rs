//! How nodes came back from silence, and who fell silent before whom.
//!
//! A node that lost its power starts anew: counters from zero, a new beat, an address claim. One that was
//! only not heard goes on as if nothing had been. One that went bus-off comes back after a fixed wait, again
//! and again, so its silences have one length. What none of this tells gets no row. The order follows from
//! the periods: a node stopped somewhere between its last frame and the next that was due, so slow nodes
//! can hardly be ordered, and an order is told only from a probability of 0.95 on.

use super::channel::Channel;
use super::finer_rows::{OrderRow, ReturnKind, ReturnRow};
use super::rows::SilenceRow;
use crate::numerics::{centre, waiting};
use crate::protocol::j1939::{self, claim};
use crate::vocabulary::Instant;

/// Silences of one node from which a fixed length can be told.
const FEWEST: usize = 3;
/// Waits of software before a bus-off node tries again: 10 ms to 1.2 s (common practice, no source).
const SHORTEST_WAIT: f64 = 0.010;
const LONGEST_WAIT: f64 = 1.2;
/// An address claim this near (seconds) to the return belongs to it.
const CLAIMS: f64 = 1.5;
/// Silences that begin within this (seconds) of each other are ordered.
const ONE_FALL: f64 = 30.0;
/// An order is told from this probability on.
const SURE: f64 = 0.95;

/// A row for each silence that ended and whose return tells something. `named` gives the node of a source
/// address; `periods` the fastest period of a node, seconds.
pub(super) fn kinds(
    silences: &[SilenceRow],
    claims: &[(String, Instant)],
    period: impl Fn(&str) -> Option<f64>,
) -> Vec<ReturnRow> {
    let mut found = Vec::new();
    for silence in silences.iter().filter(|s| s.returned) {
        let claimed = claims.iter().any(|(node, time)| {
            *node == silence.node
                && *time > silence.last_heard
                && time.seconds_since(silence.end).abs() <= CLAIMS
        });
        let own: Vec<f64> = silences
            .iter()
            .filter(|s| s.node == silence.node && s.returned && s.restarted != Some(true))
            .map(|s| s.end.seconds_since(s.last_heard))
            .collect();
        let (kind, why) = if claimed {
            (ReturnKind::Restarted, "it claimed its address on return".to_owned())
        } else if silence.restarted == Some(true) {
            (ReturnKind::Restarted, "counters began again, or the beat is a new one".to_owned())
        } else if let Some(wait) = fixed(&own, period(&silence.node)) {
            let times = own.len();
            (ReturnKind::BusOff, format!("{times} silences of one length, {wait:.3} s"))
        } else if silence.restarted == Some(false) {
            (ReturnKind::InPhase, "beat and counters went on".to_owned())
        } else {
            continue;
        };
        found.push(ReturnRow {
            bus: silence.bus.clone(),
            start: silence.start,
            node: silence.node.clone(),
            due: silence.due,
            kind,
            why,
        });
    }
    found
}

/// The one length of all silences, if they have one: all within a period (the beat waits for the next turn)
/// and a twentieth of the middle one.
fn fixed(lengths: &[f64], period: Option<f64>) -> Option<f64> {
    let middle = centre::median(lengths).filter(|_| lengths.len() >= FEWEST)?;
    let slack = 0.6 * period? + 0.05 * middle;
    let near = lengths.iter().filter(|l| (*l - middle).abs() <= slack).count();
    let told = slack < 0.25 * middle && near * 10 >= lengths.len() * 9;
    (told && (SHORTEST_WAIT..=LONGEST_WAIT).contains(&middle)).then_some(middle)
}

/// Address claims of the log: node, time; at most the first 256 of each identifier.
pub(super) fn claims(
    channel: &Channel,
    node: impl Fn(crate::vocabulary::Identifier) -> String,
) -> Vec<(String, Instant)> {
    let mut found = Vec::new();
    for tracker in &channel.trackers {
        if j1939::header(tracker.id).is_some_and(|h| h.group == claim::CLAIM) {
            let name = node(tracker.id);
            found.extend(tracker.samples.iter().map(|s| (name.clone(), s.time)));
        }
    }
    found
}

/// The probability that the first of two fell silent before the second, where it is sure (above 0.95); each stopped
/// somewhere between its last frame and when the next was due, which is what is given of it.
#[must_use]
pub fn surely_before(first: (Instant, Instant), second: (Instant, Instant)) -> Option<f64> {
    // Seconds from the first one's last frame: absolute times would cost digits.
    let span = |(last, due): (Instant, Instant)| due.seconds_since(last).max(1e-6);
    let apart = second.0.seconds_since(first.0);
    waiting::stopped_before((0.0, span(first)), (apart, span(second))).filter(|p| *p > SURE)
}

/// Who fell silent before whom among silences of one start and bus that begin near each other.
pub(super) fn orders(silences: &[SilenceRow]) -> Vec<OrderRow> {
    let mut found = Vec::new();
    for a in silences {
        for b in silences.iter().filter(|b| b.node != a.node && b.start == a.start) {
            let apart = b.last_heard.seconds_since(a.last_heard);
            if !(-ONE_FALL..=ONE_FALL).contains(&apart) {
                continue;
            }
            if let Some(probability) = surely_before((a.last_heard, a.due), (b.last_heard, b.due)) {
                found.push(OrderRow {
                    bus: a.bus.clone(),
                    start: a.start,
                    begin: a.last_heard,
                    earlier: a.node.clone(),
                    later: b.node.clone(),
                    probability,
                });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::Place;

    fn silence(node: &str, from: f64, due: f64, end: f64, restarted: Option<bool>) -> SilenceRow {
        let at = |s: f64| Instant::default().plus_seconds(s);
        SilenceRow {
            bus: "b".into(),
            start: at(0.0),
            node: node.into(),
            last_heard: at(from),
            due: at(due),
            end: at(end),
            returned: true,
            restarted,
            identifiers: 1,
            place: Place::whole(&"log".into()),
        }
    }

    fn kind(rows: &[SilenceRow], claims: &[(String, Instant)]) -> Vec<ReturnKind> {
        kinds(rows, claims, |_| Some(0.01)).iter().map(|r| r.kind).collect()
    }

    #[test]
    fn one_length_again_and_again_is_bus_off() {
        let row =
            |n: f64| silence("a", 10.0 * n, 10.0 * n + 0.01, 10.0 * n + 0.2 + 0.002 * n, None);
        let rows: Vec<SilenceRow> = (1..5).map(|n| row(f64::from(n))).collect();
        assert_eq!(kind(&rows, &[]), [ReturnKind::BusOff; 4]);
        let mut other = rows.clone();
        for (row, length) in other.iter_mut().zip([0.1, 0.4, 0.9, 0.2]) {
            row.end = row.last_heard.plus_seconds(length);
        }
        assert!(kind(&other, &[]).is_empty(), "lengths by chance tell nothing");
    }

    #[test]
    fn restart_and_life_are_told() {
        let on = silence("a", 1.0, 1.01, 2.0, Some(false));
        let anew = silence("b", 1.0, 1.01, 2.0, Some(true));
        let unknown = silence("c", 1.0, 1.01, 2.0, None);
        let claim = ("c".to_owned(), Instant::default().plus_seconds(1.9));
        let found = kind(&[on, anew, unknown.clone()], std::slice::from_ref(&claim));
        assert_eq!(found, [ReturnKind::InPhase, ReturnKind::Restarted, ReturnKind::Restarted]);
        assert!(kind(&[unknown], &[]).is_empty());
    }

    // The cases of METHODS q7.order as silences: only the certain one is an order.
    #[test]
    fn only_what_periods_tell_is_ordered() {
        let fast = silence("fast", 10.0, 10.01, 12.0, None);
        let late = silence("late", 10.5, 10.6, 12.0, None);
        let slow = silence("slow", 10.0, 11.0, 12.0, None);
        let found = orders(&[fast, late, slow]);
        let told: Vec<(&str, &str)> =
            found.iter().map(|o| (o.earlier.as_str(), o.later.as_str())).collect();
        assert_eq!(told, [("fast", "late"), ("fast", "slow")]);
        assert!((found[1].probability - 0.995).abs() < 1e-9);
    }
}
