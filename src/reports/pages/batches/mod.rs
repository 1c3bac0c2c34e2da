//! The page of the batch view: the answer, what it rests on, the groups, pictures, the modules.

mod forest;
mod funnel;
mod survival;
mod weeks;

use serde::Serialize;

use super::{NAME, SENTENCE, Top, intake};
use crate::batches::{BatchView, FLAG_RULE, Group, UnitAhead};
use crate::read::Tally;
use crate::reports::Heading;
use crate::reports::batches::wording::{amount, answer, became, in_words, range, rests_on, said};
use crate::reports::wording::{local_date, p_value, percent, ratio, shown};

/// Most groups in the table; `batches.csv` has all.
const MOST_GROUPS: usize = 40;
/// Most modules in the list; `batch_units.csv` has all.
const MOST_UNITS: usize = 60;
/// Most swaps in the list; `swaps.csv` has all.
const MOST_SWAPS: usize = 30;
/// Most groups whose lives are drawn.
const MOST_LIVES: usize = 4;
/// Most nodes whose build weeks are drawn.
const MOST_WEEKS: usize = 4;
/// A group with less of its months at ages at which others were watched gets a warning.
const SAME_AGE: f64 = 0.5;

#[derive(Serialize)]
pub(super) struct Page {
    top: Top,
    intake: intake::Intake,
    answer: String,
    open: bool,
    rests_on: String,
    watched: Option<(String, String)>,
    rule: &'static str,
    remarks: Vec<String>,
    rows: Vec<Row>,
    groups_left: usize,
    looked_at: usize,
    forest: Option<forest::Forest>,
    funnel: Option<funnel::Funnel>,
    lives: Vec<survival::Lives>,
    lives_left: usize,
    weeks: Vec<weeks::Weeks>,
    units: Vec<Unit>,
    units_left: usize,
    units_all: usize,
    failing: usize,
    to_come: String,
    swaps: Vec<Swap>,
    swaps_left: usize,
    swap_counts: [u64; 3],
}

#[derive(Serialize)]
struct Row {
    node: String,
    what: String,
    units: u64,
    months: String,
    failures: String,
    expected: String,
    ratio: String,
    range: String,
    shrunk: String,
    shrunk_range: String,
    p: String,
    standing: &'static str,
    flagged: bool,
    explained: Option<String>,
}

#[derive(Serialize)]
struct Unit {
    vehicle: String,
    node: String,
    group: String,
    part: String,
    site: String,
    age: String,
    failing: bool,
    failed: String,
    to_come: String,
}

#[derive(Serialize)]
struct Swap {
    vehicle: String,
    node: String,
    day: String,
    part: String,
    became: &'static str,
}

pub(super) fn page(heading: &Heading, view: &BatchView, tally: &Tally) -> Page {
    let drawn = view.build_weeks.iter().filter(|w| w.change.is_some() || leads(view, &w.node));
    Page {
        top: Top::new(heading),
        intake: intake::intake(tally),
        answer: answer(view),
        open: view.leading().next().is_none(),
        rests_on: rests_on(view),
        watched: view.watched.map(|(from, to)| {
            (local_date(from, heading.timezone), local_date(to, heading.timezone))
        }),
        rule: FLAG_RULE,
        remarks: remarks(view),
        rows: view.groups.iter().take(MOST_GROUPS).map(row).collect(),
        groups_left: view.groups.len().saturating_sub(MOST_GROUPS),
        looked_at: view.groups.len(),
        forest: forest::forest(view),
        funnel: funnel::funnel(view),
        lives: view.lives.iter().take(MOST_LIVES).map(survival::lives).collect(),
        lives_left: view.lives.len().saturating_sub(MOST_LIVES),
        weeks: drawn.take(MOST_WEEKS).map(weeks::weeks).collect(),
        units: view.ahead.iter().take(MOST_UNITS).map(unit).collect(),
        units_left: view.ahead.len().saturating_sub(MOST_UNITS),
        units_all: view.ahead.len(),
        failing: view.ahead.iter().filter(|u| u.failing()).count(),
        to_come: amount(view.ahead.iter().map(|u| u.to_come).sum()),
        swaps: view
            .diagnoses
            .iter()
            .take(MOST_SWAPS)
            .map(|d| Swap {
                vehicle: shown(&d.vehicle, NAME),
                node: shown(&d.node, NAME),
                day: local_date(d.time, heading.timezone),
                part: words(&[d.part_number.as_deref(), d.batch.as_deref()]),
                became: became(d.became),
            })
            .collect(),
        swaps_left: view.diagnoses.len().saturating_sub(MOST_SWAPS),
        swap_counts: view.swaps,
    }
}

/// Whether a flagged group of the node leads.
fn leads(view: &BatchView, node: &str) -> bool {
    view.leading().any(|group| group.node == node)
}

fn remarks(view: &BatchView) -> Vec<String> {
    let mut said: Vec<String> = view
        .lives
        .iter()
        .filter(|life| life.same_age < SAME_AGE)
        .map(|life| {
            format!(
                "{} of {}: only {:.0} % of its watched time lies at ages at which other modules of the \
                 node were watched too; that it is young or old cannot be told from that it is bad",
                shown(&life.node, NAME),
                said(life.by, &life.value),
                100.0 * life.same_age
            )
        })
        .collect();
    said.extend(view.remarks.iter().map(|remark| shown(remark, SENTENCE)));
    said
}

fn row(g: &Group) -> Row {
    Row {
        node: shown(&g.node, NAME),
        what: in_words(g),
        units: g.units,
        months: amount(g.unit_months),
        failures: amount(g.failures),
        expected: amount(g.expected),
        ratio: ratio(g.ratio),
        range: range(g.ratio_low, g.ratio_high),
        shrunk: ratio(g.shrunk_ratio),
        shrunk_range: range(g.shrunk_low, Some(g.shrunk_high)),
        p: p_value(g.p_adjusted),
        standing: match (g.flagged, &g.explained_by) {
            (false, _) => "not flagged",
            (true, None) => "flagged",
            (true, Some(_)) => "flagged, explained",
        },
        flagged: g.flagged,
        explained: g.explained_by.as_ref().map(|(by, value)| said(*by, value)),
    }
}

fn unit(u: &UnitAhead) -> Unit {
    Unit {
        vehicle: shown(&u.vehicle, NAME),
        node: shown(&u.node, NAME),
        group: said(u.by, &u.value),
        part: words(&[u.part_number.as_deref(), u.batch.as_deref()]),
        site: words(&[u.site.as_deref()]),
        age: u.age_months.map_or_else(|| "not known".to_owned(), amount),
        failing: u.failing(),
        failed: percent(u.failed),
        to_come: amount(u.to_come),
    }
}

fn words(parts: &[Option<&str>]) -> String {
    let known: Vec<String> = parts.iter().flatten().map(|part| shown(part, NAME)).collect();
    if known.is_empty() { "not known".to_owned() } else { known.join(", ") }
}
