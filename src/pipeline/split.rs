//! One text log read by several hands, and watched in order by one.
//!
//! The hand that watches takes the parts in their order; while the next one is not there it reads a
//! chunk itself, so no hand is idle while there is work. Whoever wants a chunk takes the source,
//! which one hand has at a time. The source of a packed log stays with the first hand that comes to
//! help: what an unpacker keeps at hand does not move from core to core, and unpacking goes on beside
//! reading and watching. A fixed number of chunks is under way; when they are all filled, no more are
//! taken off the source.

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

/// How bytes come off the source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Taking {
    /// As they stand in the file: any hand may take them.
    Quick,
    /// Unpacked: one hand keeps the source, when there are several.
    Slow,
}

/// A chunk taken off the source, and how many of its bytes count.
struct Taken {
    buffers: Buffers,
    length: usize,
}

/// A part, the bytes it was read from, and how many of them count.
struct Filled {
    part: Part,
    bytes: Vec<u8>,
    length: usize,
}

/// Where a chunk stands.
enum Stage {
    /// To be read by any hand.
    Taken(Taken),
    /// Being read.
    Away,
    /// To be watched.
    Filled(Box<Filled>),
}

/// What all hands see.
struct Table<R> {
    /// Away while a hand takes from it.
    source: Option<Chunks<R>>,
    /// Whether one hand keeps it, or is about to.
    kept: bool,
    exhausted: bool,
    failure: Option<Reject>,
    /// Chunks from the next wanted one on.
    parts: VecDeque<Stage>,
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
    taking: Taking,
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

/// Takes frames, the names of the interfaces, and the number of lines that belong to each frame's line.
pub(super) type Watch<'a> = dyn FnMut(&[Frame], &[String], u64) + 'a;

/// Reads a text log to its end or its break; `watch` gets the frames in order. Returns the log's account, and why it broke off.
pub(super) fn read(
    (bytes, taking): (impl Read + Send, Taking),
    name: &Arc<str>,
    hands: &Hands,
    watch: &mut Watch<'_>,
) -> (TextLog, Option<Reject>) {
    read_in_chunks(CHUNK, (bytes, taking), name, hands, watch)
}

pub(super) fn read_in_chunks(
    size: usize,
    (bytes, taking): (impl Read + Send, Taking),
    name: &Arc<str>,
    hands: &Hands,
    watch: &mut Watch<'_>,
) -> (TextLog, Option<Reject>) {
    let work = Work {
        table: Mutex::new(Table {
            source: Some(Chunks::new(bytes, size)),
            kept: false,
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
        taking,
    };
    let mut log = TextLog::new(name);
    // A panic in any hand ends the scope: the alarm has told the others, and what is lost is the rest
    // of this file, not the run.
    let whole = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        std::thread::scope(|scope| work.in_order(scope, &mut log, watch));
    }));
    let mut last = Vec::new();
    log.finish(&mut last);
    watch(&last, &log.interfaces, 0);
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
        watch: &mut Watch<'_>,
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
            if let Some(filled) = table.next_filled() {
                drop(table);
                let Filled { mut part, bytes, length } = *filled;
                let before = log.take(&mut part, bytes.get(..length).unwrap_or_default());
                watch(&part.frames, &log.interfaces, before);
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
                let keeps = self.taking == Taking::Slow && !table.kept;
                table.kept |= keeps;
                scope.spawn(move || self.help(hand, keeps));
            }
            table = self.do_next(table);
        }
    }

    /// A borrowed hand: reads chunks until there are none. One that keeps the source takes chunks off it as
    /// long as there is room for them, and reads when there is none.
    fn help(&self, hand: Hand<'_>, keeps: bool) {
        let _alarm = Alarm(self);
        let _hand = hand;
        let mut table = self.lock();
        let mut source = None;
        while !table.broken && !self.hands.stopped() && !table.all_begun() {
            if keeps && !table.exhausted {
                source = source.take().or_else(|| table.source.take());
                if let Some(source) = &mut source
                    && let Some(buffers) = table.spare.pop()
                {
                    drop(table);
                    let (taken, failure) = self.take(source, buffers);
                    table = self.lock();
                    table.add(taken, failure);
                    self.changed.notify_all();
                    continue;
                }
            }
            table = self.do_next(table);
        }
    }

    /// Reads a chunk, or waits until there is one.
    fn do_next<'t>(&'t self, mut table: MutexGuard<'t, Table<R>>) -> MutexGuard<'t, Table<R>> {
        if let Some((number, taken)) = table.next_taken() {
            drop(table);
            return self.fill(number, taken);
        }
        let Some((mut source, buffers)) = table.begin() else { return self.wait(table) };
        drop(table);
        let (taken, failure) = self.take(&mut source, buffers);
        let mut table = self.lock();
        table.source = Some(source);
        table.add(taken, failure);
        // What this hand has just taken it reads itself, unless another was quicker.
        let next = table.next_taken();
        self.changed.notify_all();
        match next {
            Some((number, taken)) => {
                drop(table);
                self.fill(number, taken)
            }
            None => table,
        }
    }

    /// Takes a chunk off the source; buffers that stay empty when nothing is left come back as an error.
    fn take(
        &self,
        source: &mut Chunks<R>,
        mut buffers: Buffers,
    ) -> (Result<Taken, Buffers>, Option<Reject>) {
        let length = source.next(&mut buffers.bytes).map(<[u8]>::len);
        let failure = source
            .failure()
            .map(|(error, offset)| Reject::one(Place::byte(self.name, offset), error.to_string()));
        let taken = match length {
            Some(length) => Ok(Taken { buffers, length }),
            None => Err(buffers),
        };
        (taken, failure)
    }

    /// Reads a chunk.
    fn fill(&self, number: u64, taken: Taken) -> MutexGuard<'_, Table<R>> {
        let Taken { buffers: Buffers { bytes, frames }, length } = taken;
        let part = Part::read(self.name, bytes.get(..length).unwrap_or_default(), frames);
        let mut table = self.lock();
        let place = usize::try_from(number - table.front).unwrap_or(usize::MAX);
        if let Some(stage) = table.parts.get_mut(place) {
            *stage = Stage::Filled(Box::new(Filled { part, bytes, length }));
        }
        self.changed.notify_all();
        table
    }
}

