//! All bus logs of a run: from the facts store where their content is known, else watched, in parallel.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::hands::Hands;
use super::progress::Progress;
use super::sources::{LogFile, Sources};
use super::watch::watch_opened;
use crate::facts::{ContentHasher, FactsKey, FactsStore, StoredLog};
use crate::observe::{LogFacts, Senders};
use crate::read::frames::LogTables;
use crate::read::opening::{open_counted, raw};
use crate::read::times::parse_path_time;
use crate::read::{Account, Tally};
use crate::vocabulary::{Instant, NANOS_PER_SECOND, Network, Reject};

/// Stamps before this are no absolute time: 1990-01-01.
const ABSOLUTE: Instant = Instant(631_152_000 * NANOS_PER_SECOND);
/// Logs without any absolute time are laid this far apart, so that they are never one start.
const APART: i64 = 30 * 86_400 * NANOS_PER_SECOND;

/// Facts of the logs by vehicle, each in order of the logs' names.
pub(super) type ByVehicle = BTreeMap<String, Vec<(Arc<str>, LogFacts)>>;

/// What else is needed to watch the logs of a run.
pub(super) struct Watching<'a> {
    pub sources: &'a Sources,
    /// The vehicle of logs whose path names none.
    pub only_vehicle: &'a str,
    pub zone: chrono_tz::Tz,
    /// How logs that are tables are read.
    pub tables: &'a LogTables,
    pub store: Option<&'a FactsStore>,
    pub fresh: bool,
    pub progress: &'a dyn Progress,
}

struct Watched {
    vehicle: String,
    name: Arc<str>,
    log: StoredLog,
    reused: bool,
    relative: bool,
    notes: Vec<String>,
}

/// Watches all logs and adds them to the tally.
pub(super) fn all(how: &Watching<'_>, tally: &mut Tally, remarks: &mut Vec<String>) -> ByVehicle {
    let logs = &how.sources.logs;
    how.progress.begin(logs.len() as u64, logs.iter().map(|l| l.size).sum());
    let hands = Hands::new(rayon::current_num_threads(), logs.len());
    // One log at a time for each thread, so that no thread holds logs back while another is free.
    let watched: Vec<Watched> =
        logs.par_iter().with_max_len(1).map(|log| one(how, log, &hands)).collect();
    how.progress.end();
    let mut by_vehicle = ByVehicle::new();
    let mut relative: BTreeMap<String, i64> = BTreeMap::new();
    for mut w in watched {
        tally.bus_logs += 1;
        tally.logs_reused += u64::from(w.reused);
        tally.frames += w.log.frames;
        tally.bytes += w.log.bytes;
        let account =
            Account { rejects: w.log.rejects, leniencies: w.log.leniencies.into_iter().collect() };
        account.pour_into(tally);
        remarks.append(&mut w.notes);
        if w.relative {
            let place = relative.entry(w.vehicle.clone()).or_default();
            if *place > 0 {
                w.log.facts.shift(*place * APART);
            }
            *place += 1;
            remarks.push(format!(
                "{}: no absolute time and no `{{start}}` in its path; times count from 1970, one month \
                 a log, and weather cannot be joined",
                w.name
            ));
        }
        by_vehicle.entry(w.vehicle).or_default().push((w.name, w.log.facts));
    }
    by_vehicle
}

fn one(how: &Watching<'_>, log: &LogFile, hands: &Hands) -> Watched {
    let _hand = hands.begin_file();
    let captures = &log.found.captures;
    let vehicle = captures.vehicle.clone().unwrap_or_else(|| how.only_vehicle.to_owned());
    let network = how.sources.network_of(&vehicle);
    let name = Arc::clone(&log.found.name);
    let mut out = Watched {
        vehicle: vehicle.clone(),
        name: Arc::clone(&name),
        log: StoredLog::default(),
        reused: false,
        relative: false,
        notes: Vec::new(),
    };
    let counted = Arc::new(AtomicU64::new(0));
    let key = match (how.store, content(log)) {
        (Some(_), Ok(hash)) => {
            Some(key(&vehicle, hash, network, captures.bus.as_deref(), how.tables))
        }
        _ => None,
    };
    if let (Some(store), Some(key), false) = (how.store, &key, how.fresh) {
        let found = store.get(key, &name);
        out.notes.extend(found.note);
        if let Some(stored) = found.stored {
            out.log = stored;
            out.reused = true;
        }
    }
    if !out.reused {
        let counters = [Arc::clone(&counted), how.progress.counter()];
        out.log = fresh(log, how.tables, network, captures.bus.as_deref(), hands, &counters);
        if let (Some(store), Some(key)) = (how.store, &key)
            && let Err(error) = store.put(key, &out.log)
        {
            out.notes.push(format!("facts of {name} not kept: {}", error.chain()));
        }
    }
    place_in_time(how, log, &mut out);
    how.progress.file_done(log.size.saturating_sub(counted.load(Ordering::Relaxed)));
    out
}

fn fresh(
    log: &LogFile,
    tables: &LogTables,
    network: Option<&Network>,
    bus: Option<&str>,
    hands: &Hands,
    counters: &[Arc<AtomicU64>],
) -> StoredLog {
    match open_counted(&log.found.path, &log.found.name, counters) {
        Ok(opened) => watch_opened(opened, tables, &Senders::new(network), bus, hands),
        Err(reject) => StoredLog { rejects: vec![reject], ..StoredLog::default() },
    }
}

fn content(log: &LogFile) -> Result<u128, Reject> {
    let mut hasher = ContentHasher::default();
    raw(&log.found.path, &log.found.name, &mut |bytes| hasher.update(bytes))?;
    Ok(hasher.finish())
}

fn key(
    vehicle: &str,
    hash: u128,
    network: Option<&Network>,
    bus: Option<&str>,
    tables: &LogTables,
) -> FactsKey {
    // The debug form holds every field, in order: what the facts depend on, and nothing else.
    let (described, columns) = (format!("{network:?}"), format!("{tables:?}"));
    FactsKey::new(vehicle, hash, &[&described, bus.unwrap_or_default(), &columns])
}

/// Logs without absolute time are moved to the start that their path names.
fn place_in_time(how: &Watching<'_>, log: &LogFile, out: &mut Watched) {
    let first = out.log.facts.starts.iter().map(|s| s.begin).min();
    if first.is_none_or(|t| t >= ABSOLUTE) {
        return;
    }
    let Some(text) = &log.found.captures.start else {
        out.relative = true;
        return;
    };
    match parse_path_time(text, how.zone) {
        Ok(time) => out.log.facts.shift(time.instant.0),
        Err(reason) => {
            out.relative = true;
            out.notes.push(format!("{}: `{{start}}` is not a time: {reason}", out.name));
        }
    }
}
