//! The client: logs in jobs of a few, several jobs under way at once, each with a deadline, each sent again
//! until its attempts are used up.
//!
//! A job is small, so that what an executor's loss or a hang costs is small, and its results are kept before the
//! next ones come. Retries inside a job are the engine's; a job that does not end is sent again as a new one.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use buswitness::command_line::{Address, Connect, Terms};
use buswitness::pipeline::{Answer, Counts, Desk, Engine, Entry, Load, Order};
use buswitness::read::objects::Objects;

use crate::job::{Scheduler, Trouble};
use crate::node::REFUSED;
use crate::objects::Stores;
use crate::roles::open_network;
use crate::scheduler::runtime;
use crate::told::say;

/// Most logs of a job, and most bytes (one log may have more).
const LOGS: usize = 16;
const BYTES: u64 = 256 << 20;
/// Entries whose facts a job counts.
const ENTRIES: usize = 4096;
/// Without any answer for so long, the user is asked whether there are executors.
const SILENCE: Duration = Duration::from_secs(30);
/// How long a thread without work waits for what others may give back.
const IDLE: Duration = Duration::from_millis(20);

/// Makes clients of clusters.
pub(crate) struct Clusters;

impl Connect for Clusters {
    fn connect(&self, address: &Address, terms: Terms) -> Result<Box<dyn Engine>, String> {
        if let Some(warning) = open_network(&[&address.host]) {
            say("buswitness", &warning);
        }
        let runtime = runtime()?;
        let scheduler = runtime.block_on(Scheduler::reach(address))?;
        let stores = Arc::new(Stores::new(runtime.handle().clone()));
        Ok(Box::new(Cluster { runtime, scheduler: Mutex::new(scheduler), stores, terms }))
    }
}

/// A cluster behind its scheduler.
struct Cluster {
    runtime: tokio::runtime::Runtime,
    scheduler: Mutex<Scheduler>,
    stores: Arc<Stores>,
    terms: Terms,
}

/// Orders that go together.
#[derive(Debug, Default)]
struct Batch {
    orders: Vec<usize>,
    /// How often they were sent before.
    sent: u32,
}

/// What the threads of a run share.
struct Shared<'a> {
    orders: &'a [&'a Order],
    desk: &'a dyn Desk,
    waiting: Mutex<VecDeque<Batch>>,
    /// Orders without an answer.
    open: AtomicUsize,
    stop: AtomicBool,
    failed: Mutex<Option<String>>,
    begun: Instant,
    asked: AtomicBool,
}

impl Engine for Cluster {
    fn watch(&self, orders: &[&Order], desk: &dyn Desk) -> Result<(), String> {
        let shared = Shared {
            orders,
            desk,
            waiting: Mutex::new(batches(orders)),
            open: AtomicUsize::new(orders.len()),
            stop: AtomicBool::new(false),
            failed: Mutex::new(None),
            begun: Instant::now(),
            asked: AtomicBool::new(false),
        };
        std::thread::scope(|scope| {
            for _ in 0..self.terms.jobs.max(1) {
                scope.spawn(|| self.carry(&shared));
            }
        });
        let open = shared.open.into_inner();
        match shared.failed.into_inner().unwrap_or_else(PoisonError::into_inner) {
            Some(why) => Err(why),
            None if open > 0 => Err(format!("{open} of {} answers did not come", orders.len())),
            None => Ok(()),
        }
    }

    fn count(&self, entries: &[Entry], tell: &dyn Fn(&str)) -> Result<Option<Counts>, String> {
        let mut counts = Counts::new();
        let mut scheduler = lock(&self.scheduler).clone();
        for some in entries.chunks(ENTRIES) {
            let Some(counted) = self.count_some(&mut scheduler, some, tell)? else {
                return Ok(None);
            };
            for (key, facts) in counted {
                *counts.entry(key).or_default() += facts;
            }
        }
        Ok(Some(counts))
    }

    fn weigh(&self, load: &Load, tell: &dyn Fn(&str)) -> Result<Option<Vec<Vec<u8>>>, String> {
        let mut scheduler = lock(&self.scheduler).clone();
        let what = format!("weighing {} vehicles", load.vehicles);
        let told = ("vehicles are not weighed elsewhere", tell);
        self.until_done(&what, told, |until| self.runtime.block_on(scheduler.weigh(load, until)))
    }

    fn objects(&self) -> Arc<dyn Objects> {
        Arc::clone(&self.stores) as Arc<dyn Objects>
    }
}

impl Cluster {
    /// Has the facts of some entries counted, as often as it takes; what a try that broke off brought is
    /// forgotten.
    fn count_some(
        &self,
        scheduler: &mut Scheduler,
        entries: &[Entry],
        tell: &dyn Fn(&str),
    ) -> Result<Option<Counts>, String> {
        let bytes: Vec<Vec<u8>> = entries.iter().map(Entry::to_bytes).collect::<Result<_, _>>()?;
        let what = format!("counting the facts of {} logs", entries.len());
        let told = ("stored facts are not counted again elsewhere", tell);
        self.until_done(&what, told, |until| self.runtime.block_on(scheduler.count(&bytes, until)))
    }

