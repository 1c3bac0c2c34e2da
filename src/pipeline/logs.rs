//! All bus logs of a run: from the facts store where their content is known, else watched, in parallel, here
//! or (`sending`) elsewhere.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::elsewhere::Engine;
use super::hands::Hands;
use super::loads::{Stored, StoredAt};
use super::progress::Progress;
use super::recount::{Counts, Entry, add_counts};
use super::sending;
use super::sources::Sources;
use super::watch::watch_opened;
use crate::facts::{ContentHasher, FactsKey, FactsStore, KnownFile, KnownFiles, StoredLog};
use crate::observe::{LogFacts, Senders};
use crate::read::finding::Found;
use crate::read::frames::LogTables;
use crate::read::opening::{open_counted, raw};
use crate::read::times::parse_path_time;
use crate::read::{Account, Stamp, Tally};
use crate::vocabulary::{Instant, NANOS_PER_SECOND, Network, Place, Reject};
use crate::weeks::LogNote;

/// Stamps before this are no absolute time: 1990-01-01.
const ABSOLUTE: Instant = Instant(631_152_000 * NANOS_PER_SECOND);
/// Logs without any absolute time are laid this far apart, so that they are never one start.
const APART: i64 = 30 * 86_400 * NANOS_PER_SECOND;

/// A bus log that can be read.
#[derive(Debug, Clone)]
pub(super) struct LogFile {
    pub found: Found,
    pub size: u64,
    /// What the file was like before it was opened; `None` when it must be opened again next time.
    pub stamp: Option<Stamp>,
    /// Its content hash, when an earlier run has read it and it has not changed.
    pub content: Option<u128>,
}

/// Facts of the logs by vehicle, each in order of the logs' names.
pub(super) type ByVehicle = BTreeMap<String, Vec<(Arc<str>, LogFacts)>>;
/// What the logs gave, by vehicle, refused ones among them.
pub(super) type Notes = BTreeMap<String, Vec<LogNote>>;
/// Facts by vehicle, what the logs gave, and where their facts are in the store.
pub(super) type All = (ByVehicle, Notes, Stored);

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
    /// Who watches logs elsewhere, when that was asked for.
    pub engine: Option<&'a dyn Engine>,
    pub progress: &'a dyn Progress,
}

/// A log and what came of it.
pub(super) struct Watched {
    vehicle: String,
    name: Arc<str>,
    log: StoredLog,
    reused: bool,
    relative: bool,
    /// The key of its facts, when there is a store.
    key: Option<FactsKey>,
    /// What tells the next run that the file need not be opened.
    known: Option<KnownFile>,
    /// Whether a byte of it was read.
    opened: bool,
    /// Whether its facts were put into the store.
    kept: bool,
    /// By how much its times were moved since.
    moved: i64,
    /// The time that its path names.
    named: Option<Instant>,
    notes: Vec<String>,
}

