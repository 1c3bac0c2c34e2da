//! One vehicle weighed, in two steps: brought together, and concluded when it is known who listens to whom.
//!
//! In: its inputs, and what is the same for all vehicles ([`Scales`]). Out: its finding and outlook, and what
//! it was before the week. A vehicle without incidents is concluded at once. This machine and any other do
//! with a vehicle what stands here, and nothing else.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::lacking::{Given, lacking};
use super::run::VehicleInput;
use crate::conditions::{Ahead, ConditionRisk, Exposure, WeatherTable, exposures, risks, trials};
use crate::incidents::{Gathered, VehicleFacts, align, gather};
use crate::observe::{AnswerRow, logged_reports, mark_answers, testimony};
use crate::read::{ServiceNote, TestTable};
use crate::repairs::{self, AfterTable, Outlook, outlook};
use crate::suspects::{Case, Listening, VehicleFinding, judge};
use crate::vocabulary::{Instant, Network};
use crate::weeks::Earlier;

/// What is the same for all vehicles.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scales<'a> {
    pub tests: &'a TestTable,
    pub after: &'a AfterTable,
    pub weather: &'a WeatherTable,
    /// The coming weather, where a forecast was given.
    pub forecast: Option<&'a WeatherTable>,
    pub zone: Tz,
    /// Confidence at which a repair counts as held.
    pub confidence: f64,
    /// The first instant of the week, where the view compares it with before.
    pub week: Option<Instant>,
}

/// A vehicle by its name, with what the tables say of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Named<'a> {
    pub vehicle: &'a str,
    pub network: Option<&'a Network>,
    pub site: Option<&'a str>,
}

/// One vehicle brought together: all that weighing it takes.
#[derive(Debug, Clone)]
pub(super) struct Together {
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
pub(super) struct Waiting {
    now: Option<Box<Together>>,
    before: BeforeWeek,
}

/// What is found of a vehicle, and what is to come.
pub(super) type Found = (VehicleFinding, Outlook);

/// What is told of a vehicle: as it is now, and as it was before the week. Either may be told later, or not
/// be asked for.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct Told {
    pub now: Option<Box<Found>>,
    pub earlier: Option<Earlier>,
}

/// Who listens to whom, as of now and as of before the week.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Learned {
    pub now: Listening,
    pub then: Listening,
}

impl Learned {
    /// Adds what another vehicle taught.
    pub(super) fn join(&mut self, other: &Learned) {
        self.now.join(&other.now);
        self.then.join(&other.then);
    }
}

impl Named<'_> {
    /// Vehicles of one network learn from each other; without a description each stands alone.
    pub(super) fn family(&self) -> String {
        match self.network {
            Some(network) => format!("network {}", network.name),
            None => format!("vehicle {}", self.vehicle),
        }
    }
}

fn earlier((finding, outlook): &Found) -> Earlier {
    Earlier::of(finding, Some(outlook))
}

impl Waiting {
    /// What the vehicle teaches about who listens to whom.
    pub(super) fn lessons(&self) -> Learned {
        let mut learned = Learned::default();
        if let Some(together) = &self.now {
            learned.now.learn_of(&together.gathered);
        }
        let before = match &self.before {
            BeforeWeek::Alike => self.now.as_ref(),
            BeforeWeek::Other(together) => Some(together),
            BeforeWeek::NotAsked => None,
        };
        if let Some(together) = before {
            learned.then.learn_of(&together.gathered);
        }
        learned
    }
}

