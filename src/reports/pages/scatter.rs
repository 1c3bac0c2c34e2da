//! Every start as a point: temperature against the time of the start, incidents marked by shape.

use serde::Serialize;

use super::{at, round_step};
use crate::conditions::Exposure;
use crate::reports::Heading;
use crate::reports::wording::{count, local, local_date, number};

const LEFT: f64 = 46.0;
const RIGHT: f64 = 704.0;
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

#[derive(Serialize)]
struct Tick {
    at: String,
    label: String,
}

/// The picture; `None` without starts.
pub(super) fn scatter(heading: &Heading, exposures: &[Exposure]) -> Option<Scatter> {
    let first = exposures.iter().map(|e| e.start).min()?;
    let last = exposures.iter().map(|e| e.start).max()?;
    let length = last.seconds_since(first).max(3600.0);
    let across =
        |e: &Exposure| LEFT + 8.0 + e.start.seconds_since(first) / length * (RIGHT - LEFT - 16.0);
    let scale = Scale::of(exposures);
    let calm = exposures.iter().filter(|e| e.incidents == 0).count();
    let stride = calm.div_ceil(MOST_DRAWN).max(1);
    let mut seen = 0_usize;
    let mut drawn: Vec<&Exposure> = Vec::new();
    for exposure in exposures {
        if exposure.incidents > 0 {
            drawn.push(exposure);
        } else {
            if seen.is_multiple_of(stride) {
                drawn.push(exposure);
            }
            seen += 1;
        }
    }
    // Incidents last, so that no other mark covers them.
    drawn.sort_by_key(|e| (e.incidents > 0, e.start));
    Some(Scatter {
        points: drawn.iter().map(|e| point(heading, e, across(e), &scale)).collect(),
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
        upwards: scale.ticks(),
        any_unknown: exposures.iter().any(|e| temperature(e).is_none()),
        summary: summary(exposures),
        thinned: (stride > 1)
            .then(|| format!("of {calm} starts without incident, one in {stride} is drawn")),
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

fn point(heading: &Heading, exposure: &Exposure, x: f64, scale: &Scale) -> Point {
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
        "incident" => count(usize::try_from(exposure.incidents).unwrap_or(usize::MAX), "incident"),
        "clear" => "no incident".to_owned(),
        _ => "could not have shown an incident".to_owned(),
    };
    Point {
        x: at(x),
        y: at(known.map_or(UNKNOWN_ROW, |c| scale.height(c))),
        shape,
        moisture,
        title: format!(
            "{}: {what}, {warmth}, {}",
            local(exposure.start, heading.timezone),
            if moisture == "unknown" { "moisture not known" } else { moisture }
        ),
    }
}

/// The temperature axis.
struct Scale {
    low: f64,
    high: f64,
    step: f64,
}

impl Scale {
    fn of(exposures: &[Exposure]) -> Scale {
        let known = || exposures.iter().filter_map(temperature);
        let low = known().min_by(f64::total_cmp).unwrap_or(0.0);
        let high = known().max_by(f64::total_cmp).unwrap_or(10.0);
        let step = round_step((high - low).max(4.0), 6.0);
        Scale {
            low: (low / step).floor() * step,
            high: ((high / step).ceil() * step).max((low / step).floor() * step + step),
            step,
        }
    }

    fn height(&self, celsius: f64) -> f64 {
        BOTTOM - (celsius - self.low) / (self.high - self.low) * (BOTTOM - TOP)
    }

    fn ticks(&self) -> Vec<Tick> {
        let mut ticks = Vec::new();
        let mut value = self.low;
        while value <= self.high + self.step / 2.0 && ticks.len() < 12 {
            ticks.push(Tick { at: at(self.height(value)), label: number(value, 0) });
            value += self.step;
        }
        ticks
    }
}
