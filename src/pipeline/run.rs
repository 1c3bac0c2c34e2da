//! The stages in order: sources, logs to facts, facts to incidents, exposures, suspects, reports.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use rayon::prelude::*;

use super::closer::look_closer;
use super::elsewhere::Engine;
use super::facts_input::Parts;
use super::loads::Away;
use super::logs::{self, ByVehicle, Watching};
use super::objects;
use super::outputs;
use super::plan::{Format, Plan, View};
use super::progress::Progress;
use super::sources::{self, Sources};
use super::week;
use super::weighing::Weighing;
use crate::batches::{Asked, BatchView, batches};
use crate::facts::{FactsStore, KnownFiles};
use crate::observe::{AnswerRow, CodeRow, LogFacts};
use crate::read::frames::LogTables;
use crate::read::objects::is_url;
use crate::read::{ScanReport, ServiceNote, Tally};
use crate::repairs::Outlook;
use crate::reports::Closer;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Reject;
use crate::weeks::FleetWeek;

/// Vehicles without a network of their own that are named one by one.
const MOST_UNDESCRIBED: usize = 40;

/// What was asked on the command line.
#[derive(Debug, Clone, Copy, Default)]
pub struct Settings {
    /// Do not use stored facts; make them anew.
    pub fresh: bool,
    /// Any reject fails the run.
    pub strict: bool,
}

/// What a run has come to.
#[derive(Debug)]
pub struct Outcome {
    /// One finding a vehicle, by name.
    pub findings: Vec<VehicleFinding>,
    /// One outlook a vehicle, in the same order.
    pub outlooks: Vec<Outlook>,
    /// The closer look at drawn incidents, by vehicle; empty when no page is written.
    pub closer: BTreeMap<String, Vec<Closer>>,
    /// The week, in the view of a fleet; only of a run that writes.
    pub week: Option<FleetWeek>,
    /// The comparison of modules, in the batch view; only of a run that writes.
    pub batches: Option<BatchView>,
    /// What was read, skipped, rejected.
    pub tally: Tally,
    /// The files written, the main report first.
    pub written: Vec<PathBuf>,
    /// What a reader should know about the run as a whole.
    pub remarks: Vec<String>,
}

/// Why a run wrote nothing.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// No bus log and no scan report could be read.
    #[error("no readable input: expected at least one bus log or scan report{hint}")]
    NoInput {
        /// What was found instead, a line each.
        hint: String,
    },
    /// The facts store cannot be made.
    #[error("cannot keep facts in the output folder: {0}")]
    Store(String),
    /// Logs were sent elsewhere, and not all came back; or they lie where this run cannot read.
    #[error("{0}")]
    Elsewhere(String),
    /// Outputs could not be written.
    #[error("cannot write the reports: {0}")]
    Write(String),
}

/// Runs a plan from files to reports.
///
/// # Errors
/// When there is no readable input, or the outputs cannot be written; nothing is written then.
pub fn run(plan: &Plan, settings: Settings, progress: &dyn Progress) -> Result<Outcome, RunError> {
    run_on(plan, None, settings, progress)
}

/// Runs a plan with its logs watched by `engine`, when there is one; all else is done here.
///
/// # Errors
/// As [`run`], and when the engine does not bring every log back; the facts that came are kept then.
pub fn run_on(
    plan: &Plan,
    engine: Option<&dyn Engine>,
    settings: Settings,
    progress: &dyn Progress,
) -> Result<Outcome, RunError> {
    let (mut outcome, vehicles) = analyse(plan, engine, settings, progress, true)?;
    outcome.written = outputs::write(plan, settings.strict, &outcome, &vehicles)?;
    Ok(outcome)
}

/// Everything up to the findings and outlooks, without week and batch view; nothing is written, and stored
/// facts are used only where a run has left some.
///
/// # Errors
/// When there is no readable input.
pub fn look(plan: &Plan, settings: Settings, progress: &dyn Progress) -> Result<Outcome, RunError> {
    analyse(plan, None, settings, progress, false).map(|(outcome, _)| outcome)
}

