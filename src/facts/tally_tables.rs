//! The tables that keep the tally of one log, so that a reused log counts like a fresh one.

use arrow::array::ArrayRef;

use crate::facts::columns::{Columns, counts, places, texts};
use crate::facts::error::FactsError;
use crate::facts::schema::{LENIENCIES, READING, REJECTS};
use crate::facts::table::{Places, Row, StoredRow};
use crate::facts::table_shape::Table;
use crate::vocabulary::Reject;

/// What reading one log came to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ReadingRow {
    /// Data, remote and error frames.
    pub(super) frames: u64,
    /// Bytes as they stand on disk.
    pub(super) bytes: u64,
    /// Why the file was not used, when it was not.
    pub(super) skipped: Option<String>,
}

/// A leniency and how often it was used.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LeniencyRow(pub(super) String, pub(super) u64);

impl Row for ReadingRow {
    const TABLE: &'static Table = &READING;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("bytes", counts(rows.iter().map(|r| r.bytes))),
            ("skipped", texts(rows.iter().map(|r| r.skipped.as_deref()))),
        ]
    }
}

impl StoredRow for ReadingRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (frames, bytes) = (columns.count("frames")?, columns.count("bytes")?);
        let skipped = columns.text("skipped")?;
        let row =
            |i| ReadingRow { frames: frames.at(i), bytes: bytes.at(i), skipped: skipped.maybe(i) };
        Ok(columns.rows().map(row).collect())
    }
}

impl Row for LeniencyRow {
    const TABLE: &'static Table = &LENIENCIES;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("what", texts(rows.iter().map(|r| Some(r.0.as_str())))),
            ("times", counts(rows.iter().map(|r| r.1))),
        ]
    }
}

impl StoredRow for LeniencyRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (what, times) = (columns.text("what")?, columns.count("times")?);
        Ok(columns.rows().map(|i| LeniencyRow(what.at(i), times.at(i))).collect())
    }
}

impl Row for Reject {
    const TABLE: &'static Table = &REJECTS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("place", places(rows.iter().map(|r| &r.place), how)),
            ("records", counts(rows.iter().map(|r| r.records))),
            ("reason", texts(rows.iter().map(|r| Some(r.reason.as_str())))),
        ]
    }
}

impl StoredRow for Reject {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (records, reason) = (columns.count("records")?, columns.text("reason")?);
        let rows = columns.rows().zip(columns.places()?);
        Ok(rows
            .map(|(i, place)| Reject { place, records: records.at(i), reason: reason.at(i) })
            .collect())
    }
}
