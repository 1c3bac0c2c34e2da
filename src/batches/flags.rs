//! Which groups stand out: shrinkage, correction for all that was looked at, flags, and which flag is
//! explained by another.

use rayon::prelude::*;

use super::compare::{Ages, CONFIDENCE, Compared, alike, compare};
use super::groups::{By, Dimension, Key, Tally, of_unit, tallies};
use super::names::Names;
use super::units::{Fleet, Unit};
use crate::numerics::multiple::weighted_benjamini_hochberg;
use crate::numerics::shrinkage::{
    Gamma, Likely, Ratios, Shrunk, mostly_alike, shrink, together, weigh,
};

/// Share of false finds among the flags.
const FALSE_FINDS: f64 = 0.05;
/// Fewest failures, by probability, of a flagged group.
const LEAST_FAILURES: f64 = 3.0;
/// Least shrunk ratio of a flagged group: smaller differences are real but no cause to act (common
/// practice, no source).
const LEAST_RATIO: f64 = 1.25;
/// Fewest units of a group, and of the rest of its node, that is looked at.
const LEAST_UNITS: u64 = 3;
/// A crossed group is looked at when at least so many failures would be expected if all were alike.
const LEAST_ALIKE: f64 = 1.0;
/// A crossed group that holds more than this of the units of one of its two is no new group.
const SAME: f64 = 0.95;
/// Groups of a kind below which they tell nothing of one another; ratios are then taken to be gamma with
/// shape and rate 1 (common practice, no source).
const FEW: usize = 5;
/// A flag is explained by another if its group without the other's units is not worse than this.
const EXPLAINED_P: f64 = 0.05;

/// Shares of the allowed false finds, given beforehand: batches are what is asked first, crossed groups are
/// the most and are asked last (judgement).
const BATCH_SHARE: f64 = 0.4;
/// For each other single kind.
const SINGLE_SHARE: f64 = 0.1;
/// For all crossed kinds together.
const CROSSED_SHARE: f64 = 0.1;

/// The rule of the flags in words.
pub const FLAG_RULE: &str = "flagged: adjusted p at most 0.05 over all groups looked at (Benjamini-Hochberg; \
                             batches weigh four tenths, each other single kind and all crossed ones one), \
                             at least 3 failures by probability, shrunk ratio at least 1.25";

/// One group of modules of one node.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// The node.
    pub node: String,
    /// What the units have in common.
    pub by: By,
    /// The value of it; two joined by `+`; `unknown` where the modules table does not tell.
    pub value: String,
    /// Units that were watched.
    pub units: u64,
    /// Months that they were watched; a unit stops counting by the probability that it failed.
    pub unit_months: f64,
    /// Failures by their probabilities.
    pub failures: f64,
    /// Failures that the node's other modules let expect, age band by age band.
    pub expected: f64,
    /// Failures by expected.
    pub ratio: f64,
    /// Lower end of its exact 95 % interval.
    pub ratio_low: f64,
    /// Upper end; `None` when nothing bounds it.
    pub ratio_high: Option<f64>,
    /// The ratio pulled towards what groups of its kind are like: geometric mean.
    pub shrunk_ratio: f64,
    /// Lower end of its 95 % interval.
    pub shrunk_low: f64,
    /// Upper end.
    pub shrunk_high: f64,
    /// Probability that its true ratio is above 2.
    pub above_two: f64,
    /// One-sided mid-P that it fails no more often than the others.
    pub p_value: f64,
    /// The same, adjusted for all groups looked at.
    pub p_adjusted: f64,
    /// Whether it stands out by [`FLAG_RULE`].
    pub flagged: bool,
    /// Of a flagged group: the flagged group that explains it, by what it has in common and its value.
    pub explained_by: Option<(By, String)>,
    pub(super) key: Key,
    pub(super) node_number: u32,
}

/// What the ratios of one kind of group are like.
#[derive(Debug, Clone, PartialEq)]
pub struct Kind {
    /// The kind.
    pub by: By,
    /// Groups of it that were looked at.
    pub groups: usize,
    /// The distributions that they may have, each by its probability.
    pub ratios: Vec<Likely>,
    /// Whether their own failures tell; `false` when they were too few.
    pub fitted: bool,
    /// What its expected failures are multiplied by before shrinking, so that they add up to the
    /// failures seen: the half failure that is added to the others' would pull all ratios down.
    pub scale: f64,
}

impl Kind {
    /// What they are like as one mixture.
    #[must_use]
    pub fn mixture(&self) -> Ratios {
        together(&self.ratios)
    }
}

