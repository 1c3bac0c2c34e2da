//! Picture: a node's failures along the weeks in which its modules were built, beside what all weeks
//! alike would give.

use serde::Serialize;

use crate::batches::{BuildWeek, BuildWeeks};
use crate::reports::batches::wording::amount;
use crate::reports::pages::{NAME, at, round_step};
use crate::reports::wording::{counted, ratio, shown};

const LEFT: f64 = 46.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 14.0;
const FOOT: f64 = 164.0;
/// Most bars; of more weeks, neighbours are added up.
const MOST_BARS: usize = 110;

#[derive(Serialize)]
pub(super) struct Weeks {
    node: String,
    bars: Vec<Bar>,
    upwards: Vec<(String, String)>,
    first: String,
    last: String,
    together: usize,
    change: Option<String>,
    mark: Option<String>,
    summary: String,
    unknown: Option<String>,
}

#[derive(Serialize)]
struct Bar {
    x: String,
    width: String,
    y: String,
    height: String,
    expected: String,
    to: String,
    title: String,
}

pub(super) fn weeks(node: &BuildWeeks) -> Weeks {
    let together = node.weeks.len().div_ceil(MOST_BARS).max(1);
    let chunks: Vec<&[BuildWeek]> = node.weeks.chunks(together).collect();
    let sum =
        |weeks: &[BuildWeek], value: fn(&BuildWeek) -> f64| weeks.iter().map(value).sum::<f64>();
    let failures = |weeks: &[BuildWeek]| sum(weeks, |w| w.failures);
    let expected = |weeks: &[BuildWeek]| sum(weeks, |w| w.expected);
    let most = chunks.iter().flat_map(|c| [failures(c), expected(c)]).fold(0.1, f64::max);
    let wide = (RIGHT - LEFT) / chunks.len().max(1) as f64;
    let y = |value: f64| FOOT - (FOOT - TOP) * (value / most);
    let mut changes_at = None;
    let bars = chunks
        .iter()
        .zip(0u32..)
        .map(|(chunk, place)| {
            let x = LEFT + wide * f64::from(place);
            let new = node.change.as_ref().map(|change| &change.week);
            if chunk.iter().any(|week| Some(&week.week) == new) {
                changes_at = Some(at(x));
            }
            let own = failures(chunk);
            let name = match chunk {
                [one] => shown(&one.week, NAME),
                [first, .., last] => {
                    format!("{} to {}", shown(&first.week, NAME), shown(&last.week, NAME))
                }
                [] => String::new(),
            };
            Bar {
                x: at(x + 0.1 * wide),
                width: at(0.8 * wide),
                y: at(y(own)),
                height: at(FOOT - y(own)),
                expected: at(y(expected(chunk))),
                to: at(x + 0.9 * wide),
                title: format!(
                    "{name}: {}, {} failures, {} if all weeks were alike",
                    counted(chunk.iter().map(|w| w.units).sum(), "module"),
                    amount(own),
                    amount(expected(chunk))
                ),
            }
        })
        .collect();
    let step = round_step(most, 4.0);
    let mut upwards = Vec::new();
    let mut value = 0.0;
    while value <= most + 1e-9 {
        upwards.push((at(y(value)), amount(value)));
        value += step;
    }
    let name = |week: Option<&BuildWeek>| week.map(|w| shown(&w.week, NAME)).unwrap_or_default();
    Weeks {
        summary: format!(
            "{} failures in {} build weeks from {} to {}",
            amount(failures(&node.weeks)),
            node.weeks.len(),
            name(node.weeks.first()),
            name(node.weeks.last())
        ),
        node: shown(&node.node, NAME),
        first: name(node.weeks.first()),
        last: name(node.weeks.last()),
        bars,
        upwards,
        together,
        change: node.change.as_ref().map(|change| {
            format!(
                "The rate changes with build week {} (95 %: {} to {}): {} times the mean before, {} after",
                shown(&change.week, NAME),
                shown(&change.earliest, NAME),
                shown(&change.latest, NAME),
                ratio(change.before),
                ratio(change.after)
            )
        }),
        mark: changes_at,
        unknown: (node.unknown > 0).then(|| counted(node.unknown, "module")),
    }
}
