//! Evidence in words that rests on the finer facts of logs, with counts and places.

use std::collections::BTreeSet;

use super::hypotheses::Space;
use super::signs::ordered;
use super::wording::silent_places;
use crate::incidents::Incident;
use crate::observe::{LockBasis, ReturnKind};
use crate::vocabulary::{Place, Suspect};

type Told = (String, Vec<Place>);

fn disturbed_places(incidents: &[&Incident]) -> Vec<Place> {
    incidents.iter().flat_map(|i| &i.disturbances).map(|d| d.place.clone()).collect()
}

/// Names in a row, at most so many.
fn listed(names: &BTreeSet<&str>) -> String {
    const MOST: usize = 4;
    let mut shown: Vec<&str> = names.iter().take(MOST).copied().collect();
    let more = format!("{} more", names.len().saturating_sub(MOST));
    if names.len() > MOST {
        shown.push(&more);
    }
    shown.join(", ")
}

pub(super) fn waits(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let rows =
        || incidents.iter().flat_map(|i| &i.finer.returns).filter(|r| r.kind == ReturnKind::BusOff);
    let names: BTreeSet<&str> = rows().map(|r| r.node.as_str()).collect();
    let own = rows().filter(|r| members.contains(&r.node));
    let example = own.map(|r| r.why.as_str()).next();
    let who = if matches!(suspect, Suspect::Node(_)) { "" } else { "a node of it " };
    let what = match (names.len(), example) {
        (0, _) => "no node came back after waits of one length again and again, as bus-off makes \
                   them"
            .to_owned(),
        (_, Some(why)) => format!(
            "{who}came back after the same wait again and again ({why}), as bus-off makes it; {} other nodes did",
            names.iter().filter(|name| !members.contains(**name)).count()
        ),
        (n, None) => format!(
            "{n} nodes came back after the same wait again and again, as bus-off makes it: {}",
            listed(&names)
        ),
    };
    (what, silent_places(incidents, |n| names.contains(n)))
}

pub(super) fn order(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    space: &Space,
    incidents: &[&Incident],
) -> Told {
    let what = match suspect {
        Suspect::Node(_) => {
            let pairs: Vec<(usize, usize)> =
                incidents.iter().flat_map(|i| ordered(i, space)).collect();
            let own =
                |node: usize| space.nodes.get(node).is_some_and(|name| members.contains(name));
            let before = pairs.iter().filter(|(earlier, _)| own(*earlier)).count();
            match (before, pairs.iter().filter(|(_, later)| own(*later)).count()) {
                (0, 0) => "its place in the order could not be told".to_owned(),
                (before, after) => format!(
                    "where the periods let it be told, it fell silent before another node {before} times and \
                     after one {after} times"
                ),
            }
        }
        _ => "the order in which nodes fell silent, as far as their periods let it be told"
            .to_owned(),
    };
    (what, silent_places(incidents, |n| members.is_empty() || members.contains(n)))
}

pub(super) fn longest(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let most = |i: &Incident, own: bool| -> f64 {
        let rows = i.silent.iter().filter(|s| members.contains(&s.node) == own);
        rows.map(|s| s.end.seconds_since(s.due).max(0.0)).fold(0.0, f64::max)
    };
    let both: Vec<(f64, f64)> = incidents.iter().map(|i| (most(i, true), most(i, false))).collect();
    let longer = both.iter().filter(|(own, others)| own > others).count();
    let some = both.iter().filter(|(own, others)| *own > 0.0 || *others > 0.0).count();
    let what = if matches!(suspect, Suspect::Node(_)) {
        format!("silent longest of all in {longer} of {some} incidents with silences")
    } else {
        "one node was silent half again as long as any other".to_owned()
    };
    (what, silent_places(incidents, |_| true))
}

pub(super) fn wire_errors(incidents: &[&Incident]) -> Told {
    let errors = || incidents.iter().flat_map(|i| &i.finer.errors);
    let named: BTreeSet<&str> =
        errors().filter(|e| e.wires).map(|e| e.spot.as_deref().unwrap_or(&e.class)).collect();
    let with = incidents.iter().filter(|i| i.finer.errors.iter().any(|e| e.wires)).count();
    let all = incidents.iter().filter(|i| !i.finer.errors.is_empty()).count();
    let what = if named.is_empty() {
        format!("no error message of {all} incidents names a fault of the wires")
    } else {
        format!(
            "error messages name a fault of the wires in {with} of {all} incidents ({})",
            listed(&named)
        )
    };
    (what, disturbed_places(incidents))
}

pub(super) fn tries(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let sum = |own: bool| {
        let rows = incidents.iter().flat_map(|i| &i.finer.tries);
        let mine = rows.filter(|(node, _, _)| members.contains(node) == own);
        mine.fold((0.0, 0.0), |(f, p), (_, failed, passed)| (f + failed, p + passed))
    };
    let (own, others) = (sum(true), sum(false));
    let all = others.0 + own.0;
    let what = if matches!(suspect, Suspect::Node(_)) {
        format!(
            "{:.0} failed tries beside {:.0} frames of it that passed while the bus was disturbed, {:.0} beside {:.0} of \
             the others",
            own.0, own.1, others.0, others.1
        )
    } else {
        format!(
            "{all:.0} failed tries beside {:.0} frames that passed while the bus was disturbed",
            own.1 + others.1
        )
    };
    (what, disturbed_places(incidents))
}

