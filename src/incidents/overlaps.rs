//! Logs of one bus that cover the same time: what both saw counts once.
//!
//! A download that overlaps the one before, or the same log under two names, must not double an incident. The
//! log that begins first (then by name) keeps its signs; those of a later log that begin while the earlier one
//! was recording the same bus are left out, and it is said.

use std::sync::Arc;

use crate::observe::LogFacts;
use crate::vocabulary::Instant;

/// An overlap shorter than this (seconds) is only the edge of two files.
const SHORTEST: f64 = 0.5;

/// Leaves out what an earlier log of the same bus has told already; returns what to say of it.
pub(super) fn once(logs: &mut [(Arc<str>, LogFacts)]) -> Vec<String> {
    // Bus, begin, end, position of the log.
    let mut spans: Vec<(String, Instant, Instant, usize)> = Vec::new();
    for (place, (_, facts)) in logs.iter().enumerate() {
        spans.extend(facts.starts.iter().map(|s| (s.bus.clone(), s.begin, s.end, place)));
    }
    spans.sort_by(|a, b| (&a.0, a.1, a.3).cmp(&(&b.0, b.1, b.3)));
    let mut remarks = Vec::new();
    for (n, (bus, begin, end, place)) in spans.iter().enumerate() {
        let earlier = spans[..n].iter().filter(|s| s.0 == *bus && s.3 != *place && s.2 > *begin);
        for (_, from, to, other) in earlier {
            let seconds = to.min(end).seconds_since(*begin);
            if seconds < SHORTEST {
                continue;
            }
            remarks.push(format!(
                "{} and {} both cover {seconds:.1} s of {bus} from {begin}: counted once",
                logs[*other].0, logs[*place].0
            ));
            leave_out(&mut logs[*place].1, bus, (*from, *to));
        }
    }
    remarks
}

/// Drops the signs of a bus that begin inside a span.
fn leave_out(facts: &mut LogFacts, bus: &str, (from, to): (Instant, Instant)) {
    let outside = |b: &str, time: Instant| b != bus || time < from || time > to;
    facts.silences.retain(|r| outside(&r.bus, r.due));
    facts.disturbances.retain(|r| outside(&r.bus, r.begin));
    facts.losses.retain(|r| outside(&r.bus, r.begin));
    facts.blind_spots.retain(|r| outside(&r.bus, r.begin));
    facts.finer.errors.retain(|r| outside(&r.bus, r.begin));
    facts.finer.locks.retain(|r| outside(&r.bus, r.begin));
    facts.finer.returns.retain(|r| outside(&r.bus, r.due));
    facts.finer.passives.retain(|r| outside(&r.bus, r.first));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::incidents::invented;
    use crate::observe::{DisturbanceKind, DisturbanceRow};
    use crate::vocabulary::Place;

    fn log(name: &str, begin: f64, end: f64, disturbed: &[f64]) -> (Arc<str>, LogFacts) {
        let at = |s: f64| Instant::default().plus_seconds(s);
        let place = Place::whole(&name.into());
        let (name, mut facts) = invented::log(name, "b", at(begin), at(end));
        facts.disturbances.extend(disturbed.iter().map(|t| DisturbanceRow {
            bus: "b".into(),
            start: at(begin),
            kind: DisturbanceKind::ErrorFrames,
            begin: at(*t),
            end: at(*t + 1.0),
            count: 5,
            identifier: None,
            node: None,
            detail: String::new(),
            place: place.clone(),
        }));
        (name, facts)
    }

    #[test]
    fn what_two_logs_saw_counts_once() {
        let mut logs =
            vec![log("late", 50.0, 150.0, &[60.0, 120.0]), log("early", 0.0, 100.0, &[60.0])];
        let said = once(&mut logs);
        assert_eq!(said.len(), 1, "{said:?}");
        let begins = |n: usize| logs[n].1.disturbances.len();
        assert_eq!((begins(0), begins(1)), (1, 1));
    }

    #[test]
    fn logs_that_follow_each_other_are_left_alone() {
        let mut logs = vec![log("a", 0.0, 100.0, &[60.0]), log("b", 100.0, 200.0, &[150.0])];
        let before = logs.clone();
        assert!(once(&mut logs).is_empty());
        assert_eq!(logs, before);
    }
}
