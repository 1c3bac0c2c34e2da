//! A table, row by row: lines are joined where a quoted cell spans several, split, and counted.
//!
//! A row is refused, with its line, when it is not UTF-8, is too long, has another number of cells
//! than the header, or opens a quote that nobody closes; reading goes on with the next line. A bad
//! value in an optional column is refused alone and the row is kept.

use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::account::Account;
use crate::read::lines::{LONGEST_LINE, Lines, NextLine};
use crate::read::tables::cells::{QuoteFault, split_cells};
use crate::read::tables::forms::{ColumnChoices, Field, Form};
use crate::read::tables::header::{Column, Header, check_header};
use crate::vocabulary::Place;

/// The most lines that one row may span.
const MOST_LINES: usize = 50;

/// A table being read; it stands on one row at a time.
pub struct Sheet<R> {
    lines: Lines<R>,
    name: Arc<str>,
    form: &'static Form,
    header: Header,
    cells: Vec<String>,
    line: u64,
    ahead: std::collections::VecDeque<(u64, String)>,
    /// What was refused and let pass so far.
    pub account: Account,
}

impl<R: Read> Sheet<R> {
    /// Reads and checks the header.
    ///
    /// # Errors
    /// The account with the reason, when there is no header or it lacks a required column.
    pub fn open(
        source: R,
        name: &Arc<str>,
        form: &'static Form,
        choices: &ColumnChoices,
        zone: Tz,
    ) -> Result<Sheet<R>, Account> {
        let mut sheet = Sheet {
            lines: Lines::new(source, LONGEST_LINE),
            name: Arc::clone(name),
            form,
            header: Header { separator: ',', width: 0, columns: Vec::new() },
            cells: Vec::new(),
            line: 0,
            ahead: std::collections::VecDeque::new(),
            account: Account::default(),
        };
        let Some((number, line)) = sheet.next_text() else {
            if sheet.account.rejects.is_empty() {
                let reason = format!("no header line, expected one of a {}", form.title);
                sheet.account.reject(Place::whole(name), reason);
            }
            return Err(sheet.account);
        };
        match check_header(&line, form, choices, zone, &mut sheet.account) {
            Ok(header) => sheet.header = header,
            Err(reason) => {
                sheet.account.reject(Place::line(name, number), reason);
                return Err(sheet.account);
            }
        }
        Ok(sheet)
    }

    /// Goes to the next good row; false at the end.
    pub fn advance(&mut self) -> bool {
        while let Some((number, text)) = self.next_text() {
            let Some(cells) = self.split_row(number, text) else { continue };
            if cells.iter().all(String::is_empty) {
                self.account.lenient("row of empty cells skipped");
                continue;
            }
            let width = self.header.width;
            if cells.len() > width && cells[width..].iter().all(String::is_empty) {
                self.account.lenient("empty cells behind the last column ignored");
            } else if cells.len() != width {
                let reason = format!("row has {} cells, the header has {width}", cells.len());
                self.account.reject(Place::line(&self.name, number), reason);
                continue;
            }
            self.cells = cells;
            self.line = number;
            return true;
        }
        false
    }

    /// The place of the row.
    #[must_use]
    pub fn place(&self) -> Place {
        Place::line(&self.name, self.line)
    }

    /// Refuses the row.
    pub fn refuse(&mut self, reason: impl Into<String>) {
        let place = self.place();
        self.account.reject(place, reason);
    }

    /// Whether the header has the field's column.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.find(name).is_some()
    }

    /// The separator found in the header.
    #[must_use]
    pub fn separator(&self) -> char {
        self.header.separator
    }

    pub(super) fn find(&self, name: &str) -> Option<(&'static Field, Column)> {
        let (position, field) = self.form.field(name)?;
        self.header.columns.get(position).copied().flatten().map(|column| (field, column))
    }

    pub(super) fn cell(&self, column: Column) -> &str {
        self.cells.get(column.at).map_or("", String::as_str)
    }

    /// Splits a row, joining further lines while a quote is open. When nobody closes it, only the
    /// first line is refused and the joined ones are read again as rows of their own.
    fn split_row(&mut self, number: u64, first: String) -> Option<Vec<String>> {
        let separator = self.header.separator;
        let mut split = split_cells(&first, separator);
        let mut joined = first;
        let mut taken = Vec::new();
        while split == Err(QuoteFault::Open)
            && taken.len() < MOST_LINES
            && joined.len() < LONGEST_LINE
        {
            let Some((at, text)) = self.next_text() else { break };
            joined.push('\n');
            joined.push_str(&text);
            taken.push((at, text));
            split = split_cells(&joined, separator);
        }
        if let Ok(cells) = split
            && (taken.is_empty() || cells.len() == self.header.width)
        {
            return Some(cells);
        }
        self.account.reject(
            Place::line(&self.name, number),
            "a quote in this row is not closed, or something follows it; close it or double it",
        );
        for line in taken.into_iter().rev() {
            self.ahead.push_front(line);
        }
        None
    }

    /// The next line that is text and not blank; others are refused or skipped on the way.
    fn next_text(&mut self) -> Option<(u64, String)> {
        if let Some(line) = self.ahead.pop_front() {
            return Some(line);
        }
        loop {
            let (place, reason) = match self.lines.advance() {
                NextLine::End => return None,
                NextLine::Line { number, bytes, .. } => match std::str::from_utf8(bytes) {
                    Ok(text) if text.trim().is_empty() => continue,
                    Ok(text) => return Some((number, text.to_owned())),
                    Err(error) => {
                        let at = error.valid_up_to();
                        let byte = bytes.get(at).copied().unwrap_or(0);
                        let reason = format!(
                            "line is not UTF-8 (byte 0x{byte:02X} at column {}); save the file as UTF-8",
                            at + 1
                        );
                        (Place::line(&self.name, number), reason)
                    }
                },
                NextLine::TooLong { number, length } => (
                    Place::line(&self.name, number),
                    format!("line of {length} bytes, the longest read is {LONGEST_LINE}"),
                ),
                NextLine::Broken { offset, reason } => (Place::byte(&self.name, offset), reason),
            };
            self.account.reject(place, reason);
        }
    }
}
