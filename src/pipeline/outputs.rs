//! Hands findings and tables to `reports`; nothing is written elsewhere.

use std::collections::BTreeMap;
use std::path::PathBuf;

use rayon::prelude::*;

use super::plan::{Format, Plan, View};
use super::run::{Outcome, RunError, VehicleInput};
use crate::conditions::{Exposure, Sourced, fleet_courses, fleet_risks, trials};
use crate::facts::{
    ExposureRow, FactsError, IncidentRow, Places, Row, VehicleTally, fleet_tally, for_engines,
    rows_table, to_parquet, to_polars, vehicles_table,
};
use crate::incidents::Incident;
use crate::observe::LogFacts;
use crate::read::Tally;
use crate::read::finding::plainly;
use crate::reports::{
    self, Formats, Heading, ReportError, Told, fleet_conditions, fleet_table,
    fleet_time_since_start, render_batches, render_reports, write_folder,
};
use crate::suspects::VehicleFinding;

/// Vehicles whose starts are tallied at a time.
const TALLIED: usize = 2_000;

/// Puts the lists of a tally into their fixed order.
pub(super) fn settle(tally: &mut Tally) {
    tally.rejects.sort();
    tally.skipped.sort();
    tally.leniencies.sort();
}

/// The output folder, without `x/..` in its path.
pub(super) fn folder(plan: &Plan) -> PathBuf {
    plainly(&plan.base.join(&plan.output.folder))
}

/// Writes all reports of a run; the main one comes first in the list.
pub(super) fn write(
    plan: &Plan,
    strict: bool,
    outcome: &Outcome,
    vehicles: &BTreeMap<String, VehicleInput>,
) -> Result<Vec<PathBuf>, RunError> {
    let Outcome { findings, outlooks, closer, week, batches, tally, remarks, .. } = outcome;
    let has = |format: Format| plan.output.formats.contains(&format);
    let heading = Heading {
        title: plan.title.clone(),
        view: match plan.view {
            View::Session => reports::View::Session,
            View::Fleet => reports::View::Fleet,
            View::Batches => reports::View::Batches,
        },
        timezone: plan.timezone,
        period: plan.period.map(|(from, to)| {
            let day = |t: Option<crate::vocabulary::Instant>, open: &str| {
                t.map_or(open.to_owned(), |t| {
                    t.utc().with_timezone(&plan.timezone).format("%Y-%m-%d").to_string()
                })
            };
            format!("{} to before {}", day(from, "the beginning"), day(to, "the end"))
        }),
        strict,
        remarks: remarks.to_vec(),
    };
    let formats = Formats {
        html: has(Format::Html),
        json: has(Format::Json),
        csv: has(Format::Csv),
        parquet: has(Format::Parquet),
    };
    let tables = if formats.parquet {
        parquet(findings, vehicles).map_err(|e| RunError::Write(e.chain()))?
    } else {
        Vec::new()
    };
    let folder = folder(plan);
    let failed = |e: ReportError| RunError::Write(format!("{:#}", anyhow::Error::from(e)));
    let told = Told { findings, outlooks, closer, week: week.as_ref(), tally };
    let mut outputs = render_reports(&heading, formats, &told, &tables).map_err(failed)?;
    if let Some(view) = batches {
        let first = render_batches(&heading, formats, view, tally).map_err(failed)?;
        outputs.splice(0..0, first);
    }
    if formats.csv {
        let tally = fleet(findings).map_err(|e| RunError::Write(e.chain()))?;
        let table = fleet_table(&tally, week.as_ref()).map_err(failed)?;
        let trials: Vec<_> =
            findings.par_iter().map(|f| trials(&f.exposures, &f.incidents)).collect();
        let conditions = fleet_conditions(&fleet_risks(&trials)).map_err(failed)?;
        let courses = fleet_time_since_start(&fleet_courses(&trials)).map_err(failed)?;
        outputs.extend([table, conditions, courses]);
    }
    write_folder(&folder, &heading, &outputs).map_err(failed)
}

/// Starts, judged starts and starts with an incident of every vehicle, some vehicles at a time: the rows of a
/// large fleet would take more room than all that was found.
fn fleet(findings: &[VehicleFinding]) -> Result<Vec<VehicleTally>, FactsError> {
    let mut all = Vec::with_capacity(findings.len());
    for some in findings.chunks(TALLIED) {
        all.extend(fleet_tally(to_polars(&rows_table(&exposure_rows(some), Places::SpotOnly)?)?)?);
    }
    Ok(all)
}

