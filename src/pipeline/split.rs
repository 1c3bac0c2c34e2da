//! One text log read by several hands, and watched in order by one.
//!
//! The hand that watches takes the parts in their order; while the next one is not there it reads a
//! chunk itself, so no hand is idle while there is work. Whoever wants a chunk takes the source,
//! which one hand has at a time: unpacking, where a log is packed, goes on beside reading and
//! watching. A fixed number of chunks is under way; when they are all filled, reading waits.

use std::collections::VecDeque;
use std::io::Read;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::Scope;

use super::hands::{Hand, Hands};
use crate::read::frames::{Chunks, Frame, Part, TextLog};
use crate::vocabulary::{Place, Reject};

/// Bytes of a chunk: with its frames it fits into the cache of one core.
const CHUNK: usize = 384 * 1024;
/// Chunks under way for each hand, and at most.
const FOR_EACH: usize = 2;
const MOST: usize = 48;

/// A chunk's buffers, used again and again.
#[derive(Default)]
struct Buffers {
    bytes: Vec<u8>,
    frames: Vec<Frame>,
}

/// A part, the bytes it was read from, and how many of them count.
struct Filled {
    part: Part,
    bytes: Vec<u8>,
    length: usize,
}

/// What all hands see.
struct Table<R> {
    /// Away while a hand reads from it.
    source: Option<Chunks<R>>,
    exhausted: bool,
    failure: Option<Reject>,
    /// Parts from the next wanted one on; `None` is still being read.
    parts: VecDeque<Option<Filled>>,
    /// Number of the part at the front.
    front: u64,
    spare: Vec<Buffers>,
    /// How many buffers there are in all.
    buffers: usize,
    broken: bool,
}

struct Work<'a, R> {
    table: Mutex<Table<R>>,
    changed: Condvar,
    name: &'a Arc<str>,
    hands: &'a Hands,
}

/// Marks the table as broken when its hand panics, so that the others do not wait for ever.
struct Alarm<'a, 'b, R>(&'a Work<'b, R>);

impl<R> Drop for Alarm<'_, '_, R> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.lock().broken = true;
            self.0.changed.notify_all();
        }
    }
}

impl<R> Work<'_, R> {
    fn lock(&self) -> MutexGuard<'_, Table<R>> {
        // A panic while the lock is held is told by the alarm.
        self.table.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait<'t>(&self, table: MutexGuard<'t, Table<R>>) -> MutexGuard<'t, Table<R>> {
        self.changed.wait(table).unwrap_or_else(PoisonError::into_inner)
    }
}

/// Reads a text log to its end or its break; `watch` gets the frames in order, with the interface
/// names. Returns the log's account, and why it broke off.
pub(super) fn read(
    bytes: impl Read + Send,
    name: &Arc<str>,
    hands: &Hands,
    watch: &mut dyn FnMut(&[Frame], &[String]),
) -> (TextLog, Option<Reject>) {
    read_in_chunks(CHUNK, bytes, name, hands, watch)
}

pub(super) fn read_in_chunks(
    size: usize,
    bytes: impl Read + Send,
    name: &Arc<str>,
    hands: &Hands,
    watch: &mut dyn FnMut(&[Frame], &[String]),
) -> (TextLog, Option<Reject>) {
    let work = Work {
        table: Mutex::new(Table {
            source: Some(Chunks::new(bytes, size)),
            exhausted: false,
            failure: None,
            parts: VecDeque::new(),
            front: 0,
            spare: Vec::new(),
            buffers: 0,
            broken: false,
        }),
        changed: Condvar::new(),
        name,
        hands,
    };
    let mut log = TextLog::new(name);
    // A panic in any hand ends the scope: the alarm has told the others, and what is lost is the rest
    // of this file, not the run.
    let whole = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        std::thread::scope(|scope| work.in_order(scope, &mut log, watch));
    }));
    let mut last = Vec::new();
    log.finish(&mut last);
    watch(&last, &log.interfaces);
    let table = work.table.into_inner().unwrap_or_else(PoisonError::into_inner);
    let fault = (whole.is_err() || table.broken).then(|| {
        let reason = "the reader stopped by an inner fault; please report it with the file";
        Reject::one(Place::whole(name), reason)
    });
    (log, fault.or(table.failure))
}