pub(super) fn locks(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let rows = || {
        incidents.iter().flat_map(|i| &i.finer.locks).filter(|r| r.basis == LockBasis::ErrorFrames)
    };
    let own = rows().filter(|r| members.contains(&r.node));
    let (hits, moments, expected) =
        own.fold((0, 0, 0.0), |(h, m, e), r| (h + r.hits, m + r.moments, e + r.expected));
    let what = if moments > 0 && matches!(suspect, Suspect::Node(_)) {
        format!(
            "a frame of it was due at {hits} of {moments} moments of error frames, {expected:.0} by chance"
        )
    } else {
        "error frames laid beside the nodes' schedules; nothing of them concerns one node here"
            .to_owned()
    };
    (what, disturbed_places(incidents))
}

pub(super) fn passive(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let rows = || incidents.iter().flat_map(|i| &i.finer.passives);
    let names: BTreeSet<&str> = rows().map(|r| r.node.as_str()).collect();
    let own: u64 = rows().filter(|r| members.contains(&r.node)).map(|r| r.frames).sum();
    let what = if matches!(suspect, Suspect::Node(_)) {
        format!(
            "{own} of its frames say that it was error passive; {} nodes said so in all",
            names.len()
        )
    } else {
        format!("nodes whose frames say that they were error passive: {}", listed(&names))
    };
    (what, rows().map(|r| r.place.clone()).collect())
}

#[cfg(test)]
mod tests {
    use super::super::invented::{network, silence};
    use super::*;
    use crate::observe::ReturnRow;

    const ALL: [&str; 4] = ["brake", "engine", "lift", "steer"];

    fn space() -> Space {
        let network = network(&[
            ("brake", "front", "F1", "G1"),
            ("engine", "front", "F1", "G1"),
            ("lift", "rear", "F2", "G2"),
            ("steer", "front", "F3", "G1"),
        ]);
        let names = ALL.map(str::to_owned);
        Space::new(&names, Some(&network), &BTreeSet::new(), &BTreeSet::from(names.clone()))
    }

    fn told(
        words: impl Fn(&Suspect, &BTreeSet<String>) -> Told,
        suspect: &str,
        members: &[&str],
    ) -> String {
        let suspect = Suspect::parse(suspect).expect("a suspect");
        words(&suspect, &members.iter().map(|m| (*m).to_owned()).collect()).0
    }

    // Told is what was weighed: the first silence of each node of the space, none of strangers.
    #[test]
    fn an_order_counts_the_pairs_that_were_weighed() {
        let mut incident = silence(0, &["brake", "lift", "lift", "stranger"], &ALL, 1.0);
        for (silent, later_s) in incident.silent.iter_mut().zip([0.0, 5.0, 9.0, 2.0]) {
            silent.last_heard = silent.last_heard.plus_seconds(later_s);
            silent.due = silent.due.plus_seconds(later_s);
        }
        let space = space();
        let of = |suspect: &str, members: &[&str]| {
            told(|suspect, members| order(suspect, members, &space, &[&incident]), suspect, members)
        };
        let before = |own: u32, others: u32| {
            format!("fell silent before another node {own} times and after one {others} times")
        };
        assert!(of("node:brake", &["brake"]).ends_with(&before(1, 0)));
        assert!(of("node:lift", &["lift"]).ends_with(&before(0, 1)));
        let nothing = "its place in the order could not be told";
        assert_eq!(of("node:steer", &["steer"]), nothing);
        assert!(of("feed:F1", &["brake", "engine"]).starts_with("the order in which nodes"));
    }

    #[test]
    fn equal_waits_of_the_suspects_own_nodes_are_no_others() {
        let mut incident = silence(0, &["brake", "engine", "lift"], &ALL, 0.2);
        let row = |silent: &crate::incidents::SilentNode| ReturnRow {
            bus: "chassis".to_owned(),
            start: incident.start,
            node: silent.node.clone(),
            due: silent.due,
            kind: ReturnKind::BusOff,
            why: "3 silences of one length".to_owned(),
        };
        incident.finer.returns = incident.silent.iter().map(row).collect();
        let of = |suspect: &str, members: &[&str]| {
            told(|suspect, members| waits(suspect, members, &[&incident]), suspect, members)
        };
        let one = of("node:lift", &["lift"]);
        assert!(
            one.starts_with("came back after") && one.ends_with("; 2 other nodes did"),
            "{one}"
        );
        let feed = of("feed:F1", &["brake", "engine"]);
        assert!(feed.starts_with("a node of it came back after"), "{feed}");
        assert!(feed.ends_with("; 1 other nodes did"), "{feed}");
        assert!(of("node:steer", &["steer"]).starts_with("3 nodes came back"));
    }
}
