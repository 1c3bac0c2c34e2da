//! Arrow IPC, file and stream: record batches one after another.
//!
//! ```text
//! stream   FFFFFFFF · length u32 of the metadata · metadata · body … · FFFFFFFF 00000000
//! file     ARROW1 00 00 · the same messages · footer · its length u32 · ARROW1
//! ```
//! A file is read by its footer; without one (it is cut short) its messages are read from the front as
//! far as they go. What a message claims is checked against its own bytes before the Arrow library
//! sees it: the length of its body, and of every packed buffer.

use std::io::{self, Read};
use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::buffer::Buffer;
use arrow::ipc::convert::fb_to_schema;
use arrow::ipc::reader::{FileDecoder, StreamDecoder};
use arrow::ipc::{
    Block, MessageHeader, RecordBatch as BatchHeader, root_as_footer, root_as_message,
};

use super::columns::Rows;
use super::fence::fenced;
use crate::read::account::Account;
use crate::read::anywhere::Anywhere;
use crate::read::frames::handing::{Batches, Give};
use crate::read::frames::log::LogTables;
use crate::read::frames::rejects::RejectList;
use crate::read::frames::source::Source;
use crate::vocabulary::{Place, Reject, Spot};

/// The largest metadata of a message, and the largest footer.
const LARGEST_METADATA: u64 = 16 << 20;
/// The largest body of a message, packed or unpacked.
const LARGEST_BODY: u64 = 512 << 20;
/// The continuation mark before the length of a message.
const MARK: [u8; 4] = [0xFF; 4];
const MAGIC: &[u8] = b"ARROW1";

const DAMAGED: &str = "the Arrow data are damaged";
const CUT: &str = "the Arrow data are cut short inside a message";

/// Reads a bus log in an Arrow IPC stream.
pub fn read_arrow_stream(
    bytes: impl Read,
    file: &Arc<str>,
    tables: &LogTables,
    give: &Give<'_>,
) -> Account {
    let mut log = Log::new(file, tables, give);
    log.stream(&mut Source::new(bytes));
    log.finish()
}

/// Reads a bus log in an Arrow IPC file.
pub fn read_arrow_file(
    there: Anywhere,
    file: &Arc<str>,
    tables: &LogTables,
    give: &Give<'_>,
) -> Account {
    let mut log = Log::new(file, tables, give);
    match Footer::of(&there) {
        Ok(footer) => log.file(&there, &footer),
        Err(reason) => {
            let reason = format!("{reason}; its messages are read from the front");
            log.account.reject(Place::byte(file, there.length()), reason);
            log.stream(&mut Source::new(From { there: &there, at: 8 }));
        }
    }
    log.finish()
}

/// The bytes of a file from a place on.
struct From<'a> {
    there: &'a Anywhere,
    at: u64,
}

impl Read for From<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let left = self.there.length().saturating_sub(self.at);
        let count = usize::try_from(left).map_or(into.len(), |left| left.min(into.len()));
        self.there.fill(self.at.min(self.there.length()), &mut into[..count])?;
        self.at += count as u64;
        Ok(count)
    }
}

struct Log<'a> {
    file: &'a Arc<str>,
    tables: &'a LogTables,
    batches: Batches<'a>,
    account: Account,
    rows: Option<Rows>,
}

