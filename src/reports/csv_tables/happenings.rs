//! What happened: incidents, and every start with its conditions as the denominator.

use std::io::Write;

use super::{Cell, Sheet, known, list, maybe, plain, text};
use crate::conditions::Sourced;
use crate::reports::ReportError;
use crate::reports::culprits_json::decimals;
use crate::reports::whole_file::Output;
use crate::reports::wording::each_once;
use crate::suspects::VehicleFinding;

/// A row per incident.
pub(super) fn incidents(findings: &[&VehicleFinding]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "incidents.csv",
        "vehicle start begin end seconds bus logged since_start_s silent disturbed_by \
         disturbing_frames accusations bus_down own_supply answered unanswered supply_v where",
    )?;
    for finding in findings {
        for incident in &finding.incidents {
            let accusations: Vec<String> = incident
                .accusations
                .iter()
                .map(|a| format!("{} about {} ({})", a.reporter, a.accused, a.code))
                .collect();
            let places: Vec<String> = (incident.silent.iter().map(|s| s.place.to_string()))
                .chain(incident.disturbances.iter().map(|d| d.place.to_string()))
                .chain(incident.reports.iter().map(ToString::to_string))
                .collect();
            let frames: u64 = incident.disturbances.iter().map(|d| d.count).sum();
            sheet.row([
                text(&finding.vehicle),
                plain(incident.start),
                plain(incident.begin),
                plain(incident.end),
                maybe(decimals(incident.end.seconds_since(incident.begin), 1e3)),
                text(incident.bus.as_deref().unwrap_or_default()),
                plain(incident.logged),
                maybe(incident.since_start_s.and_then(|s| decimals(s, 1e3))),
                list(each_once(incident.silent.iter().map(|s| s.node.as_str())).into_iter()),
                list(each_once(incident.disturbances.iter().map(|d| d.kind)).into_iter()),
                if incident.logged { plain(frames) } else { Cell(String::new()) },
                list(accusations.iter().map(String::as_str)),
                list(incident.bus_down.iter().map(|(node, _)| node.as_str())),
                list(incident.own_supply.iter().map(|(node, _)| node.as_str())),
                list(incident.answered.iter().map(|(node, _)| node.as_str())),
                list(incident.unanswered.iter().map(|(node, _)| node.as_str())),
                maybe(incident.supply_v.and_then(|v| decimals(v, 1e3))),
                list(places.iter().map(String::as_str)),
            ])?;
        }
    }
    sheet.done()
}

/// Columns of the starts.
pub(super) const EXPOSURES: &str = "vehicle start end logged judged incidents ambient_c ambient_source \
                                    ambient_age_s humidity_pct dew_spread_k rain_12h_mm wet washed \
                                    soak_s first_of_day supply_v odometer_km where";

/// A row per start.
pub(super) fn exposures(
    findings: &[&VehicleFinding],
    mut sheet: Sheet<&mut dyn Write>,
) -> Result<(), ReportError> {
    for finding in findings {
        for exposure in &finding.exposures {
            let value = |s: &Option<Sourced>| s.as_ref().and_then(|s| decimals(s.value, 1e3));
            let ambient = exposure.ambient_c.as_ref();
            sheet.row([
                text(&exposure.vehicle),
                plain(exposure.start),
                plain(exposure.end),
                plain(exposure.logged),
                plain(exposure.judged),
                plain(exposure.incidents),
                maybe(value(&exposure.ambient_c)),
                plain(ambient.map_or("", |s| s.source)),
                maybe(ambient.and_then(|s| decimals(s.age_s, 1e3))),
                maybe(value(&exposure.humidity_pct)),
                maybe(exposure.dew_spread_k.and_then(|k| decimals(k, 1e3))),
                maybe(exposure.rain_12h_mm.and_then(|mm| decimals(mm, 1e3))),
                known(exposure.wet),
                known(exposure.washed),
                maybe(exposure.soak_s.and_then(|s| decimals(s, 1e3))),
                known(exposure.first_of_day),
                maybe(value(&exposure.supply_v)),
                maybe(exposure.odometer_km.and_then(|km| decimals(km, 1e1))),
                text(&exposure.place.to_string()),
            ])?;
        }
    }
    sheet.end()
}
