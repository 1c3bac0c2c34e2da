//! Facts to findings, vehicle by vehicle, with little kept of each.
//!
//! Who listens to whom is learned over all vehicles, so a vehicle with incidents is weighed when all have
//! been brought together; one without is done at once, and its inputs may go. The same is done for what
//! each vehicle was before the week, where anything of the week would change it. So a fleet may come in
//! parts of any size: what is found does not depend on how it was cut, nor on whether a vehicle is weighed here
//! or (`loads`) elsewhere.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::loads::{Away, Weighed};
use super::plan::Plan;
use super::run::VehicleInput;
use super::scales::{Found, Learned, Named, Scales, Told, Waiting};
use super::sources::Sources;
use crate::read::TestTable;
use crate::repairs::{AfterTable, Outlook};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;
use crate::weeks::Before;

/// The inputs of vehicles, by name.
type Inputs = BTreeMap<String, VehicleInput>;

/// The vehicles of a run on their way, with what does not change from one to the next.
pub(super) struct Weighing<'a> {
    plan: &'a Plan,
    tests: TestTable,
    after: AfterTable,
    /// The first instant of the week, where the view compares it with before.
    week: Option<Instant>,
    done: Vec<Found>,
    before: Before,
    waiting: Vec<(String, Waiting)>,
    /// What each vehicle that waits elsewhere teaches.
    waiting_elsewhere: BTreeMap<String, Learned>,
    /// Vehicles that were put on the scales elsewhere only: nothing is beside their inputs.
    elsewhere: BTreeSet<String>,
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
            waiting_elsewhere: BTreeMap::new(),
            elsewhere: BTreeSet::new(),
        }
    }

    fn scales<'s>(&'s self, sources: &'s Sources) -> Scales<'s> {
        Scales {
            tests: &self.tests,
            after: &self.after,
            weather: &sources.weather,
            forecast: sources.forecast.as_ref(),
            zone: self.plan.timezone,
            confidence: self.plan.confidence,
            week: self.week,
        }
    }

    /// Takes some vehicles; their codes and answers are put beside their inputs.
    pub(super) fn take(&mut self, sources: &Sources, vehicles: &mut Inputs) {
        let (scales, elsewhere) = (self.scales(sources), &self.elsewhere);
        let all: Vec<(&String, Told, Option<Waiting>)> = vehicles
            .par_iter_mut()
            .filter(|(vehicle, _)| !elsewhere.contains(*vehicle))
            .map(|(vehicle, input)| {
                let (told, waiting) = scales.put_on(sources.named(vehicle), input);
                (vehicle, told, waiting)
            })
            .collect();
        for (vehicle, told, waiting) in all {
            self.tell(vehicle, told);
            self.waiting.extend(waiting.map(|waiting| (vehicle.clone(), waiting)));
        }
    }

    /// Takes some vehicles, and has those weighed elsewhere whose facts can be read there.
    ///
    /// # Errors
    /// In words, when what was sent did not come back.
    pub(super) fn take_with(
        &mut self,
        away: Option<&Away<'_>>,
        sources: &Sources,
        vehicles: &mut Inputs,
    ) -> Result<(), String> {
        let mut weighed = Vec::new();
        if let Some(away) = away {
            let able = vehicles.iter().filter(|(_, input)| away.can_read(input));
            let period = self.plan.period;
            away.weigh(self.scales(sources), sources, period, able, None, &mut weighed)?;
        }
        for (vehicle, Weighed { told, lessons }) in weighed {
            self.tell(&vehicle, told);
            self.waiting_elsewhere.extend(lessons.map(|lessons| (vehicle.clone(), lessons)));
            self.elsewhere.insert(vehicle);
        }
        self.take(sources, vehicles);
        Ok(())
    }

    fn tell(&mut self, vehicle: &str, told: Told) {
        self.done.extend(told.now.map(|found| *found));
        self.before.extend(told.earlier.map(|earlier| (vehicle.to_owned(), earlier)));
    }

    /// All findings and outlooks by vehicle, and what was before the week. `vehicles` are all whose inputs are
    /// still there; with `beside` codes and answers are put beside those, wherever they were weighed.
    ///
    /// # Errors
    /// As [`Weighing::take_with`].
    pub(super) fn done(
        mut self,
        away: Option<&Away<'_>>,
        sources: &Sources,
        vehicles: &mut Inputs,
        beside: bool,
    ) -> Result<(Vec<VehicleFinding>, Vec<Outlook>, Before), String> {
        let learned = self.learned(sources);
        let mut others = std::mem::take(&mut self.waiting_elsewhere);
        let mut weighed = Vec::new();
        if let Some(away) = away {
            let some = vehicles.iter().filter(|(vehicle, _)| others.contains_key(*vehicle));
            let (scales, period) = (self.scales(sources), self.plan.period);
            away.weigh(scales, sources, period, some, Some(&learned), &mut weighed)?;
        }
        for (vehicle, Weighed { told, .. }) in weighed {
            others.remove(&vehicle);
            self.tell(&vehicle, told);
        }
        self.take_back(sources, vehicles, others.into_keys());
        let waiting = std::mem::take(&mut self.waiting);
        let scales = self.scales(sources);
        let none = Learned::default();
        let concluded: Vec<(String, Told)> = waiting
            .into_par_iter()
            .with_max_len(16)
            .map(|(vehicle, one)| {
                let named = sources.named(&vehicle);
                let learned = learned.get(&named.family()).unwrap_or(&none);
                let told = scales.read_off(named, one, learned);
                (vehicle, told)
            })
            .collect();
        for (vehicle, told) in concluded {
            self.tell(&vehicle, told);
        }
        if beside {
            let some = vehicles.par_iter_mut().filter(|(name, _)| self.elsewhere.contains(*name));
            some.for_each(|(vehicle, input)| {
                input.testify(sources.named(vehicle));
            });
        }
        self.done.sort_by(|a, b| a.0.vehicle.cmp(&b.0.vehicle));
        let (findings, outlooks) = self.done.into_iter().unzip();
        Ok((findings, outlooks, self.before))
    }

    /// What all vehicles that wait have taught, by family.
    fn learned(&self, sources: &Sources) -> BTreeMap<String, Learned> {
        let mut learned: BTreeMap<String, Learned> = BTreeMap::new();
        let mut add = |vehicle: &str, lessons: &Learned| {
            learned.entry(sources.named(vehicle).family()).or_default().join(lessons);
        };
        for (vehicle, one) in &self.waiting {
            add(vehicle, &one.lessons());
        }
        for (vehicle, lessons) in &self.waiting_elsewhere {
            add(vehicle, lessons);
        }
        learned
    }

    /// Puts vehicles on the scales here that could be read elsewhere a moment ago, and cannot any more. What
    /// can be told of them at once is told already.
    fn take_back(
        &mut self,
        sources: &Sources,
        vehicles: &mut Inputs,
        which: impl Iterator<Item = String>,
    ) {
        for vehicle in which {
            let Some(input) = vehicles.get_mut(&vehicle) else { continue };
            let (_, waiting) = self.scales(sources).put_on(sources.named(&vehicle), input);
            self.elsewhere.remove(&vehicle);
            self.waiting.extend(waiting.map(|waiting| (vehicle, waiting)));
        }
    }
}

impl Sources {
    /// A vehicle with what the tables say of it.
    pub(super) fn named<'s>(&'s self, vehicle: &'s str) -> Named<'s> {
        Named {
            vehicle,
            network: self.network_of(vehicle),
            site: self.row_of(vehicle).and_then(|row| row.site.as_deref()),
        }
    }
}
