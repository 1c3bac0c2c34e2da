//! Whether cold and wet together are worse than each by itself would make them.
//!
//! In: the trials of one vehicle. Out: the interaction contrast p11 − p10 − p01 + p00 under
//! independent Jeffreys posteriors of the four cells (Rothman, Greenland & Lash 2008, chapter 5):
//! its mean, 95 % interval and the probability that it is above 0, never a verdict. Refused below
//! six incidents and where a cell has fewer than five starts: then nothing separates them.

use serde::{Deserialize, Serialize};
use statrs::distribution::{Beta, ContinuousCDF};

use super::risk::{COLD, FAMILY, WET};
use super::trials::{Trial, tally};

/// Incidents below which nothing is said.
const LEAST_HITS: u64 = 6;
/// Starts of a cell below which nothing is said.
const LEAST_STARTS: u64 = 5;
/// Points by which each posterior is represented.
const POINTS: usize = 100;

/// Cold and wet by four cells.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Interaction {
    /// Hits and starts: cold and wet, cold and dry, warm and wet, warm and dry.
    pub cells: [(u64, u64); 4],
    /// Mean of the contrast; above 0 the two together are worse than their sum.
    pub contrast: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Probability that the contrast is above 0.
    pub above_zero: f64,
}

/// The contrast, or why nothing can be said.
///
/// # Errors
/// A sentence that says what is missing.
pub(super) fn interaction(trials: &[Trial<'_>]) -> Result<Interaction, String> {
    let [cold, wet] = [COLD, WET].map(|at| &FAMILY[at]);
    let cell = |is_cold: bool, is_wet: bool| {
        tally(trials, |trial| Some(trial.met(cold)? == is_cold && trial.met(wet)? == is_wet))
    };
    let cells = [cell(true, true), cell(true, false), cell(false, true), cell(false, false)];
    let names = ["cold and wet", "cold and dry", "warm and wet", "warm and dry"];
    let hits: u64 = cells.iter().map(|(hits, _)| hits).sum();
    if hits < LEAST_HITS {
        return Err(format!(
            "whether cold and wet together are worse than each alone cannot be said from {hits} \
             starts with an incident; it takes {LEAST_HITS}"
        ));
    }
    let thin: Vec<String> = cells
        .iter()
        .zip(names)
        .filter(|((_, starts), _)| *starts < LEAST_STARTS)
        .map(|((_, starts), name)| format!("{name} ({starts})"))
        .collect();
    if !thin.is_empty() {
        return Err(format!(
            "whether cold and wet together are worse than each alone cannot be said: too few \
             starts were {}; it takes {LEAST_STARTS} of each",
            thin.join(" and ")
        ));
    }
    contrast(cells).ok_or_else(|| "cold and wet could not be compared".to_owned())
}

/// The posterior of the contrast, each cell by the middles of equally probable slices.
fn contrast(cells: [(u64, u64); 4]) -> Option<Interaction> {
    let mean = |(hits, starts): (u64, u64)| (hits as f64 + 0.5) / (starts as f64 + 1.0);
    let mut points = Vec::new();
    for (hits, starts) in cells {
        let beta = Beta::new(hits as f64 + 0.5, starts.checked_sub(hits)? as f64 + 0.5).ok()?;
        let slices = (0..POINTS).map(|i| beta.inverse_cdf((i as f64 + 0.5) / POINTS as f64));
        points.push(slices.collect::<Vec<f64>>());
    }
    let sums = |a: &[f64], b: &[f64]| {
        let mut sums: Vec<f64> = a.iter().flat_map(|x| b.iter().map(move |y| x + y)).collect();
        sums.sort_by(f64::total_cmp);
        sums
    };
    let [both, only_cold, only_wet, neither] = points.as_slice() else { return None };
    let (plus, minus) = (sums(both, neither), sums(only_cold, only_wet));
    // Share of pairs whose difference is above a value: one walk along both sorted lists.
    let above = |value: f64| {
        let (mut smaller, mut count) = (0usize, 0u64);
        for sum in &plus {
            while minus.get(smaller).is_some_and(|other| sum - other > value) {
                smaller += 1;
            }
            count += smaller as u64;
        }
        count as f64 / (plus.len() as f64 * minus.len() as f64)
    };
    let quantile = |upper: f64| {
        let (mut low, mut high) = (-2.0, 2.0);
        for _ in 0..48 {
            let middle = f64::midpoint(low, high);
            if above(middle) > upper { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    };
    Some(Interaction {
        cells,
        contrast: mean(cells[0]) - mean(cells[1]) - mean(cells[2]) + mean(cells[3]),
        low: quantile(0.975),
        high: quantile(0.025),
        above_zero: above(0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // q1.interaction_contrast: two million draws (numpy, seed 21): mean .1817, -.1863 to .5044,
    // above 0 with probability .8570.
    #[test]
    fn eight_incidents_show_no_interaction() {
        let found = contrast([(5, 14), (2, 16), (0, 6), (1, 44)]).expect("cells");
        for (got, want) in [
            (found.contrast, 0.1817),
            (found.low, -0.1863),
            (found.high, 0.5044),
            (found.above_zero, 0.8570),
        ] {
            assert!((got - want).abs() < 0.004, "{got} {want}");
        }
    }
}
