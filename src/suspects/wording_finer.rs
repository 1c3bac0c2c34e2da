//! Evidence in words that rests on the finer facts of logs, with counts and places.

use std::collections::BTreeSet;

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

pub(super) fn waits(members: &BTreeSet<String>, incidents: &[&Incident]) -> Told {
    let rows =
        || incidents.iter().flat_map(|i| &i.finer.returns).filter(|r| r.kind == ReturnKind::BusOff);
    let names: BTreeSet<&str> = rows().map(|r| r.node.as_str()).collect();
    let own = rows().filter(|r| members.contains(&r.node));
    let example = own.map(|r| r.why.as_str()).next();
    let what = match (names.len(), example) {
        (0, _) => "no node came back after waits of one length again and again, as bus-off makes \
                   them"
            .to_owned(),
        (n, Some(why)) => format!(
            "came back after the same wait again and again ({why}), as bus-off makes it; {} other nodes did",
            n - 1
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
    incidents: &[&Incident],
) -> Told {
    let pairs = |own: bool| {
        let rows = incidents.iter().flat_map(|i| &i.finer.orders);
        rows.filter(|r| members.contains(if own { &r.earlier } else { &r.later })).count()
    };
    let what = if matches!(suspect, Suspect::Node(_)) {
        format!(
            "where the periods let it be told, it fell silent before another node {} times and after one \
             {} times",
            pairs(true),
            pairs(false)
        )
    } else {
        "the order in which nodes fell silent, as far as their periods let it be told".to_owned()
    };
    (what, silent_places(incidents, |n| members.is_empty() || members.contains(n)))
}

pub(super) fn longest(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> Told {
    let total = |i: &Incident, own: bool| -> f64 {
        let rows = i.silent.iter().filter(|s| members.contains(&s.node) == own);
        rows.map(|s| s.end.seconds_since(s.due).max(0.0)).fold(0.0, f64::max)
    };
    let both: Vec<(f64, f64)> =
        incidents.iter().map(|i| (total(i, true), total(i, false))).collect();
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
        "error frames beside the schedules of the nodes: no node of its own".to_owned()
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
