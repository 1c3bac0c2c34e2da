//! How long until something happens, when many were watched too short to see it.
//!
//! In: for each subject when watching began, when it ended, and whether the event ended it. Out:
//! the share still free of the event after each time (Kaplan & Meier 1958) with intervals, its
//! quantiles with intervals, and the log-rank test between groups. A subject that was not watched
//! from the beginning (left truncation) counts only while it was watched; one that ended without
//! the event (censoring) counts up to its end and no further.
//!
//! An event may count for less than one, as when it is only probably of the kind asked for; the
//! rest of it is censoring. A subject watched from some time above 0 to that same time was not
//! watched at all and is left out. Refuses times that are not finite or negative, an end before
//! the beginning, and weights outside 0 to 1.
//!
//! Under left truncation the first times may have very few at risk. If all of those have the
//! event the curve falls to 0 and stays there, whatever comes later: the caller has to look at
//! [`Step::at_risk`] before it believes an early fall.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// One subject: watched from `from` to `to`, on the axis that starts with its own beginning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watched {
    /// Where watching began; 0 for a subject seen from its beginning. At least 0.
    pub from: f64,
    /// Where watching ended, by the event or without it. At least `from`.
    pub to: f64,
    /// How far the end was the event: 1 the event, 0 censored, between them its probability.
    pub event: f64,
}

impl Watched {
    /// A subject seen from its beginning until the event.
    #[must_use]
    pub fn until_event(to: f64) -> Watched {
        Watched { from: 0.0, to, event: 1.0 }
    }

    /// A subject seen from its beginning to an end without the event.
    #[must_use]
    pub fn censored(to: f64) -> Watched {
        Watched { from: 0.0, to, event: 0.0 }
    }

    fn usable(&self) -> bool {
        let times = self.from.is_finite() && self.to.is_finite();
        times && self.from >= 0.0 && self.to >= self.from && (0.0..=1.0).contains(&self.event)
    }
}

/// The curve just after one time at which events happened.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// The time, in the unit of the subjects.
    pub time: f64,
    /// Subjects at risk at it; one that ends at that very time, by whatever, is still at risk.
    pub at_risk: u64,
    /// Events at it, by their weights.
    pub events: f64,
    /// Share that is free of the event after it.
    pub free: f64,
    /// Standard error of `free` by Greenwood's formula; `None` once the curve is at 0.
    pub std_error: Option<f64>,
    /// Lower end of the log(-log) interval of `free`; `None` once the curve is at 0.
    pub low: Option<f64>,
    /// Upper end of it.
    pub high: Option<f64>,
}

/// A Kaplan-Meier curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// One step for each time at which an event happened, by time. Empty without events.
    pub steps: Vec<Step>,
    /// Subjects of all.
    pub subjects: u64,
    /// The longest time watched; beyond it the curve says nothing.
    pub longest: f64,
    watch: Watch,
}

/// A time at which the curve has fallen far enough, and how far the data let it range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quantile {
    /// First time at which the share free of the event is at most the one asked for.
    pub time: Option<f64>,
    /// First time at which the lower end of the interval is that low.
    pub low: Option<f64>,
    /// First time at which the upper end is; `None` means without bound, as often happens.
    pub high: Option<f64>,
}

impl Curve {
    /// The last step at or before a time; `None` before the first event, where the share free of
    /// the event is 1 and has no interval.
    #[must_use]
    pub fn at(&self, time: f64) -> Option<&Step> {
        let after = self.steps.partition_point(|step| step.time <= time);
        after.checked_sub(1).and_then(|last| self.steps.get(last))
    }

    /// Subjects at risk at a time: watched from before it (or from 0) and not ended before it. A curve
    /// without these numbers beside it hides on how little its end rests.
    #[must_use]
    pub fn at_risk(&self, time: f64) -> u64 {
        self.watch.at_risk(time)
    }

    /// When the share free of the event reaches `free` (0.5 asks for the median), with the
    /// interval of Brookmeyer & Crowley 1982: the times that the curve's own interval allows.
    #[must_use]
    pub fn quantile(&self, free: f64) -> Quantile {
        // A product of fractions may miss its own value by a rounding.
        let level = free + 1e-12;
        let first = |value: &dyn Fn(&Step) -> Option<f64>| {
            let reached = |step: &&Step| value(step).is_some_and(|value| value <= level);
            self.steps.iter().find(reached).map(|step| step.time)
        };
        Quantile {
            time: first(&|step| Some(step.free)),
            // At 0 the curve has no interval, and the lower end is certainly that low.
            low: first(&|step| step.low.or(Some(step.free))),
            high: first(&|step| step.high),
        }
    }
}

