//! The starts of one vehicle: what all its logs on all its buses saw, brought together in time.

use std::sync::Arc;

use super::start::Start;
use crate::observe::{LogFacts, StartRow};

/// Starts of two logs nearer than this are one start (seconds), unless one of them saw sleep between.
const JOINS: f64 = 5.0;

/// Joins the starts of all logs, by time.
pub(super) fn of_logs(logs: &[(Arc<str>, LogFacts)]) -> Vec<Start> {
    let mut rows: Vec<&StartRow> = logs.iter().flat_map(|(_, facts)| &facts.starts).collect();
    rows.sort_by(|a, b| {
        (a.begin, a.end, &a.bus, &a.place).cmp(&(b.begin, b.end, &b.bus, &b.place))
    });
    let mut starts: Vec<Start> = Vec::new();
    for row in rows {
        if let Some(last) = starts.last_mut() {
            let gap = row.begin.seconds_since(last.end);
            if gap <= 0.0 || (gap <= JOINS && !row.woke) {
                last.end = last.end.max(row.end);
                last.judged |= row.judged;
                continue;
            }
        }
        starts.push(Start {
            begin: row.begin,
            end: row.end,
            logged: true,
            woke: row.woke,
            judged: row.judged,
            reports: Vec::new(),
            incidents: 0,
            place: row.place.clone(),
        });
    }
    starts
}

/// The start that holds an instant, with slack in seconds before and after.
pub(super) fn holding(
    starts: &[Start],
    time: crate::vocabulary::Instant,
    before: f64,
    after: f64,
) -> Option<usize> {
    starts
        .iter()
        .position(|s| time.seconds_since(s.begin) >= -before && time.seconds_since(s.end) <= after)
}
