//! The fleet week by week as a picture: how many vehicles had an incident, were seen without one, were
//! seen too poorly, or were not seen. As good with three vehicles as with three thousand.

use serde::Serialize;

use super::words::short_span;
use crate::reports::pages::drawing::rests_on;
use crate::reports::pages::{at, round_step};
use crate::reports::wording::count;
use crate::weeks::{FleetWeek, Span, VehicleWeek, WeekCell};

const LEFT: f64 = 46.0;
const RIGHT: f64 = 712.0;
const TOP: f64 = 14.0;
const FLOOR: f64 = 190.0;
/// Widest column.
const WIDEST: f64 = 74.0;
/// A part lower than this has no room for its number.
const ROOM: f64 = 13.0;

/// A vehicle's small picture: width of a week, height of the whole.
const STEP: f64 = 12.0;
const TALL: f64 = 18.0;

#[derive(Serialize)]
pub(super) struct Weeks {
    columns: Vec<Column>,
    ticks: Vec<(String, String)>,
    description: String,
    rests_on: String,
}

#[derive(Serialize)]
struct Column {
    middle: String,
    label: String,
    now: bool,
    parts: Vec<Part>,
}

#[derive(Serialize)]
struct Part {
    class: &'static str,
    x: String,
    y: String,
    width: String,
    height: String,
    number: Option<(String, usize)>,
    title: String,
}

/// A vehicle's weeks in a row.
#[derive(Serialize)]
pub(super) struct Strip {
    width: String,
    description: String,
    marks: Vec<Mark>,
}

#[derive(Serialize)]
struct Mark {
    kind: &'static str,
    x: String,
    y: String,
    height: String,
}

/// In which of the four ways a vehicle was seen in a week.
fn way(cell: &WeekCell) -> usize {
    match cell {
        cell if cell.hits > 0 => 0,
        cell if cell.judged > 0 => 1,
        cell if cell.starts > 0 => 2,
        _ => 3,
    }
}

const WAYS: [(&str, &str); 4] = [
    ("w-hit", "with an incident"),
    ("w-clean", "seen without one"),
    ("w-poor", "seen too poorly to tell"),
    ("w-unseen", "not seen"),
];

pub(super) fn weeks(week: &FleetWeek) -> Option<Weeks> {
    let all = week.vehicles.len();
    if all == 0 || week.weeks.is_empty() {
        return None;
    }
    let height = |n: f64| n / all as f64 * (FLOOR - TOP);
    let room = (RIGHT - LEFT) / week.weeks.len() as f64;
    let width = (room * 0.72).min(WIDEST);
    let mut columns = Vec::new();
    let mut told = Vec::new();
    for (index, span) in week.weeks.iter().enumerate() {
        let mut numbers = [0_usize; 4];
        for v in &week.vehicles {
            if let Some(n) = v.cells.get(index).and_then(|cell| numbers.get_mut(way(cell))) {
                *n += 1;
            }
        }
        let middle = LEFT + room * (index as f64 + 0.5);
        let mut foot = FLOOR;
        let mut parts = Vec::new();
        for (n, (class, words)) in numbers.into_iter().zip(WAYS).filter(|(n, _)| *n > 0) {
            let tall = height(n as f64);
            parts.push(Part {
                class,
                x: at(middle - width / 2.0),
                y: at(foot - tall),
                width: at(width),
                height: at(tall),
                number: (tall >= ROOM).then(|| (at(foot - tall / 2.0 + 4.0), n)),
                title: format!("{}: {} {words}", short_span(*span), count(n, "vehicle")),
            });
            foot -= tall;
        }
        told.push(sentence(*span, numbers));
        let now = index + 1 == week.weeks.len();
        columns.push(Column { middle: at(middle), label: short_span(*span), now, parts });
    }
    let step = round_step(all as f64, 4.0).max(1.0);
    let ticks = (0..=4_u32)
        .map(|n| f64::from(n) * step)
        .filter(|n| *n <= all as f64)
        .map(|n| (at(FLOOR - height(n)), format!("{n:.0}")))
        .collect();
    Some(Weeks { columns, ticks, description: told.join(" "), rests_on: rests_on(all, "vehicle") })
}

fn sentence(span: Span, numbers: [usize; 4]) -> String {
    let parts: Vec<String> = numbers
        .into_iter()
        .zip(WAYS)
        .filter(|(n, _)| *n > 0)
        .map(|(n, (_, words))| format!("{n} {words}"))
        .collect();
    format!("{}: {}.", short_span(span), parts.join(", "))
}

/// One vehicle's weeks: a bar as high as the share of its starts with an incident, a ring for a week
/// without one, a cross for a week in which nothing could be seen.
pub(super) fn strip(v: &VehicleWeek, weeks: &[Span]) -> Strip {
    let mut marks = Vec::new();
    let mut told = Vec::new();
    for (index, (cell, span)) in v.cells.iter().zip(weeks).enumerate() {
        let x = index as f64 * STEP;
        let mark = |kind, x, y, height| Mark { kind, x: at(x), y: at(y), height: at(height) };
        if cell.hits > 0 {
            let share = cell.hits as f64 / cell.judged.max(1) as f64;
            let tall = (share * (TALL - 2.0)).max(3.0);
            marks.push(mark("bar", x + 2.0, TALL - 1.0 - tall, tall));
        } else if cell.judged > 0 {
            marks.push(mark("ring", x + STEP / 2.0, TALL - 5.0, 0.0));
        } else {
            marks.push(mark("cross", x + STEP / 2.0, TALL - 5.0, 0.0));
        }
        told.push(match cell.judged {
            0 => format!("{}: nothing could be seen", short_span(*span)),
            judged => format!("{}: {} of {judged} starts", short_span(*span), cell.hits),
        });
    }
    let width = at(v.cells.len() as f64 * STEP);
    Strip { width, description: told.join("; "), marks }
}
