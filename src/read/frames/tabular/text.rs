//! CSV: a header, then a row per frame; quoted cells are read, a quoted line end is not.

use std::io::Read;
use std::sync::Arc;

use memchr::{memchr, memchr_iter};

use super::cells::{self, Times};
use super::row::Row;
use crate::read::account::Account;
use crate::read::frames::handing::{Batches, Give};
use crate::read::frames::log::LogTables;
use crate::read::frames::rejects::RejectList;
use crate::read::frames::source::Source;
use crate::read::tables::{
    LOG_FIELDS, LogColumns, LogField, QuoteFault, log_columns_of_header, split_cells,
};
use crate::vocabulary::{Place, Reject};

/// The longest line accepted.
const LINE_BYTES: usize = 64 * 1024;

/// The cells of a row by field; empty where the table has no such column.
type Picked<'a> = [&'a [u8]; LOG_FIELDS];

/// Checks the header of a bus log table.
///
/// # Errors
/// A message that names what is missing and what was found.
pub fn check_table_header(header: &str, tables: &LogTables) -> Result<(), String> {
    let mut account = Account::default();
    log_columns_of_header(header, &tables.choices, tables.zone, &mut account).map(|_| ())
}

/// Reads a bus log table from any stream of bytes.
pub fn read_table(
    bytes: impl Read,
    file: &Arc<str>,
    tables: &LogTables,
    give: &Give<'_>,
) -> Account {
    let mut source = Source::new(bytes);
    let mut account = Account::default();
    let mut batches = Batches::new(give);
    match header(&mut source, file, tables, &mut account) {
        Ok((columns, line)) => {
            let mut table = Table {
                times: Times::new(columns.epoch, columns.zone),
                columns,
                rejects: RejectList::new(file),
                line,
            };
            table.rows(&mut source, &mut batches, &mut account);
            account.rejects.append(&mut table.rejects.into_entries());
        }
        Err(reject) => account.rejects.push(reject),
    }
    batches.hand_on();
    account.rejects.extend(source.failure(file));
    account
}

/// The header, and the number of its line.
fn header(
    source: &mut Source<impl Read>,
    file: &Arc<str>,
    tables: &LogTables,
    account: &mut Account,
) -> Result<(LogColumns, u64), Reject> {
    let mut line = 0;
    while let Some(next) = next_line(source) {
        line += 1;
        if next.too_long {
            let reason = "a header of more than 65,536 bytes; this is no bus log table";
            return Err(Reject::one(Place::line(file, line), reason));
        }
        let text = source.look(next.length);
        if !text.trim_ascii().is_empty() {
            let refused = |reason: String| Reject::one(Place::line(file, line), reason);
            let text = std::str::from_utf8(text)
                .map_err(|_| refused("the header is not UTF-8; save the file as UTF-8".into()))?
                .trim_end()
                .to_owned();
            source.take(next.with_end);
            let found = log_columns_of_header(&text, &tables.choices, tables.zone, account);
            return found.map(|columns| (columns, line)).map_err(refused);
        }
        source.take(next.with_end);
    }
    Err(Reject::one(Place::whole(file), "no header line, expected one of a bus log table"))
}

/// A line that lies in the window.
struct NextLine {
    length: usize,
    with_end: usize,
    /// Whether only its beginning is there: it is over the limit.
    too_long: bool,
}

fn next_line(source: &mut Source<impl Read>) -> Option<NextLine> {
    let mut seen = 0;
    loop {
        let here = if seen == 0 { source.at_hand() } else { source.look(seen + 1) };
        if here.is_empty() {
            return None;
        }
        if let Some(end) = here.get(seen..).and_then(|new| memchr(b'\n', new)) {
            let length = seen + end;
            let too_long = length > LINE_BYTES;
            return Some(NextLine { length, with_end: length + 1, too_long });
        }
        if here.len() == seen || here.len() > LINE_BYTES {
            let length = here.len();
            return Some(NextLine { length, with_end: length, too_long: length > LINE_BYTES });
        }
        seen = here.len();
    }
}

struct Table {
    columns: LogColumns,
    times: Times,
    rejects: RejectList,
    line: u64,
}

