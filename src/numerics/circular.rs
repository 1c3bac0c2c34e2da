//! A test of association between two series that are each dependent on their own past.
//!
//! In: two series of yes and no in time order. Out: the share of circular shifts of one against
//! the other that agree as far from chance as the observed alignment. A loosening connector has
//! bad weeks and the weather has cold weeks; a test that takes trials for independent calls their
//! meeting significant too often, while a shift keeps both series as they are and breaks only
//! their alignment. Refuses series too short to have enough shifts.

/// Fewest trials for which the shifts say anything: below, dependence was not checked.
pub const SHORTEST_SERIES: usize = 40;

/// Two-sided p-value: the share of all shifts, the observed one included, at which the number of
/// hits under the condition is at least as far from its expectation as observed.
///
/// The smallest possible value is 1 / length. `None` when the series differ in length or are
/// shorter than [`SHORTEST_SERIES`]. A series that never changes gives 1. Source: the torus shift
/// of Lotwick & Silverman 1982, in one dimension.
#[must_use]
pub fn shift_p(condition: &[bool], hit: &[bool]) -> Option<f64> {
    let length = condition.len();
    if length != hit.len() || length < SHORTEST_SERIES {
        return None;
    }
    let with = condition.iter().filter(|c| **c).count();
    let hits: Vec<usize> = (0..length).filter(|i| hit.get(*i) == Some(&true)).collect();
    let counts = count_shifts(condition, &hits);
    // In whole numbers, count * length - expected * length, so that ties are exact.
    let off = |count: usize| (count * length).abs_diff(with * hits.len());
    let observed = off(*counts.first()?);
    let as_far = counts.iter().filter(|count| off(**count) >= observed).count();
    Some(as_far as f64 / length as f64)
}

/// For each shift from 0 up, how many of the positions in `hits` meet the shifted condition.
///
/// Positions beyond the end of `condition` wrap around; an empty condition gives no shift.
#[must_use]
pub fn count_shifts(condition: &[bool], hits: &[usize]) -> Vec<usize> {
    let length = condition.len();
    let met = |shift: usize, position: &usize| {
        condition.get((position % length + length - shift) % length) == Some(&true)
    };
    (0..length).map(|shift| hits.iter().filter(|hit| met(shift, hit)).count()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::exact::mid_p;
    use crate::numerics::table::TwoGroups;
    use crate::numerics::tolerances::holds;

    fn series(length: usize, yes: impl Fn(usize) -> bool) -> Vec<bool> {
        (0..length).map(yes).collect()
    }

    // numpy 2.4, np.roll over every lag, as in the script behind q1.serial_dependence.
    #[test]
    fn shares_of_shifts() {
        let weeks = series(60, |i| i % 20 < 6);
        let hits = series(60, |i| [2, 4, 21, 24, 41, 55].contains(&i));
        holds("circular::shift_p", shift_p(&weeks, &hits).expect("long"), 0.15);
        let early = series(48, |i| i < 15);
        let hits = series(48, |i| [3, 4, 5, 9, 12].contains(&i));
        holds("circular::shift_p", shift_p(&early, &hits).expect("long"), 0.125);
    }

    // By hand: condition at 0 and 1 of 5, hits at 1 and 2.
    #[test]
    fn counts_by_hand() {
        let counts = count_shifts(&[true, true, false, false, false], &[1, 2]);
        for (got, want) in counts.into_iter().zip([1.0, 2.0, 1.0, 0.0, 0.0]) {
            holds("circular::count_shifts", got as f64, want);
        }
        assert!(count_shifts(&[], &[1]).is_empty());
    }

    #[test]
    fn too_short_or_unlike_is_not_checked() {
        assert_eq!(shift_p(&[true; 39], &[true; 39]), None);
        assert_eq!(shift_p(&[true; 50], &[true; 49]), None);
        assert_eq!(shift_p(&[true; 50], &series(50, |i| i < 4)), Some(1.0));
    }

    /// Independent draws, uniform in [0, 1): a 64-bit linear congruential stream.
    fn uniform(state: &mut u64) -> f64 {
        *state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*state >> 11) as f64 / (1u64 << 53) as f64
    }

    /// An autoregressive series of unit variance that forgets 3 % a step.
    fn drifting(length: usize, state: &mut u64) -> Vec<f64> {
        let normal = |state: &mut u64| (0..12).map(|_| uniform(state)).sum::<f64>() - 6.0;
        let mut value = normal(state);
        (0..length)
            .map(|_| {
                value = 0.97 * value + (1.0f64 - 0.97 * 0.97).sqrt() * normal(state);
                value
            })
            .collect()
    }

    // q1.serial_dependence: two unrelated drifting series, 120 trials, 3 to 15 hits; rejected at
    // .05 by mid-P in 13.1 % and by shifts in 2.0 % (numpy, 1940 runs). Here 800 runs, seed 11.
    #[test]
    fn unrelated_drifting_series_are_not_called_related() {
        let (mut state, mut runs, mut by_shift, mut by_mid_p) = (11, 0u32, 0u32, 0u32);
        while runs < 800 {
            let weather = drifting(120, &mut state);
            let fault = drifting(120, &mut state);
            let hit: Vec<bool> = fault
                .iter()
                .map(|f| uniform(&mut state) < 1.0 / (1.0 + (3.2 - 1.5 * f).exp()))
                .collect();
            let hits = hit.iter().filter(|h| **h).count() as u64;
            if !(3..=15).contains(&hits) {
                continue;
            }
            runs += 1;
            let mut sorted = weather.clone();
            sorted.sort_by(f64::total_cmp);
            let cold: Vec<bool> = weather.iter().map(|t| *t < sorted[36]).collect();
            let both = cold.iter().zip(&hit).filter(|(c, h)| **c && **h).count() as u64;
            let table = TwoGroups::new(both, 36, hits - both, 84).expect("possible");
            by_mid_p += u32::from(mid_p(table) <= 0.05);
            by_shift += u32::from(shift_p(&cold, &hit).expect("long") <= 0.05);
        }
        let rate = |count: u32| f64::from(count) / f64::from(runs);
        assert!((rate(by_shift) - 0.020).abs() < 0.02, "shifts reject {}", rate(by_shift));
        assert!((rate(by_mid_p) - 0.131).abs() < 0.04, "mid-P rejects {}", rate(by_mid_p));
    }
}
