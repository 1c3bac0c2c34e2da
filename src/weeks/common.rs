//! What several vehicles share: one cause stated once, in place of once a vehicle.
//!
//! A vehicle counts for a suspect that has at least half of its probability. Modules are held against
//! each other by batch, part number, hardware and software; suspects, and faults of any kind, by the
//! place where the vehicles are kept and washed. Each value is held against all others by the exact
//! test of the two-by-two table (one-sided, mid-P), corrected for all values looked at (Holm 1979).
//! Several vehicles of one model with the same wiring branch, feed, ground or bus at fault are said
//! without a test: nothing is there to hold them against.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use crate::numerics::exact::upper_mid_p;
use crate::numerics::multiple::holm;
use crate::numerics::table::TwoGroups;
use crate::read::ModuleRow;
use crate::vocabulary::{Instant, Suspect};

use super::booking::fitted;

/// From this probability on a vehicle counts for a suspect.
const COUNTS: f64 = 0.5;
/// Fewer vehicles share nothing.
const SEVERAL: u64 = 2;
/// A value is mentioned when its own p-value is at most this, and called shared when the corrected one
/// is. (Common practice.)
const LEVEL: f64 = 0.05;

/// A field of the modules table.
type Field = fn(&ModuleRow) -> Option<&str>;

/// By what vehicles are held against each other; the order is the preference among equals.
const BY_MODULE: [(&str, Field); 4] = [
    ("batch", |row| row.batch.as_deref()),
    ("part number", |row| row.part_number.as_deref()),
    ("hardware", |row| row.hardware.as_deref()),
    ("software", |row| row.software.as_deref()),
];
const SITE: &str = "site";
const WIRING: &str = "wiring of the model";

/// A cause that several vehicles may have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Common {
    /// What is at fault in them; `None`: any fault of the bus.
    pub suspect: Option<Suspect>,
    /// What they share: `batch`, `part number`, `hardware`, `software`, `site`, `wiring of the model`.
    pub by: &'static str,
    /// Its value: a batch, a site, a model.
    pub value: String,
    /// The vehicles, by name.
    pub vehicles: Vec<String>,
    /// With the value: vehicles at fault, vehicles in all.
    pub with: (u64, u64),
    /// Without it.
    pub without: (u64, u64),
    /// One-sided mid-P; `None` where nothing is there to compare.
    pub p_value: Option<f64>,
    /// Corrected for all values looked at.
    pub p_adjusted: Option<f64>,
    /// Whether chance is an unlikely explanation; where nothing is there to compare, false.
    pub shown: bool,
}

impl Common {
    /// Whether to tell it first: chance is an unlikely explanation, or there is nothing to compare it with.
    #[must_use]
    pub fn stands_out(&self) -> bool {
        self.shown || self.p_value.is_none()
    }
}

/// What is known of one vehicle.
pub(super) struct Member<'a> {
    pub vehicle: &'a str,
    pub network: Option<&'a str>,
    pub site: Option<&'a str>,
    /// Its suspects with their probability; empty when nothing is or was at fault.
    pub suspects: Vec<(&'a Suspect, f64)>,
    pub last_hit: Option<Instant>,
    pub modules: Vec<&'a ModuleRow>,
}

impl Member<'_> {
    fn counts_for(&self, suspect: &Suspect) -> bool {
        self.suspects.iter().any(|(own, p)| *own == suspect && *p >= COUNTS)
    }

    /// Whether anything on its bus is at fault.
    fn at_fault(&self) -> bool {
        let fault = self.suspects.iter().filter(|(own, _)| **own != Suspect::None);
        fault.map(|(_, p)| p).sum::<f64>() >= COUNTS
    }
}