/// A node's units, and the tally of them all.
pub(super) struct NodeUnits<'a> {
    pub number: u32,
    pub units: &'a [Unit],
    pub whole: Tally,
}

/// What was looked at of one node: its number and its groups.
type Looked = (u32, Vec<(Key, Tally, Compared)>);

/// All groups that were looked at, those that stand out first, and what each kind is like.
pub(super) fn groups(fleet: &Fleet, nodes: &mut [NodeUnits<'_>]) -> (Vec<Group>, Vec<Kind>) {
    let looked: Vec<Looked> = nodes
        .par_iter_mut()
        .map(|node| {
            let (whole, groups) = tallies(node.units);
            node.whole = whole;
            (node.number, looked_at(&whole, &groups))
        })
        .collect();
    let all = || looked.iter().flat_map(|(node, groups)| groups.iter().map(move |g| (*node, g)));
    let kinds = kinds(all().map(|(_, g)| g));
    let p_values: Vec<f64> = all().map(|(_, g)| g.2.p_value.clamp(0.0, 1.0)).collect();
    let weights: Vec<f64> = all().map(|(_, g)| weight(&kinds, g.0.by)).collect();
    let adjusted = weighted_benjamini_hochberg(&p_values, &weights)
        .unwrap_or_else(|| vec![1.0; p_values.len()]);
    let each: Vec<_> = all().zip(adjusted).collect();
    let mut found: Vec<Group> = each
        .into_par_iter()
        .filter_map(|((node, (key, tally, compared)), p_adjusted)| {
            let kind = kinds.iter().find(|kind| kind.by == key.by)?;
            let failures = tally.all_failures();
            let expected = compared.expected * kind.scale;
            let shrunk = shrink(&kind.ratios, failures, expected, CONFIDENCE)?;
            Some(group(fleet, node, *key, tally, compared, &shrunk, p_adjusted))
        })
        .collect();
    explain(&mut found, nodes);
    found.sort_by(|a, b| {
        let order = |g: &Group| (!g.flagged, g.explained_by.is_some());
        order(a)
            .cmp(&order(b))
            .then(b.above_two.total_cmp(&a.above_two))
            .then(a.p_value.total_cmp(&b.p_value))
            .then(a.key.by.first.standing().cmp(&b.key.by.first.standing()))
            .then((&a.node, a.key).cmp(&(&b.node, b.key)))
    });
    (found, kinds)
}

/// A group's weight: the share of its kind by the number of groups of it.
fn weight(kinds: &[Kind], by: By) -> f64 {
    let of = |one: &Kind| match one.by.second {
        Some(_) => CROSSED_SHARE,
        None if one.by.first == Dimension::Batch => BATCH_SHARE,
        None => SINGLE_SHARE,
    };
    let crossed: usize = kinds.iter().filter(|k| k.by.second.is_some()).map(|k| k.groups).sum();
    let Some(own) = kinds.iter().find(|kind| kind.by == by) else { return 1.0 };
    // All crossed kinds share one share.
    let many = if by.second.is_some() { crossed } else { own.groups };
    of(own) / many.max(1) as f64
}

/// The groups that can be judged, told by their size alone and never by their failures.
fn looked_at(whole: &Tally, groups: &[(Key, Tally)]) -> Vec<(Key, Tally, Compared)> {
    let Some(ages) = Ages::of(whole).filter(|_| whole.all_failures() >= 1.0) else {
        return Vec::new();
    };
    let units = |by: Dimension, value: u32| {
        let key = Key { by: By { first: by, second: None }, first: value, second: 0 };
        groups.binary_search_by_key(&key, |(key, _)| *key).ok().and_then(|at| groups.get(at))
    };
    let mut looked = Vec::new();
    for (key, tally) in groups {
        if tally.units < LEAST_UNITS || whole.units - tally.units < LEAST_UNITS {
            continue;
        }
        if let Some(second) = key.by.second {
            let part = |of: Option<&(Key, Tally)>| {
                of.is_some_and(|(_, of)| (tally.units as f64) < SAME * of.units as f64)
            };
            let new = part(units(key.by.first, key.first)) && part(units(second, key.second));
            // Of crossed groups nearly all are too small: intervals are worked out for the others only.
            if !new || alike(tally, whole, &ages).is_none_or(|alike| alike < LEAST_ALIKE) {
                continue;
            }
        }
        let Some(compared) = compare(tally, whole, &ages) else { continue };
        looked.push((*key, *tally, compared));
    }
    looked
}

/// What each kind of group is like, over all nodes.
fn kinds<'a>(all: impl Iterator<Item = &'a (Key, Tally, Compared)>) -> Vec<Kind> {
    let mut by_kind: std::collections::BTreeMap<By, Vec<(f64, f64)>> = Default::default();
    for (key, tally, compared) in all {
        by_kind.entry(key.by).or_default().push((tally.all_failures(), compared.expected));
    }
    let plain = || {
        let ratios = Ratios(vec![Gamma { weight: 1.0, shape: 1.0, rate: 1.0 }]);
        vec![Likely { probability: 1.0, ratios }]
    };
    let by_kind: Vec<(By, Vec<(f64, f64)>)> = by_kind.into_iter().collect();
    by_kind
        .into_par_iter()
        .with_max_len(1)
        .map(|(by, mut groups)| {
            let seen: f64 = groups.iter().map(|group| group.0).sum();
            let foreseen: f64 = groups.iter().map(|group| group.1).sum();
            let scale = if seen > 0.0 && foreseen > 0.0 { seen / foreseen } else { 1.0 };
            for (_, expected) in &mut groups {
                *expected *= scale;
            }
            let told = if groups.len() < FEW { None } else { weigh(mostly_alike(), &groups) };
            let fitted = told.is_some();
            Kind { by, groups: groups.len(), ratios: told.unwrap_or_else(plain), fitted, scale }
        })
        .collect()
}

