//! One stored log as a set of files, and back.
//!
//! An entry is a Parquet file for each table that has rows, and `contents.txt`:
//!
//! ```text
//! buswitness facts 1
//! starts.parquet 2310 0f3c…        file, bytes, 128-bit hash of the bytes
//! sum 91ab…                        128-bit hash of all lines above
//! ```
//!
//! Every byte is checked against the list before a Parquet decoder sees it, so a damaged entry is
//! noticed whatever the decoder would have made of it. A table without a line has no rows.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;

use crate::facts::error::FactsError;
use crate::facts::file_bytes::{from_parquet, to_parquet};
use crate::facts::key::content_hash;
use crate::facts::store::StoredLog;
use crate::facts::table::{Places, Row, StoredRow, read_rows, rows_table};
use crate::facts::tally_tables::{LeniencyRow, ReadingRow};
use crate::observe::{FinerFacts, LogFacts};

/// The list of contents.
const LIST: &str = "contents.txt";

/// Its first line.
const TITLE: &str = "buswitness facts 1";

/// No list is longer than this: a line for each table.
const LONGEST_LIST: u64 = 16_384;

/// The files of an entry by name; the list of contents comes last.
pub(super) fn encode(log: &StoredLog) -> Result<Vec<(String, Vec<u8>)>, FactsError> {
    let mut files = Vec::new();
    let facts = &log.facts;
    add(&mut files, &facts.starts)?;
    add(&mut files, &facts.presences)?;
    add(&mut files, &facts.silences)?;
    add(&mut files, &facts.disturbances)?;
    add(&mut files, &facts.losses)?;
    add(&mut files, &facts.blind_spots)?;
    add(&mut files, &facts.identifiers)?;
    add(&mut files, &facts.signals)?;
    add(&mut files, &facts.logged_codes)?;
    add(&mut files, &facts.logged_answers)?;
    add(&mut files, &facts.bus_events)?;
    let finer = &facts.finer;
    add(&mut files, &finer.errors)?;
    add(&mut files, &finer.locks)?;
    add(&mut files, &finer.returns)?;
    add(&mut files, &finer.orders)?;
    add(&mut files, &finer.passives)?;
    add(&mut files, &finer.clock_steps)?;
    add(&mut files, &finer.clock_groups)?;
    let skipped = log.skipped.clone();
    add(&mut files, &[ReadingRow { frames: log.frames, bytes: log.bytes, skipped }])?;
    let leniencies: Vec<LeniencyRow> =
        log.leniencies.iter().map(|(what, times)| LeniencyRow(what.clone(), *times)).collect();
    add(&mut files, &leniencies)?;
    add(&mut files, &log.rejects)?;
    let mut list = format!("{TITLE}\n");
    for (name, bytes) in &files {
        let _ = writeln!(list, "{name} {} {:032x}", bytes.len(), content_hash(bytes));
    }
    let sum = content_hash(list.as_bytes());
    let _ = writeln!(list, "sum {sum:032x}");
    files.push((LIST.to_owned(), list.into_bytes()));
    Ok(files)
}

fn add<R: Row>(files: &mut Vec<(String, Vec<u8>)>, rows: &[R]) -> Result<(), FactsError> {
    if !rows.is_empty() {
        let bytes = to_parquet(R::TABLE, &rows_table(rows, Places::SpotOnly)?)?;
        files.push((format!("{}.parquet", R::TABLE.name), bytes));
    }
    Ok(())
}

/// Reads an entry; `None` when there is none.
pub(super) fn decode(folder: &Path, file: &Arc<str>) -> Result<Option<StoredLog>, FactsError> {
    if fs::symlink_metadata(folder).is_err_and(|e| e.kind() == std::io::ErrorKind::NotFound) {
        return Ok(None);
    }
    decode_from(&|name, most| read_at_most(folder, name, most), file).map(Some)
}

/// The files of an entry as they are, when its list is whole.
pub(super) fn files_in(folder: &Path) -> Result<Vec<(String, Vec<u8>)>, FactsError> {
    let list = read_at_most(folder, LIST, LONGEST_LIST)?;
    let mut files = Vec::new();
    for (name, (length, _)) in listed(&String::from_utf8_lossy(&list))? {
        if Path::new(&name).file_name().is_none_or(|own| *own != *name) {
            return Err(damaged("names of files", format!("{name:?} in {LIST}")));
        }
        let bytes = read_at_most(folder, &name, length)?;
        files.push((name, bytes));
    }
    files.push((LIST.to_owned(), list));
    Ok(files)
}

