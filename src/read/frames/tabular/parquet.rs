//! Parquet: row groups are streamed, only the columns that are needed are read.
//!
//! Before the Parquet library sees a footer or a page, what they claim is checked against the file
//! (`thrift`); so a small file cannot ask for much memory. A file without its footer is unreadable.

use std::io::{self, BufReader, Read};
use std::sync::Arc;

use bytes::Bytes;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::errors::ParquetError;
use parquet::file::metadata::ParquetMetaData;
use parquet::file::reader::{ChunkReader, Length};

use super::columns::Rows;
use super::fence::fenced;
use super::thrift::walk;
use crate::read::account::Account;
use crate::read::anywhere::Anywhere;
use crate::read::frames::handing::{Batches, Give};
use crate::read::frames::log::LogTables;
use crate::read::frames::rejects::RejectList;
use crate::vocabulary::{Place, Reject};

/// Rows read at a time.
const ROWS: usize = 8192;
/// The largest footer read.
const LARGEST_FOOTER: u64 = 64 << 20;
/// The largest page read, unpacked.
const LARGEST_PAGE: i64 = 256 << 20;
/// The first bytes of a page in which its header must end.
const PAGE_HEADER: u64 = 64 << 10;

const DAMAGED: &str = "the Parquet file is damaged";

/// The bytes as the Parquet library asks for them.
#[derive(Clone)]
struct Chunks(Arc<Anywhere>);

impl Length for Chunks {
    fn len(&self) -> u64 {
        self.0.length()
    }
}

impl ChunkReader for Chunks {
    type T = BufReader<From>;

    fn get_read(&self, start: u64) -> Result<BufReader<From>, ParquetError> {
        Ok(BufReader::new(From { there: Arc::clone(&self.0), at: start }))
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<Bytes, ParquetError> {
        Ok(Bytes::from(self.0.bytes(start, length as u64)?))
    }
}

/// The bytes from a place on.
struct From {
    there: Arc<Anywhere>,
    at: u64,
}

impl Read for From {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let left = self.there.length().saturating_sub(self.at);
        let count = usize::try_from(left).map_or(into.len(), |left| left.min(into.len()));
        self.there.fill(self.at, &mut into[..count])?;
        self.at += count as u64;
        Ok(count)
    }
}

/// Reads a bus log in a Parquet file.
pub fn read_parquet(
    there: Anywhere,
    file: &Arc<str>,
    tables: &LogTables,
    give: &Give<'_>,
) -> Account {
    let mut account = Account::default();
    let mut batches = Batches::new(give);
    let read = read(&Arc::new(there), file, tables, &mut batches, &mut account);
    batches.hand_on();
    if let Err(reason) = read {
        account.rejects.push(Reject::one(Place::whole(file), reason));
    }
    account
}

fn read(
    there: &Arc<Anywhere>,
    file: &Arc<str>,
    tables: &LogTables,
    batches: &mut Batches<'_>,
    account: &mut Account,
) -> Result<(), String> {
    check_footer(there)?;
    let chunks = Chunks(Arc::clone(there));
    let builder = || fenced(|| ParquetRecordBatchReaderBuilder::try_new(chunks.clone()));
    let said = |error: &dyn std::fmt::Display| format!("{DAMAGED}: {error}");
    let first = builder().ok_or(DAMAGED)?.map_err(|e| said(&e))?;
    let schema = Arc::clone(first.schema());
    let mut rows = Rows::of_schema(&schema, tables, RejectList::new(file), account)?;
    let roots: Vec<usize> = rows.names().filter_map(|name| schema.index_of(name).ok()).collect();
    let groups = first.metadata().num_row_groups();
    let metadata = Arc::clone(first.metadata());
    let mask = ProjectionMask::roots(first.parquet_schema(), roots);
    drop(first);
    let mut result = Ok(());
    for group in 0..groups {
        if let Err(reason) = check_pages(there, &metadata, group, &mask) {
            result = Err(format!("{reason} (row group {}); the rest is not read", group + 1));
            break;
        }
        let reader = builder().ok_or(DAMAGED)?.map_err(|e| said(&e))?;
        let reader =
            reader.with_batch_size(ROWS).with_projection(mask.clone()).with_row_groups(vec![group]);
        let mut reader = fenced(|| reader.build()).ok_or(DAMAGED)?.map_err(|e| said(&e))?;
        result = loop {
            let next = fenced(|| reader.next());
            let read = match next {
                None => Err(DAMAGED.to_owned()),
                Some(None) => break Ok(()),
                Some(Some(Err(error))) => Err(said(&error)),
                Some(Some(Ok(batch))) => fenced(|| rows.batch(&batch, batches, account))
                    .unwrap_or_else(|| Err(DAMAGED.to_owned())),
            };
            if let Err(reason) = read {
                break Err(format!("{reason} (row group {}); the rest is not read", group + 1));
            }
        };
        if result.is_err() {
            break;
        }
    }
    account.rejects.append(&mut rows.rejects.into_entries());
    result
}