fn group(
    fleet: &Fleet,
    node: u32,
    key: Key,
    tally: &Tally,
    compared: &Compared,
    shrunk: &Shrunk,
    p_adjusted: f64,
) -> Group {
    let name = |dimension: Dimension, number: u32| {
        fleet.values.get(dimension.place()).map(|names: &Names| names.name(number))
    };
    let mut value = name(key.by.first, key.first).unwrap_or_default().to_string();
    if let Some(second) = key.by.second {
        value.push('+');
        value.push_str(&name(second, key.second).unwrap_or_default());
    }
    let failures = tally.all_failures();
    Group {
        node: fleet.nodes.name(node).to_string(),
        by: key.by,
        value,
        units: tally.units,
        unit_months: tally.all_months(),
        failures,
        expected: compared.expected,
        ratio: compared.ratio,
        ratio_low: compared.range.low,
        ratio_high: compared.range.high,
        shrunk_ratio: shrunk.centre,
        shrunk_low: shrunk.low,
        shrunk_high: shrunk.high,
        above_two: shrunk.above_two,
        p_value: compared.p_value,
        p_adjusted,
        flagged: p_adjusted <= FALSE_FINDS
            && failures >= LEAST_FAILURES
            && shrunk.centre >= LEAST_RATIO,
        explained_by: None,
        key,
        node_number: node,
    }
}

/// A flagged group that is ordinary without the units of a stronger one is explained by it: a bad batch
/// makes its build week, its hardware level and its part number look bad too.
fn explain(groups: &mut [Group], nodes: &[NodeUnits<'_>]) {
    let mut order: Vec<usize> =
        (0..groups.len()).filter(|at| groups.get(*at).is_some_and(|g| g.flagged)).collect();
    let rank = |g: &Group| {
        let second = g.key.by.second.map_or(0, |second| 1 + second.standing());
        (second, g.key.by.first.standing())
    };
    order.sort_by(|a, b| match (groups.get(*a), groups.get(*b)) {
        (Some(a), Some(b)) => (a.p_value.total_cmp(&b.p_value))
            .then(rank(a).cmp(&rank(b)))
            .then((&a.node, a.key).cmp(&(&b.node, b.key))),
        _ => std::cmp::Ordering::Equal,
    });
    let mut leading: Vec<(u32, Key, String)> = Vec::new();
    for at in order {
        let Some(group) = groups.get_mut(at) else { continue };
        let Some(node) = nodes.iter().find(|node| node.number == group.node_number) else {
            continue;
        };
        let by = leading.iter().find(|(number, other, _)| {
            *number == group.node_number && ordinary_without(node, group.key, *other)
        });
        match by {
            Some((_, other, value)) => group.explained_by = Some((other.by, value.clone())),
            None => leading.push((group.node_number, group.key, group.value.clone())),
        }
    }
}

fn ordinary_without(node: &NodeUnits<'_>, key: Key, other: Key) -> bool {
    let (mut rest, mut others) = (Tally::NOTHING, Tally::NOTHING);
    for unit in node.units.iter().filter(|unit| !other.holds(unit)) {
        let own = of_unit(unit);
        others.add(&own);
        if key.holds(unit) {
            rest.add(&own);
        }
    }
    if rest.units == 0 {
        return true;
    }
    let Some(ages) = Ages::of(&node.whole) else { return true };
    compare(&rest, &others, &ages).is_none_or(|compared| compared.p_value > EXPLAINED_P)
}
