//! Findings to files: HTML pages, JSON, CSV, Parquet, and the table for the terminal.
//!
//! In: what the analysis found and what was read. Out: files, each whole or absent, the same bytes
//! for the same inputs. Every text that came from an input is data here: it becomes neither markup,
//! nor a path, nor a command. Nothing is concluded here; words and pictures only.

mod batches;
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
mod parquet_schemas;
mod schemas;
mod standing;
mod terminal;
#[cfg(test)]
mod tests;
mod tests_json;
mod weekly;
mod whole_file;
mod wording;
mod written;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

pub use batches::{batch_lines, render_batches};
pub use calibration::{Rehearsed, calibration_lines, write_calibration};
pub use checked::check_text;
pub use closer::{Closer, OnsetExcerpt, drawn_incidents};
pub use dictionary::{Defined, Meaning, columns_page, table_page, tables as defined_tables};
pub use error::ReportError;
pub use for_scripts::{check_json, run_json};
pub use heading::{Formats, Heading, View};
pub use outlooks::{fleet_conditions, fleet_time_since_start, plan_json, plan_text};
pub use parquet_schemas::part_schemas;
pub use schemas::{DIALECT, NamedSchema, output_schemas};
pub(crate) use terminal::push_hanging;
pub use terminal::terminal_table;
pub use weekly::{fleet_table, week_lines};
pub use whole_file::{Output, write_new, write_whole};
pub(crate) use wording::shown;

use crate::read::Tally;
use crate::repairs::Outlook;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Finishing;
use crate::weeks::FleetWeek;

/// What a run has to tell.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    /// One finding a vehicle.
    pub findings: &'a [VehicleFinding],
    /// What lies ahead; may lack vehicles, whose pages then lack the sections on it.
    pub outlooks: &'a [Outlook],
    /// The closer look at drawn incidents, by vehicle; may lack vehicles or incidents.
    pub closer: &'a BTreeMap<String, Vec<Closer>>,
    /// The week, in the view of a fleet.
    pub week: Option<&'a FleetWeek>,
    /// What was read, skipped and rejected.
    pub tally: &'a Tally,
}

/// The reports as files that are still to be written, the main one first.
///
/// `parquet_tables` come ready: a table's name, as in `starts`, and its bytes. `rejects.csv` is there
/// whatever `formats` says.
///
/// # Errors
/// When an output cannot be put together.
pub fn render_reports<'a>(
    heading: &'a Heading,
    formats: Formats,
    told: &Told<'a>,
    parquet_tables: &[(String, Vec<u8>)],
) -> Result<Vec<Output<'a>>, ReportError> {
    let told = *told;
    let Told { findings, outlooks, week, tally, .. } = told;
    let mut outputs = Vec::new();
    if formats.html {
        outputs.extend(pages::pages(heading, &told)?);
    }
    if formats.json {
        outputs.push(Output::made("culprits.json", move |out| {
            culprits_json::culprits_json(heading, &told, out)
        }));
    }
    outputs.extend(csv_tables::csv_tables(formats, findings, tally)?);
    if formats.csv {
        outputs.extend(outlooks::tables(outlooks)?);
        if let Some(week) = week {
            outputs.extend(weekly::tables(week)?);
        }
    }
    if formats.parquet {
        outputs.extend(
            parquet_tables
                .iter()
                .map(|(table, bytes)| Output::new(format!("{table}.parquet"), bytes.as_slice())),
        );
    }
    Ok(outputs)
}

/// Writes all files of a run into `folder` and removes those that an earlier run of the same pipeline wrote
/// there, that are not among them, and that nobody has changed since. Returns the paths written, in order.
///
/// # Errors
/// When an output cannot be written. What could not be written is then absent or as it was before.
pub fn write_folder(
    folder: &Path,
    heading: &Heading,
    outputs: &[Output<'_>],
) -> Result<Vec<PathBuf>, ReportError> {
    std::fs::create_dir_all(folder)
        .map_err(|source| ReportError::Folder { folder: folder.to_owned(), source })?;
    let held = whole_file::hold(folder);
    // From the first byte to the last name: an interrupt finds all old or all new, and nothing unfinished.
    let _finishing = Finishing::begin();
    whole_file::clear_leftovers(folder, held.is_some());
    let staged = whole_file::Staged::of(folder, outputs)?;
    let list = written::Written::of(folder, heading);
    let failed = |source| ReportError::Write { file: list.path(), source };
    let hashes = staged.hashes();
    list.announce(&hashes).map_err(failed)?;
    let paths = staged.place()?;
    list.retire(&hashes).map_err(failed)?;
    Ok(paths)
}