impl Scales<'_> {
    /// One vehicle: what can be told of it at once, and what has to wait. Its codes and answers are put
    /// beside its inputs.
    pub(super) fn put_on(
        &self,
        one: Named<'_>,
        input: &mut VehicleInput,
    ) -> (Told, Option<Waiting>) {
        let mut told = Told::default();
        let mut before = match self.week {
            None => BeforeWeek::NotAsked,
            Some(begin) if input.all_before(begin) => BeforeWeek::Alike,
            Some(begin) => match self.quiet(one, self.together(one, &mut input.before(begin))) {
                Ok(was) => {
                    told.earlier = Some(earlier(&was));
                    BeforeWeek::NotAsked
                }
                Err(then) => BeforeWeek::Other(then),
            },
        };
        let now = match self.quiet(one, self.together(one, input)) {
            Ok(found) => {
                if matches!(before, BeforeWeek::Alike) {
                    told.earlier = Some(earlier(&found));
                    before = BeforeWeek::NotAsked;
                }
                told.now = Some(Box::new(found));
                None
            }
            Err(now) => Some(now),
        };
        let waits = now.is_some() || matches!(before, BeforeWeek::Other(_));
        (told, waits.then_some(Waiting { now, before }))
    }

    /// What had to wait, now that all vehicles of the family are known.
    pub(super) fn read_off(&self, one: Named<'_>, waiting: Waiting, learned: &Learned) -> Told {
        let Waiting { now: together, before } = waiting;
        let before = match (before, &together) {
            (BeforeWeek::Alike, Some(together))
                if !learned.now.alike(&learned.then, &together.gathered) =>
            {
                BeforeWeek::Other(together.clone())
            }
            (before, _) => before,
        };
        let now = together.map(|together| self.concluded(one, *together, &learned.now));
        let earlier = match before {
            // Nothing has come, and the others taught nothing new about it.
            BeforeWeek::Alike => now.as_ref().map(earlier),
            BeforeWeek::Other(together) => {
                Some(earlier(&self.concluded(one, *together, &learned.then)))
            }
            BeforeWeek::NotAsked => None,
        };
        Told { now: now.map(Box::new), earlier }
    }

    /// The finding of a vehicle without incidents; another one comes back as it is.
    fn quiet(&self, one: Named<'_>, together: Together) -> Result<Found, Box<Together>> {
        match together.gathered.incidents.is_empty() {
            true => Ok(self.concluded(one, together, &Listening::default())),
            false => Err(Box::new(together)),
        }
    }

    fn together(&self, one: Named<'_>, input: &mut VehicleInput) -> Together {
        let aligned = input.testify(one);
        let weighed: Vec<AnswerRow> =
            input.answers.iter().filter(|a| a.reading.weighs()).cloned().collect();
        let mut gathered = gather(&VehicleFacts {
            network: one.network,
            logs: &input.logs,
            reports: &input.reports,
            codes: &input.codes,
            answers: &weighed,
            notes: &input.notes,
        });
        gathered.remarks.extend(aligned);
        let signals: Vec<_> = input.logs.iter().flat_map(|(_, l)| l.signals.clone()).collect();
        let exposures = exposures(
            one.vehicle,
            &gathered.starts,
            &signals,
            &input.reports,
            self.weather,
            one.site,
            &input.notes,
            self.zone,
        );
        Together {
            conditions: risks(&exposures),
            exposures,
            gathered,
            notes: input.notes.clone(),
            given: Given {
                weather: !self.weather.is_empty(),
                site: one.site.is_some(),
                notes: input.notes.len(),
                logs: input.logs.len(),
                reports: input.reports.len(),
            },
        }
    }

    fn concluded(&self, one: Named<'_>, together: Together, listening: &Listening) -> Found {
        let Together { gathered, exposures, conditions, notes, given } = together;
        let mut finding = judge(Case {
            vehicle: one.vehicle,
            network: one.network,
            gathered,
            exposures,
            conditions,
            notes: &notes,
            tests: self.tests,
            listening,
        });
        finding.remarks.extend(lacking(&finding, given));
        let trials = trials(&finding.exposures, &finding.incidents);
        let no_forecast = WeatherTable::default();
        let ahead = Ahead {
            forecast: self.forecast.unwrap_or(&no_forecast),
            given: self.forecast.is_some(),
            site: one.site,
            zone: self.zone,
        };
        let outlook = outlook(&repairs::Case {
            finding: &finding,
            trials: &trials,
            notes: &notes,
            network: one.network,
            ahead,
            confidence: self.confidence,
            table: self.after,
        });
        drop(trials);
        (finding, outlook)
    }
}

impl VehicleInput {
    /// Brings the clocks of its logs together and puts its codes and answers beside them; what there is to say
    /// of the clocks. Only once for each input: what the logs say becomes reports.
    pub(super) fn testify(&mut self, one: Named<'_>) -> Vec<String> {
        let aligned = align(&mut self.logs);
        // What testers and nodes said in the logs is testimony like that of a report.
        self.reports.extend(logged_reports(one.vehicle, &self.logs));
        self.reports.sort_by(|a, b| (a.taken_at, &a.place).cmp(&(b.taken_at, &b.place)));
        (self.codes, self.answers) = testimony(&self.reports, one.network);
        mark_answers(&mut self.answers, &self.logs);
        aligned
    }

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
