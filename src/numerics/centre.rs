//! Where a set of numbers lies and how far it spreads, without being moved by outliers.
//!
//! In: slices in any order. Out: median, scaled median absolute deviation, quantiles. Sorted by
//! `total_cmp`, so the order of the input never shows. Refuses an empty slice and one that holds
//! something that is not a number.

/// What makes the median absolute deviation estimate a normal standard deviation: 1 / 0.6745.
pub const NORMAL_SCALE: f64 = 1.4826;

/// The middle value, or the mean of the two middle values.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let sorted = sorted(values)?;
    let middle = sorted.len() / 2;
    let upper = *sorted.get(middle)?;
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    Some(f64::midpoint(*sorted.get(middle.checked_sub(1)?)?, upper))
}

/// [`NORMAL_SCALE`] times the median distance from the median (Hampel 1974), in the unit of the
/// values. 0 when more than half of them are equal.
#[must_use]
pub fn mad(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Some(NORMAL_SCALE * median(&distances)?)
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
}
