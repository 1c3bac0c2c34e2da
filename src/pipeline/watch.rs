//! One bus log through `read` and `observe`: bytes in, facts and account out, memory bounded.
//!
//! Parsing and watching are two hands: with `two_threads` they work at the same time, on batches that
//! go back and forth, with the same result as one after the other.

use std::io::Read;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use crate::facts::StoredLog;
use crate::observe::{Observer, Senders};
use crate::read::Account;
use crate::read::frames::{Frame, Give, LogTables, TextLog, read_log};
use crate::read::opening::Opened;
use crate::read::recognising::Kind;
use crate::vocabulary::{Place, Reject};

/// Bytes read at a time.
const BLOCK: usize = 256 * 1024;
/// Batches under way between the two threads.
const UNDER_WAY: usize = 4;

type Batch = (Vec<Frame>, Vec<String>);

/// Watches an opened log of any format.
///
/// `tables` is what the pipeline says of logs that are tables, `bus` what the path says of the bus.
#[must_use]
pub fn watch_opened(
    opened: Opened,
    tables: &LogTables,
    senders: &Senders,
    bus: Option<&str>,
    two_threads: bool,
) -> StoredLog {
    let name = Arc::clone(&opened.name);
    let (size, mut account) = (opened.size, opened.account.clone());
    let mut stored = if opened.kind == Kind::BusLogText {
        watch(opened.bytes, &name, senders, bus, 0, two_threads)
    } else {
        let read = |give: &Give<'_>| read_log(opened, tables, give);
        watch_reader(read, &name, senders, bus, 0, two_threads)
    };
    for (what, times) in std::mem::take(&mut stored.leniencies) {
        account.lenient_times(&what, times);
    }
    stored.leniencies = account.leniencies.into_iter().collect();
    stored.bytes = size;
    stored
}

/// Watches one text log from a stream of decompressed bytes.
///
/// `bus` is what the path says of the bus; `shift` is added to every time, nanoseconds.
#[must_use]
pub fn watch(
    mut bytes: impl Read + Send,
    name: &Arc<str>,
    senders: &Senders,
    bus: Option<&str>,
    shift: i64,
    two_threads: bool,
) -> StoredLog {
    let read = |give: &Give<'_>| {
        let (log, failure) = parse(&mut bytes, name, give);
        let mut account = Account::default();
        account.lenient_times("decimal comma in a time stamp read as a point", log.decimal_commas);
        account.lenient_times("blank line or comment in a bus log", log.blank_lines);
        account.rejects = log.rejects.into_entries();
        account.rejects.extend(failure);
        account
    };
    watch_reader(read, name, senders, bus, shift, two_threads)
}

/// Watches what a reader gives; the reader runs beside the watcher with `two_threads`.
fn watch_reader(
    read: impl FnOnce(&Give<'_>) -> Account + Send,
    name: &Arc<str>,
    senders: &Senders,
    bus: Option<&str>,
    shift: i64,
    two_threads: bool,
) -> StoredLog {
    let mut observer = Observer::default();
    let mut account = if two_threads {
        let (full, filled) = sync_channel::<Batch>(UNDER_WAY);
        let (emptied, empty) = sync_channel::<Vec<Frame>>(UNDER_WAY + 2);
        std::thread::scope(|scope| {
            let parser = scope.spawn(|| read(&full_of(full, empty)));
            while let Ok((mut frames, interfaces)) = filled.recv() {
                observer.push(&frames, &interfaces);
                frames.clear();
                // A full way back only means that a buffer is dropped.
                let _ = emptied.try_send(frames);
            }
            parser.join().unwrap_or_else(|_| broken(name))
        })
    } else {
        let observer = std::cell::RefCell::new(&mut observer);
        read(&|frames: Vec<Frame>, interfaces: &[String]| {
            observer.borrow_mut().push(&frames, interfaces);
            let mut frames = frames;
            frames.clear();
            frames
        })
    };
    let seen = observer.finish(senders, bus, name, shift);
    for (what, times) in &seen.leniencies {
        account.lenient_times(what, *times);
    }
    StoredLog {
        facts: seen.facts,
        frames: seen.frames,
        bytes: 0,
        leniencies: account.leniencies.into_iter().collect(),
        rejects: account.rejects,
        skipped: None,
    }
}

/// The parser's way to give a batch and get an empty buffer, over two channels.
fn full_of(
    full: SyncSender<Batch>,
    empty: Receiver<Vec<Frame>>,
) -> impl Fn(Vec<Frame>, &[String]) -> Vec<Frame> {
    move |frames, interfaces| {
        // The watcher only goes away when it panics, which the scope passes on.
        let _ = full.send((frames, interfaces.to_vec()));
        empty.try_recv().unwrap_or_default()
    }
}

fn broken(name: &Arc<str>) -> Account {
    let reason = "the reader stopped by an inner fault; please report it with the file";
    Account { rejects: vec![Reject::one(Place::whole(name), reason)], ..Account::default() }
}

/// Reads the stream to its end or its break.
fn parse(bytes: &mut impl Read, name: &Arc<str>, give: &Give<'_>) -> (TextLog, Option<Reject>) {
    let mut log = TextLog::new(name);
    let mut block = vec![0u8; BLOCK];
    let mut frames = Vec::with_capacity(BLOCK / 32);
    let mut offset = 0u64;
    let mut failure = None;
    loop {
        match bytes.read(&mut block) {
            Ok(0) => break,
            Ok(n) => {
                offset += n as u64;
                log.push(&block[..n], &mut frames);
                frames = give(frames, &log.interfaces);
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => {
                failure = Some(Reject::one(Place::byte(name, offset), error.to_string()));
                break;
            }
        }
    }
    log.finish(&mut frames);
    give(frames, &log.interfaces);
    (log, failure)
}
