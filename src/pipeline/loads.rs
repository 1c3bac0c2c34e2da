//! The vehicles of a run that other machines weigh, in loads of some hundred: which ones can be, what goes with
//! them, and what comes back.
//!
//! A vehicle can be weighed elsewhere when the facts of all its logs are in the store; whether others can read
//! the store is seen when they try. What cannot go is weighed here, by the same functions.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;

use super::elsewhere::Engine;
pub(super) use super::pieces::Weighed;
use super::pieces::{Basis, LogAt, Period, Piece, Sheet};
use super::progress::Progress;
use super::run::VehicleInput;
use super::scales::{Learned, Scales};
use super::sources::Sources;
use crate::vocabulary::Network;

/// Vehicles of a load at most, and logs (one vehicle may have more).
const VEHICLES: usize = 1024;
const LOGS: usize = 4096;
/// No basis is larger, packed: it goes with each task. Nor are all pieces of a load: they go in one message.
const LARGEST_BASIS: usize = 2 << 20;
const LARGEST_LOAD: usize = 16 << 20;

/// Vehicles that are weighed in one job.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Load {
    /// What is the same for all of them, as [`Basis::to_bytes`] makes it.
    pub basis: Vec<u8>,
    /// Their pieces, as [`Piece::from_bytes`] takes them.
    pub pieces: Vec<Vec<u8>>,
    /// How many they are.
    pub vehicles: usize,
}

/// Where the facts of a log are in the store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct StoredAt {
    /// The folder of the entry, absolute.
    pub folder: String,
    /// By how much its times were moved since, nanoseconds.
    pub moved: i64,
}

/// Where the facts of logs are in the store, by name of the log.
pub(super) type Stored = BTreeMap<Arc<str>, StoredAt>;

/// Who weighs vehicles elsewhere, and what can be read there.
pub(super) struct Away<'a> {
    pub engine: &'a dyn Engine,
    pub stored: &'a Stored,
    pub progress: &'a dyn Progress,
}

/// A vehicle with its inputs.
type One<'v> = (&'v String, &'v VehicleInput);

/// What all loads of a run have in common.
struct Common<'a> {
    scales: Scales<'a>,
    sources: &'a Sources,
    period: Period,
    /// By family; `None` while it is still to be learned.
    learned: Option<&'a BTreeMap<String, Learned>>,
}

