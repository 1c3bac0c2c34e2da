//! The picture of the course of a start: the share of starts that have had their incident.

use serde::Serialize;

use crate::conditions::TimeCourse;
use crate::numerics::survival::Curve;
use crate::reports::pages::drawing::{Axis, LEFT, RIGHT, Tick, rests_on, steps};

/// Top and bottom of the share axis.
const HEIGHTS: (f64, f64) = (190.0, 16.0);

#[derive(Serialize)]
pub(super) struct Picture {
    lines: Vec<Line>,
    across: Vec<Tick>,
    upwards: Vec<Tick>,
    /// For each line, how many starts were still at risk at each mark of the time axis.
    at_risk: Vec<Vec<Tick>>,
    rests_on: String,
    /// Of the time axis.
    unit: &'static str,
    summary: String,
}

#[derive(Serialize)]
struct Line {
    path: String,
    /// `with`, `without`, `all`: how it is drawn.
    style: &'static str,
    label: String,
}

pub(super) fn picture(course: &TimeCourse) -> Option<Picture> {
    let last = course.times_s.last().copied()?;
    let until = course.curve.longest.min((last * 1.4).max(60.0));
    if !(until > 0.0 && until.is_finite()) {
        return None;
    }
    let curves: Vec<(&'static str, &Curve, String)> = match &course.split {
        Some(split) => vec![
            ("with", &split.with, named(split.said, &split.with)),
            ("without", &split.without, named(split.otherwise, &split.without)),
        ],
        None => vec![("all", &course.curve, named("all", &course.curve))],
    };
    let highest = curves
        .iter()
        .filter_map(|(_, curve, _)| curve.at(until).map(|step| 1.0 - step.free))
        .fold(0.0, f64::max);
    let top = ((highest * 10.0).ceil() / 10.0).clamp(0.1, 1.0);
    let (unit, seconds) = if until < 180.0 { ("seconds", 1.0) } else { ("minutes", 60.0) };
    let across = Axis::linear((0.0, until / seconds), (LEFT, RIGHT), 7.0);
    let upwards = Axis::linear((0.0, top * 100.0), HEIGHTS, 5.0);
    let lines = curves
        .iter()
        .map(|(style, curve, label)| {
            let had = curve.steps.iter().map(|s| (s.time / seconds, 100.0 * (1.0 - s.free)));
            let path = steps(&across, &upwards, 0.0, had, until.min(curve.longest) / seconds);
            Line { path, style, label: label.clone() }
        })
        .collect();
    let at_risk = curves
        .iter()
        .map(|(_, curve, _)| {
            let risk = |time: f64| curve.at_risk(time * seconds).to_string();
            let marks = across.marks().into_iter();
            marks.map(|(time, tick)| Tick { label: risk(time), ..tick }).collect()
        })
        .collect();
    let summary = curves.into_iter().map(|(_, _, label)| label).collect::<Vec<_>>().join("; ");
    let subjects = usize::try_from(course.curve.subjects).unwrap_or(usize::MAX);
    Some(Picture {
        lines,
        across: across.ticks(),
        upwards: upwards.ticks(),
        at_risk,
        rests_on: rests_on(subjects, "start"),
        unit,
        summary,
    })
}

fn named(said: &str, curve: &Curve) -> String {
    let events: f64 = curve.steps.iter().map(|step| step.events).sum();
    format!("starts {said}: {events:.0} of {} had an incident", curve.subjects)
}
