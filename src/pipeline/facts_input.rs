//! Facts that somebody else kept: the parts of a large fleet, taken one after the other beside what this run reads.
//!
//! A part holds each of its vehicles whole, so its vehicles are brought together while the part is at hand and
//! little of them is kept: memory holds a few parts and the findings, never the fleet's facts. A vehicle
//! that stands in two parts is refused in the second.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use rayon::prelude::*;

use super::plan::{Plan, View};
use super::run::VehicleInput;
use super::sources::Sources;
use crate::facts::{FleetPart, last_seen};
use crate::read::Tally;
use crate::vocabulary::{Instant, Place, Reject};

/// Most parts at hand at once: a thousand vehicles of two years take about 100 MB.
const MOST_TOGETHER: usize = 4;

/// The files of one part, by name.
type Files = Vec<(PathBuf, Arc<str>)>;

/// The parts of a fleet's facts that are still to be read, by folder.
#[derive(Debug, Default)]
pub(super) struct Parts {
    folders: Vec<Files>,
    taken: BTreeSet<String>,
    /// Reports and starts of all of them.
    pub seen: u64,
}

impl Parts {
    /// Takes the files of facts out of the sources.
    pub(super) fn of(sources: &mut Sources) -> Parts {
        let mut parts: BTreeMap<PathBuf, Files> = BTreeMap::new();
        for file in std::mem::take(&mut sources.facts) {
            let folder = file.path.parent().map(std::path::Path::to_owned).unwrap_or_default();
            parts.entry(folder).or_default().push((file.path, file.name));
        }
        let mut folders: Vec<Files> = parts.into_values().collect();
        for files in &mut folders {
            files.sort_by(|a, b| a.1.cmp(&b.1));
        }
        Parts { folders, ..Parts::default() }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.folders.is_empty()
    }

    /// When each vehicle was last seen in the period, from two columns of each part.
    pub(super) fn last_seen(&self, plan: &Plan) -> Vec<(String, Instant)> {
        let period = plan.period.unwrap_or((None, None));
        self.folders
            .par_iter()
            .with_max_len(1)
            .flat_map_iter(|files| last_seen(files, period))
            .collect()
    }

    /// Reads all parts, a few at a time in their order, and hands their vehicles on with what this run itself
    /// has read of them, which is taken out of `own`. Rows of the tables of vehicles and modules join the
    /// sources before.
    pub(super) fn each(
        &mut self,
        plan: &Plan,
        sources: &mut Sources,
        own: &mut BTreeMap<String, VehicleInput>,
        tally: &mut Tally,
        mut give: impl FnMut(&Sources, BTreeMap<String, VehicleInput>),
    ) {
        let together = rayon::current_num_threads().clamp(1, MOST_TOGETHER);
        let folders = std::mem::take(&mut self.folders);
        for some in folders.chunks(together) {
            let read: Vec<FleetPart> = some
                .par_iter()
                .with_max_len(1)
                .map(|files| {
                    let mut part = FleetPart::default();
                    for (path, name) in files {
                        part.read(path, name);
                    }
                    part
                })
                .collect();
            let mut vehicles = BTreeMap::new();
            for (mut part, files) in read.into_iter().zip(some) {
                self.once(&mut part, files, tally);
                self.pour(
                    part,
                    plan,
                    sources,
                    tally,
                    &mut |name| {
                        let input = own.remove(name);
                        (name.to_owned(), input)
                    },
                    &mut vehicles,
                );
            }
            sources.sort_vehicles();
            give(sources, vehicles);
        }
    }

    /// Leaves out the vehicles of a part that stood in an earlier one.
    fn once(&mut self, part: &mut FleetPart, files: &Files, tally: &mut Tally) {
        let mut names: BTreeSet<String> = part.logs.keys().cloned().collect();
        names.extend(part.reports.iter().map(|r| r.vehicle.clone()));
        names.extend(part.vehicles.iter().map(|r| r.vehicle.clone()));
        let mut last: Option<&str> = None;
        let mut fitted: Vec<String> = Vec::new();
        for row in &part.modules {
            if last != Some(row.vehicle.as_str()) {
                fitted.push(row.vehicle.clone());
                last = Some(row.vehicle.as_str());
            }
        }
        names.extend(fitted);
        let again: BTreeSet<String> =
            names.iter().filter(|name| self.taken.contains(*name)).cloned().collect();
        self.taken.extend(names);
        if again.is_empty() {
            return;
        }
        part.logs.retain(|name, _| !again.contains(name));
        part.reports.retain(|r| !again.contains(&r.vehicle));
        part.vehicles.retain(|r| !again.contains(&r.vehicle));
        part.modules.retain(|r| !again.contains(&r.vehicle));
        if let Some((_, file)) = files.first() {
            let reason = |name: &String| {
                format!(
                    "vehicle {name} stands in an earlier part, too: expected a vehicle in one part only"
                )
            };
            let one = |name: &String| Reject::one(Place::whole(file), reason(name));
            tally.rejects.extend(again.iter().map(one));
        }
    }

    fn pour(
        &mut self,
        part: FleetPart,
        plan: &Plan,
        sources: &mut Sources,
        tally: &mut Tally,
        own: &mut dyn FnMut(&str) -> (String, Option<VehicleInput>),
        vehicles: &mut BTreeMap<String, VehicleInput>,
    ) {
        let whole: Arc<str> = "facts".into();
        tally.bytes += part.bytes;
        tally.scan_reports += part.reports.len() as u64;
        tally.table_rows += (part.vehicles.len() + part.modules.len()) as u64;
        tally.rejects.extend(part.rejects);
        let notes = &sources.notes;
        let mut of = |vehicles: &mut BTreeMap<String, VehicleInput>, name: &str| {
            if !vehicles.contains_key(name) {
                let (name, input) = own(name);
                let input = input.unwrap_or_else(|| {
                    let from = notes.partition_point(|note| note.vehicle < name);
                    let rest = notes.get(from..).unwrap_or_default();
                    let notes = rest.iter().take_while(|note| note.vehicle == name).cloned();
                    VehicleInput { notes: notes.collect(), ..VehicleInput::default() }
                });
                vehicles.insert(name, input);
            }
        };
        for row in part.vehicles.iter().filter(|_| plan.view != View::Session) {
            of(vehicles, &row.vehicle);
        }
        for (name, mut facts) in part.logs {
            tally.outside_period += facts.keep_starts(|begin| plan.in_period(begin));
            self.seen += 1;
            of(vehicles, &name);
            if let Some(input) = vehicles.get_mut(&name) {
                input.logs.push((Arc::clone(&whole), facts));
                input.logs.sort_by(|a, b| a.0.cmp(&b.0));
            }
        }
        for report in part.reports {
            self.seen += 1;
            if !plan.in_period(report.taken_at) {
                tally.outside_period += 1;
                continue;
            }
            of(vehicles, &report.vehicle);
            if let Some(input) = vehicles.get_mut(&report.vehicle) {
                input.reports.push(report);
            }
        }
        sources.vehicles.extend(part.vehicles);
        sources.modules.extend(part.modules);
    }
}
