//! Facts to findings, vehicle by vehicle, with little kept of each.
//!
//! Who listens to whom is learned over all vehicles, so a vehicle with incidents is weighed when all have
//! been brought together; one without is done at once, and its inputs may go. The same is done for what
//! each vehicle was before the week, where anything of the week would change it. So a fleet may come in
//! parts of any size: what is found does not depend on how it was cut.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::lacking::{Given, lacking};
use super::plan::Plan;
use super::run::VehicleInput;
use super::sources::Sources;
use crate::conditions::{Ahead, ConditionRisk, Exposure, WeatherTable, exposures, risks, trials};
use crate::incidents::{Gathered, VehicleFacts, align, gather};
use crate::observe::{AnswerRow, logged_reports, mark_answers, testimony};
use crate::read::{ServiceNote, TestTable};
use crate::repairs::{self, AfterTable, Outlook, outlook};
use crate::suspects::{Case, Listening, VehicleFinding, judge};
use crate::vocabulary::Instant;
use crate::weeks::{Before, Earlier};

/// One vehicle brought together: all that weighing it takes.
#[derive(Debug, Clone)]
struct Together {
    gathered: Gathered,
    exposures: Vec<Exposure>,
    conditions: Vec<ConditionRisk>,
    notes: Vec<ServiceNote>,
    given: Given,
}

/// What a vehicle was before the week, until all vehicles are known.
#[derive(Debug)]
enum BeforeWeek {
    /// Nobody asks, or it is told already.
    NotAsked,
    /// Nothing of it is of the week.
    Alike,
    /// Something is, and without it there were incidents.
    Other(Box<Together>),
}

/// One vehicle with incidents, until all vehicles are known.
#[derive(Debug)]
struct Waiting {
    vehicle: String,
    now: Option<Box<Together>>,
    before: BeforeWeek,
}

/// What is found of a vehicle, and what is to come.
type Found = (VehicleFinding, Outlook);

/// What is found of a vehicle now, and what it was before the week.
type Both = (Option<Found>, Option<(String, Earlier)>);

fn told((finding, outlook): &Found) -> Earlier {
    Earlier::of(finding, Some(outlook))
}

/// The vehicles of a run on their way, with what does not change from one to the next.
pub(super) struct Weighing<'a> {
    plan: &'a Plan,
    tests: TestTable,
    after: AfterTable,
    /// The first instant of the week, where the view compares it with before.
    week: Option<Instant>,
    done: Vec<(VehicleFinding, Outlook)>,
    before: Before,
    waiting: Vec<Waiting>,
}