impl<R> Table<R> {
    /// Adds buffers, up to the most there may be.
    fn add_buffers(&mut self, more: usize) {
        for _ in 0..more.min(MOST.saturating_sub(self.buffers)) {
            self.spare.push(Buffers::default());
            self.buffers += 1;
        }
    }

    /// Takes what is needed to take a chunk; `None` when the source is away or kept, or no buffers are left.
    fn begin(&mut self) -> Option<(Chunks<R>, Buffers)> {
        if self.exhausted || self.kept || self.source.is_none() {
            return None;
        }
        let buffers = self.spare.pop()?;
        match self.source.take() {
            Some(source) => Some((source, buffers)),
            None => {
                self.spare.push(buffers);
                None
            }
        }
    }

    /// Adds a chunk behind the others, or notes that there are no more.
    fn add(&mut self, taken: Result<Taken, Buffers>, failure: Option<Reject>) {
        self.failure = failure;
        match taken {
            Ok(taken) => self.parts.push_back(Stage::Taken(taken)),
            Err(buffers) => {
                self.exhausted = true;
                self.spare.push(buffers);
            }
        }
    }

    /// The first chunk that nobody reads yet, with its number.
    fn next_taken(&mut self) -> Option<(u64, Taken)> {
        let waits = |stage: &Stage| matches!(stage, Stage::Taken(_));
        let place = self.parts.iter().position(waits)?;
        match std::mem::replace(self.parts.get_mut(place)?, Stage::Away) {
            Stage::Taken(taken) => Some((self.front + place as u64, taken)),
            Stage::Away | Stage::Filled(_) => None,
        }
    }

    /// The next chunk to be watched, when it is read.
    fn next_filled(&mut self) -> Option<Box<Filled>> {
        let is_filled = matches!(self.parts.front(), Some(Stage::Filled(_)));
        match is_filled.then(|| self.parts.pop_front())?? {
            Stage::Filled(filled) => {
                self.front += 1;
                Some(filled)
            }
            Stage::Taken(_) | Stage::Away => None,
        }
    }

    /// Whether there are no more chunks, and every one has been begun by a hand.
    fn all_begun(&self) -> bool {
        self.exhausted && !self.parts.iter().any(|stage| matches!(stage, Stage::Taken(_)))
    }
}