/// What the vehicles have in common, the surest first. `members` are all vehicles that could have shown
/// an incident, by name.
pub(super) fn common(members: &[Member<'_>]) -> Vec<Common> {
    let suspects: BTreeSet<&Suspect> = members
        .iter()
        .flat_map(|m| m.suspects.iter().filter(|(s, p)| **s != Suspect::None && *p >= COUNTS))
        .map(|(suspect, _)| *suspect)
        .collect();
    let suspects: Vec<&Suspect> = suspects.into_iter().collect();
    // Each suspect's values are counted on their own: the order of the questions stays.
    let mut found: Vec<Common> =
        suspects.par_iter().flat_map_iter(|suspect| of_suspect(members, suspect)).collect();
    let sites = members.iter().map(|m| m.site);
    found.extend(by_value(members, None, SITE, |m| m.at_fault(), sites));
    correct(&mut found);
    found.retain(|c| c.with.0 >= SEVERAL && c.p_value.is_some_and(|p| p <= LEVEL));
    let mut kept = once(found);
    for suspect in suspects {
        if matches!(suspect, Suspect::Node(_) | Suspect::Supply | Suspect::None) {
            continue;
        }
        kept.extend(same_wiring(members, suspect));
    }
    kept
}

/// What the vehicles of one suspect may have in common.
fn of_suspect(members: &[Member<'_>], suspect: &Suspect) -> Vec<Common> {
    let mut found = Vec::new();
    let is = |m: &Member<'_>| m.counts_for(suspect);
    if let Suspect::Node(name) = suspect {
        // Of a vehicle at fault the module counts that was fitted then, else the one that is.
        let modules: Vec<Option<&ModuleRow>> = members
            .iter()
            .map(|m| fitted(name, &m.modules, m.last_hit.filter(|_| is(m))))
            .collect();
        for (by, value) in BY_MODULE {
            let values = modules.iter().map(|module| module.and_then(value));
            found.extend(by_value(members, Some(suspect), by, is, values));
        }
    }
    found.extend(by_value(members, Some(suspect), SITE, is, members.iter().map(|m| m.site)));
    found
}

/// Every value held against all others; `of` are the members' values, in their order.
fn by_value<'a>(
    members: &'a [Member<'a>],
    suspect: Option<&Suspect>,
    by: &'static str,
    at_fault: impl Fn(&Member<'_>) -> bool,
    of: impl Iterator<Item = Option<&'a str>>,
) -> Vec<Common> {
    let mut values: BTreeMap<&str, (u64, Vec<String>)> = BTreeMap::new();
    let (mut hits, mut all) = (0, 0);
    for (member, value) in members.iter().zip(of) {
        let Some(value) = value else { continue };
        let here = values.entry(value).or_default();
        (here.0, all) = (here.0 + 1, all + 1);
        if at_fault(member) {
            here.1.push(member.vehicle.to_owned());
            hits += 1;
        }
    }
    // Values without any fault stay for now: they were looked at too.
    let all_values = values.into_iter();
    all_values
        .map(|(value, (with, vehicles))| {
            let own = vehicles.len() as u64;
            let (with, without) = ((own, with), (hits - own, all - with));
            let groups = TwoGroups::new(with.0, with.1, without.0, without.1);
            let p_value = groups.filter(|_| without.1 > 0).map(upper_mid_p);
            let suspect = suspect.cloned();
            let (p_adjusted, shown) = (None, false);
            let value = value.to_owned();
            Common { suspect, by, value, vehicles, with, without, p_value, p_adjusted, shown }
        })
        .collect()
}

/// Step-down correction over all values that could be compared (Holm 1979).
fn correct(found: &mut [Common]) {
    let p_values: Vec<f64> =
        found.iter().filter_map(|c| c.p_value).map(|p| p.clamp(0.0, 1.0)).collect();
    let adjusted = holm(&p_values).unwrap_or_else(|| vec![1.0; p_values.len()]);
    for (one, p) in found.iter_mut().filter(|c| c.p_value.is_some()).zip(adjusted) {
        one.p_adjusted = Some(p);
        one.shown = p <= LEVEL;
    }
}

/// The surest statements, no two of which share a vehicle and speak of one suspect, or one of them of any
/// fault: a less sure one that shares a vehicle is mostly the same said less well.
fn once(mut found: Vec<Common>) -> Vec<Common> {
    // A stable sort: among equals the order of the questions holds.
    found.sort_by(|a, b| {
        let p = |c: &Common| c.p_value.unwrap_or(1.0);
        p(a).total_cmp(&p(b))
    });
    let mut kept: Vec<Common> = Vec::new();
    // By vehicle, of whom something has been said: numbers of statements.
    let mut said_of: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for one in found {
        let before = one.vehicles.iter().filter_map(|v| said_of.get(v)).flatten();
        let said = before
            .filter_map(|number| kept.get(*number))
            .any(|k| one.suspect.is_none() || k.suspect.is_none() || k.suspect == one.suspect);
        if !said {
            for vehicle in &one.vehicles {
                said_of.entry(vehicle.clone()).or_default().push(kept.len());
            }
            kept.push(one);
        }
    }
    kept
}

/// The vehicles of each model in which the same wiring is at fault.
fn same_wiring(members: &[Member<'_>], suspect: &Suspect) -> Vec<Common> {
    let mut models: BTreeMap<&str, (u64, Vec<String>)> = BTreeMap::new();
    for member in members {
        let Some(network) = member.network else { continue };
        let here = models.entry(network).or_default();
        here.0 += 1;
        if member.counts_for(suspect) {
            here.1.push(member.vehicle.to_owned());
        }
    }
    let several = models.into_iter().filter(|(_, (_, v))| v.len() as u64 >= SEVERAL);
    several
        .map(|(network, (all, vehicles))| Common {
            suspect: Some(suspect.clone()),
            by: WIRING,
            value: network.to_owned(),
            with: (vehicles.len() as u64, all),
            without: (0, 0),
            vehicles,
            p_value: None,
            p_adjusted: None,
            shown: false,
        })
        .collect()
}
