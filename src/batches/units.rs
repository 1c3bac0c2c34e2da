//! The fleet's modules: each fitted unit with the months it was watched and how far it failed.
//!
//! A unit enters when it is fitted or when its vehicle is first heard from, whichever comes later
//! (staggered entry), and leaves when it is taken out or with its vehicle's last record (censoring): so
//! the newest weeks, of which reports are still to come, add no months that look clean.

use std::collections::BTreeMap;

use chrono::Datelike;
use chrono_tz::Tz;

use super::attribution::{Charge, Diagnosis, Swap, charge, fitted};
use super::groups::DIMENSIONS;
use super::names::{Names, UNKNOWN};
use super::seen::Seen;
use crate::numerics::survival::Watched;
use crate::read::{ModuleRow, ServiceNote, VehicleRow};
use crate::vocabulary::Instant;

/// Seconds of a month: a twelfth of 365.25 days.
const MONTH_S: f64 = 2_629_800.0;
/// A failure on the very day of fitting is put half a day later: nothing fails at age 0.
const LEAST_AGE: f64 = 0.5 * 86_400.0 / MONTH_S;
/// The newest days, of which reports are still to come: four weeks (common practice, no source).
const NEWEST_S: f64 = 28.0 * 86_400.0;
/// Seconds of a week.
const WEEK_S: f64 = 7.0 * 86_400.0;
/// Vehicles are waited for this long: half a year (judgement).
const MOST_WEEKS: usize = 26;
/// A week is reported when so many of the vehicles have been heard from since it began (judgement).
const ENOUGH: f64 = 0.9;

/// One fitted unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unit {
    pub vehicle: u32,
    pub node: u32,
    /// Numbers of its part number, hardware, software, batch, build week and site; 0: not known.
    pub values: [u32; DIMENSIONS],
    /// Age when watching began, in months; where the age is not known, 0.
    pub from: f64,
    /// Age when watching ended; at least `from`.
    pub to: f64,
    /// Whether its age is known.
    pub aged: bool,
    /// Probability that it failed while it was watched.
    pub failed: f64,
    /// The failure waits for the share of swaps that held.
    pub unrecorded: bool,
    /// Age at the failure; only where `failed` is above 0 or the failure is unrecorded.
    pub failed_at: f64,
    /// Whether it is still fitted.
    pub in_service: bool,
}

impl Unit {
    /// For survival curves: until its failure by its probability, else to the end of watching.
    pub(super) fn watched(&self) -> Watched {
        if self.failed > 0.0 {
            Watched { from: self.from, to: self.failed_at, event: self.failed }
        } else {
            Watched { from: self.from, to: self.to, event: 0.0 }
        }
    }
}

/// Modules of all vehicles, added vehicle by vehicle.
#[derive(Debug, Clone)]
pub struct Fleet {
    pub(super) zone: Tz,
    pub(super) nodes: Names,
    pub(super) values: [Names; DIMENSIONS],
    pub(super) vehicles: Names,
    pub(super) units: Vec<Unit>,
    pub(super) diagnoses: Vec<Diagnosis>,
    /// Units of vehicles without a single judged start, and units never fitted while watched.
    pub(super) unwatched: u64,
    /// Rows that cannot be: taken out before they were fitted.
    pub(super) impossible: u64,
    /// Swaps for a network fault before the vehicle's first record: they count for nothing.
    pub(super) before_records: u64,
    /// Vehicles whose suspected nodes have no row in the modules table, by node.
    pub(super) without_row: BTreeMap<String, u64>,
    pub(super) first: Option<Instant>,
    pub(super) last: Option<Instant>,
    /// The last record of every vehicle that was watched.
    lasts: Vec<Instant>,
    /// First incidents of vehicles in which no node reaches one half.
    open_faults: Vec<Instant>,
}

impl Fleet {
    /// No modules yet. Build weeks are cut in this zone, as the tables' days were read.
    #[must_use]
    pub fn new(zone: Tz) -> Fleet {
        Fleet {
            zone,
            nodes: Names::new(),
            values: std::array::from_fn(|_| Names::new()),
            vehicles: Names::new(),
            units: Vec::new(),
            diagnoses: Vec::new(),
            unwatched: 0,
            impossible: 0,
            before_records: 0,
            without_row: BTreeMap::new(),
            first: None,
            last: None,
            lasts: Vec::new(),
            open_faults: Vec::new(),
        }
    }

    /// Of the vehicles watched, those that sent nothing in the newest 28 days, and how many there are.
    pub(super) fn late(&self) -> (usize, usize) {
        let late = |last: &&Instant| {
            self.last.is_some_and(|newest| newest.seconds_since(**last) > NEWEST_S)
        };
        (self.lasts.iter().filter(late).count(), self.lasts.len())
    }

    /// How many of the newest weeks are still to be reported: since the beginning of such a week, counted back
    /// from the newest record, fewer than nine in ten of the vehicles have been heard from. Vehicles that sent
    /// nothing for half a year are not waited for.
    pub(super) fn incomplete_weeks(&self) -> usize {
        let Some(newest) = self.last else { return 0 };
        let ages = self.lasts.iter().map(|last| newest.seconds_since(*last) / WEEK_S);
        let ages: Vec<f64> = ages.filter(|age| *age <= MOST_WEEKS as f64).collect();
        let heard = |weeks: usize| ages.iter().filter(|age| **age <= weeks as f64).count();
        (1..=MOST_WEEKS)
            .find(|weeks| heard(*weeks) as f64 >= ENOUGH * ages.len() as f64)
            .unwrap_or(MOST_WEEKS)
            - 1
    }

