//! Straight lines through points: least squares, the lower envelope, and the middle of all slopes.
//!
//! In: abscissae and ordinates of equal number. Out: slopes with errors. For beats that are counted:
//! the number of each beat from its times. Refuses points that all stand at one abscissa.

use super::centre::{in_order, median_in_order};

/// A fitted line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Rise for one of the abscissa.
    pub slope: f64,
    /// Ordinate at the middle abscissa.
    pub middle: f64,
    /// Standard error of the slope, for independent residuals.
    pub error: f64,
}

/// The number of each beat: sums of the rounded steps, never a rounding of the whole span.
///
/// `round((t − t₀) / T)` goes wrong as soon as the drift has grown to half a period; steps do not. `None`
/// when the period is not positive.
#[must_use]
pub fn cumulative_index(times: &[f64], period: f64) -> Option<Vec<f64>> {
    if period.is_nan() || period <= 0.0 {
        return None;
    }
    let mut at = 0.0;
    let mut index = Vec::with_capacity(times.len());
    for (n, time) in times.iter().enumerate() {
        if let Some(before) = n.checked_sub(1).and_then(|n| times.get(n)) {
            at += ((time - before) / period).round();
        }
        index.push(at);
    }
    Some(index)
}

/// The line of least squares; `None` with fewer than three points or a single abscissa.
#[must_use]
pub fn least_squares(x: &[f64], y: &[f64]) -> Option<Line> {
    let count = x.len() as f64;
    if x.len() != y.len() || x.len() < 3 {
        return None;
    }
    let (mean_x, mean_y) = (x.iter().sum::<f64>() / count, y.iter().sum::<f64>() / count);
    let spread: f64 = x.iter().map(|x| (x - mean_x).powi(2)).sum();
    if spread.is_nan() || spread <= 0.0 {
        return None;
    }
    let common: f64 = x.iter().zip(y).map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
    let slope = common / spread;
    let rest: f64 = x.iter().zip(y).map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2)).sum();
    let error = (rest / (count - 2.0) / spread).sqrt();
    Some(Line { slope, middle: mean_y, error })
}

/// Slope of the lower envelope: of that edge of the lower convex hull which lies over the mean
/// abscissa, the line under all points with the least sum of distances (Moon, Skelly & Towsley 1999).
///
/// `x` must rise. `None` with fewer than two points.
#[must_use]
pub fn lower_hull_slope(x: &[f64], y: &[f64]) -> Option<f64> {
    if x.len() != y.len() || x.len() < 2 {
        return None;
    }
    let mut hull: Vec<(f64, f64)> = Vec::new();
    for p in x.iter().copied().zip(y.iter().copied()) {
        while let [.., a, b] = hull.as_slice() {
            if (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0) > 0.0 {
                break;
            }
            hull.pop();
        }
        hull.push(p);
    }
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    hull.windows(2).find_map(|edge| match edge {
        [a, b] if a.0 <= mean && mean <= b.0 && b.0 > a.0 => Some((b.1 - a.1) / (b.0 - a.0)),
        _ => None,
    })
}

/// The middle of the slopes of all pairs (Theil 1950, Sen 1968): a few wild points do not move it.
///
/// Takes time with the square of the number of points. `None` without two abscissae.
#[must_use]
pub fn median_slope(x: &[f64], y: &[f64]) -> Option<f64> {
    if x.len() != y.len() {
        return None;
    }
    let mut slopes = Vec::with_capacity(x.len() * x.len().saturating_sub(1) / 2);
    let (mut xs, mut ys) = (x, y);
    while let (Some((x0, x_rest)), Some((y0, y_rest))) = (xs.split_first(), ys.split_first()) {
        slopes.extend(x_rest.iter().zip(y_rest).map(|(x1, y1)| in_order((y1 - y0) / (x1 - x0))));
        (xs, ys) = (x_rest, y_rest);
    }
    // Where abscissae rise, no two are the same.
    if !x.is_sorted_by(|a, b| a < b) {
        let mut pairs = (0..x.len()).flat_map(|n| x.iter().skip(n + 1).map(move |x1| (n, x1)));
        slopes.retain(|_| pairs.next().is_some_and(|(n, x1)| x1 - x[n] != 0.0));
    }
    median_in_order(&mut slopes)
}

