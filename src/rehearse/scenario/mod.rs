//! The scenario: what a rehearsal file may say.
//!
//! In: the text of a TOML file. Out: checked plans. An unknown key is refused, so that a slip
//! of the pen never becomes a silent default. The format is explained, with an example of every
//! table, in `sample-logs/larkmoor.toml`.

mod networks;
mod vehicles;

pub(crate) use networks::{BranchPlan, BusPlan, NetworkPlan, NodePlan, SendPlan};
pub(crate) use vehicles::{FaultPlan, How, LogPlan, PartPlan, ScanPlan, Trigger, VehiclePlan};

use chrono::NaiveDate;
use serde::Deserialize;

use crate::rehearse::RehearseError;

/// A whole scenario.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Scenario {
    /// What is rehearsed, in words.
    pub(crate) title: String,
    /// The seed of every draw.
    pub(crate) seed: u64,
    /// The days that are lived through.
    pub(crate) period: Period,
    /// How good the evidence is.
    #[serde(default)]
    pub(crate) evidence: Evidence,
    /// Where the vehicles stand, with their weather.
    #[serde(default)]
    pub(crate) site: Vec<SitePlan>,
    /// The vehicle models.
    #[serde(default)]
    pub(crate) network: Vec<NetworkPlan>,
    /// The vehicles told one by one.
    #[serde(default)]
    pub(crate) vehicle: Vec<VehiclePlan>,
    /// Vehicles drawn at random.
    pub(crate) fleet: Option<FleetPlan>,
}

/// The days of the scenario.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Period {
    /// The first day.
    pub(crate) from: NaiveDate,
    /// The day after the last day.
    pub(crate) to: NaiveDate,
}

/// A place and its weather.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SitePlan {
    /// Its name.
    pub(crate) name: String,
    /// The mean temperature in degrees Celsius.
    pub(crate) mean_c: f64,
    /// From the coldest to the warmest hour of a day, in degrees.
    #[serde(default = "five")]
    pub(crate) daily_swing_c: f64,
    /// Standard deviation of the slow changes from day to day, in degrees.
    #[serde(default = "three")]
    pub(crate) slow_c: f64,
    /// The mean relative humidity in percent.
    #[serde(default = "eighty")]
    pub(crate) humidity_pct: f64,
    /// The share of hours with rain.
    #[serde(default = "tenth")]
    pub(crate) rain_share: f64,
    /// The hour (UTC) at which vehicles are washed down every evening; none: never.
    pub(crate) wash_hour: Option<u32>,
}

/// How good the evidence is: what reports and logs lose, add or put at the wrong time.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Evidence {
    /// The share of loggers that record error frames.
    pub(crate) error_frames: f64,
    /// The share of nodes that never store a network code.
    pub(crate) never_store: f64,
    /// The probability that a code is missing from a report though it was set.
    pub(crate) codes_missing: f64,
    /// Codes per report that nothing on the bus caused.
    pub(crate) noise_codes: f64,
    /// The probability that a healthy node misses the tester's question.
    pub(crate) answers_missing: f64,
    /// Standard deviation of the testers' clocks, in seconds.
    pub(crate) tester_clock_s: f64,
    /// The probability that a log has a blind spot.
    pub(crate) blind_spots: f64,
    /// The share of vehicles whose reports are kept as CSV instead of JSON.
    pub(crate) csv_reports: f64,
    /// The share of loggers that ask for live values (voltage, temperatures) now and then.
    pub(crate) live_values: f64,
}

impl Default for Evidence {
    fn default() -> Evidence {
        Evidence {
            error_frames: 0.7,
            never_store: 0.15,
            codes_missing: 0.05,
            noise_codes: 0.03,
            answers_missing: 0.003,
            tester_clock_s: 20.0,
            blind_spots: 0.2,
            csv_reports: 0.25,
            live_values: 0.5,
        }
    }
}

/// Vehicles drawn at random, for calibration.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FleetPlan {
    /// How many.
    pub(crate) random: u32,
    /// How good their evidence is.
    #[serde(default)]
    pub(crate) profile: Profile,
    /// The share of vehicles that have bus logs; the rest has reports only.
    pub(crate) with_logs: Option<f64>,
    /// What their names begin with.
    #[serde(default = "random_prefix")]
    pub(crate) prefix: String,
}

/// The state of a random fleet's evidence.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Profile {
    /// Good loggers, prompt and complete reports.
    Clear,
    /// What a fleet usually has.
    #[default]
    Mixed,
    /// Few logs, late and incomplete reports, wrong clocks.
    Murky,
}

impl Scenario {
    /// Reads a scenario.
    pub(crate) fn read(text: &str) -> Result<Scenario, RehearseError> {
        let scenario: Scenario = toml::from_str(text)?;
        if scenario.period.to <= scenario.period.from {
            return Err(RehearseError::wrong("period", "`to` must lie after `from`"));
        }
        if scenario.vehicle.is_empty() && scenario.fleet.is_none() {
            return Err(RehearseError::wrong("scenario", "needs [[vehicle]] tables or [fleet]"));
        }
        for vehicle in &scenario.vehicle {
            vehicle.check()?;
            if !scenario.site.iter().any(|site| site.name == vehicle.site) {
                let problem = format!("no [[site]] is named `{}`", vehicle.site);
                return Err(RehearseError::wrong(&format!("vehicle {}", vehicle.name), &problem));
            }
        }
        Ok(scenario)
    }
}

fn five() -> f64 {
    5.0
}

fn three() -> f64 {
    3.0
}

fn eighty() -> f64 {
    80.0
}

fn tenth() -> f64 {
    0.1
}

fn random_prefix() -> String {
    "R-".to_owned()
}
