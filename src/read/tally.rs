//! The tally of what was read, skipped and rejected: every input byte is accounted for here.

use crate::vocabulary::Reject;

/// What one run has read. Order of the lists is fixed: by file name, then place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// Bus logs read (or taken from stored facts).
    pub bus_logs: u64,
    /// Of these, logs whose facts were taken from the store unread.
    pub logs_reused: u64,
    /// Of these, logs that were not even opened: their files are as an earlier run left them.
    pub logs_unopened: u64,
    /// Stored facts that this run had no use for: kept, and cleared away.
    pub facts_unused: (u64, u64),
    /// Frames in them: data, remote and error frames.
    pub frames: u64,
    /// Scan reports read.
    pub scan_reports: u64,
    /// Rows of the other tables read (weather, vehicles, modules, service notes).
    pub table_rows: u64,
    /// Bytes read as they stand on disk.
    pub bytes: u64,
    /// Files that were found but not used, with the reason.
    pub skipped: Vec<(String, String)>,
    /// Records outside the pipeline's period.
    pub outside_period: u64,
    /// Leniencies used, with how often: "byte order mark skipped", "clock step repaired", …
    pub leniencies: Vec<(String, u64)>,
    /// Rejected lines and records.
    pub rejects: Vec<Reject>,
}

impl Tally {
    /// How many records were rejected.
    #[must_use]
    pub fn rejected(&self) -> u64 {
        self.rejects.iter().map(|r| r.records).sum()
    }
}
