//! Why a report could not be written: which file, what was tried, what to do.

use std::io;
use std::path::PathBuf;

/// Why a report could not be written. Whatever the reason, no half-written file is left behind.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The folder for the outputs could not be made.
    #[error(
        "cannot make the output folder {}: check `output.folder` and its rights",
        folder.display()
    )]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// An output could not be written or put in its place.
    #[error(
        "cannot write {}: check free space and rights; an older file was left as it was",
        file.display()
    )]
    Write {
        /// The output.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A name was asked for that is not a plain file name.
    #[error(
        "output name {name:?} is not a plain file name: expected letters, digits, `-`, `_`, `.`"
    )]
    Name {
        /// The name.
        name: String,
    },
    /// A page template failed.
    #[error("cannot fill the page template {template}")]
    Page {
        /// The template.
        template: &'static str,
        /// What the template engine said.
        source: minijinja::Error,
    },
    /// A CSV table could not be put together.
    #[error("cannot put together the table {table}")]
    Table {
        /// The table.
        table: &'static str,
        /// What the CSV writer said.
        source: csv::Error,
    },
    /// The JSON report could not be put together.
    #[error("cannot put together culprits.json")]
    Json {
        /// What the JSON writer said.
        source: serde_json::Error,
    },
}
