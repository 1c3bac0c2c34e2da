//! What one input file gave.

use std::sync::Arc;

use super::logs::LogFile;
use super::text_reports::TextReport;
use super::wanted::Wanted;
use crate::read::finding::Found;
use crate::read::{
    Account, AfterPartRow, ModuleRow, ScanReport, ServiceNote, SeverityRow, TestTable, VehicleRow,
    WeatherRow,
};
use crate::vocabulary::Network;

/// What one file gave.
pub(super) enum Given {
    Log(LogFile),
    Reports(Vec<ScanReport>),
    Weather(Vec<WeatherRow>),
    Forecast(Vec<WeatherRow>),
    AfterPart(Vec<AfterPartRow>),
    Severity(Vec<SeverityRow>),
    Vehicles(Vec<VehicleRow>),
    Modules(Vec<ModuleRow>),
    Notes(Vec<ServiceNote>),
    Network(Box<Network>),
    /// A report of unknown layout; it is read when the networks are known.
    Text(Box<TextReport>),
    Words(Arc<str>, Vec<u8>),
    Tests(Box<TestTable>),
    /// A table of facts kept elsewhere, not opened yet.
    Facts(Found),
    Nothing,
    RefusedLog(Found),
    Skipped(String),
}

/// What a file gave, with what was wrong with it.
pub(super) struct Taken {
    pub given: Given,
    pub account: Account,
    pub bytes: u64,
    pub name: Arc<str>,
    pub what: String,
}

impl Taken {
    /// Without what it should have given.
    pub(super) fn refused(mut self, wanted: Wanted, found: Found) -> Taken {
        if wanted == Wanted::Log {
            self.given = Given::RefusedLog(found);
        }
        self
    }
}

/// The input that a file is, when it has its form but nothing in it.
pub(super) fn bare(given: &Given) -> Option<Wanted> {
    match given {
        Given::Weather(rows) if rows.is_empty() => Some(Wanted::Weather),
        Given::Forecast(rows) if rows.is_empty() => Some(Wanted::Forecast),
        Given::Vehicles(rows) if rows.is_empty() => Some(Wanted::Vehicles),
        Given::Modules(rows) if rows.is_empty() => Some(Wanted::Modules),
        Given::Notes(rows) if rows.is_empty() => Some(Wanted::Notes),
        Given::Network(network) if network.nodes.is_empty() => Some(Wanted::Network),
        _ => None,
    }
}
