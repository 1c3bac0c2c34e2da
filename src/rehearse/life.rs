//! The life of a vehicle: its starts one after another, what goes wrong in them, what its nodes
//! store, and when loggers and testers look.
//!
//! Everything a vehicle leaves behind comes from here: logs, reports, and its line of truth.

use std::collections::BTreeSet;

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::course::{Course, Hit, Span};
use crate::rehearse::logger::{Logger, Packing, blind_spots};
use crate::rehearse::model::{Model, ns};
use crate::rehearse::output::Ready;
use crate::rehearse::papers::{Look, Tester, report};
use crate::rehearse::scenario::{FaultPlan, How, Scenario, VehiclePlan};
use crate::rehearse::starts::{Begin, calendar};
use crate::rehearse::traffic::{Accusation, Outcome, Seen, Window, run};
use crate::rehearse::truth::{IncidentTruth, VehicleTruth, truth_of};
use crate::rehearse::visits::{Visit, live_polls, logged_starts, visits};
use crate::rehearse::weather::Weather;
use crate::vocabulary::{Suspect, seconds};

/// What a vehicle leaves behind.
pub(crate) struct Trace {
    /// Its logs and reports.
    pub(crate) files: Vec<Ready>,
    /// What really happened.
    pub(crate) truth: VehicleTruth,
    /// Frames in its logs.
    pub(crate) frames: u64,
    /// Its logs.
    pub(crate) logs: u64,
    /// Its reports.
    pub(crate) reports: u64,
}

/// A vehicle with all that is needed to live its days.
pub(crate) struct Vehicle<'a> {
    pub(crate) scenario: &'a Scenario,
    pub(crate) plan: &'a VehiclePlan,
    pub(crate) model: &'a Model,
    pub(crate) weather: &'a Weather,
}

/// Who watches a vehicle, and when.
struct Watch {
    logged: BTreeSet<usize>,
    visits: Vec<Visit>,
    logger: Logger,
    tester: Tester,
    asks: bool,
}

/// Which faults act in which start.
type Acts = Vec<Vec<usize>>;

