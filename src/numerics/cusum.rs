//! Cumulative sums: a small lasting rise or fall of a level, found soon, and how often chance finds one.
//!
//! In: values, the level they should have, a slack. Out: the sums, and the run length to an alarm.
//! Refuses nothing; values that are no numbers stay in the sum.

use statrs::distribution::{ContinuousCDF, Normal};

/// Sums of what lies above the target by more than the slack, never below 0 (Page 1954).
#[must_use]
pub fn upper(values: &[f64], target: f64, slack: f64) -> Vec<f64> {
    sums(values.iter().map(|v| v - target - slack))
}

/// Sums of what lies below the target by more than the slack, never below 0 (Page 1954).
#[must_use]
pub fn lower(values: &[f64], target: f64, slack: f64) -> Vec<f64> {
    sums(values.iter().map(|v| target - slack - v))
}

fn sums(steps: impl Iterator<Item = f64>) -> Vec<f64> {
    steps
        .scan(0.0f64, |sum, step| {
            *sum = (*sum + step).max(0.0);
            Some(*sum)
        })
        .collect()
}

/// Mean number of normal values until a one-sided sum passes `limit`, when the mean is off by `shift`
/// standard deviations (Brook & Evans 1972: a chain of `states` steps). `None` when no chain can be made.
#[must_use]
pub fn run_length(limit: f64, slack: f64, shift: f64, states: usize) -> Option<f64> {
    let normal = Normal::new(0.0, 1.0).ok()?;
    if states == 0 || limit.is_nan() || limit <= 0.0 {
        return None;
    }
    let width = 2.0 * limit / (2.0 * states as f64 - 1.0);
    // (I − P) x = 1, solved by elimination; the matrix is diagonally dominant, so no pivots are needed.
    let mut rows: Vec<Vec<f64>> = (0..states)
        .map(|from| {
            let cell = |to: usize| {
                let low = (to as f64 - from as f64) * width - width / 2.0 + slack - shift;
                let below = if to == 0 { 0.0 } else { normal.cdf(low) };
                f64::from(u8::from(from == to)) - (normal.cdf(low + width) - below)
            };
            (0..states).map(cell).chain([1.0]).collect()
        })
        .collect();
    for pivot in 0..states {
        let (above, below) = rows.split_at_mut(pivot + 1);
        let lead = above.last()?;
        for row in below {
            let factor = row[pivot] / lead[pivot];
            for (cell, of_lead) in row.iter_mut().zip(lead).skip(pivot) {
                *cell -= factor * of_lead;
            }
        }
    }
    let mut solved = vec![0.0; states];
    for place in (0..states).rev() {
        let row = &rows[place];
        let known: f64 =
            row[place + 1..states].iter().zip(&solved[place + 1..]).map(|(a, b)| a * b).sum();
        solved[place] = (row[states] - known) / row[place];
    }
    solved.first().copied().filter(|length| length.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // q7.cusum.nist: NIST/SEMATECH e-Handbook 6.3.2.3.1 (target 325, k = .3175, h = 4.1959).
    #[test]
    fn published_example() {
        let values = [
            324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6,
            324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
        ];
        let high = upper(&values, 325.0, 0.3175);
        let wanted = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035];
        for (got, want) in high[12..].iter().zip(wanted) {
            holds("cusum::upper", *got, want);
        }
        holds("cusum::upper", high[4], 0.0325);
        assert_eq!(high.iter().position(|s| *s > 4.1959), Some(13));
        let low = lower(&values, 325.0, 0.3175);
        for (place, want) in [(1, 0.0075), (3, 0.3325), (6, 0.5575), (7, 0.715), (10, 0.3125)] {
            holds("cusum::lower", low[place], want);
        }
    }

    // q7.cusum.arl: a chain of 120 states with scipy's normal; Montgomery prints 336, 930, 8.38, 10.4.
    #[test]
    fn run_lengths() {
        for (limit, shift, want) in [
            (4.0, 0.0, 335.306_824_811_501_6),
            (5.0, 0.0, 930.493_622_578_499_6),
            (4.0, 1.0, 8.383_354_719_745_475),
            (5.0, 1.0, 10.376_211_400_308_541),
        ] {
            holds("cusum::run_length", run_length(limit, 0.5, shift, 120).expect("a chain"), want);
        }
        assert_eq!(run_length(0.0, 0.5, 0.0, 10), None);
    }
}
