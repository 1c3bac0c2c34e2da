//! The only door to input files: bytes in, records out.
pub mod frames;
mod records;
mod tally;
pub use records::{
    CodeReport, ModuleRow, NodeReport, ScanReport, ServiceAction, ServiceNote, ServiceOutcome,
    VehicleRow, WeatherRow,
};
pub use tally::Tally;
