//! What was read, skipped and rejected, as every page tells it.
//!
//! Whether facts were taken from an earlier run is left out: it would change the page without any
//! change in the inputs.

use serde::Serialize;

use super::SENTENCE;
use crate::read::Tally;
use crate::reports::wording::{grouped, shown};

/// Most rows of each list on a page; `rejects.csv` has all rejects.
const MOST_ROWS: usize = 30;

#[derive(Serialize)]
pub(in crate::reports) struct Intake {
    facts: Vec<(&'static str, String)>,
    skipped: Vec<(String, String)>,
    skipped_all: usize,
    leniencies: Vec<(String, String)>,
    rejects: Vec<(String, String, String)>,
    rejects_left: usize,
    rejected: String,
    nothing_rejected: bool,
}

pub(in crate::reports) fn intake(tally: &Tally) -> Intake {
    let rejected = tally.rejected();
    Intake {
        facts: vec![
            ("bus logs", grouped(tally.bus_logs)),
            ("frames in them", grouped(tally.frames)),
            ("scan reports", grouped(tally.scan_reports)),
            ("rows of other tables", grouped(tally.table_rows)),
            ("bytes on disk", grouped(tally.bytes)),
            ("records outside the period", grouped(tally.outside_period)),
            ("files skipped", grouped(tally.skipped.len() as u64)),
            ("records rejected", grouped(rejected)),
        ],
        skipped: tally
            .skipped
            .iter()
            .take(MOST_ROWS)
            .map(|(file, reason)| (shown(file, 120), shown(reason, SENTENCE)))
            .collect(),
        skipped_all: tally.skipped.len(),
        leniencies: tally
            .leniencies
            .iter()
            .map(|(what, times)| (shown(what, SENTENCE), grouped(*times)))
            .collect(),
        rejects: tally
            .rejects
            .iter()
            .take(MOST_ROWS)
            .map(|r| {
                let place = shown(&r.place.to_string(), 120);
                (place, grouped(r.records), shown(&r.reason, SENTENCE))
            })
            .collect(),
        rejects_left: tally.rejects.len().saturating_sub(MOST_ROWS),
        rejected: grouped(rejected),
        nothing_rejected: rejected == 0,
    }
}
