//! Findings to files: HTML pages, JSON, CSV, Parquet, and the table for the terminal.
//!
//! In: what the analysis found and what was read. Out: files, each whole or absent, the same bytes
//! for the same inputs. Every text that came from an input is data here: it becomes neither markup,
//! nor a path, nor a command. Nothing is concluded here; words and pictures only.

mod calibration;
mod csv_tables;
mod culprits_json;
mod error;
mod heading;
mod outlooks;
mod page_names;
mod pages;
mod standing;
mod terminal;
#[cfg(test)]
mod tests;
mod tests_json;
mod whole_file;
mod wording;

use std::path::{Path, PathBuf};

pub use calibration::{Rehearsed, calibration_lines, write_calibration};
pub use csv_tables::fleet_table;
pub use error::ReportError;
pub use heading::{Formats, Heading, View};
pub use outlooks::{fleet_conditions, plan_text};
pub use terminal::terminal_table;
pub use whole_file::{Output, write_whole};

use crate::read::Tally;
use crate::repairs::Outlook;
use crate::suspects::VehicleFinding;

/// Writes everything below `folder` and returns the paths written, the main report first.
///
/// `outlooks` may lack vehicles; their pages then lack the sections on it. `parquet_tables` come ready: a table's name, as in `starts`, and its bytes. `rejects.csv` is
/// written whatever `formats` says.
///
/// # Errors
/// When an output cannot be put together or written. What could not be written is then absent or
/// as it was before.
pub fn write_reports(
    folder: &Path,
    heading: &Heading,
    formats: Formats,
    findings: &[VehicleFinding],
    outlooks: &[Outlook],
    tally: &Tally,
    parquet_tables: &[(String, Vec<u8>)],
) -> Result<Vec<PathBuf>, ReportError> {
    let mut outputs = Vec::new();
    if formats.html {
        outputs.extend(pages::pages(heading, findings, outlooks, tally)?);
    }
    if formats.json {
        let json = culprits_json::culprits_json(heading, findings, outlooks, tally)?;
        outputs.push(Output::new("culprits.json", json));
    }
    outputs.extend(csv_tables::csv_tables(formats, findings, tally)?);
    if formats.csv {
        outputs.extend(outlooks::tables(outlooks)?);
    }
    if formats.parquet {
        outputs.extend(
            parquet_tables
                .iter()
                .map(|(table, bytes)| Output::new(format!("{table}.parquet"), bytes.as_slice())),
        );
    }
    write_whole(folder, &outputs)
}
