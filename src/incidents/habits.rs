//! Modules that go to sleep before their bus does, start after start: a habit, and no sign.
//!
//! In: the logs of one vehicle. Out: the logs without those last silences, and what was left out, in
//! words. A node stops early by habit when it does so in at least half of the starts that heard it,
//! always about as long before the end, and keeps this distance from the end better than any from
//! the begin: a fault knows nothing of when the key will be turned off. Refuses to call a habit what
//! fewer than three starts show, and leaves every silence that ended, or began at another time.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::absences::cyclic;
use crate::numerics::centre::median;
use crate::observe::LogFacts;
use crate::vocabulary::Instant;

/// Fewer starts with it show no habit.
const LEAST_STARTS: usize = 3;
/// Nor does less than this share of the starts in which the node was heard.
const LEAST_SHARE: f64 = 0.5;
/// Distances from the end agree within this, seconds …
const WITHIN_S: f64 = 1.5;
/// … or within this share of their median.
const WITHIN_SHARE: f64 = 0.1;
/// The distances from the begin must spread so many times as far as those from the end.
const LOOSER: f64 = 3.0;

/// Where a silence that lasted to the end stands: log, row.
type At = (usize, usize);

/// One early stop.
struct Stop {
    at: At,
    start: Instant,
    /// Seconds from the last frame to the end of the start.
    lead_s: f64,
    /// Seconds from the begin of the start to the last frame.
    since_s: f64,
}

/// Takes last silences by habit out of the logs, and says so. `names` renames unnamed senders.
pub(super) fn excuse(
    logs: &mut [(Arc<str>, LogFacts)],
    names: &BTreeMap<String, String>,
    remarks: &mut Vec<String>,
) {
    let mut stops: BTreeMap<(String, String), Vec<Stop>> = BTreeMap::new();
    let mut heard: BTreeMap<(String, String), BTreeSet<Instant>> = BTreeMap::new();
    for (place, (_, log)) in logs.iter().enumerate() {
        let key = |bus: &str, node: &str| {
            (bus.to_owned(), names.get(node).map_or(node, String::as_str).to_owned())
        };
        for row in cyclic(log) {
            heard.entry(key(&row.bus, &row.node)).or_default().insert(row.start);
        }
        for (number, row) in log.silences.iter().enumerate().filter(|(_, row)| !row.returned) {
            stops.entry(key(&row.bus, &row.node)).or_default().push(Stop {
                at: (place, number),
                start: row.start,
                lead_s: row.end.seconds_since(row.last_heard),
                since_s: row.last_heard.seconds_since(row.start),
            });
        }
    }
    let mut out: BTreeSet<At> = BTreeSet::new();
    for (key, stops) in &stops {
        let starts = heard.get(key).map_or(0, BTreeSet::len);
        let Some((lead_s, own, of)) = habit(stops, starts) else { continue };
        out.extend(own.iter().map(|stop| stop.at));
        remarks.push(format!(
            "{} stops about {lead_s:.1} s before its bus in {of} of {starts} starts, whenever that is: how it goes to \
             sleep, and no sign",
            key.1
        ));
    }
    for (place, (_, log)) in logs.iter_mut().enumerate() {
        let mut number = 0;
        log.silences.retain(|_| {
            number += 1;
            !out.contains(&(place, number - 1))
        });
    }
}