impl Away<'_> {
    /// Whether a vehicle can be weighed elsewhere. One without logs costs less here than on the way.
    pub(super) fn can_read(&self, input: &VehicleInput) -> bool {
        !input.logs.is_empty() && input.logs.iter().all(|(name, _)| self.stored.contains_key(name))
    }

    /// Has vehicles weighed and adds what came; those that could not go are not among them.
    ///
    /// # Errors
    /// In words, when what was sent did not come back.
    pub(super) fn weigh<'v>(
        &self,
        scales: Scales<'_>,
        sources: &Sources,
        period: Period,
        vehicles: impl Iterator<Item = One<'v>>,
        learned: Option<&BTreeMap<String, Learned>>,
        out: &mut Vec<(String, Weighed)>,
    ) -> Result<(), String> {
        let common = Common { scales, sources, period, learned };
        let mut vehicles: Vec<One<'_>> = vehicles.collect();
        // Neighbours have their weather in common.
        vehicles
            .sort_by(|(a, _), (b, _)| (sources.named(a).site, a).cmp(&(sources.named(b).site, b)));
        let mut rest = vehicles.as_slice();
        while !rest.is_empty() {
            let mut logs = 0;
            let mut fits = |(_, input): &One<'_>| {
                logs += input.logs.len();
                logs <= LOGS
            };
            let many = rest.iter().take(VEHICLES).take_while(|one| fits(one)).count().max(1);
            let (some, others) = rest.split_at(many);
            if !self.weigh_some(&common, some, out)? {
                return Ok(());
            }
            rest = others;
        }
        Ok(())
    }

    /// Has some vehicles weighed; whether others may be, too.
    fn weigh_some(
        &self,
        common: &Common<'_>,
        some: &[One<'_>],
        out: &mut Vec<(String, Weighed)>,
    ) -> Result<bool, String> {
        let basis = common.basis(some).to_bytes()?;
        let pieces = self.pieces(common, some)?;
        let large = pieces.iter().map(Vec::len).sum::<usize>();
        if basis.len() > LARGEST_BASIS || large > LARGEST_LOAD {
            let (first, second) = some.split_at(some.len() / 2);
            if first.is_empty() {
                let names = some.iter().map(|(vehicle, _)| vehicle.as_str());
                self.progress.tell(&format!(
                    "{} is weighed here: {} kB of weather and tables and {} kB of reports belong to it",
                    names.collect::<String>(),
                    basis.len() / 1024,
                    large / 1024
                ));
                return Ok(true);
            }
            return Ok(
                self.weigh_some(common, first, out)? && self.weigh_some(common, second, out)?
            );
        }
        let load = Load { basis, pieces, vehicles: some.len() };
        let Some(answers) = self.engine.weigh(&load, &|what| self.progress.tell(what))? else {
            return Ok(false);
        };
        if answers.len() != some.len() {
            return Err(format!("{} of {} vehicles came back", answers.len(), some.len()));
        }
        let read = |((vehicle, _), answer): (&One<'_>, &Vec<u8>)| {
            let weighed = Weighed::from_bytes(answer).map_err(|why| format!("{vehicle}: {why}"))?;
            weighed.is_about(vehicle)?;
            Ok(((*vehicle).clone(), weighed))
        };
        let read: Result<Vec<_>, String> = some.par_iter().zip(&answers).map(read).collect();
        out.extend(read?);
        Ok(true)
    }

    /// The sheet and the logs of each vehicle.
    fn pieces(&self, common: &Common<'_>, some: &[One<'_>]) -> Result<Vec<Vec<u8>>, String> {
        let mut pieces = Vec::new();
        for (place, (vehicle, input)) in (0_u64..).zip(some) {
            let named = common.sources.named(vehicle);
            let sheet = Sheet {
                network: named.network.map(|network| network.name.clone()),
                site: named.site.map(str::to_owned),
                reports: input.reports.clone(),
                notes: input.notes.clone(),
                logs: u32::try_from(input.logs.len()).map_err(|e| format!("{vehicle}: {e}"))?,
            };
            pieces.push(Piece::sheet(vehicle, place, sheet).to_bytes()?);
            for (number, (name, _)) in (0_u32..).zip(&input.logs) {
                let at = self.stored.get(name);
                let at = at.ok_or_else(|| format!("{name}: its facts are not in the store"))?;
                let (folder, moved) = (at.folder.clone(), at.moved);
                let log = LogAt { number, name: name.to_string(), folder, moved };
                pieces.push(Piece::log(vehicle, place, log).to_bytes()?);
            }
        }
        Ok(pieces)
    }
}