fn parquet(
    findings: &[VehicleFinding],
    vehicles: &BTreeMap<String, VehicleInput>,
) -> Result<Vec<(String, Vec<u8>)>, FactsError> {
    let mut tables = vec![
        of_logs(vehicles, |l| l.starts.as_slice())?,
        of_logs(vehicles, |l| l.silences.as_slice())?,
        of_logs(vehicles, |l| l.disturbances.as_slice())?,
    ];
    let codes: Vec<_> = vehicles.values().flat_map(|v| v.codes.iter().cloned()).collect();
    let answers: Vec<_> = vehicles.values().flat_map(|v| v.answers.iter().cloned()).collect();
    let exposures = exposure_rows(findings);
    let incidents: Vec<IncidentRow> =
        findings.iter().flat_map(|f| f.incidents.iter().map(|i| incident_row(f, i))).collect();
    tables.push(of_rows(&codes)?);
    tables.push(of_rows(&answers)?);
    tables.push(of_rows(&incidents)?);
    tables.push(of_rows(&exposures)?);
    Ok(tables)
}

fn of_rows<R: Row>(rows: &[R]) -> Result<(String, Vec<u8>), FactsError> {
    let batch = rows_table(rows, Places::Full)?;
    Ok((R::TABLE.name.to_owned(), to_parquet(R::TABLE, &for_engines(R::TABLE, &batch)?)?))
}

fn of_logs<R: Row>(
    vehicles: &BTreeMap<String, VehicleInput>,
    pick: impl Fn(&LogFacts) -> &[R],
) -> Result<(String, Vec<u8>), FactsError> {
    let pick = &pick;
    let parts: Vec<(&str, &[R])> = vehicles
        .iter()
        .flat_map(|(name, v)| v.logs.iter().map(move |(_, log)| (name.as_str(), pick(log))))
        .collect();
    let batch = vehicles_table(&parts)?;
    Ok((R::TABLE.name.to_owned(), to_parquet(R::TABLE, &for_engines(R::TABLE, &batch)?)?))
}

fn sourced(value: &Option<Sourced>) -> Option<(f64, &'static str, f64)> {
    value.as_ref().map(|s| (s.value, s.source, s.age_s))
}

/// Every vehicle's starts, in the order of the findings.
fn exposure_rows(findings: &[VehicleFinding]) -> Vec<ExposureRow> {
    findings.iter().flat_map(|f| &f.exposures).map(exposure_row).collect()
}

fn exposure_row(e: &Exposure) -> ExposureRow {
    ExposureRow {
        vehicle: e.vehicle.clone(),
        start: e.start,
        end: e.end,
        logged: e.logged,
        judged: e.judged,
        incidents: e.incidents,
        ambient_c: sourced(&e.ambient_c),
        humidity_pct: sourced(&e.humidity_pct),
        dew_spread_k: e.dew_spread_k,
        rain_12h_mm: e.rain_12h_mm,
        wet: e.wet,
        washed: e.washed,
        soak_s: e.soak_s,
        first_of_day: e.first_of_day,
        supply_v: sourced(&e.supply_v),
        odometer_km: e.odometer_km,
        place: e.place.clone(),
    }
}

fn incident_row(finding: &VehicleFinding, i: &Incident) -> IncidentRow {
    let exposure = finding.exposures.iter().find(|e| e.start == i.start);
    let names = |list: &[(String, crate::vocabulary::Place)]| -> Vec<String> {
        list.iter().map(|(n, _)| n.clone()).collect()
    };
    let mut places: Vec<_> = i.silent.iter().map(|s| s.place.clone()).collect();
    places.extend(i.disturbances.iter().map(|d| d.place.clone()));
    places.extend(i.reports.iter().cloned());
    IncidentRow {
        vehicle: finding.vehicle.clone(),
        start: i.start,
        begin: i.begin,
        end: i.end,
        bus: i.bus.clone(),
        since_start_s: i.since_start_s,
        logged: i.logged,
        silent: i.silent.iter().map(|s| s.node.clone()).collect(),
        alive: i.alive.clone(),
        disturbances: i.disturbances.iter().map(|d| d.kind.to_owned()).collect(),
        accused: i.accusations.iter().map(|a| a.accused.clone()).collect(),
        bus_down: names(&i.bus_down),
        own_supply: names(&i.own_supply),
        answered: names(&i.answered),
        unanswered: names(&i.unanswered),
        supply_v: i.supply_v,
        ambient_c: exposure.and_then(|e| e.ambient_c.as_ref()).map(|s| s.value),
        humidity_pct: exposure.and_then(|e| e.humidity_pct.as_ref()).map(|s| s.value),
        wet: exposure.and_then(|e| e.wet),
        soak_s: exposure.and_then(|e| e.soak_s),
        places,
    }
}
