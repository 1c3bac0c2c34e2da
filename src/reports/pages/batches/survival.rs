//! Picture: how the modules of a flagged group live beside the others of their node.

use serde::Serialize;

use crate::batches::{Life, LifeCurve};
use crate::numerics::survival::{Curve, Step};
use crate::reports::batches::wording::{amount, said};
use crate::reports::pages::{NAME, at, round_step};
use crate::reports::wording::{counted, p_value, shown};

const LEFT: f64 = 54.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 14.0;
const FOOT: f64 = 214.0;
/// Most steps drawn of one curve; of more, every so many-th.
const MOST_STEPS: usize = 400;

#[derive(Serialize)]
pub(super) struct Lives {
    name: String,
    across: Vec<(String, String)>,
    upwards: Vec<(String, String)>,
    own: Option<Drawn>,
    others: Option<Drawn>,
    summary: String,
    own_words: String,
    other_words: String,
    log_rank: String,
}

#[derive(Serialize)]
struct Drawn {
    line: String,
    band: String,
}

pub(super) fn lives(life: &Life) -> Lives {
    let curves = || [&life.own, &life.others].into_iter().filter_map(|one| one.curve.as_ref());
    let longest = curves().map(|c| c.longest).fold(life.begins, f64::max);
    let span = (longest - life.begins).max(0.1);
    let steps = || curves().flat_map(|c| &c.steps);
    let lowest = steps().map(|s| s.low.unwrap_or(s.free)).fold(1.0, f64::min);
    // The scale begins at a round share below the lowest one; never a picture of 0.99 to 1 alone.
    let floor = ((lowest * 10.0).floor() / 10.0).clamp(0.0, 0.9);
    let x = |age: f64| LEFT + (RIGHT - LEFT) * ((age - life.begins) / span).clamp(0.0, 1.0);
    let y = |share: f64| FOOT - (FOOT - TOP) * ((share - floor) / (1.0 - floor)).clamp(0.0, 1.0);
    let draw = |one: &LifeCurve| one.curve.as_ref().map(|curve| drawn(curve, life.begins, &x, &y));
    let step = round_step(span, 8.0);
    let mut across = Vec::new();
    let mut age = (life.begins / step).ceil() * step;
    while age <= longest + 1e-9 {
        across.push((at(x(age)), amount_of(age)));
        age += step;
    }
    let shares = round_step(1.0 - floor, 5.0);
    let mut upwards = Vec::new();
    let mut share = 1.0;
    while share >= floor - 1e-9 {
        upwards.push((at(y(share)), format!("{:.0} %", 100.0 * share)));
        share -= shares;
    }
    let name = format!("{}, {}", shown(&life.node, NAME), said(life.by, &life.value));
    Lives {
        summary: format!(
            "Share of modules without a failure by age, from {} months on: {} in the group, {} of the others",
            amount_of(life.begins),
            ends(&life.own),
            ends(&life.others)
        ),
        across,
        upwards,
        own: draw(&life.own),
        others: draw(&life.others),
        own_words: words(&life.own),
        other_words: words(&life.others),
        log_rank: match &life.log_rank {
            Some(test) => format!("log-rank test between the two: p {}", p_value(test.p_value)),
            None => "the two were never watched at the same age with a failure: nothing to test"
                .to_owned(),
        },
        name,
    }
}

fn amount_of(age: f64) -> String {
    if (age - age.round()).abs() < 1e-6 { format!("{age:.0}") } else { format!("{age:.1}") }
}

fn ends(one: &LifeCurve) -> String {
    let curve = one.curve.as_ref();
    match curve.and_then(|curve| curve.steps.last()) {
        Some(last) => format!("{:.0} % at the last failure", 100.0 * last.free),
        None if curve.is_some() => "100 % throughout".to_owned(),
        None => "none watched".to_owned(),
    }
}

fn words(one: &LifeCurve) -> String {
    let base = format!("{}, {} failures", counted(one.units, "module"), amount(one.failures));
    match (&one.weibull, one.scale) {
        (Some(w), _) => {
            let end =
                |end: Option<f64>| end.map_or_else(|| "open".to_owned(), |v| format!("{v:.2}"));
            let kind = match (w.shape_low, w.shape_high) {
                (_, Some(high)) if high < 1.0 => "they fail early in life",
                (Some(low), _) if low > 1.0 => "they wear",
                _ => "one rate at any age is possible",
            };
            format!(
                "{base}; Weibull shape {:.2} ({} to {}): {kind}; 63 % failed at {} months",
                w.shape,
                end(w.shape_low),
                end(w.shape_high),
                amount(w.scale)
            )
        }
        (None, Some(scale)) => {
            format!(
                "{base}: too few for a shape; with that of the others 63 % failed at {} months",
                amount(scale)
            )
        }
        (None, None) => format!("{base}: too few for a life distribution"),
    }
}

fn drawn(curve: &Curve, begins: f64, x: &dyn Fn(f64) -> f64, y: &dyn Fn(f64) -> f64) -> Drawn {
    let every = curve.steps.len().div_ceil(MOST_STEPS).max(1);
    let last = curve.steps.len().saturating_sub(1);
    let kept: Vec<&Step> = curve
        .steps
        .iter()
        .enumerate()
        .filter(|(place, _)| place % every == 0 || *place == last)
        .map(|(_, step)| step)
        .collect();
    let stairs = |value: &dyn Fn(&Step) -> f64| {
        let mut points = vec![(x(begins), y(1.0))];
        let mut level = y(1.0);
        for step in &kept {
            points.push((x(step.time), level));
            level = y(value(step));
            points.push((x(step.time), level));
        }
        points.push((x(curve.longest), level));
        points
    };
    let path = |points: &[(f64, f64)]| {
        points.iter().map(|(x, y)| format!("{} {}", at(*x), at(*y))).collect::<Vec<_>>().join("L")
    };
    // Where an end of the interval is not known the band is as wide as it can be.
    let mut outline = stairs(&|step| step.high.unwrap_or(step.free));
    let mut below = stairs(&|step| step.low.unwrap_or(0.0));
    below.reverse();
    outline.extend(below);
    Drawn {
        line: format!("M{}", path(&stairs(&|step| step.free))),
        band: format!("M{}Z", path(&outline)),
    }
}
