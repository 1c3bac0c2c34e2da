//! Which codes of a report tell of something new, and which only repeat what was stored before.
//!
//! A code is fresh when the report before did not hold it, when its occurrence counter or its time of
//! setting changed, or when it is failing or maturing now and no counter says that it is the old one. A history code
//! that merely had not been told before is no news where every other node that accuses the same one stands still.

use std::collections::BTreeMap;

use crate::observe::{AnswerRow, CodeKind, CodeRow};
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
    let mut late: Vec<usize> = Vec::new();
    for (place, row) in codes.iter().enumerate() {
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
        if !first_word && is_history(row) && !before.contains_key(&key) {
            late.push(place);
        }
        out.push(match before.get(&key) {
            None if first_word && is_history(row) => Freshness::PerhapsOld,
            None => Freshness::Fresh,
            Some(old) if changed(old, row) => Freshness::Fresh,
            Some(_) => Freshness::Repeated,
        });
        before.insert(key, row);
    }
    let others = others(codes, &out, &late);
    for place in late {
        let (still, moved) = others.get(&about(&codes[place])).copied().unwrap_or_default();
        if codes[place].kind == CodeKind::NotHeard && moved == 0 && still >= STAND_STILL {
            out[place] = Freshness::Repeated;
        }
    }
    out
}

/// Others' accusations of the same node that have not moved, from which on a code told late is no news: had the node
/// been lost again, they would have counted it.
const STAND_STILL: u32 = 2;

/// Report and accused.
type About<'c> = (u32, Option<&'c str>);

fn about(row: &CodeRow) -> About<'_> {
    (row.report, row.accused.as_deref())
}

/// By report and accused: accusations whose counters or dates have not moved since the report before, and fresh ones;
/// those that are only told `late` are neither.
fn others<'c>(
    codes: &'c [CodeRow],
    fresh: &[Freshness],
    late: &[usize],
) -> BTreeMap<About<'c>, (u32, u32)> {
    let mut counts: BTreeMap<About<'c>, (u32, u32)> = BTreeMap::new();
    let mut late = late.iter().peekable();
    for (place, (row, freshness)) in codes.iter().zip(fresh).enumerate() {
        if late.next_if(|l| **l == place).is_some() || row.kind != CodeKind::NotHeard {
            continue;
        }
        let count = counts.entry(about(row)).or_default();
        let counted = row.occurrences.is_some() || row.since_start_s.is_some();
        count.0 += u32::from(counted && *freshness == Freshness::Repeated);
        count.1 += u32::from(*freshness == Freshness::Fresh);
    }
    counts
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
