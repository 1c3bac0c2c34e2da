//! When each vehicle of a fleet's parts was last seen, without reading more of a part than that takes.
//!
//! In: the files of a part and the pipeline's period. Out: the latest start or report of each vehicle. A
//! lazy query over two columns of the tables `reports` and `starts`; a file that is no such table gives
//! nothing here and is refused with its reason when the part is read.

use std::path::Path;
use std::sync::Arc;

use crate::facts::error::FactsError;
use crate::facts::fleet_parts::{PART_REPORTS, opened};
use crate::facts::polars::{latest, to_polars};
use crate::facts::schema::STARTS;
use crate::vocabulary::Instant;

/// The latest start and report of the vehicles of some files, within a period: its first instant, and the
/// first one after it.
#[must_use]
pub fn last_seen(
    files: &[(std::path::PathBuf, Arc<str>)],
    period: (Option<Instant>, Option<Instant>),
) -> Vec<(String, Instant)> {
    let of = |(path, _): &(std::path::PathBuf, Arc<str>)| in_file(path, period).unwrap_or_default();
    files.iter().flat_map(of).collect()
}

fn in_file(
    path: &Path,
    period: (Option<Instant>, Option<Instant>),
) -> Result<Vec<(String, Instant)>, FactsError> {
    let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let (table, schema, time) = match stem.as_deref() {
        Some("reports") => (&PART_REPORTS, PART_REPORTS.arrow(), "taken_at"),
        Some("starts") => (&STARTS, STARTS.arrow_with_vehicle(), "begin"),
        _ => return Ok(Vec::new()),
    };
    let Ok(bytes) = std::fs::read(path) else { return Ok(Vec::new()) };
    let batch = opened(table, &schema, bytes, Some(&["vehicle", time]))?;
    latest(to_polars(&batch)?, time, period)
}