impl Common<'_> {
    /// What these vehicles need.
    fn basis(&self, some: &[One<'_>]) -> Basis {
        let named = || some.iter().map(|(vehicle, _)| self.sources.named(vehicle));
        let sites: BTreeSet<&str> = named().filter_map(|one| one.site).collect();
        let networks: BTreeMap<&str, &Network> =
            named().filter_map(|one| one.network).map(|n| (n.name.as_str(), n)).collect();
        let own = |(name, network): (&str, &Network)| (name.to_owned(), network.clone());
        let learned = self.learned.map(|learned| {
            let families: BTreeSet<String> = named().map(|one| one.family()).collect();
            let of = |family: String| Some((family.clone(), learned.get(&family)?.clone()));
            families.into_iter().filter_map(of).collect()
        });
        Basis {
            tests: self.scales.tests.clone(),
            after: self.scales.after.clone(),
            weather: self.scales.weather.of_sites(&sites),
            forecast: self.scales.forecast.map(|forecast| forecast.of_sites(&sites)),
            networks: networks.into_iter().map(own).collect(),
            zone: self.scales.zone.name().to_owned(),
            confidence: self.scales.confidence,
            week: self.scales.week,
            period: self.period,
            learned,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;
    use crate::conditions::WeatherTable;
    use crate::observe::LogFacts;
    use crate::pipeline::{Counts, Desk, Entry, Order, Quiet};
    use crate::read::{TestTable, VehicleRow, WeatherRow};
    use crate::repairs::AfterTable;
    use crate::vocabulary::{Instant, Place};

    /// Notes how many vehicles each load has, and weighs none.
    #[derive(Default)]
    struct Noting(Mutex<Vec<usize>>);

    impl Engine for Noting {
        fn watch(&self, _: &[&Order], _: &dyn Desk) -> Result<(), String> {
            Ok(())
        }

        fn count(&self, _: &[Entry], _: &dyn Fn(&str)) -> Result<Option<Counts>, String> {
            Ok(None)
        }

        fn weigh(&self, load: &Load, _: &dyn Fn(&str)) -> Result<Option<Vec<Vec<u8>>>, String> {
            self.0.lock().expect("a list").push(load.vehicles);
            let nothing = super::super::sealed::packed(&Weighed::default(), "nothing");
            Ok(Some(vec![nothing?; load.vehicles]))
        }
    }

    /// Readings at a site that do not pack well.
    fn weather(site: &str, rows: u32) -> Vec<WeatherRow> {
        let mut seed = 1_u64;
        let row = |number: u32| {
            seed = seed.wrapping_mul(0x5851_f42d_4c95_7f2d).wrapping_add(1);
            WeatherRow {
                site: site.to_owned(),
                time: Instant(i64::from(number)),
                temperature_c: Some((seed >> 12) as f64),
                humidity_pct: None,
                precipitation_mm: None,
                place: Place::whole(&"weather.csv".into()),
            }
        };
        (0..rows).map(row).collect()
    }

    /// The vehicles of each load, and how many came back, of one vehicle a site with so many readings each.
    fn loads_of(sites: &[(&str, u32)]) -> (Vec<usize>, usize) {
        let name: Arc<str> = "a.log".into();
        let row = |(site, _): &(&str, u32)| VehicleRow {
            vehicle: format!("at {site}"),
            network: None,
            model: None,
            site: Some((*site).to_owned()),
            in_service: None,
            odometer_km: None,
            place: Place::whole(&"vehicles.csv".into()),
        };
        let mut sources = Sources {
            vehicles: sites.iter().map(row).collect(),
            weather: WeatherTable::new(sites.iter().flat_map(|(s, n)| weather(s, *n)).collect()),
            ..Sources::default()
        };
        sources.sort_vehicles();
        let input = || VehicleInput {
            logs: vec![(Arc::clone(&name), LogFacts::default())],
            ..VehicleInput::default()
        };
        let vehicles: BTreeMap<String, VehicleInput> =
            sources.vehicles.iter().map(|row| (row.vehicle.clone(), input())).collect();
        let folder = "/out/facts/x".to_owned();
        let stored = Stored::from([(name, StoredAt { folder, moved: 0 })]);
        let engine = Noting::default();
        let away = Away { engine: &engine, stored: &stored, progress: &Quiet };
        let (tests, after) = (TestTable::shipped(), AfterTable::new(Vec::new()));
        let scales = Scales {
            tests: &tests,
            after: &after,
            weather: &sources.weather,
            forecast: None,
            zone: chrono_tz::UTC,
            confidence: 0.95,
            week: None,
        };
        assert!(vehicles.values().all(|input| away.can_read(input)));
        let mut out = Vec::new();
        away.weigh(scales, &sources, None, vehicles.iter(), None, &mut out).expect("weighed");
        (engine.0.into_inner().expect("a list"), out.len())
    }

    #[test]
    fn loads_are_cut_by_what_goes_with_them() {
        assert_eq!(loads_of(&[("quay", 10), ("yard", 10), ("shed", 10)]), (vec![3], 3));
        let half = u32::try_from(LARGEST_BASIS / 16 * 3 / 2).expect("readings");
        assert_eq!(loads_of(&[("quay", half), ("yard", half)]), (vec![1, 1], 2));
        // What is too large for any message stays here.
        assert_eq!(loads_of(&[("quay", 3 * half), ("yard", 10)]), (vec![1], 1));
    }

    #[test]
    fn what_is_not_in_the_store_stays_here() {
        let engine = Noting::default();
        let away = Away { engine: &engine, stored: &Stored::new(), progress: &Quiet };
        let mut input = VehicleInput::default();
        assert!(!away.can_read(&input));
        input.logs.push(("a.log".into(), LogFacts::default()));
        assert!(!away.can_read(&input));
    }
}
