//! How long after a start the first incident comes.
//!
//! In: the trials of one vehicle. Out: the Kaplan-Meier curve of the first incident, the rate in
//! spans fixed in advance, and the comparison of starts with and without one condition. A start
//! without an incident is censored at key-off or the end of its log. Starts known from reports
//! only are left out: a scan tells that something happened, not when. The axis begins at the first
//! logged frame of the start, so what a slow logger missed is missing here too.

use serde::{Deserialize, Serialize};

use super::risk::FAMILY;
use super::trials::{Trial, with_and_without};
use crate::numerics::circular::SHORTEST_SERIES;
use crate::numerics::exact::upper_mid_p;
use crate::numerics::rate::{constant_rate_p, garwood};
use crate::numerics::survival::{Curve, Quantile, Watched, kaplan_meier, log_rank};
use crate::vocabulary::{Word, word};

/// Ends of the spans, seconds: cranking, the first minute, warming up, running. Fixed in advance:
/// spans chosen afterwards would be a search. The last is open.
const SPANS_S: [f64; 6] = [0.0, 10.0, 60.0, 180.0, 600.0, 1800.0];
/// Times at which the curve is read out, seconds.
const READ_OUT_S: [f64; 5] = [10.0, 60.0, 180.0, 600.0, 1800.0];
/// Confidence of the intervals.
const CONFIDENCE: f64 = 0.95;
/// Most circular shifts of a condition that are looked at.
const MOST_SHIFTS: usize = 200;

/// The share of starts that have had their incident by some time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// Seconds since the start.
    pub after_s: f64,
    /// Share of starts that had an incident by then.
    pub had: f64,
    /// Lower end of the 95 % interval; `None` before the first incident.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// The rate of first incidents in one span.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// From, seconds since the start.
    pub from_s: f64,
    /// To; `None` is open.
    pub to_s: Option<f64>,
    /// First incidents in it.
    pub events: u64,
    /// Minutes watched in it, of starts that had none before.
    pub minutes: f64,
    /// First incidents a minute; `None` when nothing was watched.
    pub rate: Option<f64>,
    /// Lower end of the exact 95 % interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// Starts with and without a condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Split {
    /// The condition, as in the list of conditions.
    #[serde(deserialize_with = "word")]
    pub condition: Word,
    /// Starts with it, in words.
    #[serde(deserialize_with = "word")]
    pub said: Word,
    /// Starts without it, in words.
    #[serde(deserialize_with = "word")]
    pub otherwise: Word,
    /// The curve with it.
    pub with: Curve,
    /// The curve without it.
    pub without: Curve,
    /// Two-sided p of the log-rank test times the conditions among which this one was chosen, or the
    /// share of circular shifts at which any condition splits the starts as clearly, where there
    /// are starts enough for that and it is larger. `None` where nothing can be compared.
    pub p_value: Option<f64>,
}

/// When in a start it happens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TimeCourse {
    /// The curve of all watched starts.
    pub curve: Curve,
    /// Starts whose incident has no known time, or that no log watched: left out.
    pub left_out: u64,
    /// The curve read out at fixed times.
    pub moments: Vec<Moment>,
    /// The time by which half of the starts have had an incident; often never reached.
    pub median: Quantile,
    /// Times of the first incidents, seconds, sorted.
    pub times_s: Vec<f64>,
    /// The rate by spans.
    pub spans: Vec<Span>,
    /// p of the exact test that the rate is the same in all spans.
    pub constant_p: Option<f64>,
    /// By the most telling condition.
    pub split: Option<Split>,
    /// In one sentence.
    pub said: String,
}