fn analyse(
    plan: &Plan,
    engine: Option<&dyn Engine>,
    settings: Settings,
    progress: &dyn Progress,
    keep: bool,
) -> Result<(Outcome, BTreeMap<String, VehicleInput>), RunError> {
    let facts = outputs::folder(plan).join("facts");
    let tables = LogTables { choices: plan.columns_of("bus_logs"), zone: plan.timezone };
    let known = match settings.fresh {
        true => KnownFiles::default(),
        false => KnownFiles::read(&facts, &logs::depends_on(&tables)),
    };
    let mut sources = sources::read(plan, &known, engine).map_err(RunError::Elsewhere)?;
    if sources.logs.is_empty() && sources.reports.is_empty() && sources.facts.is_empty() {
        return Err(RunError::NoInput { hint: hint(&sources.remarks, &sources.tally) });
    }
    let store = match !sources.logs.is_empty() && (keep || facts.is_dir()) {
        true => Some(FactsStore::open(&facts).map_err(|e| RunError::Store(e.chain()))?),
        false => None,
    };
    let mut tally = std::mem::take(&mut sources.tally);
    let mut remarks = std::mem::take(&mut sources.remarks);
    let only_vehicle = only_vehicle(plan, &sources);
    let watching = Watching {
        sources: &sources,
        tables: &tables,
        only_vehicle: &only_vehicle,
        zone: plan.timezone,
        store: store.as_ref(),
        fresh: settings.fresh,
        engine,
        progress,
    };
    let (logs, notes, stored) =
        logs::all(&watching, &mut tally, &mut remarks).map_err(RunError::Elsewhere)?;
    let mut parts = Parts::of(&mut sources);
    let own = !(logs.is_empty() && sources.reports.is_empty());
    let mut vehicles = vehicles(plan, &mut sources, logs, &mut tally);
    let in_view = match keep {
        true => week::in_view(plan, &vehicles, || parts.last_seen(plan)),
        false => None,
    };
    let mut weighing =
        Weighing::new(plan, &sources, in_view.as_ref().map(|in_view| in_view.span.begin));
    let mut undescribed = Vec::new();
    // Inputs of a part are kept only for what is written of them, and where a log can be looked at again.
    let written = keep && plan.output.formats.contains(&Format::Parquet);
    let mut kept = BTreeMap::new();
    if !parts.is_empty() {
        parts.each(plan, &mut sources, &mut vehicles, &mut tally, |sources, mut some| {
            weighing.take(sources, &mut some);
            undescribed.extend(without_network(sources, some.keys()));
            // By many hands: letting the inputs go takes as long as some of the stages.
            let some = some.into_par_iter().filter(|(_, input)| written || input.has_own_log());
            kept.append(&mut some.collect::<BTreeMap<String, VehicleInput>>());
        });
        if !parts.seen && !own {
            return Err(RunError::NoInput { hint: hint(&remarks, &tally) });
        }
    }
    let away = engine.map(|engine| Away { engine, stored: &stored, progress });
    weighing.take_with(away.as_ref(), &sources, &mut vehicles).map_err(RunError::Elsewhere)?;
    undescribed.extend(without_network(&sources, vehicles.keys()));
    vehicles.append(&mut kept);
    undescribed.sort_unstable();
    remarks.extend(no_network(&undescribed, sources.networks.len()));
    let beside =
        keep && [Format::Parquet, Format::Html].iter().any(|f| plan.output.formats.contains(f));
    let (findings, outlooks, before) = weighing
        .done(away.as_ref(), &sources, &mut vehicles, beside)
        .map_err(RunError::Elsewhere)?;
    let week = in_view.map(|in_view| {
        week::review_of(plan, &sources, &notes, (in_view, before), (&findings, &outlooks))
    });
    outputs::settle(&mut tally);
    let closer = match keep && plan.output.formats.contains(&Format::Html) {
        true => look_closer(&sources, &tables, &findings, &vehicles),
        false => BTreeMap::new(),
    };
    let batches = (keep && plan.view == View::Batches).then(|| {
        batches(&Asked {
            vehicles: &sources.vehicles,
            modules: &sources.modules,
            notes: &sources.notes,
            findings: &findings,
            zone: plan.timezone,
        })
    });
    let outcome =
        Outcome { findings, outlooks, closer, week, batches, tally, written: Vec::new(), remarks };
    Ok((outcome, vehicles))
}

/// The vehicles of which nothing says which of the described networks is theirs.
fn without_network<'a>(
    sources: &Sources,
    vehicles: impl Iterator<Item = &'a String>,
) -> Vec<String> {
    let described = !sources.networks.is_empty();
    vehicles.filter(|v| described && sources.network_of(v).is_none()).cloned().collect()
}

/// That they have none: a sentence each, or one for all where they are many.
fn no_network(vehicles: &[String], described: usize) -> Vec<String> {
    let read = format!(
        "{described} network descriptions were read, but the vehicles table does not say which is"
    );
    match vehicles {
        [first, .., last] if vehicles.len() > MOST_UNDESCRIBED => vec![format!(
            "{} vehicles, {first} to {last}: {read} theirs; none is used: add a vehicles.csv with the columns \
             vehicle and network",
            vehicles.len()
        )],
        _ => {
            let one = |v: &String| {
                format!(
                    "{v}: {read} its own; none is used: add a vehicles.csv with the columns vehicle and network"
                )
            };
            vehicles.iter().map(one).collect()
        }
    }
}