impl<'a> Log<'a> {
    fn new(file: &'a Arc<str>, tables: &'a LogTables, give: &'a Give<'a>) -> Log<'a> {
        let batches = Batches::new(give);
        Log { file, tables, batches, account: Account::default(), rows: None }
    }

    fn finish(mut self) -> Account {
        self.batches.hand_on();
        if let Some(rows) = self.rows {
            self.account.rejects.append(&mut rows.rejects.into_entries());
        }
        self.account
    }

    fn schema(&mut self, schema: &arrow::datatypes::Schema) -> Result<(), String> {
        let rejects = RejectList::new(self.file);
        self.rows = Some(Rows::of_schema(schema, self.tables, rejects, &mut self.account)?);
        Ok(())
    }

    fn batch(&mut self, batch: &RecordBatch) -> Result<(), String> {
        let Log { rows, batches, account, .. } = self;
        let rows = rows.as_mut().ok_or(DAMAGED)?;
        fenced(|| rows.batch(batch, batches, account)).ok_or(DAMAGED)?
    }

    fn refuse(&mut self, offset: u64, reason: String) {
        let spot = Spot::Byte(offset);
        self.account.rejects.push(Reject::one(Place { file: Arc::clone(self.file), spot }, reason));
    }

    /// Messages one after another, to the end mark or to where the data are damaged.
    fn stream(&mut self, source: &mut Source<impl Read>) {
        let mut decoder = StreamDecoder::new();
        loop {
            let offset = source.offset();
            match self.message(source, &mut decoder) {
                Ok(true) => {}
                Ok(false) => break,
                Err(reason) => {
                    if !(reason == CUT && source.is_broken()) {
                        self.refuse(offset, reason);
                    }
                    break;
                }
            }
        }
        self.account.rejects.extend(source.failure(self.file));
        if self.rows.is_none() && self.account.rejects.is_empty() {
            self.refuse(0, "the Arrow data end before their schema".to_owned());
        }
    }

    /// One message; false at the end.
    fn message(
        &mut self,
        source: &mut Source<impl Read>,
        decoder: &mut StreamDecoder,
    ) -> Result<bool, String> {
        let head = source.look(8);
        if head.is_empty() || head == [MARK, [0; 4]].concat() {
            return Ok(false);
        }
        let length = head.strip_prefix(&MARK).ok_or(if head.len() < 8 { CUT } else { DAMAGED })?;
        let length = length.first_chunk().map(|four| u32::from_le_bytes(*four)).ok_or(CUT)?;
        if u64::from(length) > LARGEST_METADATA {
            return Err(DAMAGED.to_owned());
        }
        let mut message = source.bytes(8);
        let metadata = source.bytes(u64::from(length));
        if metadata.len() as u64 != u64::from(length) {
            return Err(CUT.to_owned());
        }
        let body = body_length(&metadata)?;
        let body_bytes = source.bytes(body);
        if body_bytes.len() as u64 != body {
            return Err(CUT.to_owned());
        }
        check_buffers(&metadata, &body_bytes)?;
        message.extend(metadata);
        message.extend(body_bytes);
        let mut rest = Buffer::from(message);
        while !rest.is_empty() {
            let read = fenced(|| decoder.decode(&mut rest)).ok_or(DAMAGED)?;
            let batch = read.map_err(|e| format!("{DAMAGED}: {e}"))?;
            if self.rows.is_none()
                && let Some(schema) = decoder.schema()
            {
                self.schema(&schema)?;
            }
            match batch {
                Some(batch) => self.batch(&batch)?,
                None => break,
            }
        }
        Ok(true)
    }

    fn file(&mut self, there: &Anywhere, footer: &Footer) {
        if let Err((offset, reason)) = self.blocks(there, footer) {
            self.refuse(offset, format!("{reason}; the rest is not read"));
        }
    }

    fn blocks(&mut self, there: &Anywhere, footer: &Footer) -> Result<(), (u64, String)> {
        let at_end = |reason: String| (there.length(), reason);
        let damaged = || at_end(DAMAGED.to_owned());
        let (schema, version, dictionaries, records) =
            footer.parts().ok_or_else(damaged)?.map_err(at_end)?;
        self.schema(&schema).map_err(at_end)?;
        let mut decoder = FileDecoder::new(Arc::new(schema), version);
        for (block, is_batch) in
            dictionaries.iter().map(|b| (b, false)).chain(records.iter().map(|b| (b, true)))
        {
            let offset = u64::try_from(block.offset()).unwrap_or(0);
            let said = |reason: String| (offset, reason);
            let bytes = block_bytes(there, block).map_err(said)?;
            let buffer = Buffer::from(bytes);
            let batch = if is_batch {
                fenced(|| decoder.read_record_batch(block, &buffer))
            } else {
                fenced(|| decoder.read_dictionary(block, &buffer).map(|()| None))
            };
            let batch = batch.ok_or_else(|| said(DAMAGED.to_owned()))?;
            let batch = batch.map_err(|e| said(format!("{DAMAGED}: {e}")))?;
            if let Some(batch) = batch {
                self.batch(&batch).map_err(said)?;
            }
        }
        Ok(())
    }
}

/// The footer of a file, held.
struct Footer(Vec<u8>);

type Parts = (arrow::datatypes::Schema, arrow::ipc::MetadataVersion, Vec<Block>, Vec<Block>);

