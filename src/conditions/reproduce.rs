//! How to make it happen: which start to arrange, how often, how long to watch, what to spare.
//!
//! In: the trials of one vehicle, and a weather forecast where there is one. Out: the set of
//! conditions with the highest predicted risk that a workshop can arrange (a cold morning, water,
//! a night's rest), its probability per start, and the starts and minutes that it takes. A set is
//! only proposed when its risk is above that of the other starts with a probability of at least
//! 90 %; otherwise any start is as good as another, and that is said. Low supply is never
//! proposed: it would make faults of its own.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::forecast::{Morning, mornings};
use super::lag::hours_to_cool;
use super::risk::{COLD, Condition, FAMILY, SOAK, WASHED, WET};
use super::trials::{Trial, tally};
use super::weather::WeatherTable;
use crate::numerics::beta_binomial::{JEFFREYS, first_hit_within, probability_greater};
use crate::numerics::centre::quantile;
use crate::numerics::proportion::{clopper_pearson, jeffreys};
use crate::numerics::table::TwoGroups;
use crate::vocabulary::{Word, words};

/// What can be arranged.
const ARRANGED: [usize; 4] = [COLD, WET, SOAK, WASHED];
/// Fewest starts on which a set is judged.
const LEAST_STARTS: u64 = 3;
/// The vehicle's own mean risk counts as so many starts in every set.
const WEIGHT: f64 = 2.0;
/// A set with fewer conditions is preferred if its risk is at least this share of the highest.
const ALMOST: f64 = 0.9;
/// Probability that the set's risk is above the others' below which it is not proposed.
const BORNE_OUT: f64 = 0.9;
/// The chance of seeing it that the number of starts is for.
pub const CHANCE: f64 = 0.9;
/// Share of incidents that shall fall into the minutes watched.
const WATCHED: f64 = 0.9;
/// From this share of starts with an incident on, the starts on record may have been picked for it.
const OFTEN: f64 = 0.3;
/// Least minutes to watch.
const LEAST_MINUTES: f64 = 2.0;

/// How to make it happen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reproduction {
    /// The conditions to arrange, as in the list of conditions; empty: any start.
    #[serde(deserialize_with = "words")]
    pub conditions: Vec<Word>,
    /// What to do, a line each.
    pub steps: Vec<String>,
    /// Starts with an incident, and starts, that met them all.
    pub seen: (u64, u64),
    /// Predicted probability of an incident per such start.
    pub chance: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Starts needed for 90 % chance to see it at least once.
    pub starts_needed: Option<u64>,
    /// Minutes to watch each; `None` when no time of an incident is known: the whole start.
    pub minutes_each: Option<f64>,
    /// Incidents whose time is behind that figure.
    pub timed: usize,
    /// What is a waste of time, in words.
    pub waste: Vec<String>,
    /// The coming mornings, by the forecast.
    pub mornings: Vec<Morning>,
    /// What weakens this advice, in words.
    pub remarks: Vec<String>,
}

/// Where and when the coming mornings are.
#[derive(Debug, Clone, Copy)]
pub struct Ahead<'a> {
    /// The forecast; empty without one.
    pub forecast: &'a WeatherTable,
    /// Whether a forecast was given at all.
    pub given: bool,
    /// The vehicle's site.
    pub site: Option<&'a str>,
    /// Whose mornings.
    pub zone: Tz,
}

/// A set of conditions with its starts.
struct Set {
    conditions: Vec<&'static Condition>,
    hits: u64,
    starts: u64,
    predicted: f64,
}

impl Set {
    /// Whether a start met them all: one known "no" settles it.
    fn met(&self, trial: &Trial<'_>) -> Option<bool> {
        met_all(&self.conditions, trial)
    }
}

