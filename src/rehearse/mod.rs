//! Rehearsal: invented vehicles, their logs, reports and papers, and the truth about them.
//!
//! In: a scenario (TOML) with a seed. Out: a folder that the pipeline can run on, and
//! `truth.json`, which the analysis never reads. Mechanisms are simulated (frames queue and
//! fail, nodes lose supply and boot, silences outlast patience and become codes); nothing is
//! drawn from the likelihoods that the analysis uses. The same scenario gives the same bytes at
//! any number of threads: each vehicle draws from streams of its own.
//!
//! The way of a vehicle: `starts` (its calendar) → `course` (what supplies and wires do)
//! → `traffic` (frames, errors, what nodes conclude) → `logger`, `memory`, `papers`.

mod big_fleet;
mod chance;
mod codes;
mod course;
mod fleet;
mod invented_network;
mod life;
mod load_log;
mod logger;
mod memory;
mod model;
mod output;
mod papers;
mod scenario;
mod starts;
mod traffic;
mod truth;
mod visits;
mod weather;

use std::path::{Path, PathBuf};

use rayon::prelude::*;

pub use big_fleet::{big_fleet, big_fleet_in_parts};
pub use load_log::load_log;
pub use output::abandon;

use life::{Trace, Vehicle};
use model::Model;
use output::Ready;
use scenario::{Scenario, VehiclePlan};
use truth::Truth;
use weather::Weather;

