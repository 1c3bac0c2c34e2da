//! Which codes of a report tell of something new, and which only repeat what was stored before.
//!
//! A code is fresh when the report before did not hold it, when its occurrence counter or its time of
//! setting changed, or when it is failing or maturing now and no counter says that it is the old one.

use std::collections::BTreeMap;

use crate::observe::{AnswerRow, CodeRow};
use crate::protocol::trouble_codes::StatusReading;
use crate::vocabulary::Code;

/// The fresh codes, by position in `codes`, and whether a code is only known as history.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Freshness {
    /// It tells of something since the report before.
    Fresh,
    /// First report, and the code is already history: it may be old.
    PerhapsOld,
    /// It was there before and has not changed.
    Repeated,
}

/// Judges every code of one vehicle; `codes` and `answers` are by report.
pub(super) fn judge(codes: &[CodeRow], answers: &[AnswerRow]) -> Vec<Freshness> {
    let mut before: BTreeMap<(&str, Code), &CodeRow> = BTreeMap::new();
    // In which report a node was last heard by the tester: only then could it have told its codes.
    let mut asked: BTreeMap<&str, u32> = BTreeMap::new();
    let mut out = Vec::with_capacity(codes.len());
    let mut next_answer = answers.iter().peekable();
    let mut current = None;
    let mut earlier_asked: BTreeMap<&str, u32> = BTreeMap::new();
    for row in codes {
        if current != Some(row.report) {
            current = Some(row.report);
            while let Some(answer) = next_answer.peek() {
                if answer.report >= row.report {
                    break;
                }
                if answer.answered {
                    asked.insert(&answer.node, answer.report);
                }
                next_answer.next();
            }
            earlier_asked.clone_from(&asked);
        }
        let key = (row.reporter.as_str(), row.code);
        let first_word = !earlier_asked.contains_key(row.reporter.as_str());
        out.push(match before.get(&key) {
            None if first_word && is_history(row) => Freshness::PerhapsOld,
            None => Freshness::Fresh,
            Some(old) if changed(old, row) => Freshness::Fresh,
            Some(_) => Freshness::Repeated,
        });
        before.insert(key, row);
    }
    out
}

fn is_history(row: &CodeRow) -> bool {
    matches!(StatusReading::of(row.status), StatusReading::History { .. })
}

fn changed(old: &CodeRow, new: &CodeRow) -> bool {
    if let (Some(a), Some(b)) = (old.occurrences, new.occurrences) {
        if a != b {
            return true;
        }
        return dated_differently(old, new) == Some(true);
    }
    if let Some(different) = dated_differently(old, new) {
        return different;
    }
    matches!(StatusReading::of(new.status), StatusReading::Current | StatusReading::Maturing)
}

fn dated_differently(old: &CodeRow, new: &CodeRow) -> Option<bool> {
    Some((old.since_start_s? - new.since_start_s?).abs() > 0.5)
}
