//! The logs of a run with an engine: what the store has is taken from it, the rest is sent, and every answer
//! goes into the store as it comes. What comes out is the same as without the engine.
//!
//! Facts are never asked for twice: an order names the facts that are there already, for logs that were moved
//! or touched. A log that no other machine can open is read here, since this machine has looked into it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};

use rayon::prelude::*;

use super::elsewhere::{Answer, Desk, Engine, Order};
use super::logs::{LogFile, Watched, Watching, here, keep_known};
use super::recount::{Counts, difference};

/// A place for each log of the run.
type Slots = [Mutex<Slot>];

/// Empty until the log's facts are there.
#[derive(Default)]
struct Slot {
    watched: Option<Watched>,
    /// What was wrong with facts in the store; told like without an engine.
    notes: Vec<String>,
}

/// Watches all logs, in the order of their names.
///
/// # Errors
/// In words, when not all came back. What came is kept, and the next run does not ask for it again.
pub(super) fn all(how: &Watching<'_>, engine: &dyn Engine) -> Result<Vec<Watched>, String> {
    let logs = &how.sources.logs;
    let slots: Vec<_> = logs.par_iter().map(|log| Mutex::new(from_store(how, log))).collect();
    let done = send_all(how, engine, &slots);
    let whole = |slot: Mutex<Slot>| {
        let Slot { watched, notes } = slot.into_inner().unwrap_or_else(PoisonError::into_inner);
        watched.map(|watched| watched.with_notes(notes))
    };
    let slots: Vec<Option<Watched>> = slots.into_iter().map(whole).collect();
    let done = done.and_then(|()| count_again(how, engine, &slots));
    if let Err(why) = done {
        keep_known(how, slots.iter().flatten());
        let (came, all) = (slots.iter().flatten().count(), logs.len());
        return Err(format!(
            "{why}\n  {came} of {all} logs are read and kept, no report was written; run again to go on"
        ));
    }
    let left = logs.iter().zip(&slots).filter(|(_, slot)| slot.is_none());
    let left: Vec<&LogFile> = left.map(|(log, _)| log).collect();
    let mut read_here = here(how, &left).into_iter();
    Ok(slots.into_iter().filter_map(|slot| slot.or_else(|| read_here.next())).collect())
}

/// A log that need not be opened.
fn from_store(how: &Watching<'_>, log: &LogFile) -> Slot {
    let Some(content) = log.content else { return Slot::default() };
    let mut out = Watched::begun(how, log);
    out.has_content(how, log, content);
    if !out.take_stored(how, log) {
        return Slot { watched: None, notes: out.into_notes() };
    }
    out.done(how, log);
    Slot { watched: Some(out), notes: Vec::new() }
}

/// Has the facts that came counted from where they are stored now; an error when that is another number.
fn count_again(
    how: &Watching<'_>,
    engine: &dyn Engine,
    slots: &[Option<Watched>],
) -> Result<(), String> {
    let (mut entries, mut came) = (Vec::new(), Counts::new());
    for watched in slots.iter().flatten() {
        entries.extend(watched.counted_once(how, &mut came));
    }
    if entries.is_empty() {
        return Ok(());
    }
    let counted = engine.count(&entries, &|what| how.progress.tell(what))?;
    match counted.and_then(|counted| difference(&came, &counted)) {
        Some(difference) => Err(format!(
            "the facts that came are not those that are stored: {difference}; run again with --fresh"
        )),
        None => Ok(()),
    }
}

/// Sends what has no facts yet, and once more what was thought to have some.
fn send_all(how: &Watching<'_>, engine: &dyn Engine, slots: &Slots) -> Result<(), String> {
    let empty: Vec<usize> =
        (0..slots.len()).filter(|at| lock(&slots[*at]).watched.is_none()).collect();
    let orders = orders(how, &empty);
    let desk = Counter { how, orders: &orders, slots, left: Mutex::default() };
    carry(engine, &orders, &desk)?;
    let Left { damaged, unreadable } =
        desk.left.into_inner().unwrap_or_else(PoisonError::into_inner);
    let again: Vec<(usize, Order)> =
        orders.iter().filter(|(at, _)| damaged.contains(at)).cloned().map(anew).collect();
    let desk = Counter { how, orders: &again, slots, left: Mutex::default() };
    carry(engine, &again, &desk)?;
    if let Some((name, reason)) = unreadable.first_key_value() {
        let many = unreadable.len();
        how.progress.tell(&format!(
            "{many} logs could not be opened elsewhere and are read here; the first: {name}: {reason}"
        ));
    }
    Ok(())
}

