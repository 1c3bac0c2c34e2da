//! Findings to files: HTML pages, JSON, CSV, Parquet, and the table for the terminal.
//!
//! In: what the analysis found and what was read. Out: files, each whole or absent, the same bytes
//! for the same inputs. Every text that came from an input is data here: it becomes neither markup,
//! nor a path, nor a command. Nothing is concluded here; words and pictures only.

mod calibration;
mod checked;
mod closer;
mod csv_tables;
mod culprits_json;
mod dictionary;
mod error;
mod for_scripts;
mod heading;
mod outlooks;
mod page_names;
mod pages;
mod schemas;
mod standing;
mod terminal;
#[cfg(test)]
mod tests;
mod tests_json;
mod whole_file;
mod wording;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

pub use calibration::{Rehearsed, calibration_lines, write_calibration};
pub use checked::check_text;
pub use closer::{Closer, OnsetExcerpt, drawn_incidents};
pub use csv_tables::fleet_table;
pub use dictionary::{Defined, Meaning, columns_page, table_page, tables as defined_tables};
pub use error::ReportError;
pub use for_scripts::{check_json, run_json};
pub use heading::{Formats, Heading, View};
pub use outlooks::{fleet_conditions, fleet_time_since_start, plan_json, plan_text};
pub use schemas::{DIALECT, NamedSchema, output_schemas};
pub use terminal::terminal_table;
pub use whole_file::{Output, write_new, write_whole};

use crate::read::Tally;
use crate::repairs::Outlook;
use crate::suspects::VehicleFinding;

/// What a run has to tell.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    /// One finding a vehicle.
    pub findings: &'a [VehicleFinding],
    /// What lies ahead; may lack vehicles, whose pages then lack the sections on it.
    pub outlooks: &'a [Outlook],
    /// The closer look at drawn incidents, by vehicle; may lack vehicles or incidents.
    pub closer: &'a BTreeMap<String, Vec<Closer>>,
    /// What was read, skipped and rejected.
    pub tally: &'a Tally,
}

/// Writes everything below `folder` and returns the paths written, the main report first.
///
/// `parquet_tables` come ready: a table's name, as in `starts`, and its bytes. `rejects.csv` is written
/// whatever `formats` says.
///
/// # Errors
/// When an output cannot be put together or written. What could not be written is then absent or
/// as it was before.
pub fn write_reports(
    folder: &Path,
    heading: &Heading,
    formats: Formats,
    told: &Told<'_>,
    parquet_tables: &[(String, Vec<u8>)],
) -> Result<Vec<PathBuf>, ReportError> {
    let Told { findings, outlooks, tally, .. } = *told;
    let mut outputs = Vec::new();
    if formats.html {
        outputs.extend(pages::pages(heading, told)?);
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
