//! The facts' tables: their schema, their Parquet bytes, their store between runs.
//!
//! In: rows of `observe`, and plain rows of incidents and exposures from whoever writes the outputs.
//! Out: Arrow record batches, Parquet bytes, stored entries by vehicle and log, and tables handed to
//! polars. Reads no input file; what a row means is decided by the stage that makes it, not here.

mod bus_tables;
mod columns;
mod counted;
mod entry;
mod error;
mod file_bytes;
mod finer_schema;
mod finer_tables;
mod fleet_parts;
mod folder_name;
mod key;
mod known_files;
mod logged_tables;
mod output_tables;
mod packed;
mod part_times;
mod polars;
pub mod schema;
mod start_tables;
mod store;
mod table;
mod table_shape;
mod tally_tables;
mod testimony_schema;
mod tidying;

#[cfg(test)]
mod invented_finer_rows;
#[cfg(test)]
mod invented_rows;
#[cfg(test)]
mod store_tests;
#[cfg(test)]
mod table_tests;

pub use self::polars::{VehicleTally, fleet_tally, to_polars};
pub use counted::LogCounts;
pub use error::FactsError;
pub use file_bytes::{for_engines, from_parquet, to_parquet};
pub use fleet_parts::{FleetPart, PART_MODULES, PART_REPORTS, PART_VEHICLES};
pub use key::{ContentHasher, FactsKey, content_hash};
pub use known_files::{KnownFile, KnownFiles};
pub use output_tables::{ExposureRow, IncidentRow};
pub use packed::facts_form;
pub use part_times::last_seen;
pub use store::{FactsStore, Lookup, StoredLog, abandoned};
pub use table::{Places, Row, StoredRow, read_rows, rows_table, vehicles_table};
pub use table_shape::{Column, Kept, Kind, Table, schema_markdown};
pub use tidying::Unused;
