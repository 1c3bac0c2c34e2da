//! Units in groups: by node and one or two of part number, hardware, software, batch, build week, site.

use std::collections::HashMap;
use std::fmt;

use super::units::Unit;

/// How many dimensions there are.
pub(super) const DIMENSIONS: usize = 6;
/// Ends of the age bands in months; the last band is open. Failures early in life, in the first year and
/// later have rates of their own (common practice, no source).
const BAND_ENDS: [f64; 6] = [3.0, 12.0, 24.0, 36.0, 60.0, 96.0];
/// Age bands, and one for units of unknown age.
pub(super) const BANDS: usize = BAND_ENDS.len() + 2;

/// What a unit can be grouped by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dimension {
    /// Part number.
    PartNumber,
    /// Hardware level.
    Hardware,
    /// Software level.
    Software,
    /// Production batch.
    Batch,
    /// ISO week in which it was built.
    BuiltWeek,
    /// Where the vehicle is kept.
    Site,
}

impl Dimension {
    /// All, in the order of a unit's values.
    pub(super) const ALL: [Dimension; DIMENSIONS] = [
        Dimension::PartNumber,
        Dimension::Hardware,
        Dimension::Software,
        Dimension::Batch,
        Dimension::BuiltWeek,
        Dimension::Site,
    ];

    /// The word of the contract.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Dimension::PartNumber => "part_number",
            Dimension::Hardware => "hardware",
            Dimension::Software => "software",
            Dimension::Batch => "batch",
            Dimension::BuiltWeek => "built_week",
            Dimension::Site => "site",
        }
    }

    /// As people say it.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Dimension::PartNumber => "part number",
            Dimension::Hardware => "hardware",
            Dimension::Software => "software",
            Dimension::Batch => "batch",
            Dimension::BuiltWeek => "build week",
            Dimension::Site => "site",
        }
    }

    /// Which of two groups of the same units is named first: what a maker can act upon.
    pub(super) fn standing(self) -> usize {
        match self {
            Dimension::Batch => 0,
            Dimension::PartNumber => 1,
            Dimension::Software => 2,
            Dimension::Hardware => 3,
            Dimension::BuiltWeek => 4,
            Dimension::Site => 5,
        }
    }

    pub(super) fn place(self) -> usize {
        Dimension::ALL.iter().position(|one| *one == self).unwrap_or(0)
    }
}

/// One dimension, or two crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct By {
    /// The first.
    pub first: Dimension,
    /// The second, where two are crossed.
    pub second: Option<Dimension>,
}

impl fmt::Display for By {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.first.word())?;
        self.second.map_or(Ok(()), |second| write!(f, "+{}", second.word()))
    }
}

/// A group of units of one node.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Key {
    pub by: By,
    /// Numbers of the values.
    pub first: u32,
    pub second: u32,
}

impl Key {
    pub(super) fn holds(&self, unit: &Unit) -> bool {
        let value = |dimension: Dimension| unit.values.get(dimension.place()).copied();
        value(self.by.first) == Some(self.first)
            && self.by.second.is_none_or(|second| value(second) == Some(self.second))
    }
}

/// What a group adds up to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tally {
    pub units: u64,
    /// Months watched by age band; the last one for units of unknown age.
    pub months: [f64; BANDS],
    /// Failures by age band.
    pub failures: [f64; BANDS],
    /// Sum of the squares of the probabilities: the variance of the number of failures.
    pub squares: f64,
}

impl Tally {
    pub(super) const NOTHING: Tally =
        Tally { units: 0, months: [0.0; BANDS], failures: [0.0; BANDS], squares: 0.0 };

    pub(super) fn add(&mut self, other: &Tally) {
        self.units += other.units;
        for (own, more) in self.months.iter_mut().zip(other.months) {
            *own += more;
        }
        for (own, more) in self.failures.iter_mut().zip(other.failures) {
            *own += more;
        }
        self.squares += other.squares;
    }

    /// What is left of it without a part of it.
    pub(super) fn without(&self, part: &Tally) -> Tally {
        // Sums in another order differ in their last digits: what should be nothing is nothing.
        let less =
            |whole: f64, part: f64| if whole - part > 1e-9 * whole { whole - part } else { 0.0 };
        let mut rest = *self;
        rest.units = rest.units.saturating_sub(part.units);
        for (own, gone) in rest.months.iter_mut().zip(part.months) {
            *own = less(*own, gone);
        }
        for (own, gone) in rest.failures.iter_mut().zip(part.failures) {
            *own = less(*own, gone);
        }
        rest.squares = less(rest.squares, part.squares);
        rest
    }

    pub(super) fn all_months(&self) -> f64 {
        self.months.iter().sum()
    }

    pub(super) fn all_failures(&self) -> f64 {
        self.failures.iter().sum()
    }
}

/// One unit as a tally.
pub(super) fn of_unit(unit: &Unit) -> Tally {
    let mut tally = Tally { units: 1, ..Tally::NOTHING };
    tally.squares = unit.failed * unit.failed;
    if !unit.aged {
        let months = unit.failed * (unit.failed_at - unit.from)
            + (1.0 - unit.failed) * (unit.to - unit.from);
        tally.months[BANDS - 1] = months;
        tally.failures[BANDS - 1] = unit.failed;
        return tally;
    }
    let mut begin = 0.0_f64;
    for (band, end) in BAND_ENDS.into_iter().chain([f64::INFINITY]).enumerate() {
        let within = |from: f64, to: f64| (to.min(end) - from.max(begin)).max(0.0);
        let mut months = within(unit.from, unit.to);
        if unit.failed > 0.0 {
            months = (1.0 - unit.failed) * months + unit.failed * within(unit.from, unit.failed_at);
            if unit.failed_at >= begin && unit.failed_at < end {
                tally.failures[band] = unit.failed;
            }
        }
        tally.months[band] = months;
        begin = end;
    }
    tally
}

/// All groups of one node's units: the node as a whole, then each group, in a fixed order.
pub(super) fn tallies(units: &[Unit]) -> (Tally, Vec<(Key, Tally)>) {
    let mut whole = Tally::NOTHING;
    let mut groups: HashMap<Key, Tally> = HashMap::new();
    for unit in units {
        let own = of_unit(unit);
        whole.add(&own);
        let mut add = |by: By, first: u32, second: u32| {
            groups.entry(Key { by, first, second }).or_insert(Tally::NOTHING).add(&own);
        };
        for (place, (first, value)) in Dimension::ALL.into_iter().zip(unit.values).enumerate() {
            add(By { first, second: None }, value, 0);
            for (second, other) in Dimension::ALL.into_iter().zip(unit.values).skip(place + 1) {
                add(By { first, second: Some(second) }, value, other);
            }
        }
    }
    let mut groups: Vec<(Key, Tally)> = groups.into_iter().collect();
    groups.sort_by_key(|(key, _)| *key);
    (whole, groups)
}
