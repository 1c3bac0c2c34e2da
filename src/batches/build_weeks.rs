//! A node's failures along the weeks in which its modules were built: did something change, and when.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::compare::Ages;
use super::flags::NodeUnits;
use super::groups::{Dimension, Tally, of_unit};
use super::names::UNKNOWN;
use super::units::Fleet;
use crate::numerics::change_point::single_change;
use crate::numerics::soft_counts::upper_mid_p;

/// log10 of the Bayes factor from which a change is told: ten to one, "strong" (Jeffreys 1961).
const TELLS: f64 = 1.0;
/// Probability of the set of weeks that holds the change.
const SET: f64 = 0.95;

/// One build week of a node.
#[derive(Debug, Clone, PartialEq)]
pub struct BuildWeek {
    /// ISO week, as in `2025-W31`.
    pub week: String,
    /// Units watched.
    pub units: u64,
    /// Failures, by probability.
    pub failures: f64,
    /// Failures if all weeks were alike.
    pub expected: f64,
    /// Upper tail of these failures if all weeks were alike; not corrected for the number of weeks.
    pub p_value: Option<f64>,
}

/// The build weeks of one node.
#[derive(Debug, Clone, PartialEq)]
pub struct BuildWeeks {
    /// The node.
    pub node: String,
    /// The weeks with watched units, in order.
    pub weeks: Vec<BuildWeek>,
    /// Units whose build week is not known: they stand in no week.
    pub unknown: u64,
    /// A single change of the rate, where the data speak for one at ten to one.
    pub change: Option<WeekChange>,
}

/// A change of the rate between two build weeks.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekChange {
    /// The most probable first week of the new rate.
    pub week: String,
    /// First weeks of the new rate that together hold 95 % of the probability: the earliest.
    pub earliest: String,
    /// The latest.
    pub latest: String,
    /// Ratio to the node's mean rate before.
    pub before: f64,
    /// Ratio after.
    pub after: f64,
    /// log10 of the Bayes factor for a change against none.
    pub log10_bayes: f64,
}

/// `None` for a node without failures, or with fewer than three build weeks.
pub(super) fn build_weeks(fleet: &Fleet, node: &NodeUnits<'_>) -> Option<BuildWeeks> {
    let ages = Ages::of(&node.whole).filter(|_| node.whole.all_failures() >= 1.0)?;
    let place = Dimension::BuiltWeek.place();
    let mut by_week: BTreeMap<u32, Tally> = BTreeMap::new();
    for unit in node.units {
        let week = unit.values.get(place).copied().unwrap_or(UNKNOWN);
        by_week.entry(week).or_insert(Tally::NOTHING).add(&of_unit(unit));
    }
    let unknown = by_week.remove(&UNKNOWN).map_or(0, |tally| tally.units);
    let names = fleet.values.get(place)?;
    let mut weeks: Vec<(Arc<str>, Tally)> =
        by_week.into_iter().map(|(week, tally)| (names.name(week), tally)).collect();
    weeks.sort_by(|a, b| a.0.cmp(&b.0));
    let failures: f64 = weeks.iter().map(|(_, tally)| tally.all_failures()).sum();
    let months: f64 = weeks.iter().map(|(_, tally)| ages.weigh(tally)).sum();
    if weeks.len() < 3 || failures <= 0.0 || months <= 0.0 {
        return None;
    }
    let weeks: Vec<BuildWeek> = weeks
        .into_iter()
        .map(|(week, tally)| {
            let expected = failures * ages.weigh(&tally) / months;
            let own = tally.all_failures();
            BuildWeek {
                week: week.to_string(),
                units: tally.units,
                failures: own,
                expected,
                p_value: upper_mid_p(own, expected),
            }
        })
        .collect();
    Some(BuildWeeks {
        node: fleet.nodes.name(node.number).to_string(),
        change: change(&weeks),
        weeks,
        unknown,
    })
}

fn change(weeks: &[BuildWeek]) -> Option<WeekChange> {
    let failures: Vec<f64> = weeks.iter().map(|week| week.failures).collect();
    let expected: Vec<f64> = weeks.iter().map(|week| week.expected).collect();
    let found = single_change(&failures, &expected).filter(|found| found.log10_bayes >= TELLS)?;
    let mut order: Vec<usize> = (0..found.probabilities.len()).collect();
    let probability = |at: usize| found.probabilities.get(at).copied().unwrap_or(0.0);
    order.sort_by(|a, b| probability(*b).total_cmp(&probability(*a)).then(a.cmp(b)));
    let (mut held, mut kept) = (0.0, Vec::new());
    for at in order {
        kept.push(at);
        held += probability(at);
        if held >= SET {
            break;
        }
    }
    // The new rate begins a week after the last one of the old.
    let name = |at: usize| weeks.get(at + 1).map(|week| week.week.clone());
    Some(WeekChange {
        week: name(found.last_before)?,
        earliest: name(*kept.iter().min()?)?,
        latest: name(*kept.iter().max()?)?,
        before: found.before,
        after: found.after,
        log10_bayes: found.log10_bayes,
    })
}
