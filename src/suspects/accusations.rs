//! The block of accusations: who stored that it no longer hears whom, given who was silent, who listens
//! to whom, and how the reporter itself may be struck.
//!
//! Pairs are not independent: how readily time-outs mature is shared by an incident, whether a reporter
//! stores anything (or is itself off the bus) is shared by its row. Both are summed over.

use super::blocks::{bernoulli, severities};
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Level};
use super::scene::{Habit, Scene};
use crate::numerics::logs::{log_sum_exp, normalise};

/// Probability that `reporter` loses `accused` for long enough, at a severity, when no log tells.
fn loses(h: &Hypothesis, reporter: usize, accused: usize, severity: f64) -> f64 {
    let (off, on) = rates::LOSES;
    let (me, it) = (h.struck[reporter], h.struck[accused]);
    let both = h.reach[reporter] && h.reach[accused];
    match h.manner {
        Manner::Dead | Manner::Feed | Manner::Ground => match (me, it) {
            (true, _) => rates::DEAD_ACCUSES,
            (false, true) => off,
            _ => on,
        },
        Manner::CutOff | Manner::Branch => match (me, it) {
            (true, false) => rates::CUT_OFF_LOSES,
            (false, true) => off,
            _ => on,
        },
        Manner::BusOff if it => off,
        Manner::BusOff if me => rates::CUT_OFF_LOSES,
        Manner::Talks if it => on.max(severity * rates::TALKER_UNHEARD),
        Manner::Floods if it => on,
        Manner::BusOff | Manner::Talks | Manner::Floods | Manner::Strays | Manner::Wires => {
            if both { on.max(severity) } else { on }
        }
        Manner::Supply => on.max(severity),
        Manner::Artefact | Manner::Stale | Manner::Other => rates::FALSE_CODE,
    }
}

/// The same where a log tells whether the accused was silent.
fn loses_given_log(
    scene: &Scene,
    h: &Hypothesis,
    reporter: usize,
    accused: usize,
    severity: f64,
) -> f64 {
    match scene.silent[accused] {
        Some(true) if scene.silent[reporter] != Some(true) => scene.missed[accused],
        Some(false) if scene.silent[reporter] != Some(true) => {
            // Alive on the wire: only a reporter that cannot hear loses it.
            let cut = match h.manner {
                Manner::CutOff | Manner::Branch if h.struck[reporter] && !h.struck[accused] => {
                    rates::CUT_OFF_LOSES
                }
                Manner::Floods if h.struck[accused] => 0.0,
                Manner::Talks
                | Manner::BusOff
                | Manner::Floods
                | Manner::Strays
                | Manner::Wires => severity * 0.3,
                _ => 0.0,
            };
            rates::LOSES.1.max(cut)
        }
        _ => loses(h, reporter, accused, severity),
    }
}

/// ln P(accusations | hypothesis); NaN where the caller's mean of the rest has to stand in.
pub(super) fn accusations(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    if scene.rows.is_empty() {
        return None;
    }
    if h.manner == Manner::Stale && scene.all_history == Some(true) {
        // Old codes may form any pattern: the caller's mean of the rest stands in.
        return Some(f64::NAN);
    }
    let levels = severities(h.manner).iter();
    let terms: Vec<f64> =
        levels.map(|(weight, severity)| weight.ln() + at_severity(scene, h, *severity)).collect();
    Some(log_sum_exp(&terms))
}

/// The levels of severity of a manner, weighed by what the accusations of the incident say of them: where nobody
/// accuses anybody, a fault that struck half of the nodes is improbable already.
pub(super) fn severities_told(scene: &Scene, h: &Hypothesis) -> Vec<Level> {
    let levels = severities(h.manner);
    let logs: Vec<f64> = levels
        .iter()
        .map(|(weight, severity)| {
            weight.ln() + rates::ACCUSATIONS_COUNT * at_severity(scene, h, *severity)
        })
        .collect();
    let weights = normalise(&logs).unwrap_or_else(|| levels.iter().map(|l| l.0).collect());
    weights.into_iter().zip(levels).map(|(weight, level)| (weight, level.1)).collect()
}

/// ln P(accusations | hypothesis, severity).
fn at_severity(scene: &Scene, h: &Hypothesis, severity: f64) -> f64 {
    let terms = rates::HITS.map(|(weight, hit)| {
        let rows = scene.rows.iter().zip(&scene.said_before);
        let each = rows.map(|((reporter, row), before)| {
            row_likelihood(scene, h, (*reporter, row, before), severity, hit)
        });
        weight.ln() + each.sum::<f64>()
    });
    log_sum_exp(&terms)
}

/// One reporter's row: it may be one that never stores anything.
fn row_likelihood(
    scene: &Scene,
    h: &Hypothesis,
    (reporter, row, before): (usize, &[(bool, f64)], &[Habit]),
    severity: f64,
    hit: f64,
) -> f64 {
    let whole_bus = matches!(
        h.manner,
        Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays | Manner::Wires
    );
    let each = |severity: f64| -> f64 {
        row.iter()
            .zip(before)
            .enumerate()
            .filter(|(accused, _)| *accused != reporter)
            .map(|(accused, ((says, listens), habit))| {
                let lost = loses_given_log(scene, h, reporter, accused, severity);
                let p = (listens * lost * hit).clamp(rates::FALSE_CODE, 0.99);
                bernoulli(*says, habit.temper(p))
            })
            .sum()
    };
    let product = if whole_bus {
        let (off, all) = rates::ROW_OFF;
        let (spared, few) = rates::ROW_SPARED;
        log_sum_exp(&[
            off.ln() + each(all),
            spared.ln() + each(few),
            (1.0 - off - spared).ln() + each(severity),
        ])
    } else {
        each(severity)
    };
    let empty = row.iter().enumerate().all(|(accused, (says, _))| accused == reporter || !says);
    let stores = (1.0 - rates::STORES_NOTHING).ln() + product;
    if empty { log_sum_exp(&[rates::STORES_NOTHING.ln(), stores]) } else { stores }
}