impl<R: Read + Send> Work<'_, R> {
    /// The hand that watches, and reads when nothing is there to be watched.
    fn in_order<'s, 'e>(
        &'e self,
        scope: &'s Scope<'s, 'e>,
        log: &mut TextLog,
        watch: &mut dyn FnMut(&[Frame], &[String]),
    ) {
        let _alarm = Alarm(self);
        let mut table = self.lock();
        table.add_buffers(FOR_EACH + 1);
        loop {
            let over = table.exhausted && table.parts.is_empty();
            if over || table.broken || self.hands.stopped() {
                table.exhausted = true;
                self.changed.notify_all();
                return;
            }
            if let Some(Some(_)) = table.parts.front() {
                let Some(Some(filled)) = table.parts.pop_front() else { continue };
                table.front += 1;
                drop(table);
                let Filled { mut part, bytes, length } = filled;
                log.take(&mut part, bytes.get(..length).unwrap_or_default());
                watch(&part.frames, &log.interfaces);
                table = self.lock();
                table.spare.push(Buffers { bytes, frames: part.frames });
                self.changed.notify_all();
                continue;
            }
            // The first chunk is read without help: most logs are no longer.
            if table.front + table.parts.len() as u64 > 0
                && !table.exhausted
                && let Some(hand) = self.hands.lend()
            {
                table.add_buffers(FOR_EACH);
                scope.spawn(move || self.help(hand));
            }
            table = match table.begin() {
                Some(job) => self.fill(job, table),
                None => self.wait(table),
            };
        }
    }

    /// A borrowed hand: reads chunks until there are none.
    fn help(&self, hand: Hand<'_>) {
        let _alarm = Alarm(self);
        let _hand = hand;
        let mut table = self.lock();
        while !table.exhausted && !table.broken && !self.hands.stopped() {
            table = match table.begin() {
                Some(job) => self.fill(job, table),
                None => self.wait(table),
            };
        }
    }

    /// Takes a chunk off the source, gives the source back, and reads the chunk.
    fn fill<'t>(
        &'t self,
        job: Job<R>,
        table: MutexGuard<'t, Table<R>>,
    ) -> MutexGuard<'t, Table<R>> {
        drop(table);
        let Job { mut source, mut buffers } = job;
        let length = source.next(&mut buffers.bytes).map(<[u8]>::len);
        let failure = source
            .failure()
            .map(|(error, offset)| Reject::one(Place::byte(self.name, offset), error.to_string()));
        let mut table = self.lock();
        table.source = Some(source);
        table.failure = failure;
        let Some(length) = length else {
            table.exhausted = true;
            table.spare.push(buffers);
            self.changed.notify_all();
            return table;
        };
        let number = table.front + table.parts.len() as u64;
        table.parts.push_back(None);
        self.changed.notify_all();
        drop(table);
        let Buffers { bytes, frames } = buffers;
        let part = Part::read(self.name, bytes.get(..length).unwrap_or_default(), frames);
        let mut table = self.lock();
        let place = usize::try_from(number - table.front).unwrap_or(usize::MAX);
        if let Some(slot) = table.parts.get_mut(place) {
            *slot = Some(Filled { part, bytes, length });
        }
        self.changed.notify_all();
        table
    }
}

/// The source and buffers, away from the table.
struct Job<R> {
    source: Chunks<R>,
    buffers: Buffers,
}

impl<R> Table<R> {
    /// Adds buffers, up to the most there may be.
    fn add_buffers(&mut self, more: usize) {
        for _ in 0..more.min(MOST.saturating_sub(self.buffers)) {
            self.spare.push(Buffers::default());
            self.buffers += 1;
        }
    }

    /// Takes what is needed to read a chunk; `None` when the source or the buffers are all away.
    fn begin(&mut self) -> Option<Job<R>> {
        if self.exhausted || self.source.is_none() {
            return None;
        }
        let buffers = self.spare.pop()?;
        match self.source.take() {
            Some(source) => Some(Job { source, buffers }),
            None => {
                self.spare.push(buffers);
                None
            }
        }
    }
}
