//! One bus log through `read` and `observe`: bytes in, facts and account out, memory bounded.
//!
//! The log's own thread watches; other hands, when they are free, read beside it: chunks of a text log,
//! or any other log as a whole. The result is the same with any number of hands.

use std::cell::RefCell;
use std::io::Read;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use super::hands::{Hand, Hands};
use super::split::{self, Taking};
use crate::facts::StoredLog;
use crate::observe::{Observer, Senders};
use crate::read::Account;
use crate::read::frames::{Frame, Give, LogTables, read_log};
use crate::read::opening::Opened;
use crate::read::recognising::Kind;
use crate::vocabulary::{Place, Reject};

/// Batches under way between the two threads of a log that is no text.
const UNDER_WAY: usize = 4;

type Batch = (Vec<Frame>, Vec<String>);

/// Watches an opened log of any format.
///
/// `tables` is what the pipeline says of logs that are tables, `bus` what the path says of the bus,
/// `hands` are those that may help.
#[must_use]
pub fn watch_opened(
    opened: Opened,
    tables: &LogTables,
    senders: &Senders,
    bus: Option<&str>,
    hands: &Hands,
) -> StoredLog {
    let name = Arc::clone(&opened.name);
    let (size, mut account) = (opened.size, opened.account.clone());
    let mut stored = if opened.kind == Kind::BusLogText {
        let taking = if opened.packings.is_empty() { Taking::Quick } else { Taking::Slow };
        watch_text((opened.bytes, taking), &name, senders, bus, 0, hands)
    } else {
        let mut observer = Observer::default();
        let read = |give: &Give<'_>| read_log(opened, tables, give);
        let account = beside(read, &name, hands, &mut observer);
        finish(observer, account, (senders, bus), (&name, 0), hands)
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
/// `bus` is what the path says of the bus; `shift` is added to every time, nanoseconds; `hands` are
/// those that may help.
#[must_use]
pub fn watch(
    bytes: impl Read + Send,
    name: &Arc<str>,
    senders: &Senders,
    bus: Option<&str>,
    shift: i64,
    hands: &Hands,
) -> StoredLog {
    watch_text((bytes, Taking::Quick), name, senders, bus, shift, hands)
}

fn watch_text(
    bytes: (impl Read + Send, Taking),
    name: &Arc<str>,
    senders: &Senders,
    bus: Option<&str>,
    shift: i64,
    hands: &Hands,
) -> StoredLog {
    let mut observer = Observer::default();
    let (log, failure) = split::read(bytes, name, hands, &mut |frames, names, before| {
        observer.push_behind(before, frames, names);
    });
    let mut account = Account::default();
    account.lenient_times("decimal comma in a time stamp read as a point", log.decimal_commas);
    account.lenient_times("blank line or comment in a bus log", log.blank_lines);
    account.rejects = log.rejects.into_entries();
    account.rejects.extend(failure);
    finish(observer, account, (senders, bus), (name, shift), hands)
}

fn finish(
    observer: Observer,
    mut account: Account,
    (senders, bus): (&Senders, Option<&str>),
    (name, shift): (&Arc<str>, i64),
    hands: &Hands,
) -> StoredLog {
    let help: Vec<Hand<'_>> = std::iter::from_fn(|| hands.lend()).collect();
    let seen = observer.helped_by(help.len()).finish(senders, bus, name, shift);
    drop(help);
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

/// Watches what a reader gives; the reader runs beside the watcher when a hand is free.
fn beside(
    read: impl FnOnce(&Give<'_>) -> Account + Send,
    name: &Arc<str>,
    hands: &Hands,
    observer: &mut Observer,
) -> Account {
    let Some(_hand) = hands.lend() else {
        let observer = RefCell::new(observer);
        return read(&|mut frames: Vec<Frame>, interfaces: &[String]| {
            observer.borrow_mut().push(&frames, interfaces);
            frames.clear();
            frames
        });
    };
    let (full, filled) = sync_channel::<Batch>(UNDER_WAY);
    let (emptied, empty) = sync_channel::<Vec<Frame>>(UNDER_WAY + 2);
    std::thread::scope(|scope| {
        let reader = scope.spawn(|| read(&full_of(full, empty)));
        while let Ok((mut frames, interfaces)) = filled.recv() {
            observer.push(&frames, &interfaces);
            frames.clear();
            // A full way back only means that a buffer is dropped.
            let _ = emptied.try_send(frames);
        }
        reader.join().unwrap_or_else(|_| broken(name))
    })
}

/// The reader's way to give a batch and get an empty buffer, over two channels.
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
