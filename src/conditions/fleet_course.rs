//! How long after a start the first incident comes, over all vehicles of a fleet.
//!
//! In: the trials of every vehicle. Out: the curve of all watched starts and, for each condition
//! of the family, those of the starts with and without it. The starts of one vehicle are alike (a
//! sick vehicle has most of the incidents), so every interval is that of clusters: each vehicle
//! counts as one witness. Which of the two sides is worse is asked within vehicles, by the
//! stratified log-rank test of [`super::fleet_risks`]; these curves show when, not whether.
//! Refuses a curve from a single vehicle.

use rayon::prelude::*;

use super::risk::FAMILY;
use super::time_course::{Moment, moments, watched};
use super::trials::Trial;
use crate::numerics::clustered::clustered_curve;
use crate::numerics::survival::{Quantile, Watched};

/// Confidence of the intervals.
const CONFIDENCE: f64 = 0.95;

/// Which starts a curve is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// All.
    All,
    /// With the condition.
    With,
    /// Without it.
    Without,
}

/// One curve of the fleet, read out.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetCourse {
    /// The condition, as in the list of conditions; `None` for the curve of all starts.
    pub condition: Option<&'static str>,
    /// Which starts.
    pub side: Side,
    /// Vehicles with a watched start among them.
    pub vehicles: u64,
    /// Watched starts.
    pub starts: u64,
    /// Those with an incident of known time.
    pub incidents: u64,
    /// The curve at fixed times, intervals by vehicles.
    pub moments: Vec<Moment>,
    /// The time by which half of the starts have had an incident; seldom reached.
    pub median: Quantile,
}

/// The curve of all starts, then those of each condition that has starts of two vehicles on both
/// sides; empty without an incident of known time.
#[must_use]
pub fn fleet_courses(vehicles: &[Vec<Trial<'_>>]) -> Vec<FleetCourse> {
    let Some(all) = course(vehicles, None, Side::All, |_| true) else { return Vec::new() };
    let sides = FAMILY.par_iter().filter_map(|condition| {
        let side = |side: Side| {
            let wanted = Some(side == Side::With);
            course(vehicles, Some(condition.name), side, |trial| trial.met(condition) == wanted)
        };
        Some([side(Side::With)?, side(Side::Without)?])
    });
    let sides: Vec<[FleetCourse; 2]> = sides.collect();
    std::iter::once(all).chain(sides.into_iter().flatten()).collect()
}

fn course(
    vehicles: &[Vec<Trial<'_>>],
    condition: Option<&'static str>,
    side: Side,
    wanted: impl Fn(&Trial<'_>) -> bool,
) -> Option<FleetCourse> {
    let clusters: Vec<Vec<Watched>> = vehicles
        .iter()
        .map(|trials| trials.iter().filter(|trial| wanted(trial)).filter_map(watched).collect())
        .collect();
    let curve = clustered_curve(&clusters, CONFIDENCE)?;
    let incidents = clusters.iter().flatten().filter(|one| one.event > 0.0).count() as u64;
    if side == Side::All && incidents == 0 {
        return None;
    }
    Some(FleetCourse {
        condition,
        side,
        vehicles: clusters.iter().filter(|own| !own.is_empty()).count() as u64,
        starts: curve.subjects,
        incidents,
        moments: moments(&curve),
        median: curve.quantile(0.5),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conditions::invented::{Invented, starts};
    use crate::conditions::trials;

    // One sick vehicle among five: taken for 100 independent starts the interval would be far
    // narrower than the five vehicles allow.
    #[test]
    fn a_sick_vehicle_is_one_witness() {
        let cold = Invented { cold: true, ..Invented::PLAIN };
        let mut sick = vec![cold.hit(); 8];
        sick.extend([cold; 2]);
        sick.extend([Invented::PLAIN; 10]);
        let sound = [vec![cold; 10], vec![Invented::PLAIN; 10]].concat();
        let rows: Vec<_> =
            [&sick, &sound, &sound, &sound, &sound].into_iter().map(|rows| starts(rows)).collect();
        let vehicles: Vec<Vec<Trial<'_>>> = rows.iter().map(|(e, i)| trials(e, i)).collect();
        let found = fleet_courses(&vehicles);
        let all = &found[0];
        assert_eq!((all.condition, all.side), (None, Side::All));
        assert_eq!((all.vehicles, all.starts, all.incidents), (5, 100, 8));
        let minute = all.moments.iter().find(|m| m.after_s > 59.0).expect("a minute");
        assert!((minute.had - 0.08).abs() < 1e-12);
        let (low, high) = (minute.low.expect("known"), minute.high.expect("known"));
        // Wilson's interval for 8 of 100 independent starts is 4 to 15 %.
        assert!(low < 0.02 && high > 0.4, "{low} {high}");
        let sides: Vec<(Side, u64, u64)> = found
            .iter()
            .filter(|own| own.condition == Some("ambient_c < 2"))
            .map(|own| (own.side, own.starts, own.incidents))
            .collect();
        assert_eq!(sides, [(Side::With, 50, 8), (Side::Without, 50, 0)]);
        assert!(fleet_courses(&vehicles[..1]).is_empty(), "one vehicle is no fleet");
        assert!(fleet_courses(&vehicles[1..]).is_empty(), "nothing happened");
    }
}
