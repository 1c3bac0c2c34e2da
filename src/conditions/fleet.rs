//! A whole fleet's conditions, each vehicle its own control.
//!
//! In: the trials of every vehicle. Out: for each condition of the family one line: an exact test
//! and a log-rank test in which starts are compared only with starts of the same vehicle. Vehicles
//! with faults are few and stand at cold or wet places; taken together without this, a difference
//! between vehicles passes for an effect of the weather.

use rayon::prelude::*;

use super::risk::{Condition, FAMILY};
use super::time_course::watched;
use super::trials::{Trial, tally};
use crate::numerics::strata;
use crate::numerics::survival::{Watched, stratified_log_rank};
use crate::numerics::table::TwoGroups;

/// One condition over all vehicles.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetRisk {
    /// The condition, as in the list of conditions.
    pub condition: &'static str,
    /// Vehicles that tell anything: with an incident, and with starts of both kinds.
    pub vehicles: u64,
    /// Starts with the condition that had an incident, in those vehicles.
    pub incidents_with: u64,
    /// Starts with the condition.
    pub starts_with: u64,
    /// Starts without it that had an incident.
    pub incidents_without: u64,
    /// Starts without it.
    pub starts_without: u64,
    /// One-sided exact mid-P within vehicles: that it is not more frequent with the condition.
    pub p_value: Option<f64>,
    /// Two-sided p of the log-rank test of the time to the first incident, within vehicles.
    pub log_rank_p: Option<f64>,
}

/// One line for each condition that some vehicle can tell about, in the order of the family.
#[must_use]
pub fn fleet_risks(vehicles: &[Vec<Trial<'_>>]) -> Vec<FleetRisk> {
    FAMILY.par_iter().filter_map(|condition| fleet_risk(condition, vehicles)).collect()
}

fn fleet_risk(condition: &Condition, vehicles: &[Vec<Trial<'_>>]) -> Option<FleetRisk> {
    let (mut tables, mut sides) = (Vec::new(), Vec::new());
    for trials in vehicles {
        let with = tally(trials, |trial| trial.met(condition));
        let without = tally(trials, |trial| trial.met(condition).map(|met| !met));
        let telling = with.1 > 0 && without.1 > 0 && with.0 + without.0 > 0;
        let table = TwoGroups::new(with.0, with.1, without.0, without.1).filter(|_| telling);
        let Some(table) = table else { continue };
        tables.push(table);
        let side = |wanted: bool| -> Vec<Watched> {
            let chosen = trials.iter().filter(|trial| trial.met(condition) == Some(wanted));
            chosen.filter_map(watched).collect()
        };
        sides.push([side(true), side(false)]);
    }
    if tables.is_empty() {
        return None;
    }
    let groups: Vec<[&[Watched]; 2]> =
        sides.iter().map(|[with, without]| [with.as_slice(), without.as_slice()]).collect();
    let groups: Vec<&[&[Watched]]> = groups.iter().map(|pair| pair.as_slice()).collect();
    Some(FleetRisk {
        condition: condition.name,
        vehicles: tables.len() as u64,
        incidents_with: tables.iter().map(|t| t.hits1()).sum(),
        starts_with: tables.iter().map(|t| t.trials1()).sum(),
        incidents_without: tables.iter().map(|t| t.hits2()).sum(),
        starts_without: tables.iter().map(|t| t.trials2()).sum(),
        p_value: strata::upper_mid_p(&tables),
        log_rank_p: stratified_log_rank(&groups).map(|test| test.p_value),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conditions::invented::{Invented, starts};
    use crate::conditions::trials;

    // Two vehicles: a faulty one that stands in the cold, and a sound one in the warm; within
    // neither does the cold matter. Pooled it would (6 of 20 against 1 of 21).
    #[test]
    fn a_difference_between_vehicles_is_no_effect_of_the_weather() {
        let cold = Invented { cold: true, ..Invented::PLAIN };
        let mut faulty = vec![cold; 14];
        faulty.extend([cold.hit(); 6]);
        faulty.extend([Invented::PLAIN; 3]);
        faulty.push(Invented::PLAIN.hit());
        let sound = vec![Invented::PLAIN; 17];
        let (faulty, sound) = (starts(&faulty), starts(&sound));
        let vehicles = [trials(&faulty.0, &faulty.1), trials(&sound.0, &sound.1)];
        let found = fleet_risks(&vehicles);
        let cold = found.iter().find(|risk| risk.condition == "ambient_c < 2").expect("cold");
        assert_eq!((cold.vehicles, cold.starts_with, cold.starts_without), (1, 20, 4));
        assert!(cold.p_value.is_some_and(|p| p > 0.3));
        assert!(cold.log_rank_p.is_some_and(|p| p > 0.3));
    }
}