/// The Kaplan-Meier curve of some subjects (Kaplan & Meier 1958), with Greenwood's standard error
/// and log(-log) intervals (Kalbfleisch & Prentice 1980) at `confidence`, as in 0.95.
///
/// `None` without subjects, for a subject that cannot be, or a confidence outside (0, 1).
#[must_use]
pub fn kaplan_meier(subjects: &[Watched], confidence: f64) -> Option<Curve> {
    let confident = confidence > 0.0 && confidence < 1.0;
    if !confident || subjects.is_empty() || !subjects.iter().all(Watched::usable) {
        return None;
    }
    let z = -Normal::new(0.0, 1.0).ok()?.inverse_cdf((1.0 - confidence) / 2.0);
    let watch = Watch::of(subjects);
    let mut steps = Vec::new();
    let (mut free, mut greenwood) = (1.0, 0.0);
    for (time, at_risk, events) in risk_sets(&watch) {
        let risk = at_risk as f64;
        // Weighted events may pass the number at risk by a rounding.
        free *= (1.0 - events / risk).max(0.0);
        greenwood += events / (risk * (risk - events));
        let spread = (free > 0.0).then(|| greenwood.sqrt());
        let ends = spread.map(|spread| log_log_interval(free, z * spread));
        steps.push(Step {
            time,
            at_risk,
            events,
            free,
            std_error: spread.map(|spread| free * spread),
            low: ends.map(|ends| ends.0),
            high: ends.map(|ends| ends.1),
        });
    }
    let longest = subjects.iter().map(|one| one.to).fold(0.0, f64::max);
    Some(Curve { steps, subjects: subjects.len() as u64, longest, watch })
}

/// The log(-log) interval of a share, from the half width on the share's logarithm.
pub(super) fn log_log_interval(free: f64, half_width: f64) -> (f64, f64) {
    let reach = (half_width / free.ln().abs()).exp();
    (free.powf(reach), free.powf(1.0 / reach))
}

/// Each time at which events happened: the time, how many were at risk, the events' weights.
fn risk_sets(watch: &Watch) -> Vec<(f64, u64, f64)> {
    let mut sets: Vec<(f64, u64, f64)> = Vec::new();
    for (time, weight) in &watch.events {
        match sets.last_mut() {
            Some(last) if last.0.total_cmp(time).is_eq() => last.2 += weight,
            _ => sets.push((*time, watch.at_risk(*time), *weight)),
        }
    }
    sets
}

/// The times of some subjects, each kind sorted on its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Watch {
    began: Vec<f64>,
    ended: Vec<f64>,
    /// Times and weights.
    events: Vec<(f64, f64)>,
}

impl Watch {
    pub(super) fn of(subjects: &[Watched]) -> Watch {
        let watched = || subjects.iter().filter(|one| one.from <= 0.0 || one.from < one.to);
        let mut began: Vec<f64> = watched().map(|one| one.from).collect();
        let mut ended: Vec<f64> = watched().map(|one| one.to).collect();
        let happened = watched().filter(|one| one.event > 0.0);
        let mut events: Vec<(f64, f64)> = happened.map(|one| (one.to, one.event)).collect();
        began.sort_by(f64::total_cmp);
        ended.sort_by(f64::total_cmp);
        events.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Watch { began, ended, events }
    }

    /// Those that began before `time` (or at 0) and had not ended before it.
    pub(super) fn at_risk(&self, time: f64) -> u64 {
        let begun = self.began.partition_point(|from| *from < time || *from <= 0.0);
        let over = self.ended.partition_point(|to| *to < time);
        begun.saturating_sub(over) as u64
    }

    /// The weights of the events at exactly `time`.
    pub(super) fn events_at(&self, time: f64) -> f64 {
        let from = self.events.partition_point(|event| event.0 < time);
        let rest = self.events.get(from..).unwrap_or_default();
        rest.iter().take_while(|event| event.0 <= time).map(|event| event.1).sum()
    }
}

