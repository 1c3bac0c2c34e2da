//! The CSV tables: every ranked table and the raw evidence, whole, for spreadsheets and scripts.
//!
//! Times are UTC, RFC 3339; units stand in the column names; an empty cell is unknown. Spreadsheets
//! read a cell that begins like a formula as a command, so such a text gets a `'` in front.

mod happenings;
mod intake;
mod rankings;

use crate::read::Tally;
use crate::reports::whole_file::Output;
use crate::reports::{Formats, ReportError, standing};
use crate::suspects::VehicleFinding;

/// The tables asked for; `rejects.csv` always.
pub(super) fn csv_tables(
    formats: Formats,
    findings: &[VehicleFinding],
    tally: &Tally,
) -> Result<Vec<Output>, ReportError> {
    let mut outputs = Vec::new();
    if formats.csv {
        let sorted = standing::by_name(findings);
        outputs.push(rankings::culprits(&sorted)?);
        outputs.push(rankings::evidence(&sorted)?);
        outputs.push(happenings::incidents(&sorted)?);
        outputs.push(happenings::exposures(&sorted)?);
        outputs.push(rankings::conditions(&sorted)?);
        outputs.push(rankings::next_tests(&sorted)?);
    }
    outputs.push(intake::rejects(tally)?);
    Ok(outputs)
}

/// A table in the making.
pub(super) struct Sheet {
    file: &'static str,
    writer: csv::Writer<Vec<u8>>,
}

impl Sheet {
    /// The names of the columns are parted by spaces.
    pub(super) fn new(file: &'static str, columns: &str) -> Result<Sheet, ReportError> {
        let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
        let wrong = |source| ReportError::Table { table: file, source };
        writer.write_record(columns.split_whitespace()).map_err(wrong)?;
        Ok(Sheet { file, writer })
    }

    pub(super) fn row<const N: usize>(&mut self, cells: [Cell; N]) -> Result<(), ReportError> {
        self.writer
            .write_record(cells.iter().map(|cell| cell.0.as_bytes()))
            .map_err(|source| ReportError::Table { table: self.file, source })
    }

    pub(super) fn done(self) -> Result<Output, ReportError> {
        let bytes = self.writer.into_inner().map_err(|error| ReportError::Table {
            table: self.file,
            source: error.into_error().into(),
        })?;
        Ok(Output::new(self.file, bytes))
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