impl Table {
    fn rows(
        &mut self,
        source: &mut Source<impl Read>,
        batches: &mut Batches<'_>,
        account: &mut Account,
    ) {
        let mut blank = 0;
        while let Some(next) = next_line(source) {
            self.line += 1;
            if next.too_long {
                self.rejects.line(self.line, "a line of more than 65,536 bytes");
                to_line_end(source);
                continue;
            }
            let line = source.look(next.length).trim_ascii_end();
            if line.trim_ascii_start().is_empty() {
                blank += 1;
            } else if let Err(reason) = self.line(line, batches, account) {
                self.rejects.line(self.line, &reason);
            }
            source.take(next.with_end);
        }
        account.lenient_times("blank line or comment in a bus log", blank);
    }

    fn line(
        &mut self,
        line: &[u8],
        batches: &mut Batches<'_>,
        account: &mut Account,
    ) -> Result<(), String> {
        if memchr(b'"', line).is_none() {
            let mut picked: Picked<'_> = [&[]; LOG_FIELDS];
            let (mut from, mut column) = (0, 0);
            for end in memchr_iter(self.columns.separator, line).chain([line.len()]) {
                if let Some(Some(field)) = self.columns.field_of.get(column) {
                    picked[*field as usize] = line[from..end].trim_ascii();
                }
                from = end + 1;
                column += 1;
            }
            self.width(column, line)?;
            return self.row(&picked, batches, account);
        }
        let text = std::str::from_utf8(line)
            .map_err(|_| "line is not UTF-8; save the file as UTF-8".to_owned())?;
        let cells = split_cells(text, char::from(self.columns.separator)).map_err(|fault| {
            match fault {
                QuoteFault::Open => "a quote in this row is not closed",
                QuoteFault::Stray => "something follows a closed quote inside its cell",
            }
            .to_owned()
        })?;
        self.width(cells.len(), line)?;
        let mut picked: Picked<'_> = [&[]; LOG_FIELDS];
        for (cell, field) in cells.iter().zip(&self.columns.field_of) {
            if let Some(field) = field {
                picked[*field as usize] = cell.as_bytes();
            }
        }
        self.row(&picked, batches, account)
    }

    /// More cells than the header are only let pass when they are empty.
    fn width(&self, cells: usize, line: &[u8]) -> Result<(), String> {
        let width = self.columns.field_of.len();
        let separator = self.columns.separator;
        let empty_behind = |extra: usize| {
            let tail = line.iter().rev().take_while(|b| **b == separator).count();
            tail >= extra
        };
        if cells == width || (cells > width && empty_behind(cells - width)) {
            return Ok(());
        }
        Err(format!("row has {cells} cells, the header has {width}; it may be cut short"))
    }

    fn row(
        &mut self,
        cells: &Picked<'_>,
        batches: &mut Batches<'_>,
        account: &mut Account,
    ) -> Result<(), String> {
        let cell = |field: LogField| cells[field as usize];
        let (time, leniency) = self.times.read(cell(LogField::Time))?;
        let (id, eight_digits) = cells::identifier(cell(LogField::Id))?;
        let mut bytes = [0; 64];
        let length = cells::data(cell(LogField::Data), &mut bytes)?;
        let row = Row {
            id,
            eight_digits,
            extended: cells::flag(cell(LogField::Extended))?,
            fd: cells::flag(cell(LogField::Fd))?,
            esi: cells::flag(cell(LogField::Esi))?,
            remote: cells::flag(cell(LogField::Remote))?,
            error: cells::flag(cell(LogField::Error))?,
            dlc: cells::count(cell(LogField::Dlc))?,
            data: &bytes[..length],
            padded: false,
        };
        let content = row.content()?;
        let channel = batches.channel(cell(LogField::Bus))?;
        if let Some(what) = leniency {
            account.lenient(what);
        }
        batches.push(content.at(time, self.line, channel));
        Ok(())
    }
}

/// Steps over the rest of a line.
fn to_line_end(source: &mut Source<impl Read>) {
    loop {
        let here = source.at_hand();
        let (step, ended) = match memchr(b'\n', here) {
            Some(end) => (end + 1, true),
            None => (here.len(), false),
        };
        source.take(step);
        if ended || step == 0 {
            return;
        }
    }
}
