//! Clocks of loggers on different buses of one vehicle, brought together by what both saw.
//!
//! A node on two buses that falls silent, comes back or restarts does so in both logs; the buses of a vehicle
//! wake within half a second of each other. The offset at which most such events agree is believed when at
//! least three agree, no other offset comes near, and so many would agree by chance at any offset less than
//! once in a thousand (binomial tail times the offsets tried). The log that comes first by name keeps its time,
//! the others are moved. Logs of one bus are not compared: `overlaps` sees to those.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::numerics::binomial;
use crate::numerics::centre::median;
use crate::observe::{BusEventKind, LogFacts};
use crate::vocabulary::Instant;

/// Loggers are further apart than this only by a wrong zone, which is no drift (seconds).
const FURTHEST: f64 = 900.0;
/// Events of nodes, and wakings, agree within this (seconds).
const WITHIN: f64 = 0.2;
const WAKING_WITHIN: f64 = 0.5;
/// Fewest events that must agree.
const FEWEST: usize = 3;
/// Probability of as many by chance.
const CHANCE: f64 = 1e-3;
/// Offsets below this are left alone (seconds): within what events tell.
const LEAST: f64 = 0.2;
/// Events of one kind, and pairs of events, that are compared.
const MOST: usize = 60;
const MOST_PAIRS: usize = 4000;

/// What happened, so that only like is compared with like.
type What = (u8, String);

/// A log whose clock is settled: its place, its buses, and what happened by the settled clock.
struct Settled {
    place: usize,
    buses: BTreeSet<String>,
    events: BTreeMap<What, Vec<f64>>,
}

/// Moves logs of other buses so that shared events agree; returns what to say of each.
#[must_use]
pub fn align(logs: &mut [(Arc<str>, LogFacts)]) -> Vec<String> {
    let mut order: Vec<usize> = (0..logs.len()).collect();
    order.sort_by(|a, b| logs[*a].0.cmp(&logs[*b].0));
    let mut settled: Vec<Settled> = Vec::new();
    let mut said = Vec::new();
    for place in order {
        let own = buses(&logs[place].1);
        let mut happened = events(&logs[place].1);
        let others = settled.iter().filter(|other| other.buses.is_disjoint(&own));
        let best = others
            .filter_map(|other| Some((offset(&other.events, &happened)?, other.place)))
            .max_by_key(|(found, other)| (found.agree, std::cmp::Reverse(*other)));
        if let Some((found, other)) = best.filter(|(found, _)| found.seconds.abs() >= LEAST) {
            let moved = Instant(0).plus_seconds(-found.seconds);
            logs[place].1.shift(moved.0);
            happened = events(&logs[place].1);
            said.push(format!(
                "{}: its clock is {:.1} s {} that of {}, as {} events seen on both buses show; moved",
                logs[place].0,
                found.seconds.abs(),
                if found.seconds > 0.0 { "ahead of" } else { "behind" },
                logs[other].0,
                found.agree
            ));
        }
        settled.push(Settled { place, buses: own, events: happened });
    }
    said
}

fn buses(facts: &LogFacts) -> BTreeSet<String> {
    facts.starts.iter().map(|s| s.bus.clone()).collect()
}

/// Events by kind, in seconds since 1970.
fn events(facts: &LogFacts) -> BTreeMap<What, Vec<f64>> {
    let mut found: BTreeMap<What, Vec<f64>> = BTreeMap::new();
    let mut add = |kind: u8, who: &str, time: f64| {
        let of_kind = found.entry((kind, who.to_owned())).or_default();
        if of_kind.len() < MOST {
            of_kind.push(time);
        }
    };
    let seconds = |time: Instant| time.seconds_since(Instant(0));
    for start in facts.starts.iter().filter(|s| s.woke) {
        add(0, "", seconds(start.begin));
    }
    for silence in &facts.silences {
        // Known only between the last frame and the next due.
        if silence.due.seconds_since(silence.last_heard) <= 2.0 * WITHIN {
            add(1, &silence.node, (seconds(silence.last_heard) + seconds(silence.due)) / 2.0);
        }
        if silence.returned {
            add(2, &silence.node, seconds(silence.end));
        }
    }
    for event in facts.bus_events.iter().filter(|e| e.kind == BusEventKind::Restarted) {
        add(3, &event.node, seconds(event.time));
    }
    found
}

/// By how much the second log is ahead of the first.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Offset {
    seconds: f64,
    agree: usize,
}

