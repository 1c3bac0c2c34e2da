//! When it happens: how the risk of an incident depends on conditions, with its uncertainty.

use serde::Serialize;

use super::drawing::{Axis, Interval, interval};
use super::{cold_and_wet, scatter};
use crate::conditions::ConditionRisk;
use crate::reports::Heading;
use crate::reports::wording::{UNKNOWN, condition, p_value, ratio};
use crate::suspects::VehicleFinding;

/// Width of an interval picture; its middle is a risk ratio of 1.
const WIDTH: f64 = 120.0;
/// The least and the largest risk ratio shown.
const SHOWN: (f64, f64) = (0.01, 100.0);

#[derive(Serialize)]
pub(super) struct When {
    rows: Vec<Row>,
    piles: Option<cold_and_wet::ColdAndWet>,
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

pub(super) fn when(heading: &Heading, finding: &VehicleFinding) -> When {
    When {
        rows: finding.conditions.iter().map(row).collect(),
        piles: cold_and_wet::cold_and_wet(&finding.exposures),
        scatter: scatter::scatter(heading, &finding.exposures),
    }
}

fn row(risk: &ConditionRisk) -> Row {
    let words = |value: Option<f64>, none: &str| value.map_or_else(|| none.to_owned(), ratio);
    Row {
        condition: condition(&risk.condition),
        with: format!("{} of {}", risk.incidents_with, risk.starts_with),
        without: format!("{} of {}", risk.incidents_without, risk.starts_without),
        unknown: risk.starts_unknown,
        ratio: words(risk.risk_ratio, "not defined"),
        low: words(risk.low, UNKNOWN),
        high: words(risk.high, "no upper limit"),
        interval: interval(
            &Axis::logarithmic(SHOWN, (0.0, WIDTH)),
            risk.low,
            risk.risk_ratio,
            risk.high,
        ),
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

/// The strongest condition in a few words; `None` when none stands out.
pub(super) fn strongest(finding: &VehicleFinding) -> Option<String> {
    finding.conditions.iter().find(|risk| risk.p_value < 0.05).map(|risk| {
        format!(
            "{}: {} of {} starts, else {} of {}",
            condition(&risk.condition),
            risk.incidents_with,
            risk.starts_with,
            risk.incidents_without,
            risk.starts_without
        )
    })
}
