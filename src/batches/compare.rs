//! One group against the other modules of its node, age band by age band.
//!
//! What a group lets expect comes from the node's own rate without the group (indirect
//! standardisation): the months of each age band weigh as the node fails at that age. The interval and
//! the p-value are exact and conditional on all failures of the node, so they know that the rate of the
//! others is itself only estimated. Failures are sums of probabilities: suspects that come at random, each
//! counting by its own, add up to a number whose variance is the sum v of the squares, and n failures tell as
//! much as n²/v certain ones (Fay & Feuer 1997). What is not known of each is in the probability already.

use super::groups::{BANDS, Tally};
use crate::numerics::soft_counts::{RatioRange, higher_rate_mid_p, rate_ratio_range};

/// Confidence of all intervals.
pub(super) const CONFIDENCE: f64 = 0.95;
/// An upper end above this is none.
const BOUNDS: f64 = 1e6;
/// Failures that the node's mean rate weighs in the rate of an age band (judgement).
const BAND_PRIOR: f64 = 5.0;

/// How a node fails at each age: its rate in the age bands by its mean rate.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ages([f64; BANDS]);

impl Ages {
    /// `None` for a node without failures or months.
    pub(super) fn of(node: &Tally) -> Option<Ages> {
        let (failures, months) = (node.all_failures(), node.all_months());
        if failures <= 0.0 || months <= 0.0 {
            return None;
        }
        let rate = failures / months;
        let mut weights = [1.0; BANDS];
        for ((weight, own), time) in weights.iter_mut().zip(node.failures).zip(node.months) {
            *weight = (own + BAND_PRIOR) / (time + BAND_PRIOR / rate) / rate;
        }
        Some(Ages(weights))
    }

    /// Months, weighed by how the node fails at their age.
    pub(super) fn weigh(&self, tally: &Tally) -> f64 {
        self.0.iter().zip(tally.months).map(|(weight, months)| weight * months).sum()
    }
}

/// A group beside the rest of its node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Compared {
    /// Failures that the others' rate lets expect; half a failure is added to theirs (Jeffreys), so that
    /// none among the others is no rate of nothing.
    pub expected: f64,
    /// Failures by expected.
    pub ratio: f64,
    pub range: RatioRange,
    /// One-sided: that it is no worse than the others.
    pub p_value: f64,
}

/// Failures that would be expected of a group if all modules of the node were alike: known before its own
/// failures are. `None` when group or rest have no months.
pub(super) fn alike(group: &Tally, node: &Tally, ages: &Ages) -> Option<f64> {
    let (rest, own, other) = against_the_rest(group, node, ages)?;
    Some((group.all_failures() + rest.all_failures()) * own / (own + other))
}

/// The rest of a node, and the weighted months of group and rest; `None` when either has none.
fn against_the_rest(group: &Tally, node: &Tally, ages: &Ages) -> Option<(Tally, f64, f64)> {
    let rest = node.without(group);
    let (own, other) = (ages.weigh(group), ages.weigh(&rest));
    (own > 0.0 && other > 0.0).then_some((rest, own, other))
}

/// `None` when group or rest have no months.
pub(super) fn compare(group: &Tally, node: &Tally, ages: &Ages) -> Option<Compared> {
    let (rest, own, other) = against_the_rest(group, node, ages)?;
    let (failures, others) = (group.all_failures(), rest.all_failures());
    let all = failures + others;
    let certain = if node.squares > 0.0 { all / node.squares } else { 1.0 };
    let expected = (others + 0.5) * own / other;
    let mut range = rate_ratio_range(failures * certain, own, others * certain, other, CONFIDENCE)?;
    // A trace of a failure among the others bounds nothing that means anything.
    range.high = range.high.filter(|high| *high < BOUNDS);
    Some(Compared {
        expected,
        ratio: failures / expected,
        range,
        p_value: higher_rate_mid_p(failures * certain, own, others * certain, other)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::lcg::Lcg;

    fn tally(failures: f64, squares: f64, months: f64) -> Tally {
        let mut tally = Tally { units: 9, squares, ..Tally::NOTHING };
        (tally.failures[0], tally.months[0]) = (failures, months);
        tally
    }

    // A group of which nothing is wrong, by suspects of even, divided and high probability: the test keeps
    // its level, and does not waste it. A share of n fleets is off by three of its standard errors.
    #[test]
    fn a_test_of_doubtful_failures_keeps_its_level() {
        let draws: [fn(&mut Lcg) -> f64; 3] = [
            |lcg| 0.05 + 0.95 * lcg.uniform(),
            |lcg| if lcg.uniform() < 0.5 { 0.9 } else { 0.1 },
            |lcg| 0.85 + 0.15 * lcg.uniform(),
        ];
        for (seed, draw) in (501..).zip(draws) {
            let mut lcg = Lcg(seed);
            let mut low = 0.0;
            for _ in 0..4_000 {
                let mut some = |mean: f64| {
                    let (mut failures, mut squares, mut at) = (0.0, 0.0, 0.0);
                    loop {
                        at -= (1.0 - lcg.uniform()).ln();
                        if at > mean {
                            break;
                        }
                        let p = draw(&mut lcg);
                        (failures, squares) = (failures + p, squares + p * p);
                    }
                    (failures, squares)
                };
                let (own, others) = (some(12.0), some(240.0));
                let group = tally(own.0, own.1, 50.0);
                let node = tally(own.0 + others.0, own.1 + others.1, 1_050.0);
                let ages = Ages::of(&node).expect("failures");
                let compared = compare(&group, &node, &ages).expect("months");
                low += f64::from(u8::from(compared.p_value <= 0.05));
            }
            let share = low / 4_000.0;
            assert!((0.035..=0.061).contains(&share), "{seed}: {share}");
        }
    }
}