fn offset(first: &BTreeMap<What, Vec<f64>>, second: &BTreeMap<What, Vec<f64>>) -> Option<Offset> {
    // Differences of like events: difference, how near it must be, number of each event.
    let mut pairs: Vec<(f64, f64, usize, usize)> = Vec::new();
    let (mut a, mut b) = (0, 0);
    for (what, times) in first {
        let others = second.get(what).map(Vec::as_slice).unwrap_or_default();
        let within = if what.0 == 0 { WAKING_WITHIN } else { WITHIN };
        for (n, time) in times.iter().enumerate() {
            for (m, other) in others.iter().enumerate() {
                if (other - time).abs() <= FURTHEST && pairs.len() < MOST_PAIRS {
                    pairs.push((other - time, within, a + n, b + m));
                }
            }
        }
        a += times.len();
        b += others.len();
    }
    pairs.sort_by(|x, y| x.0.total_cmp(&y.0).then((x.2, x.3).cmp(&(y.2, y.3))));
    let near = |at: f64| -> Vec<&(f64, f64, usize, usize)> {
        let first = pairs.partition_point(|p| p.0 < at - WAKING_WITHIN);
        let about = pairs.iter().skip(first).take_while(|p| p.0 <= at + WAKING_WITHIN);
        about.filter(|(d, within, _, _)| (d - at).abs() <= *within).collect()
    };
    // Events that agree, each of both logs counted once.
    let agree = |some: &[&(f64, f64, usize, usize)]| {
        let firsts: BTreeSet<usize> = some.iter().map(|p| p.2).collect();
        let seconds: BTreeSet<usize> = some.iter().map(|p| p.3).collect();
        firsts.len().min(seconds.len())
    };
    let counted: Vec<(usize, f64)> = pairs.iter().map(|p| (agree(&near(p.0)), p.0)).collect();
    // Among equals the smallest offset; ties of that by sign.
    let (most, at) = *counted.iter().max_by(|x, y| {
        x.0.cmp(&y.0).then(y.1.abs().total_cmp(&x.1.abs())).then(x.1.total_cmp(&y.1))
    })?;
    let rival =
        counted.iter().filter(|c| (c.1 - at).abs() > 2.0 * WAKING_WITHIN).map(|c| c.0).max();
    if most < FEWEST || rival.is_some_and(|r| 2 * r > most) {
        return None;
    }
    let tried = pairs.len();
    let by_chance = binomial::ln_upper(most as u64, tried as u64, WAKING_WITHIN / FURTHEST)?
        + (tried as f64).ln();
    if by_chance > CHANCE.ln() {
        return None;
    }
    let differences: Vec<f64> = near(at).iter().map(|p| p.0).collect();
    Some(Offset { seconds: median(&differences)?, agree: most })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::incidents::invented;
    use crate::observe::SilenceRow;
    use crate::vocabulary::Place;

    /// A log of one bus with one start and silences of the gateway at these seconds, half a second each.
    fn log(name: &str, bus: &str, ahead: f64, silences: &[f64]) -> (Arc<str>, LogFacts) {
        let at = |s: f64| Instant(1_700_000_000_000_000_000).plus_seconds(s + ahead);
        let place = Place::whole(&name.into());
        let (name, mut facts) = invented::log(name, bus, at(0.0), at(600.0));
        facts.starts[0].woke = true;
        facts.silences.extend(silences.iter().map(|s| SilenceRow {
            bus: bus.into(),
            start: at(0.0),
            node: "gateway".into(),
            last_heard: at(*s),
            due: at(*s + 0.02),
            end: at(*s + 0.5 + s.fract() / 10.0),
            returned: true,
            restarted: None,
            identifiers: 3,
            place: place.clone(),
        }));
        (name, facts)
    }

    const TIMES: [f64; 3] = [31.4, 170.2, 402.9];

    #[test]
    fn a_logger_that_is_ahead_is_moved_back() {
        for ahead in [-83.7, 2.4, 611.0] {
            let mut logs = vec![log("a", "body", 0.0, &TIMES), log("b", "chassis", ahead, &TIMES)];
            let said = align(&mut logs);
            assert_eq!(said.len(), 1, "{ahead}: {said:?}");
            assert!(said[0].starts_with("b: its clock is"), "{said:?}");
            let apart = logs[1].1.starts[0].begin.seconds_since(logs[0].1.starts[0].begin);
            assert!(apart.abs() < 0.1, "{ahead}: {apart}");
        }
    }

    #[test]
    fn clocks_that_agree_few_events_and_the_same_bus_are_left_alone() {
        for (bus, ahead, times) in [
            ("chassis", 0.05, &TIMES[..]),
            ("chassis", 5.0, &TIMES[..0]),
            ("body", 5.0, &TIMES[..]),
            // Other events altogether.
            ("chassis", 5.0, &[77.0, 250.3, 511.8][..]),
        ] {
            let mut logs = vec![log("a", "body", 0.0, &TIMES), log("b", bus, ahead, times)];
            let before = logs.clone();
            assert_eq!(align(&mut logs), Vec::<String>::new(), "{bus} {ahead} {times:?}");
            assert_eq!(logs, before);
        }
    }

    /// A silence every ten seconds agrees at every ten seconds: nothing tells which.
    #[test]
    fn events_in_a_beat_tell_no_offset() {
        let beat: Vec<f64> = (1..30).map(|n| f64::from(n) * 10.0).collect();
        let mut logs = vec![log("a", "body", 0.0, &beat), log("b", "chassis", 20.0, &beat)];
        logs[0].1.starts[0].woke = false;
        assert_eq!(align(&mut logs), Vec::<String>::new());
    }
}
