//! Picture: every group's ratio against what was expected of it, with control limits.
//!
//! A few hundred groups are drawn one by one; more are counted into cells, whose size says how many
//! they hold. Flagged groups are always drawn.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::batches::{BatchView, Group};
use crate::numerics::soft_counts::funnel_limits;
use crate::reports::batches::wording::{amount, in_words};
use crate::reports::pages::at;
use crate::reports::wording::{ratio, shown};

/// Most groups drawn one by one.
const SINGLE: usize = 300;
/// Most flagged groups drawn.
const FLAGGED: usize = 60;
/// Width of a cell.
const CELL: f64 = 12.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 16.0;
/// Where a ratio of the smallest power of ten lies; below it stands the row of groups without failures.
const FOOT: f64 = 250.0;
const NONE: f64 = 268.0;
/// Steps of a limit's line.
const STEPS: u32 = 60;

#[derive(Serialize)]
pub(super) struct Funnel {
    across: Vec<(String, String)>,
    upwards: Vec<(String, String)>,
    one: String,
    limits: Vec<(&'static str, String)>,
    points: Vec<Point>,
    cells: Vec<(String, String, String, String)>,
    summary: String,
}

#[derive(Serialize)]
struct Point {
    x: String,
    y: String,
    title: String,
    flagged: bool,
}

/// Powers of ten from and to.
struct Axis {
    from: f64,
    to: f64,
}

impl Axis {
    fn of(values: impl Iterator<Item = f64>, least: f64, most: f64) -> Axis {
        let logs: Vec<f64> = values.filter(|v| *v > 0.0 && v.is_finite()).map(f64::log10).collect();
        let low = logs.iter().copied().fold(0.0, f64::min).floor().max(least);
        let high = logs.iter().copied().fold(1.0, f64::max).ceil().min(most);
        Axis { from: low, to: high }
    }

    fn share(&self, value: f64) -> f64 {
        ((value.max(1e-12).log10() - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }

    fn ticks(&self) -> Vec<f64> {
        let mut ticks = Vec::new();
        let mut power = self.from;
        while power <= self.to + 1e-9 {
            ticks.push(10_f64.powf(power));
            power += 1.0;
        }
        ticks
    }
}

/// `None` without groups.
pub(super) fn funnel(view: &BatchView) -> Option<Funnel> {
    if view.groups.is_empty() {
        return None;
    }
    let wide = Axis::of(view.groups.iter().map(|g| g.expected), -4.0, 5.0);
    let tall = Axis::of(view.groups.iter().map(|g| g.ratio), -2.0, 3.0);
    let x = |expected: f64| LEFT + (RIGHT - LEFT) * wide.share(expected);
    let y = |ratio: f64| match ratio > 0.0 {
        true => FOOT - (FOOT - TOP) * tall.share(ratio),
        false => NONE,
    };
    let limits = [(0.025, "inner"), (0.001, "outer")]
        .into_iter()
        .flat_map(|(tail, name)| {
            [true, false].map(|upper| (name, limit(tail, upper, &wide, &x, &y)))
        })
        .filter(|(_, path)| !path.is_empty())
        .collect();
    let point = |g: &Group| Point {
        x: at(x(g.expected)),
        y: at(y(g.ratio)),
        title: format!(
            "{}, {}: {} failures, {} expected",
            shown(&g.node, 60),
            in_words(g),
            amount(g.failures),
            amount(g.expected)
        ),
        flagged: g.flagged,
    };
    let (flagged, others): (Vec<&Group>, Vec<&Group>) = view.groups.iter().partition(|g| g.flagged);
    let many = others.len() > SINGLE;
    let mut points: Vec<Point> = Vec::new();
    if !many {
        points.extend(others.iter().map(|g| point(g)));
    }
    points.extend(flagged.iter().take(FLAGGED).map(|g| point(g)));
    let cells = if many { cells(&others, &x, &y) } else { Vec::new() };
    Some(Funnel {
        across: wide.ticks().into_iter().map(|v| (at(x(v)), amount_of(v))).collect(),
        upwards: tall.ticks().into_iter().map(|v| (at(y(v)), ratio(v))).collect(),
        one: at(y(1.0)),
        limits,
        points,
        cells,
        summary: format!(
            "{} groups, {} of them flagged; {} had no failure",
            view.groups.len(),
            flagged.len(),
            view.groups.iter().filter(|g| g.failures <= 0.0).count()
        ),
    })
}

fn amount_of(value: f64) -> String {
    if value >= 1.0 { format!("{value:.0}") } else { format!("{value}") }
}

/// A control limit as a line of steps.
fn limit(
    tail: f64,
    upper: bool,
    wide: &Axis,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> String {
    let mut path = String::new();
    for step in 0..=STEPS {
        let power = wide.from + (wide.to - wide.from) * f64::from(step) / f64::from(STEPS);
        let expected = 10_f64.powf(power);
        let Some((low, high)) = funnel_limits(expected.min(3e4), tail) else { continue };
        let value = if upper { high } else { low };
        // A lower limit of nothing lies off the picture.
        if value <= 0.0 {
            continue;
        }
        let word = if path.is_empty() { 'M' } else { 'L' };
        path.push_str(&format!("{word}{} {}", at(x(expected)), at(y(value))));
    }
    path
}

/// Groups by cell: corner, side by the number of groups in it, and how many they are.
fn cells(
    groups: &[&Group],
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Vec<(String, String, String, String)> {
    let mut counts: BTreeMap<(i64, i64), u64> = BTreeMap::new();
    for g in groups {
        #[expect(clippy::cast_possible_truncation, reason = "coordinates of a picture")]
        let cell = ((x(g.expected) / CELL).floor() as i64, (y(g.ratio) / CELL).floor() as i64);
        *counts.entry(cell).or_default() += 1;
    }
    let most = counts.values().copied().max().unwrap_or(1) as f64;
    counts
        .into_iter()
        .map(|((column, row), count)| {
            let side = 2.0 + (CELL - 3.0) * (count as f64 / most).sqrt();
            let corner = |place: i64| at(CELL * (place as f64 + 0.5) - side / 2.0);
            (corner(column), corner(row), at(side), count.to_string())
        })
        .collect()
}
