//! What can go wrong with tables and their store, as texts that chain.

use arrow::error::ArrowError;
use parquet::errors::ParquetError;
use polars::error::PolarsError;

/// Why a table could not be made, read or kept.
#[derive(Debug, thiserror::Error)]
pub enum FactsError {
    /// The store's folder refused something.
    #[error(
        "tried to {doing} `{folder}` in the facts store, expected a folder that can be read and \
         written; free it, or name another folder for the facts"
    )]
    Folder {
        /// What was tried.
        doing: &'static str,
        /// The folder or file, as it was given.
        folder: String,
        /// What the system answered.
        source: std::io::Error,
    },
    /// A table does not have the columns or values that its schema states.
    #[error("table `{table}`: expected {expected}, found {found}; remove it and let it be remade")]
    Shape {
        /// The table.
        table: &'static str,
        /// What the schema states.
        expected: String,
        /// What is there.
        found: String,
    },
    /// A stored entry is not what its list of contents says.
    #[error("expected {expected}, found {found}; the log is read again")]
    Damaged {
        /// What the list of contents states.
        expected: String,
        /// What is there.
        found: String,
    },
    /// Rows did not become a record batch, or the other way round.
    #[error("table `{table}`: tried to make a record batch of its columns")]
    Arrow {
        /// The table.
        table: &'static str,
        /// What arrow answered.
        source: ArrowError,
    },
    /// Parquet bytes could not be made or read.
    #[error("table `{table}`: tried to {doing} its parquet bytes")]
    Parquet {
        /// What was tried.
        doing: &'static str,
        /// The table.
        table: &'static str,
        /// What the parquet library answered.
        source: ParquetError,
    },
    /// A query over a table failed.
    #[error("tried to {doing}, expected a table as the schema states it")]
    Query {
        /// What was tried.
        doing: &'static str,
        /// What polars answered.
        source: PolarsError,
    },
}

impl FactsError {
    /// This error and all that caused it, in one line.
    #[must_use]
    pub fn chain(&self) -> String {
        let mut text = self.to_string();
        let mut cause = std::error::Error::source(self);
        while let Some(error) = cause {
            text.push_str(": ");
            text.push_str(&error.to_string());
            cause = error.source();
        }
        text
    }
}