/// A file of an entry by its name, cut one byte after so many: more is damage anyway.
type Bring<'a> = &'a dyn Fn(&str, u64) -> Result<Vec<u8>, FactsError>;

/// An entry from wherever its files are.
pub(super) fn decode_from(bring: Bring<'_>, file: &Arc<str>) -> Result<StoredLog, FactsError> {
    let list = String::from_utf8_lossy(&bring(LIST, LONGEST_LIST)?).into_owned();
    let mut entry = Entry { bring, file, files: listed(&list)? };
    let facts = LogFacts {
        starts: entry.rows()?,
        presences: entry.rows()?,
        silences: entry.rows()?,
        disturbances: entry.rows()?,
        losses: entry.rows()?,
        blind_spots: entry.rows()?,
        identifiers: entry.rows()?,
        signals: entry.rows()?,
        logged_codes: entry.rows()?,
        logged_answers: entry.rows()?,
        bus_events: entry.rows()?,
        finer: FinerFacts {
            errors: entry.rows()?,
            locks: entry.rows()?,
            returns: entry.rows()?,
            orders: entry.rows()?,
            passives: entry.rows()?,
            clock_steps: entry.rows()?,
            clock_groups: entry.rows()?,
        },
    };
    let mut reading: Vec<ReadingRow> = entry.rows()?;
    let leniencies: Vec<LeniencyRow> = entry.rows()?;
    let rejects = entry.rows()?;
    if let Some(name) = entry.files.into_keys().next() {
        return Err(damaged("only tables of the schema", format!("{name:?} in {LIST}")));
    }
    let (Some(ReadingRow { frames, bytes, skipped }), true) = (reading.pop(), reading.is_empty())
    else {
        return Err(damaged("one row in `reading`", "another number of rows".to_owned()));
    };
    let leniencies = leniencies.into_iter().map(|row| (row.0, row.1)).collect();
    Ok(StoredLog { facts, frames, bytes, leniencies, rejects, skipped })
}

/// An entry that is being read: its files are taken out of the list one by one.
struct Entry<'a> {
    bring: Bring<'a>,
    file: &'a Arc<str>,
    files: BTreeMap<String, (u64, u128)>,
}

impl Entry<'_> {
    fn rows<R: StoredRow>(&mut self) -> Result<Vec<R>, FactsError> {
        let name = format!("{}.parquet", R::TABLE.name);
        let Some((length, hash)) = self.files.remove(&name) else {
            return Ok(Vec::new());
        };
        let bytes = (self.bring)(&name, length)?;
        if bytes.len() as u64 != length || content_hash(&bytes) != hash {
            let expected = format!("{length} bytes with hash {hash:032x} in {name}");
            let found = format!("{} with hash {:032x}", bytes.len(), content_hash(&bytes));
            return Err(damaged(&expected, found));
        }
        read_rows(&from_parquet(R::TABLE, bytes)?, self.file)
    }
}

/// The lines of a list whose sum is right.
fn listed(list: &str) -> Result<BTreeMap<String, (u64, u128)>, FactsError> {
    let bad = |found: &str| damaged(&format!("a whole list in {LIST}"), format!("{found:?}"));
    let body = list.strip_suffix('\n').and_then(|l| l.rsplit_once('\n'));
    let Some((above, sum)) = body else {
        return Err(bad(list));
    };
    let above = format!("{above}\n");
    if sum != format!("sum {:032x}", content_hash(above.as_bytes())) {
        return Err(bad(sum));
    }
    let mut lines = above.lines();
    if lines.next() != Some(TITLE) {
        return Err(bad("another first line"));
    }
    let line = |line: &str| {
        let mut words = line.split(' ');
        let (name, length, hash) = (words.next()?, words.next()?, words.next()?);
        let checked = (length.parse().ok()?, u128::from_str_radix(hash, 16).ok()?);
        Some((name.to_owned(), checked))
    };
    lines.map(|text| line(text).ok_or_else(|| bad(text))).collect()
}

/// Reads a file of the entry, and stops one byte after `most`: more is damage anyway.
fn read_at_most(folder: &Path, name: &str, most: u64) -> Result<Vec<u8>, FactsError> {
    let mut bytes = Vec::new();
    fs::File::open(folder.join(name))
        .and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(|cause| damaged(&format!("to read {name}"), cause.to_string()))?;
    Ok(bytes)
}

pub(super) fn damaged(expected: &str, found: String) -> FactsError {
    FactsError::Damaged { expected: expected.to_owned(), found }
}
