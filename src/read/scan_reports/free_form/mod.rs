//! Scan reports of unknown layout: plain text, HTML and PDF, read by their structure.
//!
//! In: bytes, the words that reports use ([`Words`]), what is known of the vehicles. Out: one
//! [`ScanReport`] with the same kinds of records as from JSON, each with its place, and what was understood
//! in words for a person. `plain`, `html` and `pdf` make lines of cells; `reading` with `rows`, `pairs`, `labelled`
//! and `free_lines` tells what each line is; `closing` makes the record. What is ambiguous is refused with its
//! place, never guessed; what only explains codes is passed over and counted.

mod attributes;
mod closing;
mod codes;
mod dates;
mod document;
mod free_lines;
mod gathered;
mod html;
mod labelled;
mod names;
mod numbers;
mod pairs;
mod pdf;
mod pdf_glyphs;
mod pdf_lines;
mod phrases;
mod plain;
mod reading;
mod rows;
mod understood;
mod values;
mod words;

use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

pub use document::{Cell, Document, LARGEST, LONGEST_LINE, Line, MOST_CELLS, MOST_LINES};
pub use words::{Label, Words};

use crate::read::ScanReport;
use crate::read::account::{Account, Reading};
use crate::read::recognising::Kind;
use crate::vocabulary::{Network, Place};

/// What is known around a report.
pub struct Around<'a> {
    /// The words that reports use.
    pub words: &'a Words,
    /// The vehicle that the path names.
    pub path_vehicle: Option<&'a str>,
    /// The start that the path names.
    pub path_start: Option<&'a str>,
    /// The zone of times without an offset.
    pub zone: Tz,
    /// The vehicles that are known by name.
    pub vehicles: &'a [String],
    /// The network of a vehicle.
    pub network_of: &'a dyn Fn(&str) -> Option<&'a Network>,
}

/// A report as understood.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Understood {
    /// The record; `None` when there is no vehicle, no time, or nothing was found.
    pub report: Option<ScanReport>,
    /// What was understood, in lines for a person.
    pub lines: Vec<String>,
}

/// Takes a file apart into lines and cells, by its kind. Over [`LARGEST`] bytes it is refused.
pub fn take_apart(bytes: impl Read, kind: &Kind, name: &Arc<str>) -> Document {
    let mut account = Account::default();
    let mut whole = Vec::new();
    let read = bytes.take(LARGEST + 1).read_to_end(&mut whole);
    if let Err(error) = read {
        account.reject(Place::byte(name, whole.len() as u64), error.to_string());
    }
    if whole.len() as u64 > LARGEST {
        let reason = format!("larger than {} MiB, which no scan report is", LARGEST >> 20);
        account.reject(Place::whole(name), reason);
        whole.clear();
    }
    let mut document = match kind {
        Kind::Pdf => pdf::read_pdf(&whole, name),
        Kind::Html => html::read_html(&whole, name),
        Kind::Utf16 if looks_marked_up(&whole) => html::read_html(&whole, name),
        _ => plain::read_plain(&whole, name),
    };
    if !account.rejects.is_empty() {
        document.account = account;
    }
    document
}

/// UTF-16 text that begins with `<`.
fn looks_marked_up(bytes: &[u8]) -> bool {
    let first = bytes.iter().find(|b| !matches!(b, 0 | 0xFE | 0xFF | b' ' | b'\r' | b'\n'));
    first == Some(&b'<')
}

/// Whether a document holds anything that a scan report is made of: a code in the standard's form.
#[must_use]
pub fn holds_codes(document: &Document) -> bool {
    document.lines.iter().any(|line| {
        line.filled()
            .any(|cell| codes::find_codes(&cell.text).iter().any(|c| !c.loose && c.code.is_ok()))
    })
}

/// Reads a report.
#[must_use]
pub fn read_free_form(
    document: Document,
    name: &Arc<str>,
    around: &Around<'_>,
) -> Reading<Understood> {
    if document.lines.is_empty() {
        let mut account = document.account;
        if account.rejects.is_empty() {
            account.reject(Place::whole(name), "nothing to read in it, expected a scan report");
        }
        return Reading { records: Understood::default(), account };
    }
    // First without a network: only for the vehicle, which tells the network.
    let vehicle = {
        let names = names::Names::new(None, around.words);
        let mut reader = reading::Reader::new(around.words, &names);
        reader.read(&document);
        values::vehicle(&reader.gathered, &document, around)
    };
    let network = vehicle.found.as_ref().and_then(|(vehicle, _)| (around.network_of)(vehicle));
    let names = names::Names::new(network, around.words);
    let mut reader = reading::Reader::new(around.words, &names);
    reader.read(&document);
    closing::close(reader.gathered, vehicle, document, network, name, around)
}

#[cfg(test)]
mod tests;