fn anew((at, order): (usize, Order)) -> (usize, Order) {
    (at, order.anew())
}

fn carry(engine: &dyn Engine, orders: &[(usize, Order)], desk: &Counter<'_>) -> Result<(), String> {
    if orders.is_empty() {
        return Ok(());
    }
    let orders: Vec<&Order> = orders.iter().map(|(_, order)| order).collect();
    engine.watch(&orders, desk)
}

/// The orders for these logs; a path that is no Unicode text cannot be sent, and is read here.
fn orders(how: &Watching<'_>, which: &[usize]) -> Vec<(usize, Order)> {
    let logs = &how.sources.logs;
    let known: BTreeSet<u128> = logs.iter().filter_map(|log| log.content).collect();
    let mut stored: BTreeMap<(String, Option<String>), Vec<u128>> = BTreeMap::new();
    let mut orders = Vec::new();
    for at in which {
        let log = &logs[*at];
        let out = Watched::begun(how, log);
        let bus = log.found.captures.bus.as_deref();
        let vehicle = out.vehicle();
        let moved =
            stored.entry((vehicle.to_owned(), bus.map(str::to_owned))).or_insert_with(|| {
                let store = how.store.filter(|_| !how.fresh);
                let held = store.map(|store| store.contents(&out.key_of(how, log, 0)));
                held.unwrap_or_default().into_iter().filter(|hash| !known.contains(hash)).collect()
            });
        let file = (&log.found, log.size);
        let network = how.sources.network_of(vehicle);
        orders
            .extend(Order::new(file, (network, bus), how.tables, moved).map(|order| (*at, order)));
    }
    orders
}

/// What answers leave to be done.
#[derive(Debug, Default)]
struct Left {
    /// Logs whose stored facts turned out to be damaged.
    damaged: BTreeSet<usize>,
    /// Logs that could not be opened elsewhere, with why.
    unreadable: BTreeMap<String, String>,
}

/// Where answers become facts.
struct Counter<'a> {
    how: &'a Watching<'a>,
    /// Which log of the run each order is about.
    orders: &'a [(usize, Order)],
    slots: &'a Slots,
    left: Mutex<Left>,
}

impl Desk for Counter<'_> {
    fn take(&self, order: usize, answer: Answer) {
        let Some((at, order)) = self.orders.get(order) else { return };
        let log = &self.how.sources.logs[*at];
        let mut out = Watched::begun(self.how, log);
        match answer {
            Answer::Watched { content, log: facts } => {
                if let Some(content) = content {
                    out.has_content(self.how, log, content);
                }
                out.was_watched(self.how, *facts);
            }
            Answer::Stored { content } => {
                out.has_content(self.how, log, content);
                if !out.take_stored(self.how, log) {
                    lock(&self.left).damaged.insert(*at);
                    lock(&self.slots[*at]).notes = out.into_notes();
                    return;
                }
            }
            // What is gone or changed is so for everybody; nothing else is told of an object this way.
            Answer::Unreadable { reason } if log.found.object.is_some() => out.was_refused(reason),
            Answer::Unreadable { reason } => {
                lock(&self.left).unreadable.insert(order.name.clone(), reason);
                return;
            }
        }
        out.done(self.how, log);
        lock(&self.slots[*at]).watched = Some(out);
    }

    fn tell(&self, what: &str) {
        self.how.progress.tell(what);
    }
}

/// What a thread that broke off has left is whole: it is only ever put in place as a whole.
fn lock<T>(one: &Mutex<T>) -> MutexGuard<'_, T> {
    one.lock().unwrap_or_else(PoisonError::into_inner)
}
