//! The CSV tables: every ranked table and the raw evidence, whole, for spreadsheets and scripts.
//!
//! Times are UTC, RFC 3339; units stand in the column names; an empty cell is unknown. Spreadsheets
//! read a cell that begins like a formula as a command, so such a text gets a `'` in front.

mod happenings;
mod intake;
mod rankings;

use std::io::Write;
use std::sync::Arc;

use crate::read::Tally;
use crate::reports::whole_file::Output;
use crate::reports::{Formats, ReportError, standing};
use crate::suspects::VehicleFinding;

/// The tables asked for; `rejects.csv` always. Those that grow with starts and evidence are made while they
/// are written.
pub(super) fn csv_tables<'a>(
    formats: Formats,
    findings: &'a [VehicleFinding],
    tally: &Tally,
) -> Result<Vec<Output<'a>>, ReportError> {
    type Large = fn(&[&VehicleFinding], Sheet<&mut dyn Write>) -> Result<(), ReportError>;
    let mut outputs = Vec::new();
    if formats.csv {
        let sorted: Arc<[&'a VehicleFinding]> = standing::by_name(findings).into();
        let large = |file: &'static str, columns: &'static str, table: Large| {
            let sorted = Arc::clone(&sorted);
            Output::made(file, move |out| table(&sorted, Sheet::onto(file, columns, out)?))
        };
        outputs.push(large("culprits.csv", rankings::CULPRITS, rankings::culprits));
        outputs.push(large("evidence.csv", rankings::EVIDENCE, rankings::evidence));
        outputs.push(happenings::incidents(&sorted)?);
        outputs.push(large("exposures.csv", happenings::EXPOSURES, happenings::exposures));
        outputs.push(rankings::conditions(&sorted)?);
        outputs.push(rankings::next_tests(&sorted)?);
    }
    outputs.push(intake::rejects(tally)?);
    Ok(outputs)
}

/// A table in the making: held as a whole, or written on as it is made.
pub(super) struct Sheet<W: Write = Vec<u8>> {
    file: &'static str,
    writer: csv::Writer<W>,
}

impl Sheet {
    /// A table that is held. The names of the columns are parted by spaces.
    pub(super) fn new(file: &'static str, columns: &str) -> Result<Sheet, ReportError> {
        Sheet::onto(file, columns, Vec::new())
    }

    pub(super) fn done<'a>(self) -> Result<Output<'a>, ReportError> {
        let bytes = self.writer.into_inner().map_err(|error| ReportError::Table {
            table: self.file,
            source: error.into_error().into(),
        })?;
        Ok(Output::new(self.file, bytes))
    }
}

impl<W: Write> Sheet<W> {
    /// A table that is written on. The names of the columns are parted by spaces.
    pub(super) fn onto(file: &'static str, columns: &str, to: W) -> Result<Sheet<W>, ReportError> {
        let mut writer = csv::WriterBuilder::new().buffer_capacity(1 << 16).from_writer(to);
        let wrong = |source| ReportError::Table { table: file, source };
        writer.write_record(columns.split_whitespace()).map_err(wrong)?;
        Ok(Sheet { file, writer })
    }

    pub(super) fn row<const N: usize>(&mut self, cells: [Cell; N]) -> Result<(), ReportError> {
        self.writer
            .write_record(cells.iter().map(|cell| cell.0.as_bytes()))
            .map_err(|source| ReportError::Table { table: self.file, source })
    }

    /// Writes what is still held back.
    pub(super) fn end(mut self) -> Result<(), ReportError> {
        self.writer
            .flush()
            .map_err(|source| ReportError::Table { table: self.file, source: source.into() })
    }
}

/// A cell as it will stand in the file.
pub(super) struct Cell(String);

/// A cell of text from an input.
pub(super) fn text(value: &str) -> Cell {
    let risky = value.starts_with(['=', '+', '-', '@', '\t', '\r', '\u{ff1d}', '\u{ff0b}']);
    Cell(if risky { format!("'{value}") } else { value.to_owned() })
}

/// A cell of several texts.
pub(super) fn list<'a>(values: impl Iterator<Item = &'a str>) -> Cell {
    text(&values.collect::<Vec<_>>().join("; "))
}

/// A whole number, a time, a word of our own.
pub(super) fn plain(value: impl ToString) -> Cell {
    Cell(value.to_string())
}

/// A number; empty when unknown or not finite.
pub(super) fn maybe(value: Option<f64>) -> Cell {
    Cell(value.filter(|v| v.is_finite()).map_or_else(String::new, |v| v.to_string()))
}

/// Yes or no; empty when unknown.
pub(super) fn known(value: Option<bool>) -> Cell {
    Cell(value.map_or_else(String::new, |v| v.to_string()))
}
