//! The block of accusations: who stored that it no longer hears whom, given who was silent, who listens
//! to whom, and how the reporter itself may be struck.
//!
//! Pairs are not independent: how readily time-outs mature is shared by an incident, whether a reporter
//! stores anything (or is itself off the bus) is shared by its row. Both are summed over.

use super::blocks::severities;
use super::habit::Habit;
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Level};
use super::scene::Scene;
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
            (true, true) if h.apart => rates::CUT_OFF_LOSES,
            _ => on,
        },
        Manner::BusOff if it => off,
        Manner::BusOff if me => rates::CUT_OFF_LOSES,
        Manner::Talks if it => on.max(severity * rates::TALKER_UNHEARD),
        Manner::Floods if it => on,
        Manner::Floods if both => on.max(severity * h.outranks[accused]),
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

/// ln P(accusations | hypothesis, severity) at each level of severity of the hypothesis; none where neither codes
/// nor answers ask for it.
pub(super) fn by_severity(scene: &Scene, h: &Hypothesis) -> Vec<f64> {
    if scene.rows.is_empty() && scene.answers.is_empty() {
        return Vec::new();
    }
    let rows = rows(scene, h);
    let levels = severities(h.manner);
    let at = |level: &Level| at_severity(scene, h, &rows, level.1);
    match levels.first() {
        // A bystander's loss is the same however hard the others are struck.
        Some(first) if levels == rates::BYSTANDER => vec![at(first); levels.len()],
        _ => levels.iter().map(at).collect(),
    }
}

/// ln P(accusations | hypothesis); NaN where the caller's mean of the rest has to stand in. `told` is what
/// [`by_severity`] gave.
pub(super) fn accusations(scene: &Scene, h: &Hypothesis, told: &[f64]) -> Option<f64> {
    if scene.rows.is_empty() {
        return None;
    }
    if h.manner == Manner::Stale && scene.all_history == Some(true) {
        // Old codes may form any pattern: the caller's mean of the rest stands in.
        return Some(f64::NAN);
    }
    let levels = severities(h.manner).iter().zip(told);
    let terms: Vec<f64> = levels.map(|((weight, _), ln)| weight.ln() + ln).collect();
    Some(log_sum_exp(&terms))
}

/// The levels of severity of a manner, weighed by what the accusations of the incident say of them: where nobody
/// accuses anybody, a fault that struck half of the nodes is improbable already. `told` is what [`by_severity`]
/// gave.
pub(super) fn severities_told(h: &Hypothesis, told: &[f64]) -> Vec<Level> {
    let levels = severities(h.manner);
    let logs: Vec<f64> = levels
        .iter()
        .zip(told)
        .map(|((weight, _), ln)| weight.ln() + rates::ACCUSATIONS_COUNT * ln)
        .collect();
    let weights = normalise(&logs).unwrap_or_else(|| levels.iter().map(|l| l.0).collect());
    weights.into_iter().zip(levels).map(|(weight, level)| (weight, level.1)).collect()
}

fn rows<'a>(scene: &'a Scene, h: &Hypothesis) -> Vec<Row<'a>> {
    let said = scene.rows.iter().zip(&scene.said_before);
    said.map(|((reporter, says), before)| Row::new(scene, h, *reporter, says, before)).collect()
}

/// ln P(accusations | hypothesis, severity).
fn at_severity(scene: &Scene, h: &Hypothesis, rows: &[Row<'_>], severity: f64) -> f64 {
    let mut terms = rates::HITS.map(|(weight, _)| (weight.ln(), 0.0));
    for row in rows {
        for (term, own) in terms.iter_mut().zip(row.ln_likelihood(scene, h, severity)) {
            term.1 += own;
        }
    }
    log_sum_exp(&terms.map(|(weight, rows)| weight + rows))
}

/// One value for each of [`rates::HITS`].
type ByHit = [f64; rates::HITS.len()];

/// The logarithm of a product of probabilities: one logarithm for many factors, as nearly all of the time
/// of a ranking went into these. A factor is a tempered rate, never below 1e-100.
struct LnProduct {
    product: f64,
    ln: f64,
}

impl LnProduct {
    fn times(&mut self, factor: f64) {
        self.product *= factor;
        if self.product < 1e-200 {
            self.ln += self.product.ln();
            self.product = 1.0;
        }
    }

    fn ln(self) -> f64 {
        self.ln + self.product.ln()
    }
}

/// One reporter's row under one hypothesis.
struct Row<'a> {
    reporter: usize,
    says: &'a [(bool, f64)],
    before: &'a [Habit],
    /// Whether it accuses nobody.
    empty: bool,
    /// Where the whole bus is struck: the row of a reporter that is itself off the bus and of one that is
    /// spared; these do not depend on the severity.
    apart: Option<[ByHit; 2]>,
}

impl<'a> Row<'a> {
    fn new(
        scene: &Scene,
        h: &Hypothesis,
        reporter: usize,
        says: &'a [(bool, f64)],
        before: &'a [Habit],
    ) -> Row<'a> {
        let whole_bus = matches!(
            h.manner,
            Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays | Manner::Wires
        );
        let empty =
            says.iter().enumerate().all(|(accused, (says, _))| accused == reporter || !says);
        let mut row = Row { reporter, says, before, empty, apart: None };
        let (all, few) = (rates::ROW_OFF.1, rates::ROW_SPARED.1);
        row.apart = whole_bus.then(|| [all, few].map(|severity| row.each(scene, h, severity)));
        row
    }

    /// ln of the probability of what it says of all others, at a severity.
    fn each(&self, scene: &Scene, h: &Hypothesis, severity: f64) -> ByHit {
        let mut all = rates::HITS.map(|_| LnProduct { product: 1.0, ln: 0.0 });
        for (accused, ((says, listens), habit)) in self.says.iter().zip(self.before).enumerate() {
            if accused == self.reporter {
                continue;
            }
            let lost = listens * loses_given_log(scene, h, self.reporter, accused, severity);
            for (all, (_, hit)) in all.iter_mut().zip(rates::HITS) {
                let p = habit.temper((lost * hit).clamp(rates::FALSE_CODE, 0.99));
                all.times(if *says { p } else { 1.0 - p });
            }
        }
        all.map(LnProduct::ln)
    }

    /// ln of the probability of the row; the reporter may be one that never stores anything.
    fn ln_likelihood(&self, scene: &Scene, h: &Hypothesis, severity: f64) -> ByHit {
        let mut found = self.each(scene, h, severity);
        if let Some([all, few]) = &self.apart {
            let (off, spared) = (rates::ROW_OFF.0, rates::ROW_SPARED.0);
            let rest = 1.0 - off - spared;
            for ((own, all), few) in found.iter_mut().zip(all).zip(few) {
                *own = log_sum_exp(&[off.ln() + all, spared.ln() + few, rest.ln() + *own]);
            }
        }
        found.map(|product| {
            let stores = (1.0 - rates::STORES_NOTHING).ln() + product;
            match self.empty {
                true => log_sum_exp(&[rates::STORES_NOTHING.ln(), stores]),
                false => stores,
            }
        })
    }
}
