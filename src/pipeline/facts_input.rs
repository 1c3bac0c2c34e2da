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
use crate::read::{ServiceNote, Tally};
use crate::vocabulary::{Instant, Place, Reject};

/// What stands for the log where the facts of a vehicle come from a part.
const ELSEWHERE: &str = "facts";
/// Most parts at hand at once: a thousand vehicles of two years take about 100 MB.
const MOST_TOGETHER: usize = 4;

/// The files of one part, by name.
type Files = Vec<(PathBuf, Arc<str>)>;

/// The parts of a fleet's facts that are still to be read, by folder.
#[derive(Debug, Default)]
pub(super) struct Parts {
    folders: Vec<Files>,
    taken: BTreeSet<String>,
    /// Whether any of them held a report or the facts of a log.
    pub seen: bool,
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
                self.pour(part, plan, sources, tally, own, &mut vehicles);
            }
            sources.sort_vehicles();
            give(sources, vehicles);
        }
    }

    /// Leaves out the vehicles of a part that stood in an earlier one.
    fn once(&mut self, part: &mut FleetPart, files: &Files, tally: &mut Tally) {
        let names: BTreeSet<&str> = part
            .logs
            .keys()
            .map(String::as_str)
            .chain(part.reports.iter().map(|r| r.vehicle.as_str()))
            .chain(part.vehicles.iter().map(|r| r.vehicle.as_str()))
            .chain(part.modules.iter().map(|r| r.vehicle.as_str()))
            .collect();
        let before = names.iter().filter(|name| self.taken.contains(**name));
        let again: BTreeSet<String> = before.map(|name| (*name).to_owned()).collect();
        self.taken.extend(names.into_iter().map(str::to_owned));
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
        own: &mut BTreeMap<String, VehicleInput>,
        vehicles: &mut BTreeMap<String, VehicleInput>,
    ) {
        let elsewhere: Arc<str> = ELSEWHERE.into();
        tally.bytes += part.bytes;
        tally.scan_reports += part.reports.len() as u64;
        tally.table_rows += (part.vehicles.len() + part.modules.len()) as u64;
        tally.rejects.extend(part.rejects);
        let notes = &sources.notes;
        for row in part.vehicles.iter().filter(|_| plan.view != View::Session) {
            of(vehicles, own, notes, &row.vehicle);
        }
        for (name, mut facts) in part.logs {
            tally.outside_period += facts.keep_starts(|begin| plan.in_period(begin));
            self.seen = true;
            let input = of(vehicles, own, notes, &name);
            input.logs.push((Arc::clone(&elsewhere), facts));
            input.logs.sort_by(|a, b| a.0.cmp(&b.0));
        }
        for report in part.reports {
            self.seen = true;
            if !plan.in_period(report.taken_at) {
                tally.outside_period += 1;
                continue;
            }
            of(vehicles, own, notes, &report.vehicle).reports.push(report);
        }
        sources.vehicles.extend(part.vehicles);
        sources.modules.extend(part.modules);
    }
}

/// What is known of a vehicle so far: what this run has read of it itself, or its notes.
fn of<'v>(
    vehicles: &'v mut BTreeMap<String, VehicleInput>,
    own: &mut BTreeMap<String, VehicleInput>,
    notes: &[ServiceNote],
    name: &str,
) -> &'v mut VehicleInput {
    vehicles.entry(name.to_owned()).or_insert_with(|| {
        own.remove(name).unwrap_or_else(|| {
            let from = notes.partition_point(|note| note.vehicle.as_str() < name);
            let rest = notes.get(from..).unwrap_or_default();
            let notes = rest.iter().take_while(|note| note.vehicle == name).cloned();
            VehicleInput { notes: notes.collect(), ..VehicleInput::default() }
        })
    })
}

impl VehicleInput {
    /// Whether this run has read a log of the vehicle itself.
    pub(super) fn has_own_log(&self) -> bool {
        self.logs.iter().any(|(name, _)| **name != *ELSEWHERE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::LogFacts;

    #[test]
    fn one_log_of_its_own_is_told_from_facts_of_a_part() {
        let with = |names: &[&str]| VehicleInput {
            logs: names.iter().map(|name| ((*name).into(), LogFacts::default())).collect(),
            ..VehicleInput::default()
        };
        assert!(with(&["bus/LH-01/a.log"]).has_own_log());
        assert!(with(&["bus/LH-01/a.log", ELSEWHERE]).has_own_log());
        assert!(!with(&[ELSEWHERE]).has_own_log() && !with(&[]).has_own_log());
    }
}