    /// Faults that first showed in the newest 28 days and are undecided.
    pub(super) fn young_faults(&self) -> usize {
        let young = |first: &&Instant| {
            self.last.is_some_and(|newest| newest.seconds_since(**first) <= NEWEST_S)
        };
        self.open_faults.iter().filter(young).count()
    }

    /// Adds the modules of one vehicle: its row, its rows of the modules table, its service notes, and
    /// what was found in it. Vehicles are to be added in one fixed order.
    pub fn add(
        &mut self,
        seen: &Seen,
        vehicle: Option<&VehicleRow>,
        rows: &[&ModuleRow],
        notes: &[&ServiceNote],
    ) {
        self.first = [self.first, seen.from].into_iter().flatten().min();
        self.last = [self.last, seen.to].into_iter().flatten().max();
        self.lasts.extend(seen.to);
        if seen.nodes.iter().all(|(_, p)| *p < 0.5) {
            self.open_faults.extend(seen.incidents.first().map(|i| i.begin));
        }
        let mut by_node: BTreeMap<&str, Vec<&ModuleRow>> = BTreeMap::new();
        for row in rows {
            by_node.entry(&row.node).or_default().push(row);
        }
        for (node, _) in seen.nodes.iter().filter(|(_, p)| *p >= 0.5) {
            if !by_node.contains_key(node.as_str()) {
                *self.without_row.entry(node.clone()).or_default() += 1;
            }
        }
        for (node, rows) in by_node {
            let mut units = fitted(&rows, node, notes);
            let swaps = charge(&mut units, node, seen);
            self.before_records +=
                swaps.iter().filter(|swap| seen.from.is_none_or(|from| swap.time < from)).count()
                    as u64;
            self.diagnoses.extend(swaps);
            for unit in units {
                let place = self.vehicles.number(Some(&seen.vehicle));
                let node = self.nodes.number(Some(node));
                let values = self.values_of(unit.row, vehicle);
                let installed = unit
                    .installed
                    .or_else(|| vehicle.and_then(|v| v.in_service))
                    .or_else(|| unit.row.and_then(|row| row.built_on));
                self.push(
                    seen,
                    installed,
                    &unit,
                    Unit {
                        vehicle: place,
                        node,
                        values,
                        from: 0.0,
                        to: 0.0,
                        aged: installed.is_some(),
                        failed: 0.0,
                        unrecorded: false,
                        failed_at: 0.0,
                        in_service: unit.removed.is_none(),
                    },
                );
            }
        }
    }

    fn push(
        &mut self,
        seen: &Seen,
        installed: Option<Instant>,
        fitted: &super::attribution::Fitted<'_>,
        mut unit: Unit,
    ) {
        let (Some(from), Some(to)) = (seen.from, seen.to) else {
            self.unwatched += 1;
            return;
        };
        if let (Some(installed), Some(removed)) = (installed, fitted.removed)
            && removed < installed
        {
            self.impossible += 1;
            return;
        }
        let begin = installed.map_or(from, |installed| installed.max(from));
        let end = fitted.removed.map_or(to, |removed| removed.min(to));
        if end <= begin {
            self.unwatched += 1;
            return;
        }
        let origin = installed.unwrap_or(begin);
        let age = |time: Instant| time.seconds_since(origin) / MONTH_S;
        unit.from = age(begin);
        unit.to = age(end);
        if let Some((time, charge)) = fitted.failure
            && time >= begin
            && time <= end
        {
            unit.failed_at = age(time).max(unit.from).max(LEAST_AGE).min(unit.to);
            match charge {
                Charge::Ranked(probability) => unit.failed = probability.clamp(0.0, 1.0),
                Charge::Unrecorded => unit.unrecorded = true,
            }
        }
        self.units.push(unit);
    }

    fn values_of(
        &mut self,
        row: Option<&ModuleRow>,
        vehicle: Option<&VehicleRow>,
    ) -> [u32; DIMENSIONS] {
        let site = vehicle.and_then(|v| v.site.as_deref());
        let zone = self.zone;
        let week = row.and_then(|row| row.built_on).map(|built| {
            let week = built.utc().with_timezone(&zone).iso_week();
            format!("{}-W{:02}", week.year(), week.week())
        });
        let text =
            |field: fn(&ModuleRow) -> &Option<String>| row.and_then(|row| field(row).as_deref());
        let texts = [
            text(|row| &row.part_number),
            text(|row| &row.hardware),
            text(|row| &row.software),
            text(|row| &row.batch),
            week.as_deref(),
            site,
        ];
        let mut numbers = [UNKNOWN; DIMENSIONS];
        for ((number, names), text) in numbers.iter_mut().zip(&mut self.values).zip(texts) {
            *number = names.number(text);
        }
        numbers
    }

    /// Swaps that held, came back, and of which nothing tells.
    pub(super) fn swaps(&self) -> [u64; 3] {
        let count =
            |wanted: Swap| self.diagnoses.iter().filter(|d| d.became == wanted).count() as u64;
        [count(Swap::Held), count(Swap::CameBack), count(Swap::NotKnown)]
    }

    /// Settles what waits for the share of swaps that held; gives that share.
    pub(super) fn settle(&mut self) -> f64 {
        let [held, back, _] = self.swaps();
        let share = (held + 1) as f64 / (held + back + 2) as f64;
        for unit in self.units.iter_mut().filter(|unit| unit.unrecorded) {
            unit.failed = share;
            unit.unrecorded = false;
        }
        share
    }
}