impl Footer {
    fn of(there: &Anywhere) -> Result<Footer, String> {
        let none = || "the Arrow file has no footer; it may be cut short".to_owned();
        let tail = there.length().checked_sub(10).ok_or_else(none)?;
        let end = there.bytes(tail, 10).map_err(|e| e.to_string())?;
        let (length, magic) = end.split_first_chunk::<4>().ok_or_else(none)?;
        let length = u64::from(u32::from_le_bytes(*length));
        if magic != MAGIC || length > LARGEST_METADATA {
            return Err(none());
        }
        let from = tail.checked_sub(length).ok_or_else(none)?;
        there.bytes(from, length).map(Footer).map_err(|e| e.to_string())
    }

    fn parts(&self) -> Option<Result<Parts, String>> {
        fenced(|| {
            let footer = root_as_footer(&self.0).map_err(|e| format!("{DAMAGED}: {e}"))?;
            let schema = footer.schema().ok_or("the Arrow file has no schema")?;
            let schema = fb_to_schema(schema);
            let dictionaries = footer.dictionaries().iter().flatten().copied().collect();
            let records = footer.recordBatches().iter().flatten().copied().collect();
            Ok((schema, footer.version(), dictionaries, records))
        })
    }
}

/// The bytes of a block: metadata with their prefix, then the body.
fn block_bytes(there: &Anywhere, block: &Block) -> Result<Vec<u8>, String> {
    let parts = [
        u64::try_from(block.offset()),
        u64::try_from(i64::from(block.metaDataLength())),
        u64::try_from(block.bodyLength()),
    ];
    let [Ok(offset), Ok(metadata), Ok(body)] = parts else { return Err(DAMAGED.to_owned()) };
    if metadata > LARGEST_METADATA || body > LARGEST_BODY {
        return Err(format!("{DAMAGED}: a block of {body} bytes"));
    }
    let bytes = there.bytes(offset, metadata + body).map_err(|e| format!("{DAMAGED}: {e}"))?;
    let split = usize::try_from(metadata).unwrap_or(usize::MAX);
    let (head, rest) = bytes.split_at_checked(split).ok_or(DAMAGED)?;
    let prefix = if head.starts_with(&MARK) { 8 } else { 4 };
    let metadata = head.get(prefix..).ok_or(DAMAGED)?;
    body_length(metadata)?;
    check_buffers(metadata, rest)?;
    Ok(bytes)
}

fn body_length(metadata: &[u8]) -> Result<u64, String> {
    let message = root_as_message(metadata).map_err(|e| format!("{DAMAGED}: {e}"))?;
    let length = u64::try_from(message.bodyLength()).map_err(|_| DAMAGED)?;
    if length > LARGEST_BODY {
        return Err(format!("{DAMAGED}, or a record batch is larger than 512 MiB"));
    }
    Ok(length)
}

/// Checks the buffers of a batch against its body: where they lie, and what packed ones claim.
fn check_buffers(metadata: &[u8], body: &[u8]) -> Result<(), String> {
    let message = root_as_message(metadata).map_err(|e| format!("{DAMAGED}: {e}"))?;
    let header: Option<BatchHeader<'_>> = match message.header_type() {
        MessageHeader::RecordBatch => message.header_as_record_batch(),
        MessageHeader::DictionaryBatch => {
            message.header_as_dictionary_batch().and_then(|dictionary| dictionary.data())
        }
        _ => None,
    };
    let Some(header) = header else { return Ok(()) };
    let packed = header.compression().is_some();
    let mut all = 0u64;
    for buffer in header.buffers().iter().flatten() {
        let from = usize::try_from(buffer.offset()).ok();
        let length = usize::try_from(buffer.length()).ok();
        let part =
            from.zip(length).and_then(|(from, length)| body.get(from..from.checked_add(length)?));
        let part = part.ok_or(DAMAGED)?;
        if let (true, Some(claim)) = (packed, part.first_chunk()) {
            // −1 marks a buffer that is not packed after all.
            let claim = i64::from_le_bytes(*claim);
            let claim = if claim == -1 { 0 } else { u64::try_from(claim).map_err(|_| DAMAGED)? };
            all = all.saturating_add(claim);
            if all > LARGEST_BODY {
                return Err(format!("{DAMAGED}, or a record batch is larger than 512 MiB"));
            }
        }
    }
    Ok(())
}
