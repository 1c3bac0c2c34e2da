//! Evidence in words: what was observed about one suspect, with counts and places.

use std::collections::BTreeSet;

use super::blocks::Block;
use super::hypotheses::Space;
use super::ranking::{Ranked, Ranking, Source};
use super::wording_finer;
use crate::incidents::Incident;
use crate::read::ServiceNote;
use crate::suspects::Evidence;
use crate::vocabulary::{Place, Suspect};

/// Places named with one piece of evidence.
const MOST_PLACES: usize = 12;
/// Weights smaller than this are rounding (decibans).
const SMALLEST: f64 = 0.005;

/// The evidence for and against one suspect, largest weight first.
pub(super) fn evidence(
    ranked: &Ranked,
    ranking: &Ranking,
    space: &Space,
    incidents: &[&Incident],
    notes: &[ServiceNote],
) -> Vec<Evidence> {
    let members = members(&ranked.suspect, space);
    let mut list: Vec<Evidence> = ranking
        .sources
        .iter()
        .zip(&ranked.weights)
        .filter(|(_, w)| w.abs() >= SMALLEST)
        .map(|(source, weight)| {
            let (what, places) = match source {
                Source::Block(block) => words(*block, &ranked.suspect, &members, space, incidents),
                Source::Note(place, outcome) => {
                    (outcome.what.clone(), vec![notes[*place].place.clone()])
                }
            };
            Evidence { weight_db: *weight, what, places: bounded(places) }
        })
        .collect();
    list.sort_by(|a, b| {
        b.weight_db.abs().total_cmp(&a.weight_db.abs()).then_with(|| a.what.cmp(&b.what))
    });
    list
}

/// The nodes that a suspect strikes; empty for those that strike none in particular.
fn members(suspect: &Suspect, space: &Space) -> BTreeSet<String> {
    if matches!(suspect, Suspect::Supply | Suspect::None) {
        return BTreeSet::new();
    }
    let struck = space.hypotheses.iter().find(|h| h.suspect == *suspect).map(|h| &h.struck);
    space
        .nodes
        .iter()
        .zip(struck.into_iter().flatten())
        .filter(|(_, s)| **s)
        .map(|(n, _)| n.clone())
        .collect()
}

fn bounded(mut places: Vec<Place>) -> Vec<Place> {
    places.sort();
    places.dedup();
    places.truncate(MOST_PLACES);
    places
}

fn words(
    block: Block,
    suspect: &Suspect,
    members: &BTreeSet<String>,
    space: &Space,
    incidents: &[&Incident],
) -> (String, Vec<Place>) {
    match block {
        Block::Silence => silence(suspect, members, incidents),
        Block::Restart => restart(incidents),
        Block::Waits => wording_finer::waits(suspect, members, incidents),
        Block::Order => wording_finer::order(suspect, members, space, incidents),
        Block::Longest => wording_finer::longest(suspect, members, incidents),
        Block::WireErrors => wording_finer::wire_errors(incidents),
        Block::Tries => wording_finer::tries(suspect, members, incidents),
        Block::Locks => wording_finer::locks(suspect, members, incidents),
        Block::Passive => wording_finer::passive(suspect, members, incidents),
        Block::Disturbance => disturbance(incidents),
        Block::Losses => losses(members, incidents),
        Block::Age => age(incidents),
        Block::Accusations => accusations(suspect, members, incidents),
        Block::BusDown => bus_down(incidents),
        Block::Answers => answers(suspect, members, incidents),
        Block::Supply => supply(incidents),
    }
}

pub(super) fn silent_places(incidents: &[&Incident], wanted: impl Fn(&str) -> bool) -> Vec<Place> {
    incidents
        .iter()
        .flat_map(|i| &i.silent)
        .filter(|s| wanted(&s.node))
        .map(|s| s.place.clone())
        .collect()
}

