//! The only door to input files: bytes in, records out.
pub mod account;
pub mod anywhere;
pub mod finding;
pub mod frames;
pub mod lines;
pub mod nearest;
pub mod networks;
pub mod objects;
pub mod opening;
#[cfg(test)]
mod opening_tests;
pub mod recognising;
mod records;
pub mod scan_reports;
mod stamp;
#[cfg(all(test, unix))]
mod stamp_tests;
pub mod tables;
mod tally;
pub mod test_terms;
pub mod times;
pub mod toml_text;
pub use account::{Account, Reading};
pub use records::{
    AfterPartRow, CodeReport, ModuleRow, NodeReport, ScanReport, ServiceAction, ServiceNote,
    ServiceOutcome, SeverityRow, VehicleRow, WeatherRow,
};
pub use stamp::{Stamp, stamp};
pub use tally::Tally;
pub use test_terms::{OnSafety, TestKind, TestTable, TestTerms};