/// The conditions that a set for these trials would have: those of [`Reproduction::conditions`].
pub fn trigger(trials: &[Trial<'_>]) -> Vec<&'static Condition> {
    chosen(trials).map_or_else(Vec::new, |set| set.conditions)
}

/// Whether a start met all of some conditions; `None` when that is not known.
pub fn met_all(conditions: &[&'static Condition], trial: &Trial<'_>) -> Option<bool> {
    let answers: Vec<Option<bool>> =
        conditions.iter().map(|condition| trial.met(condition)).collect();
    if answers.contains(&Some(false)) {
        return Some(false);
    }
    answers.iter().all(Option::is_some).then_some(true)
}

/// The plan; `None` when no judged start had an incident.
pub(super) fn reproduction(trials: &[Trial<'_>], ahead: &Ahead<'_>) -> Option<Reproduction> {
    let all = tally(trials, |_| Some(true));
    if all.0 == 0 {
        return None;
    }
    let set = chosen(trials)?;
    let interval = jeffreys(set.hits, set.starts, 0.95)?;
    let posterior = (JEFFREYS.0 + set.hits as f64, JEFFREYS.1 + (set.starts - set.hits) as f64);
    let timed: Vec<f64> = {
        let inside: Vec<f64> = trials
            .iter()
            .filter(|trial| set.met(trial) == Some(true))
            .filter_map(|t| t.first_s)
            .collect();
        if inside.is_empty() { trials.iter().filter_map(|t| t.first_s).collect() } else { inside }
    };
    let minutes_each =
        quantile(&timed, WATCHED).map(|seconds| (seconds / 60.0).ceil().max(LEAST_MINUTES));
    let mut remarks = Vec::new();
    if set.conditions.is_empty() {
        remarks.push(
            "no condition stands out clearly enough to arrange for: any start is as good as \
             another, as far as these starts tell"
                .to_owned(),
        );
    } else {
        remarks.push(
            "the set was chosen as the worst of several, so its risk may be somewhat overstated"
                .to_owned(),
        );
    }
    if set.starts < 10 {
        let many = if set.starts == 1 {
            "1 such start was".to_owned()
        } else {
            format!("{} such starts were", set.starts)
        };
        remarks.push(format!("only {many} seen: the interval is wide"));
    }
    if all.0 as f64 > OFTEN * all.1 as f64 {
        remarks.push(format!(
            "{} of {} starts on record had an incident: if logs and scans were kept because \
             something had happened, the chance is lower than stated",
            all.0, all.1
        ));
    }
    let (list, missing) = mornings(ahead, &set.conditions, trials);
    remarks.extend(missing);
    Some(Reproduction {
        conditions: set.conditions.iter().map(|condition| condition.name).collect(),
        steps: steps(&set.conditions),
        seen: (set.hits, set.starts),
        chance: posterior.0 / (posterior.0 + posterior.1),
        low: interval.low,
        high: interval.high,
        starts_needed: first_hit_within(posterior, CHANCE),
        minutes_each,
        timed: timed.len(),
        waste: waste(trials, &set),
        mornings: list,
        remarks,
    })
}

/// The set to arrange: the highest predicted risk, fewer conditions where nearly as high; the
/// empty set when none is borne out.
fn chosen(trials: &[Trial<'_>]) -> Option<Set> {
    let all = tally(trials, |_| Some(true));
    let mean = (all.0 as f64 + 0.5) / (all.1 as f64 + 1.0);
    let mut sets: Vec<Set> = (1u32..1 << ARRANGED.len())
        .map(|bits| {
            let conditions: Vec<&'static Condition> = (0..ARRANGED.len())
                .filter(|at| bits & (1 << at) != 0)
                .filter_map(|at| FAMILY.get(*ARRANGED.get(at)?))
                .collect();
            let (hits, starts) = tally(trials, |trial| met_all(&conditions, trial));
            let predicted = (hits as f64 + WEIGHT * mean) / (starts as f64 + WEIGHT);
            Set { conditions, hits, starts, predicted }
        })
        .filter(|set| set.starts >= LEAST_STARTS && borne_out(trials, set))
        .collect();
    let highest = sets.iter().map(|set| set.predicted).fold(0.0, f64::max);
    sets.retain(|set| set.predicted >= ALMOST * highest);
    sets.sort_by(|a, b| {
        a.conditions.len().cmp(&b.conditions.len()).then(b.predicted.total_cmp(&a.predicted))
    });
    sets.into_iter().next().or_else(|| {
        (all.1 > 0).then(|| Set {
            conditions: Vec::new(),
            hits: all.0,
            starts: all.1,
            predicted: mean,
        })
    })
}

fn borne_out(trials: &[Trial<'_>], set: &Set) -> bool {
    let rest = tally(trials, |trial| set.met(trial).map(|met| !met));
    let table = TwoGroups::new(set.hits, set.starts, rest.0, rest.1);
    rest.1 > 0
        && table
            .and_then(|table| probability_greater(table, JEFFREYS))
            .is_some_and(|greater| greater >= BORNE_OUT)
}

fn steps(conditions: &[&'static Condition]) -> Vec<String> {
    let has =
        |at: usize| FAMILY.get(at).is_some_and(|own| conditions.iter().any(|c| c.name == own.name));
    let mut steps = Vec::new();
    if has(SOAK) {
        steps.push("leave the vehicle off overnight, at least 6 h, outdoors".to_owned());
    } else if has(COLD) {
        steps.push(format!(
            "let the vehicle stand outdoors until it is as cold as the air, at least {} h",
            hours_to_cool()
        ));
    }
    if has(WASHED) {
        steps.push("wash the vehicle as it is usually washed, within the 12 h before".to_owned());
    } else if has(WET) {
        steps.push(
            "wet the underside, the suspected module and its connectors with a spray of clean \
             water (no pressure jet), or wait for rain, within the 12 h before"
                .to_owned(),
        );
    }
    if has(COLD) {
        steps.push("start on a morning below 2 °C, with the log running before the key".to_owned());
    } else {
        steps.push("start with the log running before the key".to_owned());
    }
    steps.push(
        "vehicle standing and secured; do not drive to provoke a fault of brakes or steering"
            .to_owned(),
    );
    steps
}

/// Kinds of starts that are not worth watching: without each condition of the set, then without
/// any of them.
fn waste(trials: &[Trial<'_>], set: &Set) -> Vec<String> {
    let mut found = Vec::new();
    for condition in &set.conditions {
        let (hits, starts) = tally(trials, |trial| trial.met(condition).map(|met| !met));
        let risk = (hits as f64 + 0.5) / (starts as f64 + 1.0);
        if starts < 5 || risk > set.predicted / 3.0 {
            continue;
        }
        // One-sided 95 %: the two-sided 90 % end.
        let most = clopper_pearson(hits, starts, 0.9).map_or(1.0, |interval| interval.high);
        found.push(format!(
            "starts that are {}: {hits} of {starts} had an incident; the risk is at most {:.0} %",
            condition.otherwise,
            100.0 * most
        ));
    }
    found
}