fn silence(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> (String, Vec<Place>) {
    let logged: Vec<&&Incident> = incidents.iter().filter(|i| i.logged).collect();
    let all = logged.len();
    let silent = |i: &Incident, n: &str| i.silent.iter().any(|s| s.node == n);
    let seen = |i: &Incident, n: &str| silent(i, n) || i.alive.iter().any(|a| a == n);
    if members.is_empty() {
        let some = logged.iter().filter(|i| !i.silent.is_empty()).count();
        let what = format!("some node was silent in {some} of {all} logged incidents");
        return (what, silent_places(incidents, |_| true));
    }
    let mut whole = 0;
    let mut others = 0.0;
    let mut counted = 0;
    for i in &logged {
        let own: Vec<&String> = members.iter().filter(|m| seen(i, m)).collect();
        if own.is_empty() {
            continue;
        }
        counted += 1;
        whole += i32::from(own.iter().all(|m| silent(i, m)));
        let names: BTreeSet<&str> =
            i.silent.iter().map(|s| s.node.as_str()).filter(|n| !members.contains(*n)).collect();
        others += names.len() as f64;
    }
    let mean = if counted > 0 { others / f64::from(counted) } else { 0.0 };
    let who = match (suspect, members.len()) {
        (Suspect::Node(_), _) => "silent".to_owned(),
        (_, 1) => "its one node silent".to_owned(),
        (_, n) => format!("all of its {n} nodes silent"),
    };
    let what = format!(
        "{who} in {whole} of {counted} logged incidents, with {mean:.1} other nodes on average"
    );
    (what, silent_places(incidents, |n| members.contains(n)))
}

fn restart(incidents: &[&Incident]) -> (String, Vec<Place>) {
    let known: Vec<bool> =
        incidents.iter().flat_map(|i| &i.silent).filter_map(|s| s.restarted).collect();
    let restarted = known.iter().filter(|r| **r).count();
    let what = format!(
        "{restarted} of {} silent nodes came back with counters or beat begun anew (power lost), the \
         others went on (only unheard)",
        known.len()
    );
    (what, silent_places(incidents, |_| true))
}

fn disturbance(incidents: &[&Incident]) -> (String, Vec<Place>) {
    let logged = incidents.iter().filter(|i| i.logged).count();
    let hit = incidents.iter().filter(|i| !i.disturbances.is_empty()).count();
    let signs = || incidents.iter().flat_map(|i| &i.disturbances);
    let first = signs().next().and_then(|d| d.detail.split("; ").next()).unwrap_or_default();
    let example = if first.is_empty() { String::new() } else { format!(" (such as: {first})") };
    let what = format!("the bus was disturbed in {hit} of {logged} logged incidents{example}");
    (what, signs().map(|d| d.place.clone()).collect())
}

fn losses(members: &BTreeSet<String>, incidents: &[&Incident]) -> (String, Vec<Place>) {
    let sum = |own: bool| {
        let rows = incidents.iter().flat_map(|i| &i.losses);
        let mine = rows.filter(|(n, _, _)| members.contains(n) == own);
        mine.fold((0.0, 0.0), |(due, lost), (_, d, m)| (due + d, lost + m))
    };
    let share = |(due, lost): (f64, f64)| if due > 0.0 { 100.0 * lost / due } else { 0.0 };
    let (own, others) = (sum(true), sum(false));
    let what = format!(
        "lost {:.0} % of its {:.0} cyclic frames while the bus was disturbed, the others {:.0} % of {:.0}",
        share(own),
        own.0,
        share(others),
        others.0
    );
    let places = incidents.iter().flat_map(|i| &i.disturbances).map(|d| d.place.clone()).collect();
    (what, places)
}

fn age(incidents: &[&Incident]) -> (String, Vec<Place>) {
    let old: Vec<&&Incident> = incidents.iter().filter(|i| i.perhaps_old).collect();
    let with = incidents.iter().filter(|i| !i.accusations.is_empty()).count();
    let what =
        format!("in {} of {with} incidents all codes were history when first read", old.len());
    (what, old.iter().flat_map(|i| i.reports.clone()).collect())
}

fn accusations(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> (String, Vec<Place>) {
    let told: Vec<&&Incident> = incidents.iter().filter(|i| !i.reporters.is_empty()).collect();
    let all = told.len();
    let lost =
        |i: &Incident| i.accusations.iter().filter(|a| !a.heard).cloned().collect::<Vec<_>>();
    if members.is_empty() || matches!(suspect, Suspect::Bus(_)) {
        let total: usize = told.iter().map(|i| lost(i).len()).sum();
        let what = format!("{total} accusations in {all} incidents that scans tell of");
        let places = told.iter().flat_map(|i| lost(i)).map(|a| a.place).collect();
        return (what, places);
    }
    let (mut accusers, mut possible, mut inside, mut elsewhere) = (0, 0, 0, 0);
    let mut places = Vec::new();
    for i in &told {
        let own = lost(i);
        let by: BTreeSet<&str> = own
            .iter()
            .filter(|a| members.contains(&a.accused) && !members.contains(&a.reporter))
            .map(|a| a.reporter.as_str())
            .collect();
        accusers += by.len();
        possible += i.reporters.iter().filter(|r| !members.contains(*r)).count();
        inside += own
            .iter()
            .filter(|a| members.contains(&a.reporter) && !members.contains(&a.accused))
            .count();
        elsewhere += own
            .iter()
            .filter(|a| !members.contains(&a.reporter) && !members.contains(&a.accused))
            .count();
        places.extend(own.iter().filter(|a| members.contains(&a.accused)).map(|a| a.place.clone()));
    }
    let what = format!(
        "accused by {accusers} of {possible} reporters in {all} incidents; accuses others {inside} times; \
         {elsewhere} accusations among the rest"
    );
    (what, places)
}

fn bus_down(incidents: &[&Incident]) -> (String, Vec<Place>) {
    let total: usize = incidents.iter().map(|i| i.bus_down.len()).sum();
    let reporters: usize = incidents.iter().map(|i| i.reporters.len()).sum();
    let what =
        format!("{total} of {reporters} reporters said that the bus was down or they were off it");
    (what, incidents.iter().flat_map(|i| &i.bus_down).map(|(_, p)| p.clone()).collect())
}

fn answers(
    suspect: &Suspect,
    members: &BTreeSet<String>,
    incidents: &[&Incident],
) -> (String, Vec<Place>) {
    let asked: Vec<&&Incident> =
        incidents.iter().filter(|i| !i.answered.is_empty() || !i.unanswered.is_empty()).collect();
    let all = asked.len();
    let mute = |i: &Incident| i.unanswered.iter().filter(|(n, _)| members.contains(n)).count();
    let others: usize = asked
        .iter()
        .map(|i| i.unanswered.iter().filter(|(n, _)| !members.contains(n)).count())
        .sum();
    let places: Vec<Place> = asked
        .iter()
        .flat_map(|i| &i.unanswered)
        .filter(|(n, _)| members.is_empty() || members.contains(n))
        .map(|(_, p)| p.clone())
        .collect();
    let what = if members.is_empty() || matches!(suspect, Suspect::Bus(_)) {
        format!(
            "{} missing answers in {all} scans",
            others + asked.iter().map(|i| mute(i)).sum::<usize>()
        )
    } else {
        let silent = asked.iter().filter(|i| mute(i) > 0).count();
        let who = if members.len() == 1 { "did not answer" } else { "a node of it did not answer" };
        format!("{who} in {silent} of {all} scans; others {others} times")
    };
    (what, places)
}

fn supply(incidents: &[&Incident]) -> (String, Vec<Place>) {
    let lowest = incidents.iter().filter_map(|i| i.supply_v).min_by(f64::total_cmp);
    let own: usize = incidents.iter().map(|i| i.own_supply.len()).sum();
    let volts = lowest.map(|v| format!("lowest voltage {v:.1} V; ")).unwrap_or_default();
    let early = incidents
        .iter()
        .filter(|i| i.logged && i.since_start_s.is_some_and(|s| s < super::rates::CRANKING_S))
        .count();
    let what = format!(
        "{volts}{own} codes about a module's own supply; first sign within {:.0} s of the start in \
         {early} of {} incidents",
        super::rates::CRANKING_S,
        incidents.len()
    );
    (what, incidents.iter().flat_map(|i| &i.own_supply).map(|(_, p)| p.clone()).collect())
}
