//! A pipeline file becomes a checked plan.
//!
//! In: the text of a pipeline file, or the path of a folder. Out: a [`Plan`] in which every key is
//! known, every pattern, zone, date and column choice makes sense, or all faults of the file together.
//! Checking touches no disk; only [`Plan::read`] opens the pipeline file, through `read`.

mod checking;
mod columns;

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::opening::{open, read_whole};
use crate::read::recognising::Kind;
use crate::read::tables::ColumnChoices;
use crate::vocabulary::{Instant, Reject};

/// Which reports are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum View {
    /// One vehicle, one workshop session.
    Session,
    /// A fleet, week by week.
    Fleet,
    /// Modules by production batch.
    Batches,
}

impl fmt::Display for View {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            View::Session => "session",
            View::Fleet => "fleet",
            View::Batches => "batches",
        })
    }
}

/// A kind of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    /// Self-contained HTML reports.
    Html,
    /// `culprits.json`, `batches.json`.
    Json,
    /// A CSV of every ranked table.
    Csv,
    /// Parquet of the facts and incidents.
    Parquet,
}

/// The patterns of every input, as written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Inputs {
    /// Bus logs.
    pub bus_logs: Vec<String>,
    /// Scan reports.
    pub scan_reports: Vec<String>,
    /// Weather tables.
    pub weather: Vec<String>,
    /// Weather forecasts, in the form of weather tables.
    pub forecast: Vec<String>,
    /// Vehicles tables.
    pub vehicles: Vec<String>,
    /// Modules tables.
    pub modules: Vec<String>,
    /// Service notes.
    pub service: Vec<String>,
    /// Own tables of what follows a replaced part.
    pub after_part: Vec<String>,
    /// Own tables of severities.
    pub severity: Vec<String>,
    /// Network descriptions.
    pub networks: Vec<String>,
    /// Words by which reports of unknown layout are read, besides the built-in ones.
    pub report_words: Vec<String>,
    /// Tables of what tests take and tell.
    pub tests: Vec<String>,
    /// Parts of a fleet's facts that somebody else kept.
    pub facts: Vec<String>,
    /// Files whose place among the inputs is told by their content: only in a plan for a folder.
    pub by_content: Vec<String>,
}

/// Where the outputs go and which are written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// The folder, relative to [`Plan::base`].
    pub folder: String,
    /// The formats, each once, in a fixed order.
    pub formats: Vec<Format>,
}

/// A checked plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The title of the reports.
    pub title: String,
    /// Which reports are written.
    pub view: View,
    /// For display and for times without an offset.
    pub timezone: Tz,
    /// The folder that all patterns are relative to.
    pub base: PathBuf,
    /// What is read.
    pub inputs: Inputs,
    /// The pipeline's choices of columns, by input (`weather`) and field.
    pub columns: BTreeMap<String, ColumnChoices>,
    /// From (inclusive) and to (exclusive).
    pub period: Option<(Option<Instant>, Option<Instant>)>,
    /// Confidence at which a repair counts as held.
    pub confidence: f64,
    /// What is written.
    pub output: Output,
    /// The vehicle of files that name none: the folder's name in a plan for a folder.
    pub only_vehicle: Option<String>,
}

/// Why a pipeline file cannot be run: all its faults, in the order of their lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanFaults(pub Vec<Reject>);

impl fmt::Display for PlanFaults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, fault) in self.0.iter().enumerate() {
            let end = if at + 1 == self.0.len() { "" } else { "\n" };
            write!(f, "{}: {}{end}", fault.place, fault.reason)?;
        }
        Ok(())
    }
}

impl std::error::Error for PlanFaults {}

/// Confidence at which a repair counts as held, unless the pipeline says otherwise.
pub const CONFIDENCE: f64 = 0.95;

/// The folder inside a session's folder that its reports go to; it is never read.
pub const FOLDER_OUTPUT: &str = "buswitness-report";

impl Plan {
    /// Opens and checks a pipeline file.
    ///
    /// # Errors
    /// When it cannot be read, is something else, or has faults.
    pub fn read(path: &Path) -> Result<Plan, PlanFaults> {
        let name: Arc<str> = path.to_string_lossy().replace('\\', "/").into();
        let base = path.parent().unwrap_or(Path::new("")).to_owned();
        let expected = "a pipeline file (TOML with [inputs])";
        let opened = open(path, &name).map_err(|reject| PlanFaults(vec![reject]))?;
        if !matches!(opened.kind, Kind::PipelineToml | Kind::UnknownText | Kind::NetworkToml) {
            return Err(PlanFaults(vec![opened.refusal(expected)]));
        }
        let mut account = opened.account;
        let bytes = read_whole(opened.bytes, &name, &mut account);
        if !account.rejects.is_empty() {
            return Err(PlanFaults(account.rejects));
        }
        Plan::check(&bytes, &name, &base)
    }

    /// Checks the text of a pipeline file that lies in `base`.
    ///
    /// # Errors
    /// All faults of the file together.
    pub fn check(bytes: &[u8], name: &Arc<str>, base: &Path) -> Result<Plan, PlanFaults> {
        checking::check(bytes, name, base)
    }

    /// The plan for a folder without a pipeline file: one vehicle's session, or one level of folders
    /// with a vehicle each. Everything in it is taken for what its content says.
    #[must_use]
    pub fn for_folder(folder: &Path) -> Plan {
        let name = folder.file_name().map(|name| name.to_string_lossy().into_owned());
        let title = name.clone().unwrap_or_else(|| "session".to_owned());
        Plan {
            title,
            view: View::Session,
            timezone: Tz::UTC,
            base: folder.to_owned(),
            inputs: Inputs {
                by_content: vec!["*".to_owned(), "{vehicle}/*".to_owned()],
                ..Inputs::default()
            },
            columns: BTreeMap::new(),
            period: None,
            confidence: CONFIDENCE,
            output: Output {
                folder: FOLDER_OUTPUT.to_owned(),
                formats: vec![Format::Html, Format::Json, Format::Csv, Format::Parquet],
            },
            only_vehicle: name,
        }
    }

    /// The choices of columns for one input; none when the pipeline makes none.
    #[must_use]
    pub fn columns_of(&self, input: &str) -> ColumnChoices {
        self.columns.get(input).cloned().unwrap_or_default()
    }

    /// Whether an instant lies in the period.
    #[must_use]
    pub fn in_period(&self, instant: Instant) -> bool {
        in_period(self.period, instant)
    }
}

/// Whether an instant lies in a period.
pub(super) fn in_period(
    period: Option<(Option<Instant>, Option<Instant>)>,
    instant: Instant,
) -> bool {
    let (from, to) = period.unwrap_or((None, None));
    from.is_none_or(|from| instant >= from) && to.is_none_or(|to| instant < to)
}

#[cfg(test)]
mod tests;
