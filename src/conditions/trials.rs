//! Exposures as trials: what the questions about risk and time ask of a start.
//!
//! In: one vehicle's exposures and incidents. Out: one trial for each judged start, by
//! time. Refuses starts that could not have shown an incident.

use super::exposure::Exposure;
use super::risk::{Condition, FAMILY};
use crate::incidents::Incident;
use crate::numerics::table::TwoGroups;

/// A judged start.
#[derive(Debug, Clone)]
pub struct Trial<'a> {
    /// The start with its conditions.
    pub exposure: &'a Exposure,
    /// Whether it had an incident.
    pub hit: bool,
    /// Seconds from the start to the first sign of its first incident, where that is known.
    pub first_s: Option<f64>,
}

impl Trial<'_> {
    /// Whether the start met a condition of the family; `None` when that is not known.
    #[must_use]
    pub fn met(&self, condition: &Condition) -> Option<bool> {
        condition.holds(self.exposure)
    }

    /// How long the start was watched by a log, seconds; `None` for one known from reports only:
    /// they tell neither when it began nor how long anyone looked.
    #[must_use]
    pub fn watched_s(&self) -> Option<f64> {
        let seconds = self.exposure.end.seconds_since(self.exposure.start);
        (self.exposure.logged && seconds >= 0.0).then_some(seconds)
    }
}

/// The judged starts of one vehicle, by time.
#[must_use]
pub fn trials<'a>(exposures: &'a [Exposure], incidents: &[Incident]) -> Vec<Trial<'a>> {
    let judged = exposures.iter().filter(|exposure| exposure.judged);
    judged
        .map(|exposure| {
            let own = incidents.iter().filter(|incident| incident.start == exposure.start);
            let times = own.filter_map(|incident| incident.since_start_s);
            let first_s = times.filter(|s| s.is_finite() && *s >= 0.0).reduce(f64::min);
            Trial {
                exposure,
                hit: exposure.incidents > 0,
                first_s: first_s.filter(|_| exposure.incidents > 0),
            }
        })
        .collect()
}

/// Hits and trials among those chosen.
pub(super) fn tally<'a, 't: 'a>(
    trials: impl IntoIterator<Item = &'a Trial<'t>>,
    chosen: impl Fn(&Trial<'t>) -> Option<bool>,
) -> (u64, u64) {
    trials
        .into_iter()
        .filter(|trial| chosen(trial) == Some(true))
        .fold((0, 0), |(hits, all), trial| (hits + u64::from(trial.hit), all + 1))
}

/// Hits and trials with a condition against those without it.
pub(super) fn with_and_without(trials: &[Trial<'_>], condition: usize) -> Option<TwoGroups> {
    let condition = FAMILY.get(condition)?;
    let with = tally(trials, |trial| trial.met(condition));
    let without = tally(trials, |trial| trial.met(condition).map(|met| !met));
    TwoGroups::new(with.0, with.1, without.0, without.1)
}