/// What would be read, as what, and what is wrong with it: lines for a person, and the tally.
#[must_use]
pub fn check(plan: &Plan) -> (Vec<(String, String)>, Tally, Vec<String>) {
    // What lies in an object store is listed by a run on an engine only.
    let mut files = plan.clone();
    files.inputs.bus_logs.retain(|pattern| !is_url(pattern));
    let mut sources = match sources::read(&files, &KnownFiles::default(), None) {
        Ok(sources) => sources,
        Err(why) => return (Vec::new(), Tally::default(), vec![why]),
    };
    let stored = objects::patterns(plan).map(|pattern| {
        let what = "bus logs in an object store; looked into by `run` with --on only";
        (pattern.clone(), what.to_owned())
    });
    sources.taken_for.extend(stored);
    let mut remarks = std::mem::take(&mut sources.remarks);
    for row in &sources.vehicles {
        if let Some(network) = row.network.as_ref().filter(|n| !sources.networks.contains_key(*n)) {
            let reason = format!(
                "vehicle {} names network `{network}`, which no network description has",
                row.vehicle
            );
            sources.tally.rejects.push(Reject::one(row.place.clone(), reason));
        }
    }
    let none = sources.logs.is_empty() && sources.reports.is_empty() && sources.facts.is_empty();
    if none && objects::patterns(plan).next().is_none() {
        remarks.push("no readable input: expected at least one bus log or scan report".to_owned());
    } else if !plan.inputs.by_content.is_empty() && sources.networks.is_empty() {
        remarks.push(
            "no network description: no branch, feed or ground can be suspected, and modules that only a log \
             shows are called sender-01, sender-02; `buswitness template DIR` writes one to fill in"
                .to_owned(),
        );
    }
    outputs::settle(&mut sources.tally);
    (sources.taken_for, sources.tally, remarks)
}

fn hint(remarks: &[String], tally: &Tally) -> String {
    let mut lines: Vec<String> = remarks.to_vec();
    lines.extend(tally.rejects.iter().take(10).map(|r| format!("{}: {}", r.place, r.reason)));
    lines.extend(tally.skipped.iter().take(5).map(|(f, why)| format!("{f}: {why}")));
    lines.iter().map(|l| format!("\n  {l}")).collect()
}

/// The vehicle of logs whose path names none.
fn only_vehicle(plan: &Plan, sources: &Sources) -> String {
    let reported: BTreeSet<&str> = sources.reports.iter().map(|r| r.vehicle.as_str()).collect();
    let one = |set: BTreeSet<&str>| match set.len() {
        1 => set.first().map(|s| (*s).to_owned()),
        _ => None,
    };
    one(reported)
        .or_else(|| plan.only_vehicle.clone())
        .or_else(|| one(sources.vehicles.iter().map(|v| v.vehicle.as_str()).collect()))
        .unwrap_or_else(|| "vehicle".to_owned())
}

/// One vehicle's inputs, in order.
#[derive(Debug, Default)]
pub(super) struct VehicleInput {
    pub logs: Vec<(std::sync::Arc<str>, LogFacts)>,
    pub reports: Vec<ScanReport>,
    pub notes: Vec<ServiceNote>,
    pub codes: Vec<CodeRow>,
    pub answers: Vec<AnswerRow>,
}

/// Everything by vehicle, the period applied. Vehicles that only the vehicles table names are there.
fn vehicles(
    plan: &Plan,
    sources: &mut Sources,
    logs: ByVehicle,
    tally: &mut Tally,
) -> BTreeMap<String, VehicleInput> {
    let mut all: BTreeMap<String, VehicleInput> = BTreeMap::new();
    // A session is about the vehicles it has inputs of; a fleet also misses those it has none of.
    for row in sources.vehicles.iter().filter(|_| plan.view != View::Session) {
        all.entry(row.vehicle.clone()).or_default();
    }
    for (vehicle, mut facts) in logs {
        for (_, log) in &mut facts {
            tally.outside_period += log.keep_starts(|begin| plan.in_period(begin));
        }
        all.entry(vehicle).or_default().logs = facts;
    }
    // Taken, not copied: of a large fleet they are most of what is held.
    for report in std::mem::take(&mut sources.reports) {
        if plan.in_period(report.taken_at) {
            all.entry(report.vehicle.clone()).or_default().reports.push(report);
        } else {
            tally.outside_period += 1;
        }
    }
    for note in sources
        .notes
        .iter()
        .filter(|n| plan.view != View::Session || all.contains_key(&n.vehicle))
        .cloned()
        .collect::<Vec<_>>()
    {
        // A note about a vehicle that nothing else names is kept: it may explain a quiet vehicle.
        all.entry(note.vehicle.clone()).or_default().notes.push(note);
    }
    all
}
