//! What the nodes did and said over all incidents: who fell silent, who accuses whom.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::NAME;
use super::drawing::rests_on;
use crate::incidents::Incident;
use crate::reports::wording::shown;
use crate::suspects::VehicleFinding;

/// Most rows of each table and columns of the accusation table.
const MOST_ROWS: usize = 24;
const MOST_COLUMNS: usize = 10;

#[derive(Serialize)]
pub(super) struct Witnesses {
    incidents: usize,
    logged: usize,
    rests_on: String,
    nodes: Vec<NodeRow>,
    nodes_left: usize,
    accused: Vec<String>,
    accused_left: usize,
    reporters: Vec<Reporter>,
    reporters_left: usize,
}

#[derive(Serialize)]
struct NodeRow {
    name: String,
    silent: String,
    accused: String,
    accuses: String,
    unanswered: String,
    bus_down: String,
    own_supply: String,
}

#[derive(Serialize)]
struct Reporter {
    name: String,
    asked: usize,
    cells: Vec<Cell>,
}

#[derive(Serialize)]
struct Cell {
    count: usize,
    invalid: usize,
    same: bool,
    /// 0 to 4: how dark the cell is drawn; the number says the same.
    shade: usize,
}

#[derive(Default)]
struct Counts {
    silent: usize,
    watched: usize,
    accused: usize,
    accuses: usize,
    unanswered: usize,
    questioned: usize,
    bus_down: usize,
    own_supply: usize,
    read_out: usize,
}

pub(super) fn witnesses(finding: &VehicleFinding) -> Witnesses {
    let incidents = &finding.incidents;
    let mut nodes: Vec<(&str, Counts)> = counts(incidents).into_iter().collect();
    let all_nodes = nodes.len();
    nodes.sort_by_key(|(name, c)| {
        (std::cmp::Reverse(c.silent + c.accused + c.unanswered + c.bus_down), *name)
    });
    let (accused, reporters) = accusations(incidents);
    let most: Vec<&str> = accused.iter().take(MOST_COLUMNS).copied().collect();
    let reporters_all = reporters.len();
    let heard_out =
        incidents.iter().filter(|i| !(i.reporters.is_empty() && i.accusations.is_empty())).count();
    Witnesses {
        incidents: incidents.len(),
        rests_on: rests_on(heard_out, "incident"),
        logged: incidents.iter().filter(|i| i.logged).count(),
        nodes: nodes.iter().take(MOST_ROWS).map(|(name, c)| node_row(name, c, heard_out)).collect(),
        nodes_left: all_nodes.saturating_sub(MOST_ROWS),
        accused: most.iter().map(|name| shown(name, 30)).collect(),
        accused_left: accused.len().saturating_sub(MOST_COLUMNS),
        reporters: reporters
            .into_iter()
            .take(MOST_ROWS)
            .map(|name| reporter(incidents, name, &most))
            .collect(),
        reporters_left: reporters_all.saturating_sub(MOST_ROWS),
    }
}

fn counts(incidents: &[Incident]) -> BTreeMap<&str, Counts> {
    let mut all: BTreeMap<&str, Counts> = BTreeMap::new();
    for incident in incidents {
        let silent = || incident.silent.iter().map(|s| s.node.as_str());
        let alive = incident.alive.iter().map(String::as_str);
        let unanswered = || incident.unanswered.iter().map(|(n, _)| n.as_str());
        let answered = incident.answered.iter().map(|(n, _)| n.as_str());
        let accused = incident.accusations.iter().map(|a| a.accused.as_str());
        let accuses = || incident.accusations.iter().map(|a| a.reporter.as_str());
        let down = || incident.bus_down.iter().map(|(n, _)| n.as_str());
        let supply = || incident.own_supply.iter().map(|(n, _)| n.as_str());
        add(&mut all, silent(), |c| &mut c.silent);
        add(&mut all, silent().chain(alive), |c| &mut c.watched);
        add(&mut all, unanswered(), |c| &mut c.unanswered);
        add(&mut all, unanswered().chain(answered), |c| &mut c.questioned);
        add(&mut all, accused, |c| &mut c.accused);
        add(&mut all, accuses(), |c| &mut c.accuses);
        add(&mut all, down(), |c| &mut c.bus_down);
        add(&mut all, supply(), |c| &mut c.own_supply);
        let readers = incident.reporters.iter().map(String::as_str);
        let read_out = readers.chain(accuses()).chain(down()).chain(supply());
        add(&mut all, read_out, |c| &mut c.read_out);
    }
    all
}

/// Counts each name of one incident once.
fn add<'a>(
    all: &mut BTreeMap<&'a str, Counts>,
    names: impl Iterator<Item = &'a str>,
    field: fn(&mut Counts) -> &mut usize,
) {
    for name in names.collect::<BTreeSet<_>>() {
        *field(all.entry(name).or_default()) += 1;
    }
}

fn node_row(name: &str, counts: &Counts, heard_out: usize) -> NodeRow {
    // Nothing seen of a node is not a 0.
    let of = |n: usize, all: usize| {
        if all == 0 { "not observed".to_owned() } else { format!("{n} of {all}") }
    };
    NodeRow {
        name: shown(name, NAME),
        silent: of(counts.silent, counts.watched),
        accused: of(counts.accused, heard_out),
        accuses: of(counts.accuses, counts.read_out),
        unanswered: of(counts.unanswered, counts.questioned),
        bus_down: of(counts.bus_down, counts.read_out),
        own_supply: of(counts.own_supply, counts.read_out),
    }
}

/// The accused, most often accused first, and the reporters by name.
fn accusations(incidents: &[Incident]) -> (Vec<&str>, Vec<&str>) {
    let mut accused: BTreeMap<&str, usize> = BTreeMap::new();
    let mut reporters: BTreeSet<&str> = BTreeSet::new();
    for accusation in incidents.iter().flat_map(|i| &i.accusations) {
        *accused.entry(&accusation.accused).or_default() += 1;
        reporters.insert(&accusation.reporter);
    }
    // A reporter that was read out and accused nobody is a witness too.
    reporters.extend(incidents.iter().flat_map(|i| i.reporters.iter().map(String::as_str)));
    if accused.is_empty() {
        reporters.clear();
    }
    let mut ordered: Vec<(&str, usize)> = accused.into_iter().collect();
    ordered.sort_by_key(|(name, n)| (std::cmp::Reverse(*n), *name));
    (ordered.into_iter().map(|(name, _)| name).collect(), reporters.into_iter().collect())
}

fn reporter(incidents: &[Incident], name: &str, accused: &[&str]) -> Reporter {
    let asked = incidents
        .iter()
        .filter(|i| {
            i.reporters.iter().any(|r| r == name)
                || i.accusations.iter().any(|a| a.reporter == name)
        })
        .count();
    let cells = accused
        .iter()
        .map(|&about| {
            let says = |i: &&Incident, invalid_only: bool| {
                i.accusations
                    .iter()
                    .any(|a| a.reporter == name && a.accused == about && (!invalid_only || a.heard))
            };
            let count = incidents.iter().filter(|i| says(i, false)).count();
            Cell {
                count,
                invalid: incidents.iter().filter(|i| says(i, true)).count(),
                same: name == about,
                shade: (count * 4).div_ceil(asked.max(1)).min(4),
            }
        })
        .collect();
    Reporter { name: shown(name, NAME), asked, cells }
}