    /// Tries a job as often as it takes. `None`, which is told, when executors refuse it.
    fn until_done<T>(
        &self,
        what: &str,
        (refused, tell): (&str, &dyn Fn(&str)),
        mut job: impl FnMut(Instant) -> Result<T, Trouble>,
    ) -> Result<Option<T>, String> {
        let (attempts, deadline) = (self.terms.attempts, self.terms.deadline);
        let mut tried = 0;
        loop {
            tried += 1;
            let why = match job(Instant::now() + deadline) {
                Ok(done) => return Ok(Some(done)),
                Err(Trouble::Never(why)) if why.starts_with(REFUSED) => {
                    tell(&format!("{refused}: {why}"));
                    return Ok(None);
                }
                Err(Trouble::Never(why)) => return Err(why),
                Err(Trouble::Again(why)) => why,
            };
            let seconds = deadline.as_secs();
            let what = format!(
                "{what} did not end (try {tried} of {attempts}, deadline {seconds} s): {why}"
            );
            if tried >= attempts {
                return Err(what);
            }
            tell(&format!("{what}; it is sent again"));
        }
    }

    /// Sends batch after batch until there is none, or the run has failed.
    fn carry(&self, shared: &Shared<'_>) {
        let mut scheduler = lock(&self.scheduler).clone();
        while !shared.stop.load(Ordering::SeqCst) && shared.open.load(Ordering::SeqCst) > 0 {
            let next = lock(&shared.waiting).pop_front();
            match next {
                Some(batch) => self.send(&mut scheduler, batch, shared),
                None => std::thread::sleep(IDLE),
            }
        }
    }

    /// Sends one batch, and gives back what must be sent again.
    fn send(&self, scheduler: &mut Scheduler, batch: Batch, shared: &Shared<'_>) {
        let bytes: Result<Vec<Vec<u8>>, String> =
            batch.orders.iter().map(|at| shared.orders[*at].to_bytes()).collect();
        let bytes = match bytes {
            Ok(bytes) => bytes,
            Err(why) => return shared.fail(why),
        };
        let last = batch.sent + 1 >= self.terms.attempts;
        let mut unreadable = Vec::new();
        let mut each = |place: usize, answer: &[u8]| {
            let Some(at) = batch.orders.get(place) else { return Ok(()) };
            let order = shared.orders[*at];
            match Answer::from_bytes(answer, &order.name) {
                // Another executor may be able to open it.
                Ok(Answer::Unreadable { .. }) if !last => unreadable.push(*at),
                Ok(answer) => shared.done(*at, answer),
                Err(why) => return Err(Trouble::Never(format!("{}: {why}", order.name))),
            }
            Ok(())
        };
        let deadline = Instant::now() + self.terms.deadline;
        let run = scheduler.run(&bytes, deadline, &shared.stop, &mut each);
        let outcome = self.runtime.block_on(run);
        shared.ask_when_silent();
        let sent = batch.sent + 1;
        if !unreadable.is_empty() {
            shared.give_back(Batch { orders: unreadable, sent });
        }
        match outcome {
            Ok(()) => {}
            Err((Trouble::Never(why), _)) => shared.fail(why),
            Err(_) if shared.stop.load(Ordering::SeqCst) => {}
            Err((Trouble::Again(why), missing)) if missing.is_empty() => {
                shared.desk.tell(&format!("a job brought all answers, but: {why}"));
            }
            Err((Trouble::Again(why), missing)) => {
                let orders: Vec<usize> =
                    missing.iter().filter_map(|place| batch.orders.get(*place).copied()).collect();
                let (many, attempts) = (orders.len(), self.terms.attempts);
                let seconds = self.terms.deadline.as_secs();
                let what = format!(
                    "a job of {many} logs did not end (try {sent} of {attempts}, deadline {seconds} s): {why}"
                );
                if last {
                    return shared.fail(what);
                }
                shared.desk.tell(&format!("{what}; it is sent again"));
                shared.give_back(Batch { orders, sent });
            }
        }
    }
}

impl Shared<'_> {
    fn done(&self, at: usize, answer: Answer) {
        self.desk.take(at, answer);
        self.open.fetch_sub(1, Ordering::SeqCst);
    }

    fn give_back(&self, batch: Batch) {
        lock(&self.waiting).push_back(batch);
    }

    /// The first reason counts; the others follow from the stop.
    fn fail(&self, why: String) {
        lock(&self.failed).get_or_insert(why);
        self.stop.store(true, Ordering::SeqCst);
    }

    /// Once, when nothing has come for long.
    fn ask_when_silent(&self) {
        let nothing = self.open.load(Ordering::SeqCst) == self.orders.len();
        if nothing && self.begun.elapsed() > SILENCE && !self.asked.swap(true, Ordering::SeqCst) {
            self.desk.tell("no answer yet; has the scheduler executors?");
        }
    }
}

/// Orders in the batches in which they are sent.
fn batches(orders: &[&Order]) -> VecDeque<Batch> {
    let mut batches: VecDeque<Batch> = VecDeque::new();
    let mut bytes = 0;
    for (at, order) in orders.iter().enumerate() {
        let fits = |batch: &&mut Batch| batch.orders.len() < LOGS && bytes + order.size <= BYTES;
        match batches.back_mut().filter(fits) {
            Some(batch) => batch.orders.push(at),
            None => {
                bytes = 0;
                batches.push_back(Batch { orders: vec![at], sent: 0 });
            }
        }
        bytes += order.size;
    }
    batches
}

/// A thread that broke off leaves whole values: they are only ever put in place as a whole.
fn lock<T>(one: &Mutex<T>) -> MutexGuard<'_, T> {
    one.lock().unwrap_or_else(PoisonError::into_inner)
}