/// Checks what the footer and the header of every page claim, before a whole file is handed to the library.
///
/// # Errors
/// Why the file is not read, in words.
pub(crate) fn check_parquet(bytes: &Bytes) -> Result<(), String> {
    let there = Arc::new(Anywhere::of_bytes(bytes.clone()));
    check_footer(&there)?;
    let chunks = Chunks(Arc::clone(&there));
    let opened = fenced(|| ParquetRecordBatchReaderBuilder::try_new(chunks));
    let opened = opened.ok_or(DAMAGED)?.map_err(|error| format!("{DAMAGED}: {error}"))?;
    let metadata = opened.metadata();
    let held: i64 = metadata.row_groups().iter().map(|group| group.num_rows()).sum();
    let claimed = metadata.file_metadata().num_rows();
    if held != claimed {
        return Err(format!("{DAMAGED}: {claimed} rows are claimed, {held} are there"));
    }
    (0..metadata.num_row_groups())
        .try_for_each(|group| check_pages(&there, metadata, group, &ProjectionMask::all()))
}

/// The footer: its structure, its length u32, the magic.
fn check_footer(there: &Anywhere) -> Result<(), String> {
    let cut = || format!("{DAMAGED}: no footer at its end; the file may be cut short");
    let length = there.length();
    let tail = length.checked_sub(8).ok_or_else(cut)?;
    let end = there.bytes(tail, 8).map_err(|e| format!("cannot read the file: {e}"))?;
    let (size, magic) = end.split_first_chunk::<4>().ok_or_else(cut)?;
    if magic == b"PARE" {
        return Err("an encrypted Parquet file, which is not read".to_owned());
    }
    let size = u64::from(u32::from_le_bytes(*size));
    let from = tail.checked_sub(size).filter(|_| magic == b"PAR1").ok_or_else(cut)?;
    if size > LARGEST_FOOTER {
        return Err(format!("{DAMAGED}: a footer of {size} bytes"));
    }
    let footer = there.bytes(from, size).map_err(|e| format!("cannot read the file: {e}"))?;
    walk(&footer).map(|_| ()).ok_or_else(|| format!("{DAMAGED}: its footer is unsound"))
}

/// Looks at the header of every page that will be read.
fn check_pages(
    there: &Anywhere,
    metadata: &ParquetMetaData,
    group: usize,
    mask: &ProjectionMask,
) -> Result<(), String> {
    let Some(group) = metadata.row_groups().get(group) else { return Ok(()) };
    for (leaf, column) in group.columns().iter().enumerate() {
        if !mask.leaf_included(leaf) {
            continue;
        }
        let from = column.dictionary_page_offset().filter(|at| *at > 0);
        let from = u64::try_from(from.unwrap_or(column.data_page_offset()));
        let size = u64::try_from(column.compressed_size());
        let (Ok(from), Ok(size)) = (from, size) else {
            return Err(format!("{DAMAGED}: a column at a negative place"));
        };
        let end = from.checked_add(size).filter(|end| *end <= there.length());
        let end = end.ok_or(format!("{DAMAGED}: a column past its end"))?;
        let mut at = from;
        while at < end {
            at = check_page(there, at, end).ok_or(format!("{DAMAGED}: a page at byte {at}"))?;
        }
    }
    Ok(())
}

/// Checks the header of a page; where the next one begins.
fn check_page(there: &Anywhere, at: u64, end: u64) -> Option<u64> {
    // Most headers are short; one with long statistics takes a second look.
    for look in [256, PAGE_HEADER] {
        let bytes = there.bytes(at, look.min(end - at)).ok()?;
        let Some(header) = walk(&bytes) else { continue };
        let (unpacked, packed) = (header.numbers[2]?, header.numbers[3]?);
        if !(0..=LARGEST_PAGE).contains(&unpacked) {
            return None;
        }
        let next = at.checked_add(header.length as u64)?;
        return next.checked_add(u64::try_from(packed).ok()?).filter(|next| *next <= end);
    }
    None
}