/// What the log-rank test found.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    /// Events of each group, by their weights, in the order given.
    pub observed: Vec<f64>,
    /// Events that each group would have had if all groups were alike.
    pub expected: Vec<f64>,
    /// The statistic.
    pub chi_squared: f64,
    /// Its degrees of freedom: the groups that could be compared, less one.
    pub freedom: u32,
    /// Upper tail of the statistic; two-sided for two groups. Not exact: with fewer than about
    /// five expected events in a group it is rough.
    pub p_value: f64,
}

/// The log-rank test of several groups, with the hypergeometric variance (Mantel 1966).
///
/// `None` with fewer than two groups, for a subject that cannot be, or where nothing can be
/// compared: no event, or never two groups at risk together.
#[must_use]
pub fn log_rank(groups: &[&[Watched]]) -> Option<LogRank> {
    stratified_log_rank(&[groups])
}

/// The log-rank test within strata: groups are compared only with groups of the same stratum.
///
/// With a stratum for each cluster (each vehicle its own control) no difference between clusters
/// can pass for a difference between groups. Each stratum lists the same groups in the same
/// order; a group that a stratum lacks is an empty slice. `None` as for [`log_rank`], and when the
/// strata differ in their number of groups.
#[must_use]
pub fn stratified_log_rank(strata: &[&[&[Watched]]]) -> Option<LogRank> {
    let groups = strata.first()?.len();
    let alike = strata.iter().all(|stratum| stratum.len() == groups);
    let usable = strata.iter().copied().flatten().copied().flatten().all(Watched::usable);
    if groups < 2 || !alike || !usable {
        return None;
    }
    let mut observed = vec![0.0; groups];
    let mut expected = vec![0.0; groups];
    let mut variance = vec![vec![0.0; groups]; groups];
    for stratum in strata {
        let watches: Vec<Watch> = stratum.iter().map(|group| Watch::of(group)).collect();
        let mut times: Vec<f64> =
            watches.iter().flat_map(|watch| &watch.events).map(|event| event.0).collect();
        times.sort_by(f64::total_cmp);
        times.dedup_by(|a, b| a.total_cmp(b).is_eq());
        for time in times {
            let risk: Vec<f64> = watches.iter().map(|watch| watch.at_risk(time) as f64).collect();
            let all: f64 = risk.iter().sum();
            let events: Vec<f64> = watches.iter().map(|watch| watch.events_at(time)).collect();
            let happened: f64 = events.iter().sum();
            let spread = if all > 1.0 { happened * (all - happened) / (all - 1.0) } else { 0.0 };
            for (i, at_risk) in risk.iter().enumerate() {
                observed[i] += events[i];
                expected[i] += happened * at_risk / all;
                for (j, other) in risk.iter().enumerate() {
                    let same = if i == j { 1.0 } else { 0.0 };
                    variance[i][j] += spread * (at_risk / all) * (same - other / all);
                }
            }
        }
    }
    let off: Vec<f64> = observed.iter().zip(&expected).map(|(o, e)| o - e).collect();
    let (chi_squared, freedom) = quadratic_form(variance, off);
    let p_value = ChiSquared::new(f64::from(freedom)).ok()?.sf(chi_squared);
    Some(LogRank { observed, expected, chi_squared, freedom, p_value })
}

/// off' V⁻ off and the rank of V, by the LDL' decomposition. A direction without variance of its
/// own (the last group always: the differences add up to 0) is left out.
fn quadratic_form(mut variance: Vec<Vec<f64>>, mut off: Vec<f64>) -> (f64, u32) {
    let before: Vec<f64> = variance.iter().enumerate().map(|(i, row)| row[i]).collect();
    let (mut form, mut rank) = (0.0, 0);
    for i in 0..off.len() {
        let pivot = variance[i][i];
        if pivot <= 1e-10 * before[i] || pivot <= 0.0 {
            continue;
        }
        form += off[i] * off[i] / pivot;
        rank += 1;
        for j in i + 1..off.len() {
            let factor = variance[j][i] / pivot;
            off[j] -= factor * off[i];
            let row = variance[i].clone();
            for (cell, pivot_row) in variance[j].iter_mut().zip(row) {
                *cell -= factor * pivot_row;
            }
        }
    }
    (form, rank)
}