/// Why a rehearsal stopped.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RehearseError {
    /// The scenario is not TOML, or has an unknown or missing key.
    #[error("cannot read the scenario")]
    Scenario(#[from] toml::de::Error),
    /// The scenario says something that has no meaning.
    #[error("scenario, {place}: {problem}")]
    Wrong {
        /// The table in which it stands.
        place: String,
        /// What is wrong with it.
        problem: String,
    },
    /// A file could not be written.
    #[error("cannot write {}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A log could not be packed.
    #[error("cannot pack a log")]
    Pack(#[from] std::io::Error),
    /// A table could not be put together.
    #[error("cannot put a table together")]
    Table(#[from] csv::Error),
    /// The truth could not be put together.
    #[error("cannot put the truth together")]
    Truth(#[from] serde_json::Error),
}

impl RehearseError {
    pub(crate) fn wrong(place: &str, problem: &str) -> RehearseError {
        RehearseError::Wrong { place: place.to_owned(), problem: problem.to_owned() }
    }
}

/// What a rehearsal made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// The scenario's title.
    pub title: String,
    /// Vehicles.
    pub vehicles: u64,
    /// Bus logs.
    pub logs: u64,
    /// Frames and error frames in the logs.
    pub frames: u64,
    /// Scan reports.
    pub reports: u64,
    /// Incidents in the truth file, logged or not.
    pub incidents: u64,
    /// Bytes of all logs and reports.
    pub bytes: u64,
    /// What is really wrong with each vehicle, by name.
    pub truth: Vec<VehicleSecret>,
}

/// What only a rehearsal knows of a vehicle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VehicleSecret {
    /// The vehicle.
    pub vehicle: String,
    /// The suspect at fault, `none` or `quiet`.
    pub suspect: String,
    /// The kind of fault, as a scenario names it; `healthy` without one.
    pub kind: &'static str,
    /// Whether bus logs of it were written.
    pub logged: bool,
}

/// Plays a scenario and writes its folder: `bus/`, `scans/`, `networks/`, `vehicles.csv`,
/// `modules.csv`, `weather.csv`, `service.csv` and `truth.json`.
///
/// # Errors
/// When the scenario cannot be read or makes no sense, or when a file cannot be written.
pub fn rehearse(scenario_toml: &str, out: &Path) -> Result<Summary, RehearseError> {
    let mut scenario = Scenario::read(scenario_toml)?;
    let plans = fleet::complete(&mut scenario)?;
    let mut models = Vec::new();
    for plan in &scenario.network {
        models.push(Model::build(&scenario, plan)?);
    }
    let sites: Vec<Weather> = scenario
        .site
        .iter()
        .map(|site| Weather::invent(scenario.seed, site, scenario.period))
        .collect();
    let traces: Vec<Result<(Trace, u64), RehearseError>> = plans
        .par_iter()
        .map(|plan| {
            let trace = vehicle(&scenario, &models, &sites, plan)?.live()?;
            let mut bytes = 0;
            for file in &trace.files {
                file.write(out)?;
                bytes += u64::try_from(file.bytes.len()).unwrap_or(0);
            }
            Ok((Trace { files: Vec::new(), ..trace }, bytes))
        })
        .collect();
    let mut summary = Summary {
        title: scenario.title.clone(),
        vehicles: u64::try_from(plans.len()).unwrap_or(0),
        logs: 0,
        frames: 0,
        reports: 0,
        incidents: 0,
        bytes: 0,
        truth: Vec::new(),
    };
    let mut truth = Truth::new();
    for (plan, outcome) in plans.iter().zip(traces) {
        let (trace, bytes) = outcome?;
        summary.logs += trace.logs;
        summary.frames += trace.frames;
        summary.reports += trace.reports;
        summary.incidents += u64::try_from(trace.truth.incidents.len()).unwrap_or(0);
        summary.bytes += bytes;
        summary.truth.push(VehicleSecret {
            vehicle: plan.name.clone(),
            suspect: trace.truth.suspect.clone(),
            kind: plan.fault.first().map_or("healthy", |fault| fault.how.name()),
            logged: trace.logs > 0,
        });
        truth.insert(plan.name.clone(), trace.truth);
    }
    for file in fleet_files(&scenario, &plans, &sites, &truth)? {
        file.write(out)?;
    }
    Ok(summary)
}

/// Says that a folder is scratch: an interrupt removes it, as [`discard`] does at the end.
pub fn scratch(folder: &Path) {
    output::passing(folder);
}

/// Removes a rehearsed folder again.
///
/// # Errors
/// When a file cannot be removed.
pub fn discard(folder: &Path) -> Result<(), RehearseError> {
    output::settled(folder);
    if !folder.exists() {
        return Ok(());
    }
    std::fs::remove_dir_all(folder)
        .map_err(|source| RehearseError::Write { path: folder.to_owned(), source })
}

fn vehicle<'a>(
    scenario: &'a Scenario,
    models: &'a [Model],
    sites: &'a [Weather],
    plan: &'a VehiclePlan,
) -> Result<Vehicle<'a>, RehearseError> {
    let place = format!("vehicle {}", plan.name);
    let model = models.iter().find(|model| model.plan.name == plan.network);
    let model = model.ok_or_else(|| {
        RehearseError::wrong(&place, &format!("no [[network]] is named `{}`", plan.network))
    })?;
    let weather = sites.iter().find(|weather| weather.site == plan.site);
    let weather = weather.ok_or_else(|| {
        RehearseError::wrong(&place, &format!("no [[site]] is named `{}`", plan.site))
    })?;
    Ok(Vehicle { scenario, plan, model, weather })
}

fn fleet_files(
    scenario: &Scenario,
    plans: &[VehiclePlan],
    sites: &[Weather],
    truth: &Truth,
) -> Result<Vec<Ready>, RehearseError> {
    let file = |path: &str, bytes: Vec<u8>| Ready { path: path.to_owned(), bytes };
    let mut truth_text = serde_json::to_vec_pretty(truth)?;
    truth_text.push(b'\n');
    let mut files = vec![
        file("vehicles.csv", papers::vehicles(plans, &scenario.network)?),
        file("modules.csv", papers::modules(scenario, plans, &scenario.network)?),
        file("service.csv", papers::service(plans)?),
        file("weather.csv", papers::weather(sites)?),
        file("truth.json", truth_text),
    ];
    for network in &scenario.network {
        let path = format!("networks/{}.toml", network.name);
        files.push(file(&path, papers::description(network).into_bytes()));
    }
    Ok(files)
}
