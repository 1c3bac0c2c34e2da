//! The incidents as a table, for those who want the raw evidence.

use serde::Serialize;

use super::NAME;
use crate::incidents::Incident;
use crate::reports::Heading;
use crate::reports::wording::{UNKNOWN, each_once, local, number, shown, span};
use crate::suspects::VehicleFinding;

/// Most rows on a page; `incidents.csv` has all.
const MOST_ROWS: usize = 200;
/// Most names in a cell.
const MOST_NAMES: usize = 6;

#[derive(Serialize)]
pub(super) struct IncidentTable {
    rows: Vec<Row>,
    left: usize,
    all: usize,
}

#[derive(Serialize)]
struct Row {
    begin: String,
    since_start: String,
    lasted: String,
    bus: String,
    silent: String,
    disturbed: String,
    accusations: usize,
    ambient: String,
    wet: &'static str,
    places: Vec<String>,
    more_places: usize,
}

pub(super) fn table(heading: &Heading, finding: &VehicleFinding) -> IncidentTable {
    let incidents = &finding.incidents;
    IncidentTable {
        rows: incidents.iter().take(MOST_ROWS).map(|i| row(heading, finding, i)).collect(),
        left: incidents.len().saturating_sub(MOST_ROWS),
        all: incidents.len(),
    }
}

fn row(heading: &Heading, finding: &VehicleFinding, incident: &Incident) -> Row {
    let exposure = finding.exposures.iter().find(|e| e.start == incident.start);
    let ambient = exposure.and_then(|e| e.ambient_c.as_ref());
    let lasting = incident.end.seconds_since(incident.begin);
    let places: Vec<String> = (incident.silent.iter().map(|s| s.place.to_string()))
        .chain(incident.disturbances.iter().map(|d| d.place.to_string()))
        .chain(incident.reports.iter().map(ToString::to_string))
        .collect();
    Row {
        begin: local(incident.begin, heading.timezone),
        since_start: incident.since_start_s.map_or_else(|| UNKNOWN.to_owned(), span),
        lasted: if incident.end > incident.begin { span(lasting) } else { UNKNOWN.to_owned() },
        bus: incident.bus.as_deref().map_or_else(|| UNKNOWN.to_owned(), |b| shown(b, NAME)),
        silent: match incident.silent.len() {
            0 if !incident.logged => "no log".to_owned(),
            0 => "none".to_owned(),
            _ => names(incident.silent.iter().map(|s| s.node.as_str())),
        },
        disturbed: match incident.disturbances.len() {
            0 if !incident.logged => "no log".to_owned(),
            0 => "no".to_owned(),
            _ => names(incident.disturbances.iter().map(|d| d.kind)).replace('-', " "),
        },
        accusations: incident.accusations.len(),
        ambient: ambient.map_or_else(
            || UNKNOWN.to_owned(),
            |s| format!("{} \u{b0}C ({})", number(s.value, 1), s.source),
        ),
        wet: match exposure.and_then(|e| e.wet) {
            Some(true) => "wet",
            Some(false) => "dry",
            None => UNKNOWN,
        },
        more_places: places.len().saturating_sub(2),
        places: places.iter().take(2).map(|p| shown(p, 120)).collect(),
    }
}

fn names<'a>(all: impl Iterator<Item = &'a str>) -> String {
    let all = each_once(all);
    let mut text: Vec<String> = all.iter().take(MOST_NAMES).map(|n| shown(n, 30)).collect();
    if all.len() > MOST_NAMES {
        text.push(format!("{} more", all.len() - MOST_NAMES));
    }
    text.join(", ")
}
