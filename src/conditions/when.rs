//! When it happens and how to make it happen: all answers on one vehicle's conditions, together.

use serde::{Deserialize, Serialize};

use super::confounding::{Confounded, confounded};
use super::exposure::ConditionRisk;
use super::interaction::{Interaction, interaction};
use super::reproduce::{Ahead, Reproduction, reproduction};
use super::thresholds::{Threshold, thresholds};
use super::time_course::{TimeCourse, time_course};
use super::together::{Joint, together};
use super::trials::Trial;
use crate::numerics::multiple::holm;

/// What the starts of one vehicle tell about conditions and time, beside the list of conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct When {
    /// Judged starts.
    pub starts: usize,
    /// Those with an incident.
    pub hits: usize,
    /// The strongest statement that so many incidents allow, in words.
    pub possible: String,
    /// p-values of the list of conditions, corrected for their number (Holm 1979), same order.
    pub adjusted: Vec<(String, f64)>,
    /// Several conditions with the others held, or why not.
    pub together: Result<Vec<Joint>, String>,
    /// Cold and wet together, or why not.
    pub interaction: Result<Interaction, String>,
    /// Thresholds that were searched for.
    pub thresholds: Vec<Threshold>,
    /// Conditions that came together.
    pub confounded: Vec<Confounded>,
    /// When in a start.
    pub time: Option<TimeCourse>,
    /// How to make it happen; `None` without an incident.
    pub reproduction: Option<Reproduction>,
}

/// Answers all questions. `risks` is the list of conditions of the same exposures. `faulty` are
/// the trials from which to learn how to make it happen: all, or those before a repair that has
/// held (the starts since would dilute the risk, and blame the season for the cure).
#[must_use]
pub fn when(
    trials: &[Trial<'_>],
    faulty: &[Trial<'_>],
    risks: &[ConditionRisk],
    ahead: &Ahead<'_>,
) -> When {
    let hits = trials.iter().filter(|trial| trial.hit).count();
    When {
        starts: trials.len(),
        hits,
        possible: possible(hits).to_owned(),
        adjusted: adjusted(risks),
        together: together(trials),
        interaction: interaction(trials),
        thresholds: thresholds(trials),
        confounded: confounded(trials),
        time: time_course(trials),
        reproduction: reproduction(faulty, ahead),
    }
}

/// What so many starts with an incident can say at most (judgement, METHODS 0.2).
fn possible(hits: usize) -> &'static str {
    match hits {
        0 => "no incident: nothing to explain",
        1 | 2 => {
            "with one or two incidents no dependence on a condition can be shown, only a risk with \
             its interval"
        }
        3 => {
            "with three incidents a condition can only stand out if all three had it and it is \
             rare; two conditions together, a threshold or an interaction cannot be shown"
        }
        4 | 5 => {
            "four or five incidents can show one condition, with a ratio known to a factor of ten \
             or worse; adjusted effects and interactions cannot be shown"
        }
        6..=9 => {
            "six to nine incidents can show one condition adjusted for one other, and a threshold; \
             an interaction cannot be shown, only its posterior"
        }
        10..=15 => {
            "ten to fifteen incidents can show two or three conditions together; three-way \
             structure cannot be shown"
        }
        _ => "more than fifteen incidents: several conditions can be asked together",
    }
}

/// Step-down correction for the number of conditions that could be compared (Holm 1979).
fn adjusted(risks: &[ConditionRisk]) -> Vec<(String, f64)> {
    let compared = |risk: &&ConditionRisk| risk.starts_with > 0 && risk.starts_without > 0;
    let mut sorted: Vec<&ConditionRisk> = risks.iter().filter(compared).collect();
    sorted.sort_by(|a, b| {
        a.p_value.total_cmp(&b.p_value).then_with(|| a.condition.cmp(&b.condition))
    });
    let p_values: Vec<f64> = sorted.iter().map(|risk| risk.p_value.clamp(0.0, 1.0)).collect();
    let adjusted = holm(&p_values).unwrap_or_else(|| vec![1.0; p_values.len()]);
    sorted.iter().map(|risk| risk.condition.clone()).zip(adjusted).collect()
}
