//! The modules of a flagged group that are still fitted, and how probably each fails in the coming year.

use super::compare::Ages;
use super::flags::{Group, NodeUnits};
use super::groups::{BANDS, By, Dimension, Tally, of_unit};
use super::units::{Fleet, Unit};

/// Months looked ahead.
pub(super) const AHEAD_MONTHS: f64 = 12.0;
/// From this probability on a module counts as failing now.
const FAILING: f64 = 0.5;

/// One module of a flagged group that is still fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitAhead {
    /// The vehicle.
    pub vehicle: String,
    /// The node.
    pub node: String,
    /// The flagged group: what it has in common.
    pub by: By,
    /// Its value.
    pub value: String,
    /// Part number, where known.
    pub part_number: Option<String>,
    /// Batch, where known.
    pub batch: Option<String>,
    /// Site, where known.
    pub site: Option<String>,
    /// Months since fitting, at the vehicle's last record; `None`: not known.
    pub age_months: Option<f64>,
    /// Probability that it has failed already.
    pub failed: f64,
    /// Expected failures in the next twelve months: probability that it has not failed yet and will.
    pub to_come: f64,
}

impl UnitAhead {
    /// Whether it counts as failing now.
    #[must_use]
    pub fn failing(&self) -> bool {
        self.failed >= FAILING
    }
}

/// Those of one group: failing ones first, then by expected failures to come.
///
/// The rate is the others' rate at the module's age, times the group's shrunk ratio.
pub(super) fn ahead(fleet: &Fleet, node: &NodeUnits<'_>, group: &Group) -> Vec<UnitAhead> {
    let mut own = Tally::NOTHING;
    for unit in node.units.iter().filter(|unit| group.key.holds(unit)) {
        own.add(&of_unit(unit));
    }
    let rest = node.whole.without(&own);
    let Some(ages) = Ages::of(&node.whole) else { return Vec::new() };
    let months = ages.weigh(&rest);
    if months <= 0.0 {
        return Vec::new();
    }
    let rate = (rest.all_failures() + 0.5) / months * group.shrunk_ratio;
    let mut list: Vec<UnitAhead> = node
        .units
        .iter()
        .filter(|unit| unit.in_service && group.key.holds(unit))
        .map(|unit| one(fleet, group, unit, rate, &ages))
        .collect();
    list.sort_by(|a, b| {
        (b.failing().cmp(&a.failing()))
            .then_with(|| match a.failing() {
                true => b.failed.total_cmp(&a.failed),
                false => b.to_come.total_cmp(&a.to_come),
            })
            .then_with(|| a.vehicle.cmp(&b.vehicle))
    });
    list
}

fn one(fleet: &Fleet, group: &Group, unit: &Unit, rate: f64, ages: &Ages) -> UnitAhead {
    // The coming months of an unfailed unit, by age band; nothing of it has been watched yet.
    let coming = if unit.aged {
        of_unit(&Unit { from: unit.to, to: unit.to + AHEAD_MONTHS, failed: 0.0, ..*unit })
    } else {
        let mut months = [0.0; BANDS];
        months[BANDS - 1] = AHEAD_MONTHS;
        Tally { months, ..Tally::NOTHING }
    };
    let fails = -(-rate * ages.weigh(&coming)).exp_m1();
    let value = |dimension: Dimension| {
        let number = unit.values.get(dimension.place()).copied().filter(|number| *number > 0)?;
        Some(fleet.values.get(dimension.place())?.name(number).to_string())
    };
    UnitAhead {
        vehicle: fleet.vehicles.name(unit.vehicle).to_string(),
        node: group.node.clone(),
        by: group.by,
        value: group.value.clone(),
        part_number: value(Dimension::PartNumber),
        batch: value(Dimension::Batch),
        site: value(Dimension::Site),
        age_months: unit.aged.then_some(unit.to),
        failed: unit.failed,
        to_come: (1.0 - unit.failed) * fails,
    }
}