/// Watches all logs and adds them to the tally.
///
/// # Errors
/// In words, when logs were sent elsewhere and not all came back.
pub(super) fn all(
    how: &Watching<'_>,
    tally: &mut Tally,
    remarks: &mut Vec<String>,
) -> Result<All, String> {
    let logs = &how.sources.logs;
    how.progress.begin(logs.len() as u64, logs.iter().map(|l| l.size).sum());
    let watched = match how.engine {
        Some(engine) => sending::all(how, engine),
        None => Ok(here(how, &logs.iter().collect::<Vec<_>>())),
    };
    how.progress.end();
    let watched = watched?;
    let (mut by_vehicle, mut stored) = (ByVehicle::new(), Stored::new());
    let mut notes = refused(how);
    let (mut used, mut known) = (BTreeSet::new(), KnownFiles::default());
    let mut relative: BTreeMap<String, i64> = BTreeMap::new();
    for mut w in watched {
        tally.bus_logs += 1;
        tally.logs_reused += u64::from(w.reused);
        tally.logs_unopened += u64::from(!w.opened);
        tally.frames += w.log.frames;
        let folder = how.engine.and_then(|_| w.folder(how));
        used.extend(w.key.take());
        if let Some(file) = w.known.take() {
            known.add(&w.name, file);
        }
        tally.bytes += w.log.bytes;
        let rejected = w.log.rejects.iter().map(|reject| reject.records).sum();
        let account =
            Account { rejects: w.log.rejects, leniencies: w.log.leniencies.into_iter().collect() };
        account.pour_into(tally);
        remarks.append(&mut w.notes);
        if w.relative {
            let place = relative.entry(w.vehicle.clone()).or_default();
            if *place > 0 {
                w.moved = *place * APART;
                w.log.facts.shift(w.moved);
            }
            *place += 1;
            remarks.push(format!(
                "{}: no absolute time and no `{{start}}` in its path; times count from 1970, one month \
                 a log, and weather cannot be joined",
                w.name
            ));
        }
        let begin = w.log.facts.starts.iter().map(|start| start.begin).min();
        let note = LogNote { begin: begin.or(w.named), used: begin.is_some(), rejected };
        notes.entry(w.vehicle.clone()).or_default().push(note);
        let moved = w.moved;
        stored.extend(folder.map(|folder| (Arc::clone(&w.name), StoredAt { folder, moved })));
        by_vehicle.entry(w.vehicle).or_default().push((w.name, w.log.facts));
    }
    if let Some(store) = how.store {
        store.keep_known(&known, &depends_on(how.tables));
        let unused = store.tidy(&used);
        tally.facts_unused = (unused.kept, unused.cleared);
    }
    Ok((by_vehicle, notes, stored))
}

/// Watches logs on this machine, in their order.
pub(super) fn here(how: &Watching<'_>, logs: &[&LogFile]) -> Vec<Watched> {
    let hands = Hands::new(rayon::current_num_threads(), logs.len());
    // One log at a time for each thread, so that no thread holds logs back while another is free.
    logs.par_iter().with_max_len(1).map(|log| one(how, log, &hands)).collect()
}

/// Leaves a list of what is done, for the next run after one that broke off.
pub(super) fn keep_known<'w>(how: &Watching<'_>, watched: impl Iterator<Item = &'w Watched>) {
    let mut known = KnownFiles::default();
    for w in watched {
        if let Some(file) = &w.known {
            known.add(&w.name, file.clone());
        }
    }
    if let Some(store) = how.store {
        store.keep_known(&known, &depends_on(how.tables));
    }
}

/// All that tells whether a file is read as a log, beside its bytes.
pub(super) fn depends_on(tables: &LogTables) -> String {
    format!("{tables:?}")
}

/// The logs that were refused before anything in them was read.
fn refused(how: &Watching<'_>) -> Notes {
    let mut notes = Notes::new();
    for found in &how.sources.refused_logs {
        let vehicle = found.captures.vehicle.as_deref().unwrap_or(how.only_vehicle);
        let begin = named_time(found.captures.start.as_deref(), how.zone);
        let note = LogNote { begin, used: false, rejected: 1 };
        notes.entry(vehicle.to_owned()).or_default().push(note);
    }
    notes
}

/// The time that a path names.
fn named_time(start: Option<&str>, zone: chrono_tz::Tz) -> Option<Instant> {
    parse_path_time(start?, zone).ok().map(|time| time.instant)
}

fn one(how: &Watching<'_>, log: &LogFile, hands: &Hands) -> Watched {
    let _hand = hands.begin_file();
    let mut out = Watched::begun(how, log);
    let counted = Arc::new(AtomicU64::new(0));
    let hash = how.store.and_then(|_| log.content.or_else(|| content(log).ok()));
    if let Some(hash) = hash {
        out.has_content(how, log, hash);
    }
    if !out.take_stored(how, log) {
        let counters = [Arc::clone(&counted), how.progress.counter()];
        let (network, bus) =
            (how.sources.network_of(&out.vehicle), log.found.captures.bus.as_deref());
        out.log = fresh(log, how.tables, network, bus, hands, &counters);
        out.keep(how);
    }
    place_in_time(how, log, &mut out);
    how.progress.file_done(log.size.saturating_sub(counted.load(Ordering::Relaxed)));
    out
}

