//! When it happens: how the risk of an incident depends on conditions, with its uncertainty.

use serde::Serialize;

use super::{at, scatter};
use crate::conditions::ConditionRisk;
use crate::reports::Heading;
use crate::reports::wording::{UNKNOWN, p_value, ratio, shown};
use crate::suspects::VehicleFinding;

/// Width of an interval picture; its middle is a risk ratio of 1.
const WIDTH: f64 = 120.0;
/// Decades shown on either side of a risk ratio of 1.
const DECADES: f64 = 2.0;

#[derive(Serialize)]
pub(super) struct When {
    rows: Vec<Row>,
    scatter: Option<scatter::Scatter>,
}

#[derive(Serialize)]
struct Row {
    condition: String,
    with: String,
    without: String,
    unknown: u32,
    ratio: String,
    low: String,
    high: String,
    interval: Option<Interval>,
    p: String,
    reading: &'static str,
}

#[derive(Serialize)]
struct Interval {
    left: String,
    width: String,
    middle: Option<String>,
    open: bool,
}

pub(super) fn when(heading: &Heading, finding: &VehicleFinding) -> When {
    When {
        rows: finding.conditions.iter().map(row).collect(),
        scatter: scatter::scatter(heading, &finding.exposures),
    }
}

fn row(risk: &ConditionRisk) -> Row {
    let words = |value: Option<f64>, none: &str| value.map_or_else(|| none.to_owned(), ratio);
    Row {
        condition: shown(&risk.condition, 120),
        with: format!("{} of {}", risk.incidents_with, risk.starts_with),
        without: format!("{} of {}", risk.incidents_without, risk.starts_without),
        unknown: risk.starts_unknown,
        ratio: words(risk.risk_ratio, "not defined"),
        low: words(risk.low, UNKNOWN),
        high: words(risk.high, "no upper limit"),
        interval: interval(risk),
        p: p_value(risk.p_value),
        reading: reading(risk),
    }
}

fn unclear(p: f64) -> bool {
    !p.is_finite() || p >= 0.05
}

/// Whether no condition could have stood out, however uneven the incidents fell.
pub(super) fn too_few(finding: &VehicleFinding) -> bool {
    finding.conditions.iter().all(|risk| unclear(risk.smallest_p))
}

fn reading(risk: &ConditionRisk) -> &'static str {
    if risk.starts_without == 0 {
        "no start without it to compare"
    } else if unclear(risk.smallest_p) {
        "too few starts to tell"
    } else if unclear(risk.p_value) {
        "no clear dependence"
    } else if risk.risk_ratio.is_some_and(|r| r < 1.0) {
        "rarer with it"
    } else {
        "more often with it"
    }
}

fn interval(risk: &ConditionRisk) -> Option<Interval> {
    let place = |r: f64| {
        let decades = if r > 0.0 { r.log10().clamp(-DECADES, DECADES) } else { -DECADES };
        (decades / DECADES + 1.0) / 2.0 * WIDTH
    };
    let left = place(risk.low.filter(|l| l.is_finite())?);
    let high = risk.high.filter(|h| h.is_finite());
    let right = high.map_or(WIDTH, place);
    Some(Interval {
        left: at(left),
        width: at((right - left).max(1.5)),
        middle: risk.risk_ratio.filter(|r| r.is_finite()).map(|r| at(place(r))),
        open: high.is_none(),
    })
}

/// The strongest condition in a few words; `None` when none stands out.
pub(super) fn strongest(finding: &VehicleFinding) -> Option<String> {
    finding.conditions.iter().find(|risk| risk.p_value < 0.05).map(|risk| {
        format!(
            "{}: {} of {} starts, else {} of {}",
            shown(&risk.condition, 60),
            risk.incidents_with,
            risk.starts_with,
            risk.incidents_without,
            risk.starts_without
        )
    })
}