impl Vehicle<'_> {
    fn chance(&self, purpose: &str, turn: usize) -> Chance {
        Chance::of(self.scenario.seed, &[purpose, &self.plan.name, &turn.to_string()])
    }

    /// Lives through the period.
    pub(crate) fn live(&self) -> Result<Trace, RehearseError> {
        let starts = calendar(self.scenario.seed, self.plan, self.scenario.period, self.weather);
        let acts = self.acts(&starts);
        let courses = self.courses(&starts, &acts)?;
        let watch = self.watch(&starts, &courses);
        let mut trace =
            Trace { files: Vec::new(), truth: truth_of(self.plan), frames: 0, logs: 0, reports: 0 };
        let mut memory = self.old_codes(&mut self.chance("old codes", 0));
        let mut notes = self.plan.note.iter().peekable();
        for (turn, start) in starts.iter().enumerate() {
            while let Some(note) = notes.next_if(|note| note.time <= start.at.utc()) {
                let mends = note.action == "replace" || note.action == "repair";
                if mends && note.time.date_naive() >= self.scenario.period.from {
                    memory.erase();
                }
            }
            let course = &courses[turn];
            let outcomes = self.watched(&watch, turn, start, course, &mut trace)?;
            let mut chance = self.chance("reports", turn);
            let mut sets = accusations(&outcomes);
            for visit in watch.visits.iter().filter(|visit| visit.turn == turn) {
                let rest = sets.split_off(sets.partition_point(|set| set.at <= visit.at));
                self.store(&mut memory, turn, &sets);
                sets = rest;
                let look = self.look(start, visit, course, &outcomes);
                trace.files.push(report(self, &watch.tester, &memory, &look, &mut chance));
                trace.reports += 1;
            }
            self.store(&mut memory, turn, &sets);
            self.supply_codes(&mut memory, turn, course);
        }
        Ok(trace)
    }

    /// Draws who watches the vehicle, and when.
    fn watch(&self, starts: &[Begin], courses: &[Course]) -> Watch {
        let bad: Vec<bool> = courses.iter().map(|course| !course.incidents.is_empty()).collect();
        let mut chance = self.chance("watch", 0);
        let evidence = &self.scenario.evidence;
        Watch {
            logged: logged_starts(&self.plan.logs, starts, &bad, &mut chance),
            visits: visits(self.plan, starts, courses, &mut chance),
            logger: Logger {
                error_frames: chance.happens(evidence.error_frames),
                clock_ns: ns(0.8 * chance.normal()),
                blind: evidence.blind_spots,
            },
            tester: Tester::draw(self.scenario, self.plan, &mut chance),
            asks: chance.happens(evidence.live_values),
        }
    }

    /// Runs the traffic of a start that is logged or has an incident, and writes its log.
    fn watched(
        &self,
        watch: &Watch,
        turn: usize,
        start: &Begin,
        course: &Course,
        trace: &mut Trace,
    ) -> Result<Vec<Outcome>, RehearseError> {
        let logged = watch.logged.contains(&turn);
        if !logged && course.incidents.is_empty() {
            return Ok(Vec::new());
        }
        let mut chance = self.chance("log", turn);
        let span = self.window(start, course, logged, &mut chance);
        let mut seen = Vec::new();
        let mut keep = |one| {
            if logged {
                seen.push(one);
            }
        };
        let outcomes = self.traffic(turn, start, course, span, watch.asks && logged, &mut keep);
        let mut path = None;
        if logged {
            let (file, frames) = self.log(start, &mut seen, span, watch.logger, &mut chance)?;
            trace.frames += frames;
            trace.logs += 1;
            path = Some(file.path.clone());
            trace.files.push(file);
        }
        self.tell_truth(&mut trace.truth, start, course, path.as_deref());
        Ok(outcomes)
    }

    /// Draws which faults act in which starts.
    fn acts(&self, starts: &[Begin]) -> Acts {
        let mut acts: Acts = vec![Vec::new(); starts.len()];
        for (which, fault) in self.plan.fault.iter().enumerate() {
            let mut chance = self.chance("acts", which);
            let lives = |start: &Begin| fault.until.is_none_or(|until| start.at.utc() < until);
            let long =
                |start: &Begin| seconds(start.awake_ns) > fault.onset_s[1] + fault.seconds[1];
            let risks: Vec<f64> = starts
                .iter()
                .map(|start| {
                    let open = lives(start) && long(start);
                    if open { start.risk(&fault.trigger) } else { 0.0 }
                })
                .collect();
            for turn in drawn(&risks, fault.incidents, &mut chance) {
                acts[turn].push(which);
            }
        }
        acts
    }

    fn courses(&self, starts: &[Begin], acts: &Acts) -> Result<Vec<Course>, RehearseError> {
        let mut courses = Vec::new();
        for (turn, start) in starts.iter().enumerate() {
            let mut chance = self.chance("course", turn);
            let mut course = Course::default();
            // A healthy start: one dip that every sound node bears.
            let cold = (8.0 - start.ambient_c).max(0.0) * 0.03;
            let dip = chance.within([8.9, 9.8]) - cold;
            if !acts[turn].iter().any(|&which| self.plan.fault[which].how == How::WeakBattery) {
                let at = ns(chance.within([0.8, 1.8]));
                course.crank(self.model, at, dip, dip + 1.2, ns(chance.within([0.5, 1.2])));
            }
            for &which in &acts[turn] {
                self.fault(&self.plan.fault[which], &mut course, &mut chance)?;
            }
            course.settle();
            courses.push(course);
        }
        Ok(courses)
    }

    fn fault(
        &self,
        fault: &FaultPlan,
        course: &mut Course,
        chance: &mut Chance,
    ) -> Result<(), RehearseError> {
        let suspect = Suspect::parse(&fault.suspect).unwrap_or(Suspect::None);
        let (nodes, bus) = self.model.held_by(&suspect).ok_or_else(|| {
            let place = format!("vehicle {}", self.plan.name);
            RehearseError::wrong(&place, &format!("its network has no {}", fault.suspect))
        })?;
        let from = ns(chance.within(fault.onset_s));
        let length = ns(chance.within(fault.seconds));
        let hit = Hit { nodes, bus, from, length, own_identifier: fault.own_identifier };
        course.act(self.model, fault.how, &hit, chance);
        Ok(())
    }

    /// A log runs from the waking on; an unlogged incident needs only its surroundings.
    fn window(&self, start: &Begin, course: &Course, logged: bool, chance: &mut Chance) -> Span {
        let last = course.incidents.iter().map(|span| span.to).max().unwrap_or(0);
        let first = course.incidents.iter().map(|span| span.from).min().unwrap_or(0);
        let asleep = start.awake_ns + ns(3.0);
        let window = if logged {
            let length = ns(chance.within(self.plan.logs.seconds)).max(last + ns(4.0));
            Span { from: 0, to: length }
        } else {
            Span { from: if first > ns(6.0) { first - ns(4.0) } else { 0 }, to: last + ns(7.0) }
        };
        Span { from: window.from, to: window.to.min(asleep) }
    }

    fn traffic(
        &self,
        turn: usize,
        start: &Begin,
        course: &Course,
        span: Span,
        asks: bool,
        logger: &mut dyn FnMut(Seen),
    ) -> Vec<Outcome> {
        let mut chance = self.chance("sleep", turn);
        let sleeps: Vec<i64> = self
            .model
            .nodes
            .iter()
            .map(|_| start.awake_ns.saturating_add(ns(chance.within([0.0, 2.0]))))
            .collect();
        let polls = if asks { live_polls(self.plan, start, course, span) } else { Vec::new() };
        let mut outcomes = Vec::new();
        for bus in 0..self.model.plan.bus.len() {
            let window = Window {
                model: self.model,
                bus,
                course,
                span,
                sleeps: &sleeps,
                rest_v: self.plan.battery_v,
                polls: if bus == 0 { &polls } else { &[] },
            };
            let turn_name = format!("{turn}/{bus}");
            let names = ["traffic", self.plan.name.as_str(), turn_name.as_str()];
            outcomes.push(run(&window, Chance::of(self.scenario.seed, &names), logger));
        }
        outcomes
    }

    fn log(
        &self,
        start: &Begin,
        seen: &mut [Seen],
        window: Span,
        logger: Logger,
        chance: &mut Chance,
    ) -> Result<(Ready, u64), RehearseError> {
        let blind = blind_spots(logger.blind, window, chance);
        let (text, frames) = logger.text(self.model, start.at, seen, &blind);
        let packing = match chance.index(90) {
            0 => Packing::Plain,
            1..12 => Packing::Gzip,
            _ => Packing::Zstd,
        };
        // Told vehicles are kept and packed hard; random fleets are many and short-lived.
        let level = if self.scenario.fleet.is_some() { 3 } else { 19 };
        let name = start.at.utc().format("%Y%m%dT%H%M%SZ");
        let path = format!("bus/{}/{name}.{}", self.plan.name, packing.ending());
        Ok((Ready { path, bytes: packing.pack(text, level)? }, frames))
    }

    fn tell_truth(
        &self,
        truth: &mut VehicleTruth,
        start: &Begin,
        course: &Course,
        log: Option<&str>,
    ) {
        for span in &course.incidents {
            truth.incidents.push(IncidentTruth {
                begin: start.at.plus_seconds(seconds(span.from)).to_string(),
                seconds: (seconds(span.to - span.from) * 1000.0).round() / 1000.0,
                log: log.map(str::to_owned),
            });
        }
    }

    fn look(&self, start: &Begin, visit: &Visit, course: &Course, outcomes: &[Outcome]) -> Look {
        let near = Span { from: visit.at - ns(0.7), to: visit.at + ns(0.7) };
        let mute = (0..self.model.nodes.len())
            .map(|node| {
                let blocked =
                    course.blocks.iter().any(|b| b.node == node && b.span.holds(visit.at));
                let off = outcomes.iter().flat_map(|outcome| &outcome.off[node]);
                let away: i64 =
                    off.map(|span| (span.to.min(near.to) - span.from.max(near.from)).max(0)).sum();
                blocked || away * 2 > near.to - near.from
            })
            .collect();
        Look { begin: start.clone(), visit: *visit, mute, volts: self.volts(visit, course) }
    }

    fn volts(&self, visit: &Visit, course: &Course) -> f64 {
        let weak = self.plan.battery_v < 12.2;
        let charging = if weak { 12.9 } else { 14.1 };
        let troubled = !course.sags.is_empty() && weak && visit.at < ns(200.0);
        course.volts(visit.at, if troubled { self.plan.battery_v } else { charging })
    }
}

/// All that was concluded on all buses, in order of time.
fn accusations(outcomes: &[Outcome]) -> Vec<Accusation> {
    let mut all: Vec<Accusation> =
        outcomes.iter().flat_map(|outcome| outcome.accusations.iter().copied()).collect();
    all.sort_by_key(|set| (set.at, set.reporter, set.accused));
    all
}

/// The starts in which a fault acts: each by its own risk, or a given number in proportion.
fn drawn(risks: &[f64], count: Option<u32>, chance: &mut Chance) -> BTreeSet<usize> {
    let Some(count) = count else {
        return (0..risks.len()).filter(|&turn| chance.happens(risks[turn])).collect();
    };
    // The smallest waiting times win: drawing without replacement, in proportion to the risk.
    let mut waits: Vec<(f64, usize)> = risks
        .iter()
        .enumerate()
        .filter(|(_, risk)| **risk > 0.0)
        .map(|(turn, risk)| (chance.wait(1.0 / risk), turn))
        .collect();
    waits.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let count = usize::try_from(count).unwrap_or(0);
    waits.into_iter().take(count).map(|(_, turn)| turn).collect()
}