impl Watched {
    /// A log of which nothing is known yet.
    pub(super) fn begun(how: &Watching<'_>, log: &LogFile) -> Watched {
        let captures = &log.found.captures;
        Watched {
            vehicle: captures.vehicle.clone().unwrap_or_else(|| how.only_vehicle.to_owned()),
            name: Arc::clone(&log.found.name),
            log: StoredLog::default(),
            reused: false,
            relative: false,
            key: None,
            known: None,
            opened: true,
            kept: false,
            moved: 0,
            named: named_time(captures.start.as_deref(), how.zone),
            notes: Vec::new(),
        }
    }

    /// Whose it is.
    pub(super) fn vehicle(&self) -> &str {
        &self.vehicle
    }

    /// Only what is to be told of it.
    pub(super) fn into_notes(self) -> Vec<String> {
        self.notes
    }

    /// With what is to be told first.
    pub(super) fn with_notes(mut self, mut first: Vec<String>) -> Watched {
        first.append(&mut self.notes);
        self.notes = first;
        self
    }

    /// The hash of its bytes is known: so is the key of its facts.
    pub(super) fn has_content(&mut self, how: &Watching<'_>, log: &LogFile, content: u128) {
        self.key = how.store.map(|_| self.key_of(how, log, content));
        // The stamp from before the first byte still holds after the last one; an object came as listed.
        self.known = log.stamp.clone().and_then(|before| {
            let settled = log.content.is_some() || log.found.stamp().as_ref() == Some(&before);
            settled.then_some(KnownFile { stamp: before, content, size: log.size })
        });
    }

    /// The key that its facts have, or would have, with this content.
    pub(super) fn key_of(&self, how: &Watching<'_>, log: &LogFile, content: u128) -> FactsKey {
        let network = how.sources.network_of(&self.vehicle);
        key(&self.vehicle, content, network, log.found.captures.bus.as_deref(), how.tables)
    }

    /// Takes the facts from the store, when they are there and wanted.
    pub(super) fn take_stored(&mut self, how: &Watching<'_>, log: &LogFile) -> bool {
        if let (Some(store), Some(key), false) = (how.store, &self.key, how.fresh) {
            let found = store.get(key, &self.name);
            self.notes.extend(found.note);
            if let Some(stored) = found.stored {
                self.log = stored;
                self.reused = true;
                self.opened = log.content.is_none();
            }
        }
        self.reused
    }

    /// Puts fresh facts into the store.
    fn keep(&mut self, how: &Watching<'_>) {
        if let (Some(store), Some(key)) = (how.store, &self.key) {
            match store.put(key, &self.log) {
                Ok(()) => self.kept = true,
                Err(error) => {
                    self.notes.push(format!("facts of {} not kept: {}", self.name, error.chain()));
                }
            }
        }
    }

    /// Takes facts that were made elsewhere, and keeps them.
    pub(super) fn was_watched(&mut self, how: &Watching<'_>, log: StoredLog) {
        self.log = log;
        self.keep(how);
    }

    /// It cannot be had any more as it was listed.
    pub(super) fn was_refused(&mut self, reason: String) {
        let reject = Reject::one(Place::whole(&self.name), reason);
        self.log = StoredLog { rejects: vec![reject], ..StoredLog::default() };
    }

    /// The entry into which its facts were put, with their number added to what came; `None` when they
    /// were there before, or are not.
    pub(super) fn counted_once(&self, how: &Watching<'_>, came: &mut Counts) -> Option<Entry> {
        let folder = self.folder(how).filter(|_| self.kept)?;
        add_counts(came, &self.vehicle, &self.log);
        Some(Entry { vehicle: self.vehicle.clone(), folder })
    }

    /// The folder of the store in which its facts are.
    fn folder(&self, how: &Watching<'_>) -> Option<String> {
        let key = self.key.as_ref().filter(|_| self.kept || self.reused)?;
        Some(std::path::absolute(how.store?.place(key)).ok()?.to_str()?.to_owned())
    }

    /// The last step, whatever the facts came from.
    pub(super) fn done(&mut self, how: &Watching<'_>, log: &LogFile) {
        place_in_time(how, log, self);
        how.progress.file_done(log.size);
    }
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
        Ok(time) => {
            out.moved = time.instant.0;
            out.log.facts.shift(out.moved);
        }
        Err(reason) => {
            out.relative = true;
            out.notes.push(format!("{}: `{{start}}` is not a time: {reason}", out.name));
        }
    }
}