/// The time course; `None` when no watched start has an incident with a known time.
pub(super) fn time_course(trials: &[Trial<'_>]) -> Option<TimeCourse> {
    let subjects: Vec<(&Trial<'_>, Watched)> =
        trials.iter().filter_map(|trial| Some((trial, watched(trial)?))).collect();
    let all: Vec<Watched> = subjects.iter().map(|(_, subject)| *subject).collect();
    let curve = kaplan_meier(&all, CONFIDENCE)?;
    if curve.steps.is_empty() {
        return None;
    }
    let mut times_s: Vec<f64> =
        all.iter().filter(|subject| subject.event > 0.0).map(|subject| subject.to).collect();
    times_s.sort_by(f64::total_cmp);
    let spans = spans(&all);
    let (events, minutes): (Vec<u64>, Vec<f64>) =
        spans.iter().map(|span| (span.events, span.minutes)).unzip();
    let constant_p = constant_rate_p(&events, &minutes);
    let said = said(&times_s, &spans, constant_p);
    Some(TimeCourse {
        left_out: trials.len().saturating_sub(all.len()) as u64,
        moments: moments(&curve),
        median: curve.quantile(0.5),
        times_s,
        spans,
        constant_p,
        split: split(&subjects),
        said,
        curve,
    })
}

/// A curve read out at the fixed times that somebody was watched for.
pub(super) fn moments(curve: &Curve) -> Vec<Moment> {
    let reached = READ_OUT_S.into_iter().filter(|after| *after <= curve.longest);
    reached
        .map(|after_s| {
            let step = curve.at(after_s);
            Moment {
                after_s,
                had: step.map_or(0.0, |step| 1.0 - step.free),
                low: step.and_then(|step| step.high).map(|high| 1.0 - high),
                high: step.and_then(|step| step.low).map(|low| 1.0 - low),
            }
        })
        .collect()
}

/// A trial as a subject: until its first incident, else censored where watching ended.
pub(super) fn watched(trial: &Trial<'_>) -> Option<Watched> {
    let length = trial.watched_s()?;
    match (trial.hit, trial.first_s) {
        (true, Some(first)) => Some(Watched::until_event(first)),
        (true, None) => None,
        (false, _) => Some(Watched::censored(length)),
    }
}

fn spans(subjects: &[Watched]) -> Vec<Span> {
    let mut spans = Vec::new();
    for (position, from_s) in SPANS_S.into_iter().enumerate() {
        let to_s = SPANS_S.get(position + 1).copied();
        let end = to_s.unwrap_or(f64::INFINITY);
        let inside =
            |subject: &&Watched| subject.event > 0.0 && subject.to >= from_s && subject.to < end;
        let events = subjects.iter().filter(inside).count() as u64;
        let seconds: f64 =
            subjects.iter().map(|subject| (subject.to.min(end) - from_s).max(0.0)).sum();
        let minutes = seconds / 60.0;
        let interval = garwood(events, minutes, CONFIDENCE);
        spans.push(Span {
            from_s,
            to_s,
            events,
            minutes,
            rate: (minutes > 0.0).then(|| events as f64 / minutes),
            low: interval.map(|interval| interval.low),
            high: interval.map(|interval| interval.high),
        });
    }
    spans
}

/// Split by the single condition with the smallest one-sided p that has watched starts on both
/// sides.
fn split(subjects: &[(&Trial<'_>, Watched)]) -> Option<Split> {
    let trials: Vec<Trial<'_>> = subjects.iter().map(|(trial, _)| (*trial).clone()).collect();
    let compared: Vec<(f64, usize)> = (0..FAMILY.len())
        .filter_map(|at| {
            let table = with_and_without(&trials, at)?;
            let both = table.trials1() > 0 && table.trials2() > 0;
            both.then(|| (upper_mid_p(table), at))
        })
        .collect();
    let best = compared.iter().min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))?;
    // The condition was chosen for standing out: that is paid for as if all had been asked.
    let asked = compared.len() as f64;
    let condition = FAMILY.get(best.1)?;
    let side = |wanted: bool| -> Vec<Watched> {
        let chosen = subjects.iter().filter(|(trial, _)| trial.met(condition) == Some(wanted));
        chosen.map(|(_, subject)| *subject).collect()
    };
    let (with, without) = (side(true), side(false));
    Some(Split {
        condition: condition.name,
        said: condition.said,
        otherwise: condition.otherwise,
        p_value: log_rank(&[&with, &without]).map(|test| {
            let paid = (test.p_value * asked).min(1.0);
            // Nothing makes a p of 1 larger; the shifts are by far the longest part.
            let shifted = (paid < 1.0).then(|| {
                let positions: Vec<usize> = compared.iter().map(|(_, at)| *at).collect();
                shift_p(subjects, &positions, test.chi_squared)
            });
            paid.max(shifted.flatten().unwrap_or(0.0))
        }),
        with: kaplan_meier(&with, CONFIDENCE)?,
        without: kaplan_meier(&without, CONFIDENCE)?,
    })
}

/// The share of circular shifts of the conditions along the starts at which any of them splits the
/// starts as clearly as `observed` (a log-rank statistic): weather and loose contacts both come in
/// spells, and the condition was chosen among several. Of very many starts evenly spread shifts
/// stand for all. `None` for too short a series.
fn shift_p(subjects: &[(&Trial<'_>, Watched)], compared: &[usize], observed: f64) -> Option<f64> {
    let length = subjects.len();
    if length < SHORTEST_SERIES {
        return None;
    }
    let series: Vec<(Vec<bool>, Vec<Watched>)> = compared
        .iter()
        .filter_map(|at| FAMILY.get(*at))
        .map(|condition| -> (Vec<bool>, Vec<Watched>) {
            let known = subjects
                .iter()
                .filter_map(|(trial, subject)| trial.met(condition).map(|met| (met, *subject)));
            known.unzip()
        })
        .collect();
    let largest = |shift: usize| {
        let each = series.iter().map(|(holds, watched)| turned(holds, watched, shift));
        each.fold(0.0, f64::max)
    };
    let least = observed * (1.0 - 1e-9);
    let shifts: Vec<usize> = (0..length).step_by(length.div_ceil(MOST_SHIFTS)).collect();
    let as_far = shifts.iter().filter(|shift| largest(**shift) >= least).count();
    Some(as_far as f64 / shifts.len() as f64)
}

/// The log-rank statistic once the condition is turned by so many starts.
fn turned(holds: &[bool], watched: &[Watched], shift: usize) -> f64 {
    let side = |wanted: bool| -> Vec<Watched> {
        let moved = holds.iter().cycle().skip(shift % holds.len().max(1));
        let chosen = watched.iter().zip(moved).filter(|(_, held)| **held == wanted);
        chosen.map(|(subject, _)| *subject).collect()
    };
    log_rank(&[&side(true), &side(false)]).map_or(0.0, |test| test.chi_squared)
}

fn said(times_s: &[f64], spans: &[Span], constant_p: Option<f64>) -> String {
    let all = times_s.len();
    let total: f64 = spans.iter().map(|span| span.minutes).sum();
    let early = constant_p.is_some_and(|p| p <= 0.05);
    let before = |end: f64| {
        let counted = spans.iter().filter(|span| span.to_s.is_some_and(|to| to <= end));
        counted.fold((0, 0.0), |(events, minutes), span| {
            (events + span.events, minutes + span.minutes)
        })
    };
    // The shortest beginning that holds most of them.
    let most = SPANS_S.into_iter().skip(1).find(|end| 2 * before(*end).0 > all as u64);
    match most {
        Some(end) if early && total > 0.0 => {
            let (events, minutes) = before(end);
            format!(
                "{events} of {all} first incidents came within {}; that is {:.0} % of the time \
                 watched",
                spoken(end),
                100.0 * minutes / total
            )
        }
        _ if early => "the rate changes in the course of a start".to_owned(),
        _ if all == 1 => format!(
            "the one first incident came after {:.0} s: it tells no preferred time in the start",
            times_s.first().copied().unwrap_or(0.0)
        ),
        _ => format!("the {all} first incidents do not show a preferred time in the start"),
    }
}

fn spoken(seconds: f64) -> String {
    if seconds < 60.0 {
        format!("{seconds:.0} s of the start")
    } else {
        format!("{:.0} min of the start", seconds / 60.0)
    }
}
