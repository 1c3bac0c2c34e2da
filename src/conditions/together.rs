//! Several conditions asked together: which keeps its weight when the others are held.
//!
//! In: the trials of one vehicle. Out: odds ratios by Firth's logistic regression. Three incidents
//! are asked for each condition in it; with fewer the question is refused in words.

use serde::{Deserialize, Serialize};

use super::risk::{FAMILY, SINGLE};
use super::trials::{Trial, with_and_without};
use crate::numerics::exact::mid_p;
use crate::numerics::firth::firth;

/// Incidents asked for each condition that is fitted.
const HITS_EACH: usize = 3;
/// Most conditions fitted together.
const MOST: usize = 3;
/// Fewest starts on either side of a condition.
const LEAST_STARTS: u64 = 3;
/// A condition must be known of this share of the starts.
const KNOWN: f64 = 0.8;
/// Confidence of the intervals.
const CONFIDENCE: f64 = 0.95;

/// One condition with the others held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Joint {
    /// The condition, as in the list of conditions.
    pub condition: String,
    /// Odds ratio with the other conditions of the list held.
    pub odds_ratio: f64,
    /// Lower end of the 95 % profile interval; `None` when not bounded.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// From the penalised likelihood ratio, times the conditions among which these were chosen.
    pub p_value: f64,
}

/// The conditions fitted together, or why they cannot be, in words.
///
/// # Errors
/// A sentence that says what is missing.
pub(super) fn together(trials: &[Trial<'_>]) -> Result<Vec<Joint>, String> {
    let hits = trials.iter().filter(|trial| trial.hit).count();
    let room = (hits / HITS_EACH).min(MOST);
    if room < 2 {
        return Err(format!(
            "{hits} starts with an incident are too few to ask several conditions together; it \
             takes {}",
            2 * HITS_EACH
        ));
    }
    let mut asked: Vec<(f64, usize)> = SINGLE
        .into_iter()
        .filter_map(|at| {
            let table = with_and_without(trials, at)?;
            let known = (table.trials1() + table.trials2()) as f64;
            let enough = table.trials1().min(table.trials2()) >= LEAST_STARTS
                && known >= KNOWN * trials.len() as f64;
            enough.then(|| (mid_p(table), at))
        })
        .collect();
    asked.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    // The conditions are chosen for standing out: that is paid for as if all had been fitted.
    let compared = asked.len() as f64;
    asked.truncate(room);
    let conditions: Vec<usize> = asked.into_iter().map(|(_, at)| at).collect();
    let (mut rows, mut answers) = (Vec::new(), Vec::new());
    for trial in trials {
        let row: Option<Vec<f64>> = conditions
            .iter()
            .map(|at| Some(f64::from(u8::from(trial.met(FAMILY.get(*at)?)?))))
            .collect();
        if let Some(row) = row {
            rows.push(row);
            answers.push(trial.hit);
        }
    }
    if conditions.len() < 2 {
        return Err("fewer than two conditions varied and were known of enough starts".to_owned());
    }
    let effects = firth(&rows, &answers, CONFIDENCE).ok_or_else(|| {
        let names: Vec<&str> = conditions.iter().map(|at| FAMILY[*at].name).collect();
        format!("{} went together throughout: their effects cannot be told apart", names.join(", "))
    })?;
    let found = conditions.iter().zip(effects.iter().skip(1)).map(|(at, effect)| Joint {
        condition: FAMILY[*at].name.to_owned(),
        odds_ratio: effect.value.exp(),
        low: effect.low.map(f64::exp),
        high: effect.high.map(f64::exp),
        p_value: (effect.p_value * compared).min(1.0),
    });
    Ok(found.collect())
}
