//! Finds the start that each scan report belongs to.
//!
//! In this order: the start that was running when the report was taken; the start that began when the
//! report's own `since_start_s` says; the start whose trouble fits the times at which the codes were
//! set and the nodes they accuse, even when the report was taken hours later or its clock is wrong.
//! A report that fits none is a start of its own when it says so, and unplaced otherwise.

use super::freshness::Freshness;
use super::start::Start;
use super::starts::holding;
use super::trouble::Trouble;
use crate::observe::{CodeKind, CodeRow};
use crate::read::ScanReport;

/// A scan may be taken this long after the last frame of its start (seconds).
const AFTER_END: f64 = 60.0;
const BEFORE_BEGIN: f64 = 5.0;
/// How well `since_start_s` must agree with a start (seconds).
const BEGIN_AGREES: f64 = 180.0;
/// A code is set up to this long after the trouble ended (seconds): the reporters' time-outs.
pub(super) const SET_AFTER: f64 = 15.0;
pub(super) const SET_BEFORE: f64 = 2.0;
/// Share of the dated codes that must fit.
const FITS: f64 = 0.6;
/// A start may begin so long after the report by the report's own clock (seconds); beyond that the
/// codes must leave no doubt that the clock is wrong.
const CLOCK_OFF: f64 = 300.0;
/// A report without any dated code is put to trouble at most this old (seconds): a week.
const UNDATED: f64 = 7.0 * 86_400.0;

/// Where a report goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Home {
    /// A start by position, and by what the report was put there.
    Start { place: usize, by: By },
    /// A start of its own.
    Own,
    /// Nothing tells when.
    Unplaced,
}

/// By what a report was placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    /// Its time.
    Time,
    /// Its codes.
    Codes,
}

/// Places one report; `codes` are its own codes with their freshness.
pub(super) fn place(
    report: &ScanReport,
    codes: &[(&CodeRow, Freshness)],
    starts: &[Start],
    trouble: &[Trouble],
    earliest: Option<crate::vocabulary::Instant>,
) -> Home {
    if let Some(place) = holding(starts, report.taken_at, BEFORE_BEGIN, AFTER_END) {
        return Home::Start { place, by: By::Time };
    }
    if let Some(since) = report.since_start_s {
        let begin = report.taken_at.plus_seconds(-since);
        let near = starts
            .iter()
            .enumerate()
            .map(|(place, s)| (begin.seconds_since(s.begin).abs(), place))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, place)) = near.filter(|(off, _)| *off <= BEGIN_AGREES) {
            return Home::Start { place, by: By::Time };
        }
    }
    let fresh: Vec<&CodeRow> =
        codes.iter().filter(|(_, f)| *f != Freshness::Repeated).map(|(c, _)| *c).collect();
    let accusing = fresh.iter().any(|c| matters(c));
    if accusing && let Some(place) = by_codes(report, &fresh, starts, trouble, earliest) {
        return Home::Start { place, by: By::Codes };
    }
    let logged_near =
        starts.iter().any(|s| s.logged && report.taken_at.seconds_since(s.begin).abs() < 86_400.0);
    if accusing
        && logged_near
        && report.since_start_s.is_none()
        && fresh.iter().all(|c| c.since_start_s.is_none())
    {
        return Home::Unplaced;
    }
    Home::Own
}

fn matters(code: &CodeRow) -> bool {
    matches!(code.kind, CodeKind::NotHeard | CodeKind::BusDown)
}

/// The troubled start that fits the codes best; the latest one before the report on a tie.
fn by_codes(
    report: &ScanReport,
    fresh: &[&CodeRow],
    starts: &[Start],
    trouble: &[Trouble],
    earliest: Option<crate::vocabulary::Instant>,
) -> Option<usize> {
    // A report that names a start of its own needs more than whom it accuses to be put elsewhere.
    let elsewhere = report.since_start_s.is_some();
    let dated: Vec<f64> =
        fresh.iter().filter(|c| matters(c)).filter_map(|c| c.since_start_s).collect();
    let mut best: Option<(f64, f64, usize)> = None;
    for (place, start) in starts.iter().enumerate() {
        let age = report.taken_at.seconds_since(start.begin);
        let own: Vec<&Trouble> =
            trouble.iter().filter(|t| t.begin >= start.begin && t.begin <= start.end).collect();
        if own.is_empty() || earliest.is_some_and(|e| start.end < e) {
            continue;
        }
        let accused = overlap(fresh, &own);
        if age < -CLOCK_OFF && !beyond_doubt(&dated, start, &own, accused) {
            continue;
        }
        let score = if dated.is_empty() {
            if elsewhere || !(0.0..=UNDATED).contains(&age) {
                continue;
            }
            accused
        } else {
            let fit = dated.iter().filter(|t| fits(**t, start, &own)).count();
            let share = fit as f64 / dated.len() as f64;
            if share < FITS {
                continue;
            }
            share + accused
        };
        // A start after the report needs a wrong clock to be the one: it ranks behind.
        let rank = if age >= 0.0 { -age } else { -1e9 + age };
        let better =
            best.is_none_or(|(s, r, _)| score > s + 1e-9 || (score > s - 1e-9 && rank > r));
        if better {
            best = Some((score, rank, place));
        }
    }
    best.map(|(_, _, place)| place)
}

/// Whether codes fit a start so well that the report's clock must be wrong: at least three are dated,
/// all were set while the trouble lasted, and most of the accused were silent.
fn beyond_doubt(dated: &[f64], start: &Start, own: &[&Trouble], accused: f64) -> bool {
    let during = |since: &f64| {
        own.iter().any(|t| {
            let begin = t.begin.seconds_since(start.begin);
            (begin..=t.end.seconds_since(start.begin) + SET_BEFORE).contains(since)
        })
    };
    dated.len() >= 3 && dated.iter().all(during) && accused >= 0.7
}

fn fits(since: f64, start: &Start, own: &[&Trouble]) -> bool {
    own.iter().any(|t| {
        let begin = t.begin.seconds_since(start.begin) - SET_BEFORE;
        let end = t.end.seconds_since(start.begin) + SET_AFTER;
        (begin..=end).contains(&since)
    })
}

/// Share of the accused that the log shows silent.
fn overlap(fresh: &[&CodeRow], own: &[&Trouble]) -> f64 {
    let mut accused: Vec<&str> = fresh.iter().filter_map(|c| c.accused.as_deref()).collect();
    accused.sort_unstable();
    accused.dedup();
    if accused.is_empty() {
        return 0.0;
    }
    let silent = |name: &str| own.iter().any(|t| t.silent.iter().any(|s| s.node == name));
    accused.iter().filter(|a| silent(a)).count() as f64 / accused.len() as f64
}