/// Standard error of a slope over `count` evenly spaced points in `span`, from their scatter `sigma`.
#[must_use]
pub fn slope_precision(sigma: f64, count: u64, span: f64) -> Option<f64> {
    (count > 0 && span > 0.0).then(|| sigma * (12.0 / count as f64).sqrt() / span)
}

/// Probability that some two of `members` values, uniform on ±`range`, lie closer than `delta`.
///
/// The birthday approximation, as for a circle.
#[must_use]
pub fn some_pair_within(members: u32, range: f64, delta: f64) -> Option<f64> {
    if range.is_nan() || range <= 0.0 || delta.is_nan() || delta < 0.0 {
        return None;
    }
    let apart: f64 =
        (0..members).map(|n| (1.0 - f64::from(n) * 2.0 * delta / (2.0 * range)).max(0.0)).product();
    Some(1.0 - apart)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::lcg::Lcg;
    use crate::numerics::tolerances::holds;

    /// The log of the reference script: a lossy beat with one-sided jitter and a skewed clock.
    fn log(seed: u64, period: f64, count: u32, jitter: f64, loss: f64, skew: f64) -> Vec<f64> {
        let mut noise = Lcg(seed);
        let mut times = Vec::new();
        for k in 0..count {
            let kept = noise.uniform() >= loss;
            let late = jitter * noise.normal().abs();
            if kept {
                times.push(f64::from(k) * period * (1.0 + skew) + late);
            }
        }
        times
    }

    // q7.skew: numpy polyfit and the lower hull of Moon et al. 1999 on synthetic logs of 60 s.
    #[test]
    fn clock_skews() {
        for (seed, period, ppm, least, error, hull, global) in [
            (
                11,
                0.010,
                80.0,
                79.968_601_383_107_74,
                0.053_070_187_737_243_6,
                80.002_569_929_438_14,
                79.305_884_372_025_69,
            ),
            (
                12,
                0.100,
                80.0,
                79.839_362_325_937_97,
                0.180_159_513_267_435_65,
                79.993_327_597_312_96,
                79.839_362_325_937_97,
            ),
            (
                13,
                0.020,
                -35.0,
                -34.909_848_629_922_94,
                0.074_404_512_817_881_48,
                -35.000_349_615_973_42,
                -34.909_848_629_922_94,
            ),
            (
                14,
                0.020,
                95.0,
                95.050_701_670_309_79,
                0.075_599_875_402_222_43,
                95.001_064_499_385_54,
                95.050_701_670_309_79,
            ),
            (
                15,
                0.010,
                120.0,
                120.010_184_789_719_6,
                0.053_811_178_839_167_03,
                120.000_069_492_071_26,
                -96.849_830_408_777_38,
            ),
        ] {
            let count = if seed == 12 {
                600
            } else if period < 0.015 {
                6000
            } else {
                3000
            };
            let t = log(seed, period, count, 0.000_12, 0.001, ppm * 1e-6);
            let index = cumulative_index(&t, period).expect("a period");
            let x: Vec<f64> = index.iter().map(|n| n * period).collect();
            let y: Vec<f64> = t.iter().zip(&x).map(|(at, x)| (at - t[0]) - x).collect();
            let line = least_squares(&x, &y).expect("points");
            holds("lines::least_squares", line.slope * 1e6, least);
            holds("lines::least_squares", line.error * 1e6, error);
            holds("lines::lower_hull_slope", lower_hull_slope(&x, &y).expect("points") * 1e6, hull);
            // Rounding the whole span instead of the steps: the error that is to be avoided.
            let x: Vec<f64> = t.iter().map(|at| ((at - t[0]) / period).round() * period).collect();
            let y: Vec<f64> = t.iter().zip(&x).map(|(at, x)| (at - t[0]) - x).collect();
            holds(
                "lines::least_squares",
                least_squares(&x, &y).expect("points").slope * 1e6,
                global,
            );
        }
    }

    // q7.period: median, mean and index regression of a lossy beat of 20 ms with one outage.
    #[test]
    fn period_by_index() {
        let mut t = log(7, 0.020, 3000, 0.0004, 0.02, 0.0);
        t.retain(|t| *t < 30.0 || *t >= 30.18);
        assert_eq!(t.len(), 2948);
        let gaps: Vec<f64> = t.windows(2).map(|w| w[1] - w[0]).collect();
        let median = crate::numerics::centre::median(&gaps).expect("gaps");
        holds("lines::cumulative_index", median, 0.020_004_273_193_812_594);
        let mean = gaps.iter().sum::<f64>() / gaps.len() as f64;
        holds("lines::cumulative_index", mean, 0.020_352_908_165_142_62);
        let index = cumulative_index(&t, median).expect("a period");
        let from: Vec<f64> = t.iter().map(|x| x - t[0]).collect();
        let slope = least_squares(&index, &from).expect("points").slope;
        holds("lines::cumulative_index", slope, 0.019_999_997_401_376_424);
        // The values of q7.classify for the periodic row.
        let near = gaps.iter().filter(|g| (*g - median).abs() <= 0.2 * median).count();
        assert!((near as f64 / gaps.len() as f64 - 0.985_069_562_266_711_9).abs() < 1e-12);
    }

    // q7.skew.precision and q7.skew.collision: closed forms.
    #[test]
    fn precision_and_collision() {
        for (sigma, span, count, want) in [
            (1e-4, 60.0, 600, 0.235_702_260_395_515_87),
            (1e-4, 60.0, 6000, 0.074_535_599_249_993),
            (1e-4, 600.0, 6000, 0.007_453_559_924_999_3),
            (1e-3, 60.0, 600, 2.357_022_603_955_158_5),
            (1e-3, 60.0, 6000, 0.745_355_992_499_929_9),
            (1e-3, 600.0, 6000, 0.074_535_599_249_993),
        ] {
            let got = slope_precision(sigma, count, span).expect("a span") * 1e6;
            holds("lines::slope_precision", got, want);
        }
        for (delta, want) in [
            (0.5, 0.285_743_398_116_109_27),
            (1.0, 0.496_846_635_846_209_14),
            (2.0, 0.761_815_031_331_464_1),
            (5.0, 0.985_268_595_812_5),
        ] {
            let got = some_pair_within(12, 100.0, delta).expect("a range");
            holds("lines::some_pair_within", got, want);
        }
    }

    // By hand: the slopes of (0,1) (1,2) (2,2.5) (4,10) are 1, .75, 2.25, .5, 8/3, 3.75; middle 1.625.
    #[test]
    fn middle_of_slopes() {
        let got = median_slope(&[0.0, 1.0, 2.0, 4.0], &[1.0, 2.0, 2.5, 10.0]).expect("points");
        holds("lines::median_slope", got, 1.625);
        let x: Vec<f64> = (0..40).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| if x % 7.0 < 1.0 { 500.0 } else { 3.0 * x }).collect();
        assert!((median_slope(&x, &y).expect("points") - 3.0).abs() < 1e-9);
    }

    #[test]
    fn refusals() {
        assert_eq!(least_squares(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0]), None);
        assert_eq!(least_squares(&[1.0, 2.0], &[1.0, 2.0]), None);
        assert_eq!(lower_hull_slope(&[1.0], &[1.0]), None);
        assert_eq!(median_slope(&[1.0, 1.0], &[1.0, 2.0]), None);
        assert_eq!(cumulative_index(&[1.0], 0.0), None);
        assert_eq!(some_pair_within(2, 0.0, 1.0), None);
    }
}
