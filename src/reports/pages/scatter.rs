//! Every start as a point: temperature against the time of the start, incidents marked by shape.

use serde::Serialize;

use super::at;
use super::drawing::{Axis, LEFT, RIGHT, Tick, thinned};
use crate::conditions::Exposure;
use crate::reports::Heading;
use crate::reports::wording::{count, counted, local, local_date, number};

const TOP: f64 = 14.0;
const BOTTOM: f64 = 236.0;
/// Height of the row of starts whose temperature is not known.
const UNKNOWN_ROW: f64 = 262.0;
/// Most starts without incident that are drawn; starts with one are always drawn.
const MOST_DRAWN: usize = 1500;
const DAY: f64 = 86_400.0;

#[derive(Serialize)]
pub(super) struct Scatter {
    points: Vec<Point>,
    across: Vec<Tick>,
    upwards: Vec<Tick>,
    any_unknown: bool,
    summary: String,
    thinned: Option<String>,
}

#[derive(Serialize)]
struct Point {
    x: String,
    y: String,
    /// `incident`, `clear` or `unjudged`.
    shape: &'static str,
    /// `wet`, `dry` or `unknown`.
    moisture: &'static str,
    title: String,
}

/// The picture; `None` without starts.
pub(super) fn scatter(heading: &Heading, exposures: &[Exposure]) -> Option<Scatter> {
    let first = exposures.iter().map(|e| e.start).min()?;
    let last = exposures.iter().map(|e| e.start).max()?;
    let length = last.seconds_since(first).max(3600.0);
    let across =
        |e: &Exposure| LEFT + 8.0 + e.start.seconds_since(first) / length * (RIGHT - LEFT - 16.0);
    let upwards = axis(exposures);
    let thin = thinned(exposures, |e| e.incidents > 0, MOST_DRAWN, "starts without incident");
    let mut drawn = thin.drawn;
    // Incidents last, so that no other mark covers them.
    drawn.sort_by_key(|e| (e.incidents > 0, e.start));
    Some(Scatter {
        points: drawn.iter().map(|e| point(heading, e, across(e), &upwards)).collect(),
        across: (0..5)
            .map(|i| {
                let share = f64::from(i) / 4.0;
                let when = first.plus_seconds(share * length);
                let label = if length < 3.0 * DAY {
                    local(when, heading.timezone).get(5..16).unwrap_or_default().to_owned()
                } else {
                    local_date(when, heading.timezone)
                };
                Tick { at: at(LEFT + 8.0 + share * (RIGHT - LEFT - 16.0)), label }
            })
            .collect(),
        upwards: upwards.ticks(),
        any_unknown: exposures.iter().any(|e| temperature(e).is_none()),
        summary: summary(exposures),
        thinned: thin.said,
    })
}

fn temperature(exposure: &Exposure) -> Option<f64> {
    exposure.ambient_c.as_ref().map(|s| s.value).filter(|v| v.is_finite())
}

fn summary(exposures: &[Exposure]) -> String {
    let with = exposures.iter().filter(|e| e.incidents > 0);
    let wet = |e: &&Exposure| e.wet == Some(true);
    format!(
        "{}, {} with an incident ({} of these wet); {} wet in all; temperature not known for {}, \
         moisture for {}",
        count(exposures.len(), "start"),
        with.clone().count(),
        with.filter(wet).count(),
        exposures.iter().filter(wet).count(),
        exposures.iter().filter(|e| temperature(e).is_none()).count(),
        exposures.iter().filter(|e| e.wet.is_none()).count(),
    )
}

fn point(heading: &Heading, exposure: &Exposure, x: f64, upwards: &Axis) -> Point {
    let known = temperature(exposure);
    let moisture = match exposure.wet {
        Some(true) => "wet",
        Some(false) => "dry",
        None => "unknown",
    };
    let shape = match exposure {
        e if e.incidents > 0 => "incident",
        e if e.judged => "clear",
        _ => "unjudged",
    };
    let warmth = known.map_or_else(
        || "temperature not known".to_owned(),
        |c| format!("{} \u{b0}C", number(c, 1)),
    );
    let what = match shape {
        "incident" => counted(u64::from(exposure.incidents), "incident"),
        "clear" => "no incident".to_owned(),
        _ => "could not have shown an incident".to_owned(),
    };
    Point {
        x: at(x),
        y: at(known.and_then(|c| upwards.place(c)).unwrap_or(UNKNOWN_ROW)),
        shape,
        moisture,
        title: format!(
            "{}: {what}, {warmth}, {}",
            local(exposure.start, heading.timezone),
            if moisture == "unknown" { "moisture not known" } else { moisture }
        ),
    }
}

/// The temperature axis, at least 4 K long.
fn axis(exposures: &[Exposure]) -> Axis {
    Axis::around(exposures.iter().filter_map(temperature), 4.0, (BOTTOM, TOP), 6.0)
        .unwrap_or_else(|| Axis::linear((0.0, 10.0), (BOTTOM, TOP), 5.0))
}
