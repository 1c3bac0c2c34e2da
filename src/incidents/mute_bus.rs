//! A bus that was dead, not a logger that slept: told by the nodes that say so.
//!
//! In: what logs of one bus hold, and the codes of the reports of the same start. A log of a single bus cannot tell
//! a dead bus from a logger that lost everything; where nodes say that the bus was down just then, it was the
//! bus: the blind spot becomes a silence of all its nodes. What a logger says of itself stands.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::freshness::Freshness;
use super::gather::Gathered;
use super::placing::{SET_AFTER, SET_BEFORE};
use crate::observe::{BlindSpotRow, CodeKind, CodeRow, LogFacts, SilenceRow};

/// Shorter spots send nobody off the bus for long enough to say so (seconds).
const SHORTEST: f64 = 0.3;
/// Nodes that must say so: one alone may have been off the bus by itself.
const FEWEST: usize = 2;

/// Turns such blind spots into silences, and says so; whether there was any.
pub(super) fn restore(
    logs: &mut [(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
    (codes, fresh): (&[CodeRow], &[Freshness]),
    out: &mut Gathered,
) -> bool {
    let mut any = false;
    for (_, log) in logs {
        let spots = std::mem::take(&mut log.blind_spots);
        for spot in spots {
            let seconds = spot.end.seconds_since(spot.begin);
            let may_be = !spot.is_said_by_the_logger() && seconds >= SHORTEST;
            let said = if may_be { sayers(&spot, codes, fresh, out) } else { 0 };
            if said < FEWEST {
                log.blind_spots.push(spot);
                continue;
            }
            any = true;
            out.remarks.push(format!(
                "{} ({}): of the blind spots, the {seconds:.1} s from here on were the bus's own: {said} nodes said \
                 that it was down then",
                spot.place, spot.bus
            ));
            let nodes: BTreeSet<&str> = log
                .presences
                .iter()
                .filter(|row| row.bus == spot.bus && row.start == spot.start)
                .filter(|row| row.fastest_period_s.is_some())
                .filter(|row| out.fitted.contains(names.get(&row.node).unwrap_or(&row.node)))
                .map(|row| row.node.as_str())
                .collect();
            log.silences.extend(nodes.into_iter().map(|node| SilenceRow {
                bus: spot.bus.clone(),
                start: spot.start,
                node: node.to_owned(),
                last_heard: spot.begin,
                due: spot.begin,
                end: spot.end,
                returned: true,
                restarted: None,
                identifiers: 0,
                place: spot.place.clone(),
            }));
        }
    }
    any
}

/// How many nodes say, in reports of the same start, that the bus was down in a spot; a code that bears a time must
/// have been set in it or soon after.
fn sayers(spot: &BlindSpotRow, codes: &[CodeRow], fresh: &[Freshness], out: &Gathered) -> usize {
    let holds = |s: &&super::start::Start| s.begin <= spot.begin && spot.begin <= s.end;
    let Some(start) = out.starts.iter().find(holds) else { return 0 };
    let begin = spot.begin.seconds_since(start.begin) - SET_BEFORE;
    let end = spot.end.seconds_since(start.begin) + SET_AFTER;
    let who: BTreeSet<&str> = codes
        .iter()
        .zip(fresh)
        .filter(|(code, freshness)| {
            code.kind == CodeKind::BusDown
                && **freshness == Freshness::Fresh
                && start.reports.contains(&code.report)
                && code.since_start_s.is_none_or(|since| (begin..=end).contains(&since))
        })
        .map(|(code, _)| code.reporter.as_str())
        .collect();
    who.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::incidents::Start;
    use crate::incidents::invented;
    use crate::observe::PresenceRow;
    use crate::vocabulary::{CodeStatus, Instant, Place, TroubleCode};

    fn at(s: f64) -> Instant {
        Instant(1_700_000_000_000_000_000).plus_seconds(s)
    }

    /// One start of a minute with a hole from 20 s to 23 s, of which `why` is said, and nodes that say at such seconds
    /// that the bus was down: the silences made of it.
    fn silences(why: &str, down: &[(&str, Option<f64>)]) -> Vec<String> {
        let (name, mut log) = invented::log("a.log", "can0", at(0.0), at(60.0));
        let place = Place::whole(&name);
        log.presences.extend(["brake", "engine", "tester"].map(|node| PresenceRow {
            bus: "can0".to_owned(),
            start: at(0.0),
            node: node.to_owned(),
            first: at(0.0),
            last: at(60.0),
            frames: 600,
            fastest_period_s: Some(0.1),
        }));
        log.blind_spots.push(BlindSpotRow {
            bus: "can0".to_owned(),
            start: at(0.0),
            begin: at(20.0),
            end: at(23.0),
            why: why.to_owned(),
            place: place.clone(),
        });
        let code = |(reporter, since): &(&str, Option<f64>)| CodeRow {
            vehicle: "V".to_owned(),
            report: 0,
            taken_at: at(55.0),
            reporter: (*reporter).to_owned(),
            code: TroubleCode { word: 0xC073, failure_type: None }.into(),
            status: CodeStatus::Confirmed,
            occurrences: Some(1),
            since_start_s: *since,
            kind: CodeKind::BusDown,
            accused: None,
            place: place.clone(),
        };
        let codes: Vec<CodeRow> = down.iter().map(code).collect();
        let mut out = Gathered {
            starts: vec![Start {
                begin: at(0.0),
                end: at(60.0),
                logged: true,
                woke: true,
                judged: true,
                reports: vec![0],
                incidents: 0,
                place,
            }],
            fitted: vec!["brake".to_owned(), "engine".to_owned()],
            ..Gathered::default()
        };
        let mut logs = [(name, log)];
        let fresh = vec![Freshness::Fresh; codes.len()];
        let any = restore(&mut logs, &BTreeMap::new(), (&codes, &fresh), &mut out);
        let log = &logs[0].1;
        assert_eq!((any, log.blind_spots.is_empty()), (!log.silences.is_empty(), any));
        assert_eq!(out.remarks.len(), usize::from(any));
        log.silences.iter().map(|s| s.node.clone()).collect()
    }

    #[test]
    fn the_bus_was_dead_where_two_nodes_say_so_and_not_the_logger() {
        let both = [("brake", Some(20.6)), ("engine", None)];
        assert_eq!(silences("no frame of any node", &both), ["brake", "engine"]);
        assert!(
            silences("no frame of any node", &both[..1]).is_empty(),
            "one may be off by itself"
        );
        let late = [("brake", Some(20.6)), ("engine", Some(50.0))];
        assert!(silences("no frame of any node", &late).is_empty(), "set at another time");
        let said = crate::observe::SAID_BY_THE_LOGGER;
        assert!(silences(said, &both).is_empty(), "the logger knows best of itself");
    }
}
