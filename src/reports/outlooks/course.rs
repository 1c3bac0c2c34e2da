//! The picture of the course of a start: the share of starts that have had their incident.

use serde::Serialize;

use crate::conditions::TimeCourse;
use crate::numerics::survival::Curve;
use crate::reports::pages::{at, round_step};

/// Left and right end of the time axis, top and bottom of the share axis.
const FRAME: [f64; 4] = [46.0, 700.0, 16.0, 190.0];

#[derive(Serialize)]
pub(super) struct Picture {
    lines: Vec<Line>,
    across: Vec<Tick>,
    upwards: Vec<Tick>,
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

#[derive(Serialize)]
struct Tick {
    at: String,
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
    let [left, right, high, low] = FRAME;
    let x = |seconds: f64| left + (right - left) * (seconds / until).clamp(0.0, 1.0);
    let y = |share: f64| low - (low - high) * (share / top).clamp(0.0, 1.0);
    let lines = curves
        .iter()
        .map(|(style, curve, label)| {
            let mut path = format!("M{} {}", at(x(0.0)), at(y(0.0)));
            for step in curve.steps.iter().take_while(|step| step.time <= until) {
                path.push_str(&format!(" H{} V{}", at(x(step.time)), at(y(1.0 - step.free))));
            }
            path.push_str(&format!(" H{}", at(x(until.min(curve.longest)))));
            Line { path, style, label: label.clone() }
        })
        .collect();
    let (unit, seconds) = if until < 180.0 { ("seconds", 1.0) } else { ("minutes", 60.0) };
    let step = round_step(until / seconds, 7.0);
    let mut across = Vec::new();
    let mut time = 0.0;
    while time * seconds <= until {
        across.push(Tick { at: at(x(time * seconds)), label: trimmed(time) });
        time += step;
    }
    let step = round_step(top * 100.0, 5.0);
    let mut upwards = Vec::new();
    let mut percent = 0.0;
    while percent <= top * 100.0 + 1e-9 {
        upwards.push(Tick { at: at(y(percent / 100.0)), label: trimmed(percent) });
        percent += step;
    }
    let summary = curves.into_iter().map(|(_, _, label)| label).collect::<Vec<_>>().join("; ");
    Some(Picture { lines, across, upwards, unit, summary })
}

fn named(said: &str, curve: &Curve) -> String {
    let events: f64 = curve.steps.iter().map(|step| step.events).sum();
    format!("starts {said}: {events:.0} of {} had an incident", curve.subjects)
}

fn trimmed(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