/// How long before the end the stops of a habit are, these stops, and in how many starts; `None` when there is none.
fn habit(stops: &[Stop], starts: usize) -> Option<(f64, Vec<&Stop>, usize)> {
    let leads: Vec<f64> = stops.iter().map(|stop| stop.lead_s).collect();
    let lead_s = median(&leads)?;
    let within = WITHIN_S.max(WITHIN_SHARE * lead_s);
    let own: Vec<&Stop> =
        stops.iter().filter(|stop| (stop.lead_s - lead_s).abs() <= within).collect();
    // Each of several identifiers of one sender may bring a stop of the same start.
    let of = own.iter().map(|stop| stop.start).collect::<BTreeSet<_>>().len();
    let enough = of >= LEAST_STARTS && of as f64 >= LEAST_SHARE * starts as f64;
    let spread = |of: fn(&Stop) -> f64| {
        let values = || own.iter().map(|stop| of(stop));
        values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min)
    };
    let looser = spread(|stop| stop.since_s) > LOOSER * spread(|stop| stop.lead_s);
    (enough && looser).then_some((lead_s, own, of))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::incidents::invented;
    use crate::observe::{PresenceRow, SilenceRow};
    use crate::vocabulary::Place;

    /// A start of so many seconds in which `steering` was last heard at that second.
    fn log(number: u32, lasts_s: f64, last_s: f64) -> (Arc<str>, LogFacts) {
        let begin = Instant::default().plus_seconds(f64::from(number) * 86_400.0);
        let end = begin.plus_seconds(lasts_s);
        let (name, mut facts) = invented::log(&format!("{number}.log"), "chassis", begin, end);
        let place = Place::whole(&name);
        let last = begin.plus_seconds(last_s);
        facts.presences.push(PresenceRow {
            bus: "chassis".to_owned(),
            start: begin,
            node: "steering".to_owned(),
            first: begin,
            last,
            frames: 100,
            fastest_period_s: Some(0.1),
        });
        if lasts_s - last_s > 0.5 {
            facts.silences.push(SilenceRow {
                bus: "chassis".to_owned(),
                start: begin,
                node: "steering".to_owned(),
                last_heard: last,
                due: last.plus_seconds(0.1),
                end,
                returned: false,
                restarted: None,
                identifiers: 2,
                place,
            });
        }
        (name, facts)
    }

    /// Silences left of these starts (length, last heard), and remarks.
    fn left(starts: &[(f64, f64)]) -> (usize, usize) {
        let mut logs: Vec<_> =
            (0..).zip(starts).map(|(number, (lasts, last))| log(number, *lasts, *last)).collect();
        let mut remarks = Vec::new();
        excuse(&mut logs, &BTreeMap::new(), &mut remarks);
        (logs.iter().map(|(_, log)| log.silences.len()).sum(), remarks.len())
    }

    #[test]
    fn who_always_leaves_as_long_before_the_end_goes_to_sleep() {
        let starts = [(60.0, 48.2), (140.0, 127.7), (95.0, 83.1), (300.0, 288.4)];
        assert_eq!(left(&starts), (0, 1));
        // One more that began at another moment is a sign for itself.
        let odd = [starts.as_slice(), &[(200.0, 40.0)]].concat();
        assert_eq!(left(&odd), (1, 1));
    }

    #[test]
    fn what_follows_the_begin_or_comes_seldom_is_no_habit() {
        // Eleven seconds into each start, whenever it ends.
        assert_eq!(left(&[(60.0, 11.0), (140.0, 11.4), (95.0, 10.8), (300.0, 11.2)]).0, 4);
        // All starts of one length: the end and the begin tell the same.
        assert_eq!(left(&[(60.0, 48.0), (60.0, 48.3), (60.0, 47.9)]).0, 3);
        assert_eq!(left(&[(60.0, 48.0), (140.0, 128.0)]).0, 2);
        let seldom: Vec<(f64, f64)> = (0..9)
            .map(|at| {
                let lasts = 60.0 + 20.0 * f64::from(at);
                (lasts, if at < 4 { lasts - 12.0 } else { lasts })
            })
            .collect();
        assert_eq!(left(&seldom).0, 4, "four of nine");
        // All of one length to the last bit: nothing tells the end from the begin.
        assert_eq!(left(&[(60.0, 48.0); 4]).0, 4);
        assert_eq!(left(&[(60.0, 10.0), (140.0, 120.0), (95.0, 20.0), (300.0, 150.0)]).0, 4);
    }

    #[test]
    fn two_identifiers_of_one_sender_are_no_two_starts() {
        let mut logs = vec![log(0, 60.0, 48.2), log(1, 140.0, 127.7)];
        for (_, log) in &mut logs {
            let twin = log.silences[0].clone();
            log.silences.push(twin);
        }
        let mut remarks = Vec::new();
        excuse(&mut logs, &BTreeMap::new(), &mut remarks);
        let left: usize = logs.iter().map(|(_, log)| log.silences.len()).sum();
        assert_eq!((left, remarks.len()), (4, 0));
    }
}