impl<'a> Weighing<'a> {
    /// Nothing weighed yet; `week` is the first instant of the week, where one is compared with before.
    pub(super) fn new(plan: &'a Plan, sources: &Sources, week: Option<Instant>) -> Weighing<'a> {
        Weighing {
            plan,
            tests: sources.tests(),
            after: AfterTable::new(sources.after_part.clone()),
            week,
            done: Vec::new(),
            before: Before::new(),
            waiting: Vec::new(),
        }
    }

    /// Takes some vehicles; their codes and answers are put beside their inputs.
    pub(super) fn take(
        &mut self,
        sources: &Sources,
        vehicles: &mut BTreeMap<String, VehicleInput>,
    ) {
        let how: &Weighing<'_> = self;
        let all: Vec<(Both, Option<Waiting>)> = vehicles
            .par_iter_mut()
            .map(|(vehicle, input)| how.one(sources, vehicle, input))
            .collect();
        for ((done, earlier), waiting) in all {
            self.done.extend(done);
            self.before.extend(earlier);
            self.waiting.extend(waiting);
        }
    }

    /// One vehicle: what can be told of it at once, and what has to wait.
    fn one(
        &self,
        sources: &Sources,
        vehicle: &str,
        input: &mut VehicleInput,
    ) -> (Both, Option<Waiting>) {
        let mut earlier = None;
        let mut before = match self.week {
            None => BeforeWeek::NotAsked,
            Some(begin) if input.all_before(begin) => BeforeWeek::Alike,
            Some(begin) => {
                let then = self.together(sources, vehicle, &mut input.before(begin));
                match self.quiet(sources, vehicle, then) {
                    Ok(was) => {
                        earlier = Some(told(&was));
                        BeforeWeek::NotAsked
                    }
                    Err(then) => BeforeWeek::Other(then),
                }
            }
        };
        let now = self.together(sources, vehicle, input);
        let (done, now) = match self.quiet(sources, vehicle, now) {
            Ok(done) => (Some(done), None),
            Err(now) => (None, Some(now)),
        };
        if let (BeforeWeek::Alike, Some(done)) = (&before, &done) {
            earlier = Some(told(done));
            before = BeforeWeek::NotAsked;
        }
        let waits = now.is_some() || matches!(before, BeforeWeek::Other(_));
        let vehicle = vehicle.to_owned();
        let both = (done, earlier.map(|earlier| (vehicle.clone(), earlier)));
        (both, waits.then_some(Waiting { vehicle, now, before }))
    }

    /// The finding of a vehicle without incidents; another one comes back as it is.
    fn quiet(
        &self,
        sources: &Sources,
        vehicle: &str,
        together: Together,
    ) -> Result<Found, Box<Together>> {
        match together.gathered.incidents.is_empty() {
            true => Ok(self.concluded(sources, vehicle, together, &Listening::default())),
            false => Err(Box::new(together)),
        }
    }

    fn together(&self, sources: &Sources, vehicle: &str, input: &mut VehicleInput) -> Together {
        let network = sources.network_of(vehicle);
        let aligned = align(&mut input.logs);
        // What testers and nodes said in the logs is testimony like that of a report.
        input.reports.extend(logged_reports(vehicle, &input.logs));
        input.reports.sort_by(|a, b| (a.taken_at, &a.place).cmp(&(b.taken_at, &b.place)));
        (input.codes, input.answers) = testimony(&input.reports, network);
        mark_answers(&mut input.answers, &input.logs);
        let weighed: Vec<AnswerRow> =
            input.answers.iter().filter(|a| a.reading.weighs()).cloned().collect();
        let mut gathered = gather(&VehicleFacts {
            network,
            logs: &input.logs,
            reports: &input.reports,
            codes: &input.codes,
            answers: &weighed,
            notes: &input.notes,
        });
        gathered.remarks.extend(aligned);
        let row = sources.row_of(vehicle);
        let signals: Vec<_> = input.logs.iter().flat_map(|(_, l)| l.signals.clone()).collect();
        let exposures = exposures(
            vehicle,
            &gathered.starts,
            &signals,
            &input.reports,
            &sources.weather,
            row.and_then(|r| r.site.as_deref()),
            &input.notes,
            self.plan.timezone,
        );
        Together {
            conditions: risks(&exposures),
            exposures,
            gathered,
            notes: input.notes.clone(),
            given: Given {
                weather: !sources.weather.is_empty(),
                site: row.is_some_and(|r| r.site.is_some()),
                notes: input.notes.len(),
                logs: input.logs.len(),
                reports: input.reports.len(),
            },
        }
    }

    fn concluded(
        &self,
        sources: &Sources,
        vehicle: &str,
        together: Together,
        listening: &Listening,
    ) -> Found {
        let Together { gathered, exposures, conditions, notes, given } = together;
        let network = sources.network_of(vehicle);
        let mut finding = judge(Case {
            vehicle,
            network,
            gathered,
            exposures,
            conditions,
            notes: &notes,
            tests: &self.tests,
            listening,
        });
        finding.remarks.extend(lacking(&finding, given));
        let trials = trials(&finding.exposures, &finding.incidents);
        let no_forecast = WeatherTable::default();
        let ahead = Ahead {
            forecast: sources.forecast.as_ref().unwrap_or(&no_forecast),
            given: sources.forecast.is_some(),
            site: sources.row_of(vehicle).and_then(|r| r.site.as_deref()),
            zone: self.plan.timezone,
        };
        let outlook = outlook(&repairs::Case {
            finding: &finding,
            trials: &trials,
            notes: &notes,
            network,
            ahead,
            confidence: self.plan.confidence,
            table: &self.after,
        });
        drop(trials);
        (finding, outlook)
    }

    /// All findings and outlooks by vehicle, and what was before the week.
    pub(super) fn done(mut self, sources: &Sources) -> (Vec<VehicleFinding>, Vec<Outlook>, Before) {
        let waiting = std::mem::take(&mut self.waiting);
        let (mut now, mut then) = (Learned::new(), Learned::new());
        for one in &waiting {
            let family = family(sources, &one.vehicle);
            if let Some(together) = &one.now {
                now.entry(family.clone()).or_default().learn_of(&together.gathered);
            }
            let before = match &one.before {
                BeforeWeek::Alike => one.now.as_ref(),
                BeforeWeek::Other(together) => Some(together),
                BeforeWeek::NotAsked => None,
            };
            if let Some(together) = before {
                then.entry(family).or_default().learn_of(&together.gathered);
            }
        }
        let how: &Weighing<'_> = &self;
        let concluded: Vec<Both> = waiting
            .into_par_iter()
            .with_max_len(16)
            .map(|one| how.waited(sources, one, &now, &then))
            .collect();
        for (done, earlier) in concluded {
            self.done.extend(done);
            self.before.extend(earlier);
        }
        self.done.sort_by(|a, b| a.0.vehicle.cmp(&b.0.vehicle));
        let (findings, outlooks) = self.done.into_iter().unzip();
        (findings, outlooks, self.before)
    }

    fn waited(&self, sources: &Sources, waiting: Waiting, now: &Learned, then: &Learned) -> Both {
        let Waiting { vehicle, now: together, before } = waiting;
        let none = Listening::default();
        let family = family(sources, &vehicle);
        let now = now.get(&family).unwrap_or(&none);
        let then = then.get(&family).unwrap_or(&none);
        let before = match (before, &together) {
            (BeforeWeek::Alike, Some(together)) if !now.alike(then, &together.gathered) => {
                BeforeWeek::Other(together.clone())
            }
            (before, _) => before,
        };
        let done = together.map(|together| self.concluded(sources, &vehicle, *together, now));
        let earlier = match before {
            // Nothing has come, and the others taught nothing new about it.
            BeforeWeek::Alike => done.as_ref().map(told),
            BeforeWeek::Other(together) => {
                Some(told(&self.concluded(sources, &vehicle, *together, then)))
            }
            BeforeWeek::NotAsked => None,
        };
        (done, earlier.map(|earlier| (vehicle, earlier)))
    }
}

/// Who listens to whom, by family of vehicles.
type Learned = BTreeMap<String, Listening>;

/// Vehicles of one network learn from each other; without a description each stands alone.
fn family(sources: &Sources, vehicle: &str) -> String {
    match sources.network_of(vehicle) {
        Some(network) => format!("network {}", network.name),
        None => format!("vehicle {vehicle}"),
    }
}

impl VehicleInput {
    /// Whether nothing of it is of an instant or later: [`VehicleInput::before`] would leave all of it.
    fn all_before(&self, at: Instant) -> bool {
        let starts = |log: &crate::observe::LogFacts| {
            !log.starts.is_empty() && log.starts.iter().all(|start| start.begin < at)
        };
        self.logs.iter().all(|(_, log)| starts(log))
            && self.reports.iter().all(|report| report.taken_at < at)
            && self.notes.iter().all(|note| note.time < at)
    }
}
