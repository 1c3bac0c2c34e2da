//! Exposures as trials: what the questions about risk and time ask of a start.
//!
//! In: one vehicle's exposures, incidents and reports. Out: one trial for each judged start, by
//! time. Refuses starts that could not have shown an incident.

use super::exposure::Exposure;
use super::risk::{Condition, FAMILY};
use crate::incidents::Incident;
use crate::numerics::table::TwoGroups;
use crate::read::ScanReport;
use crate::vocabulary::Instant;

/// An odometer reading says nothing about starts further away than this, seconds, unless another
/// reading lies on the other side.
const ODOMETER_WITHIN_S: f64 = 3.0 * 86_400.0;

/// A judged start.
#[derive(Debug, Clone)]
pub struct Trial<'a> {
    /// The start with its conditions.
    pub exposure: &'a Exposure,
    /// Whether it had an incident.
    pub hit: bool,
    /// Seconds from the start to the first sign of its first incident, where that is known.
    pub first_s: Option<f64>,
    /// Odometer, km, from the readings around it.
    pub odometer_km: Option<f64>,
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
pub fn trials<'a>(
    exposures: &'a [Exposure],
    incidents: &[Incident],
    reports: &[ScanReport],
) -> Vec<Trial<'a>> {
    let mut readings: Vec<(Instant, f64)> = reports
        .iter()
        .filter_map(|report| Some((report.taken_at, report.odometer_km?)))
        .filter(|(_, km)| km.is_finite())
        .collect();
    readings.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
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
                odometer_km: odometer(&readings, exposure.start),
            }
        })
        .collect()
}

/// On the line between the readings around an instant, else the nearest one within three days.
fn odometer(readings: &[(Instant, f64)], at: Instant) -> Option<f64> {
    let after = readings.partition_point(|(time, _)| *time < at);
    let next = readings.get(after).copied();
    let last = after.checked_sub(1).and_then(|before| readings.get(before)).copied();
    let near = |(time, km): (Instant, f64)| {
        (at.seconds_since(time).abs() <= ODOMETER_WITHIN_S).then_some(km)
    };
    match (last, next) {
        (Some((from, low)), Some((to, high))) => {
            let width = to.seconds_since(from);
            let share = if width > 0.0 { at.seconds_since(from) / width } else { 0.0 };
            Some(low + (high - low) * share)
        }
        (Some(one), None) | (None, Some(one)) => near(one),
        (None, None) => None,
    }
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
