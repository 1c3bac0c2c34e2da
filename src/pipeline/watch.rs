//! One bus log through `read` and `observe`: bytes in, facts and account out, memory bounded.
//!
//! The log's own thread watches; other hands, when they are free, read chunks of the log beside it.
//! The result is the same with any number of hands.

use std::io::Read;
use std::sync::Arc;

use super::hands::Hands;
use super::split;
use crate::facts::StoredLog;
use crate::observe::{Observer, Senders};
use crate::read::Account;

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
    let mut observer = Observer::default();
    let (log, failure) =
        split::read(bytes, name, hands, &mut |frames, names| observer.push(frames, names));
    let seen = observer.finish(senders, bus, name, shift);
    let mut account = Account::default();
    for (what, times) in &seen.leniencies {
        account.lenient_times(what, *times);
    }
    account.lenient_times("decimal comma in a time stamp read as a point", log.decimal_commas);
    account.lenient_times("blank line or comment in a bus log", log.blank_lines);
    let mut rejects = log.rejects.into_entries();
    rejects.extend(failure);
    StoredLog {
        facts: seen.facts,
        frames: seen.frames,
        bytes: 0,
        leniencies: account.leniencies.into_iter().collect(),
        rejects,
        skipped: None,
    }
}
