//! Where a set of numbers lies and how far it spreads, without being moved by outliers.
//!
//! In: slices in any order. Out: median, scaled median absolute deviation, quantiles. The
//! order of the input never shows. Refuses an empty slice and one that holds
//! something that is not a number.

use std::cmp::Ordering;

/// What makes the median absolute deviation estimate a normal standard deviation: 1 / 0.6745.
pub const NORMAL_SCALE: f64 = 1.4826;

/// The middle value, or the mean of the two middle values.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    median_of(&mut values.to_vec())
}

/// The same as [`median`] of values that may be put in another order: no copy is made.
#[must_use]
pub fn median_of(values: &mut [f64]) -> Option<f64> {
    /// Up to here it is quickest to put all in order.
    const FEW: usize = 16;
    if values.is_empty() || values.iter().any(|value| value.is_nan()) {
        return None;
    }
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    // All are numbers. Only a zero with and without a sign compare alike; the sum below leaves it none.
    let order = |a: &f64, b: &f64| a.partial_cmp(b).unwrap_or(Ordering::Equal);
    let (below, upper) = if values.len() <= FEW {
        values.sort_unstable_by(order);
        (values.get(..middle)?, *values.get(middle)?)
    } else {
        let (below, upper, _) = values.select_nth_unstable_by(middle, order);
        (&*below, *upper)
    };
    if odd {
        return Some(upper + 0.0);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(f64::midpoint(lower, upper) + 0.0)
}

/// A whole number for each number, in the same order: whole numbers are the quicker to compare. Numbers that are none
/// stand outside of [`in_order`] of the infinities (IEEE 754-2019, total order).
pub(super) fn in_order(value: f64) -> i64 {
    let bits = value.to_bits().cast_signed();
    // All but the sign is turned round where it is negative; so this is its own inverse.
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// The same as [`median`] of values that [`in_order`] was made of; they are put in another order.
pub(super) fn median_in_order(values: &mut [i64]) -> Option<f64> {
    let numbers = in_order(f64::NEG_INFINITY)..=in_order(f64::INFINITY);
    if values.is_empty() || !values.iter().all(|value| numbers.contains(value)) {
        return None;
    }
    let value =
        |key: i64| f64::from_bits(in_order(f64::from_bits(key.cast_unsigned())).cast_unsigned());
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    let (below, upper, _) = values.select_nth_unstable(middle);
    if odd {
        return Some(value(*upper) + 0.0);
    }
    let lower = below.iter().copied().max()?;
    Some(f64::midpoint(value(lower), value(*upper)) + 0.0)
}

/// [`NORMAL_SCALE`] times the median distance from the median (Hampel 1974), in the unit of the
/// values. 0 when more than half of them are equal.
#[must_use]
pub fn mad(values: &[f64]) -> Option<f64> {
    mad_of(&mut values.to_vec())
}

/// The same as [`mad`]; afterwards `values` holds the distances from the median.
#[must_use]
pub fn mad_of(values: &mut [f64]) -> Option<f64> {
    let centre = median_of(values)?;
    for value in values.iter_mut() {
        *value = (*value - centre).abs();
    }
    Some(NORMAL_SCALE * median_of(values)?)
}

/// The quantile at `share` (0 to 1), linear between order statistics (Hyndman & Fan's type 7).
///
/// `None` also for a share outside [0, 1].
#[must_use]
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&share) {
        return None;
    }
    let sorted = sorted(values)?;
    let position = share * (sorted.len() - 1) as f64;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and the last position"
    )]
    let below = position.floor() as usize;
    let low = *sorted.get(below)?;
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    Some(low + (high - low) * position.fract())
}

/// A sorted copy; `None` when empty or when a value is not a number.
fn sorted(values: &[f64]) -> Option<Vec<f64>> {
    if values.is_empty() || values.iter().any(|value| value.is_nan()) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    Some(sorted)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    const VALUES: [f64; 9] = [2.5, -1.0, 7.25, 3.0, 3.0, 100.0, 4.5, 0.25, -6.5];

    // numpy 2.4 median and quantile, scipy 1.17.1 stats.median_abs_deviation(scale=1/1.4826);
    // and the example of R's own page on mad: mad(1:9) is 2.965204.
    #[test]
    fn outside_values() {
        holds("centre::median", median(&VALUES).expect("values"), 3.0);
        holds("centre::median", median(&VALUES[..2]).expect("values"), 0.75);
        holds("centre::mad", mad(&VALUES).expect("values"), 4.077_15);
        let to_nine: Vec<f64> = (1..=9).map(f64::from).collect();
        holds("centre::mad", mad(&to_nine).expect("values"), 2.9652);
        for (share, want) in [(0.0, -6.5), (0.01, -6.06), (0.25, 0.25), (0.9, 25.8), (0.99, 92.58)]
        {
            holds("centre::quantile", quantile(&VALUES, share).expect("values"), want);
        }
        holds("centre::quantile", quantile(&VALUES, 1.0).expect("values"), 100.0);
    }

    // The same values as above, and against a sort for every length up to 64.
    #[test]
    fn no_copy_is_the_same() {
        holds("centre::median_of", median_of(&mut VALUES.to_vec()).expect("values"), 3.0);
        holds("centre::mad_of", mad_of(&mut VALUES.to_vec()).expect("values"), 4.077_15);
        let mut noise = 1u64;
        for length in 1..=64 {
            let values: Vec<f64> = (0..length)
                .map(|_| {
                    noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    f64::from(u32::try_from(noise >> 60).expect("four bits")) - 8.0
                })
                .collect();
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let middle = f64::midpoint(sorted[(length - 1) / 2], sorted[length / 2]);
            assert_eq!(median(&values).map(f64::to_bits), Some(middle.to_bits()), "{values:?}");
            let mut keys: Vec<i64> = values.iter().copied().map(in_order).collect();
            assert_eq!(median_in_order(&mut keys).map(f64::to_bits), Some(middle.to_bits()));
        }
    }

    #[test]
    fn order_does_not_show() {
        let mut turned = VALUES;
        for _ in 0..VALUES.len() {
            turned.rotate_left(1);
            assert_eq!(median(&turned), median(&VALUES));
            assert_eq!(mad(&turned), mad(&VALUES));
            assert_eq!(quantile(&turned, 0.37), quantile(&VALUES, 0.37));
        }
    }

    #[test]
    fn refusals() {
        assert_eq!(median(&[]), None);
        assert_eq!(mad(&[]), None);
        assert_eq!(median(&[1.0, f64::NAN]), None);
        assert_eq!(quantile(&[1.0], 1.5), None);
        assert_eq!(quantile(&[1.0], f64::NAN), None);
        assert_eq!(quantile(&[1.0], 0.3), Some(1.0));
    }

    #[test]
    fn whole_numbers_keep_the_order_and_give_the_number_back() {
        let numbers =
            [f64::NEG_INFINITY, f64::MIN, -1.5, -1e-310, -0.0, 0.0, 1e-310, 2.0, f64::INFINITY];
        for two in numbers.windows(2) {
            assert!(in_order(two[0]) < in_order(two[1]), "{two:?}");
        }
        for number in numbers {
            let median = median_in_order(&mut [in_order(number)]).expect("a number");
            assert!(median.total_cmp(&(number + 0.0)).is_eq(), "{number}");
        }
        for none in [f64::NAN, -f64::NAN] {
            assert_eq!(median_in_order(&mut [in_order(1.0), in_order(none)]), None);
        }
        assert_eq!(median_in_order(&mut []), None);
    }
}
