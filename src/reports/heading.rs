//! What a run is called and for whom it is written: the part of a report that is not a finding.

use chrono_tz::Tz;

/// For whom the reports are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum View {
    /// One vehicle on the ramp: the technician.
    Session,
    /// Many vehicles: the maintenance lead.
    Fleet,
    /// Many modules: the warranty analyst.
    Batches,
}

/// What stands at the top of every page.
///
/// Nothing in it may change between two runs over the same inputs: no clock, no machine paths.
#[derive(Debug, Clone)]
pub struct Heading {
    /// The pipeline's title.
    pub title: String,
    /// For whom the reports are written.
    pub view: View,
    /// The zone in which times are shown on pages. Data files keep UTC.
    pub timezone: Tz,
    /// The pipeline's period in words, as in `2026-01-05 to before 2026-01-12`.
    pub period: Option<String>,
    /// Whether a rejected record fails the run; the page then says so.
    pub strict: bool,
    /// What a reader should know about the run as a whole.
    pub remarks: Vec<String>,
}

/// Which kinds of files are written. `rejects.csv` is written whatever stands here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Formats {
    /// The overview page and a page per vehicle.
    pub html: bool,
    /// `culprits.json`.
    pub json: bool,
    /// A CSV file per table.
    pub csv: bool,
    /// The tables of facts as Parquet files.
    pub parquet: bool,
}

impl Formats {
    /// Every kind.
    pub const ALL: Formats = Formats { html: true, json: true, csv: true, parquet: true };
}
