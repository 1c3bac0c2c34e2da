//! How the modules of a group live, beside the other modules of their node.
//!
//! The axis is age in months since fitting. Most modules are first seen at some age: curves begin at the
//! first age at which enough of both are watched, and speak of those that have lived so long.

use super::flags::Group;
use super::groups::By;
use super::units::Unit;
use crate::numerics::survival::{Curve, LogRank, Watched, kaplan_meier, log_rank};
use crate::numerics::weibull::{Weibull, fit_weibull, scale_at_shape};

use super::compare::CONFIDENCE;

/// A curve begins where so many are watched, or half of a smaller group (Klein & Moeschberger 2003 warn
/// of early ages with few at risk; the number is common practice, no source).
const ENOUGH: usize = 10;
/// Fewest failures from which a Weibull shape is fitted.
const FIT_FROM: f64 = 5.0;
/// Fewest failures from which a scale is fitted at a shape taken from the others.
const SCALE_FROM: f64 = 2.5;
/// A probability of failure below this counts as none here: a curve knows only events.
const LEAST: f64 = 0.05;

/// How some modules live.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeCurve {
    /// Modules watched at or after the age at which the curve begins.
    pub units: u64,
    /// Failures among them, by probability.
    pub failures: f64,
    /// Kaplan-Meier curve from that age on, 95 % intervals; `None` without modules.
    pub curve: Option<Curve>,
    /// Weibull distribution, from five failures on; on all ages.
    pub weibull: Option<Weibull>,
    /// With three or four failures: the scale in months at the shape of the others (Nelson 1985).
    pub scale: Option<f64>,
}

/// A flagged group beside the rest of its node.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// The node.
    pub node: String,
    /// What the group has in common.
    pub by: By,
    /// Its value.
    pub value: String,
    /// Age in months at which both curves begin.
    pub begins: f64,
    /// The group.
    pub own: LifeCurve,
    /// The other modules of the node.
    pub others: LifeCurve,
    /// Log-rank test between the two; `None` where they were never watched at the same age.
    pub log_rank: Option<LogRank>,
    /// Share of the group's watched months at ages at which others were watched too.
    pub same_age: f64,
}

/// The lives of a group and of the rest of its node. Modules of unknown age are left out.
pub(super) fn life(group: &Group, units: &[Unit]) -> Life {
    let (mut own, mut others) = (Vec::new(), Vec::new());
    for unit in units.iter().filter(|unit| unit.aged && unit.to > unit.from) {
        let mut watched = unit.watched();
        if watched.event < LEAST {
            watched = Watched { from: unit.from, to: unit.to, event: 0.0 };
        }
        if group.key.holds(unit) { own.push(watched) } else { others.push(watched) }
    }
    let begins = match (begin(&own), begin(&others)) {
        (Some(a), Some(b)) => {
            let later = a.max(b);
            // Where the two never meet each curve begins where it can: as early as the earlier.
            let lasts = |all: &[Watched]| all.iter().any(|one| one.to > later);
            if lasts(&own) && lasts(&others) { later } else { a.min(b) }
        }
        (a, b) => a.or(b).unwrap_or(0.0),
    };
    let from = |all: &[Watched]| -> Vec<Watched> {
        let late = all.iter().filter(|one| one.to > begins);
        late.map(|one| Watched { from: one.from.max(begins), ..*one }).collect()
    };
    let (own_late, others_late) = (from(&own), from(&others));
    let others_curve = curve(&others, &others_late, None);
    let shape = others_curve.weibull.map(|weibull| weibull.shape);
    Life {
        node: group.node.clone(),
        by: group.by,
        value: group.value.clone(),
        begins,
        log_rank: log_rank(&[&own_late, &others_late]),
        same_age: same_age(&own, &others),
        own: curve(&own, &own_late, shape),
        others: others_curve,
    }
}

fn fit(all: &[Watched]) -> Option<Weibull> {
    let failures: f64 = all.iter().map(|one| one.event).sum();
    (failures >= FIT_FROM).then(|| fit_weibull(all, CONFIDENCE)).flatten()
}

fn curve(all: &[Watched], late: &[Watched], shape: Option<f64>) -> LifeCurve {
    let failures = |all: &[Watched]| all.iter().map(|one| one.event).sum::<f64>();
    let weibull = fit(all);
    let scale = (weibull.is_none() && failures(all) >= SCALE_FROM)
        .then(|| scale_at_shape(all, shape.unwrap_or(1.0)))
        .flatten();
    LifeCurve {
        units: late.len() as u64,
        failures: failures(late),
        curve: kaplan_meier(late, CONFIDENCE),
        weibull,
        scale,
    }
}

/// The first age at which enough are watched.
fn begin(all: &[Watched]) -> Option<f64> {
    let wanted = ENOUGH.min(all.len().div_ceil(2));
    let mut turns: Vec<(f64, bool)> =
        all.iter().flat_map(|one| [(one.from, true), (one.to, false)]).collect();
    turns.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut watched = 0usize;
    for (age, enters) in turns {
        watched = if enters { watched + 1 } else { watched.saturating_sub(1) };
        if enters && watched >= wanted {
            return Some(age);
        }
    }
    None
}

/// Share of the months of some that lie at ages at which others were watched.
fn same_age(own: &[Watched], others: &[Watched]) -> f64 {
    let mut spans: Vec<(f64, f64)> = others.iter().map(|one| (one.from, one.to)).collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (from, to) in spans {
        match joined.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    let (mut shared, mut all) = (0.0, 0.0);
    for one in own {
        all += one.to - one.from;
        let begin = joined.partition_point(|span| span.1 <= one.from);
        let met = joined.iter().skip(begin).take_while(|span| span.0 < one.to);
        shared += met.map(|span| (span.1.min(one.to) - span.0.max(one.from)).max(0.0)).sum::<f64>();
    }
    if all > 0.0 { shared / all } else { 0.0 }
}
