//! Picture: the strongest groups with the intervals of their ratios, raw and shrunk.

use serde::Serialize;

use crate::batches::{BatchView, Group};
use crate::reports::batches::wording::{amount, in_words};
use crate::reports::pages::at;
use crate::reports::wording::{counted, ratio, shown};

/// Most groups drawn.
const MOST: usize = 20;
/// Height of a row.
const ROW: f64 = 24.0;
/// Where the axis begins and ends.
const LEFT: f64 = 300.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 22.0;

#[derive(Serialize)]
pub(super) struct Forest {
    height: String,
    foot: String,
    one: String,
    ticks: Vec<(String, String)>,
    rows: Vec<Row>,
    summary: String,
    rests_on: String,
}

#[derive(Serialize)]
struct Row {
    label: String,
    title: String,
    y: String,
    raw_from: String,
    raw_to: String,
    open: bool,
    shrunk_from: String,
    shrunk_to: String,
    shrunk: String,
    flagged: bool,
}

/// `None` without groups.
pub(super) fn forest(view: &BatchView) -> Option<Forest> {
    let drawn: Vec<&Group> = view.groups.iter().take(MOST).collect();
    let most = drawn
        .iter()
        .flat_map(|g| [g.shrunk_high, g.ratio_high.unwrap_or(g.ratio)])
        .filter(|v| v.is_finite())
        .fold(10.0, f64::max);
    // From a tenth to the power of ten above, at most a thousand: what reaches further is cut.
    let decades = most.log10().ceil().clamp(1.0, 3.0);
    let across = |value: f64| {
        let place = (value.max(1e-9).log10() + 1.0) / (decades + 1.0);
        LEFT + (RIGHT - LEFT) * place.clamp(0.0, 1.0)
    };
    let foot = TOP + ROW * drawn.len() as f64;
    let mut ticks = Vec::new();
    let mut value = 0.1;
    while value <= 10_f64.powf(decades) * 1.001 {
        ticks.push((at(across(value)), ratio(value)));
        value *= 10.0;
    }
    let rows = drawn
        .iter()
        .zip(0u32..)
        .map(|(g, place)| {
            let high = g.ratio_high.filter(|high| across(*high) < RIGHT);
            Row {
                label: shown(&format!("{}, {}", g.node, in_words(g)), 44),
                title: format!(
                    "{}, {}: ratio {}, shrunk {}",
                    shown(&g.node, 60),
                    in_words(g),
                    ratio(g.ratio),
                    ratio(g.shrunk_ratio)
                ),
                y: at(TOP + ROW * (f64::from(place) + 0.5)),
                raw_from: at(across(g.ratio_low)),
                raw_to: at(high.map_or(RIGHT, across)),
                open: high.is_none(),
                shrunk_from: at(across(g.shrunk_low)),
                shrunk_to: at(across(g.shrunk_high)),
                shrunk: at(across(g.shrunk_ratio)),
                flagged: g.flagged,
            }
        })
        .collect();
    let first = drawn.first()?;
    Some(Forest {
        height: at(foot + 34.0),
        foot: at(foot),
        one: at(across(1.0)),
        ticks,
        rows,
        summary: format!(
            "The {} strongest of {} groups; the first is {}, {} with a shrunk ratio of {}",
            drawn.len(),
            view.groups.len(),
            shown(&first.node, 60),
            in_words(first),
            ratio(first.shrunk_ratio)
        ),
        rests_on: format!(
            "{} failures among {}",
            amount(view.nodes.iter().map(|n| n.failures).sum()),
            counted(view.nodes.iter().map(|n| n.units).sum(), "module")
        ),
    })
}
