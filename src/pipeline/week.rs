//! The week of a fleet: which one it is, and what was there before it. Findings as they were a week before
//! are made anew from the facts of the earlier weeks, so that a comparison needs no memory of earlier runs.

use std::collections::BTreeMap;

use super::logs::Notes;
use super::plan::{Plan, View};
use super::run::VehicleInput;
use super::sources::Sources;
use crate::repairs::Outlook;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;
use crate::weeks::{Before, FleetWeek, Papers, Severities, WeekInView, review, week_in_view};

/// Which week is in view; `None` in another view than a fleet's, or when no vehicle was seen. `elsewhere`
/// tells when vehicles were last seen in facts that are still to be read.
pub(super) fn in_view(
    plan: &Plan,
    vehicles: &BTreeMap<String, VehicleInput>,
    elsewhere: impl FnOnce() -> Vec<(String, Instant)>,
) -> Option<WeekInView> {
    if plan.view != View::Fleet {
        return None;
    }
    let mut seen: BTreeMap<String, Instant> = vehicles
        .iter()
        .filter_map(|(vehicle, input)| Some((vehicle.clone(), last_seen(input)?)))
        .collect();
    for (vehicle, at) in elsewhere() {
        let last = seen.entry(vehicle).or_insert(at);
        *last = at.max(*last);
    }
    let seen: Vec<(String, Instant)> = seen.into_iter().collect();
    week_in_view(&seen, plan.period.and_then(|(_, to)| to), plan.timezone)
}

fn last_seen(input: &VehicleInput) -> Option<Instant> {
    let starts = input.logs.iter().flat_map(|(_, log)| &log.starts).map(|start| start.begin);
    starts.chain(input.reports.iter().map(|report| report.taken_at)).max()
}

impl VehicleInput {
    /// What was there before an instant.
    pub(super) fn before(&self, at: Instant) -> VehicleInput {
        let logs = self.logs.iter().filter_map(|(name, log)| {
            if log.starts.iter().all(|start| start.begin >= at) {
                return None;
            }
            let mut log = log.clone();
            log.keep_starts(|begin| begin < at);
            Some((name.clone(), log))
        });
        VehicleInput {
            logs: logs.collect(),
            reports: self.reports.iter().filter(|r| r.taken_at < at).cloned().collect(),
            notes: self.notes.iter().filter(|n| n.time < at).cloned().collect(),
            ..VehicleInput::default()
        }
    }
}

/// The week, from what is found now and what was found before it.
pub(super) fn review_of(
    plan: &Plan,
    sources: &Sources,
    logs: &Notes,
    (in_view, before): (WeekInView, Before),
    (findings, outlooks): (&[VehicleFinding], &[Outlook]),
) -> FleetWeek {
    let tests = sources.tests();
    let severities = Severities::new(sources.severity.clone());
    let network_of = |vehicle: &str| sources.network_of(vehicle);
    let papers = Papers {
        network_of: &network_of,
        vehicles: &sources.vehicles,
        modules: &sources.modules,
        tests: &tests,
        severities: &severities,
        logs,
        zone: plan.timezone,
    };
    review(in_view, findings, outlooks, &before, &papers)
}
