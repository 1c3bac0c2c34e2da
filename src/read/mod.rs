//! The only door to input files: bytes in, records out.
mod records;
mod tally;
pub use records::{
    CodeReport, ModuleRow, NodeReport, ScanReport, ServiceAction, ServiceNote, ServiceOutcome,
    VehicleRow, WeatherRow,
};
pub use tally::Tally;
