//! Facts that somebody else kept: the parts of a large fleet, poured in beside what this run reads.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use rayon::prelude::*;

use super::logs::ByVehicle;
use super::sources::Sources;
use crate::facts::FleetPart;
use crate::read::Tally;

/// Reads all parts, each as a whole, in order of their names.
pub(super) fn pour(sources: &mut Sources, logs: &mut ByVehicle, tally: &mut Tally) {
    if sources.facts.is_empty() {
        return;
    }
    let mut parts: BTreeMap<PathBuf, Vec<(PathBuf, Arc<str>)>> = BTreeMap::new();
    for file in std::mem::take(&mut sources.facts) {
        let folder = file.path.parent().map(std::path::Path::to_owned).unwrap_or_default();
        parts.entry(folder).or_default().push((file.path, file.name));
    }
    let parts: Vec<Vec<(PathBuf, Arc<str>)>> = parts.into_values().collect();
    let read: Vec<FleetPart> = parts
        .into_par_iter()
        .with_max_len(1)
        .map(|mut files| {
            files.sort_by(|a, b| a.1.cmp(&b.1));
            let mut part = FleetPart::default();
            for (path, name) in files {
                part.read(&path, &name);
            }
            part
        })
        .collect();
    let whole: Arc<str> = "facts".into();
    for part in read {
        tally.bytes += part.bytes;
        tally.scan_reports += part.reports.len() as u64;
        tally.table_rows += (part.vehicles.len() + part.modules.len()) as u64;
        tally.rejects.extend(part.rejects);
        sources.vehicles.extend(part.vehicles);
        sources.modules.extend(part.modules);
        sources.reports.extend(part.reports);
        for (vehicle, facts) in part.logs {
            logs.entry(vehicle).or_default().push((Arc::clone(&whole), facts));
        }
    }
    sources.sort_vehicles();
    sources.sort_reports();
    for list in logs.values_mut() {
        list.sort_by(|a, b| a.0.cmp(&b.0));
    }
}
