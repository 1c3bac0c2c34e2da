//! Censored lives of real parts against the fits that were published of them.
//!
//! The published figures are those of the documentation and the tests of the Python package reliability
//! 0.8 (LGPL-3.0), from which the data come; its optimiser stops up to 0.4 % beside the highest
//! likelihood, which lifelines 0.30.3 finds as we do.

use buswitness::numerics::survival::{Watched, kaplan_meier};
use buswitness::numerics::weibull::{Weibull, fit_weibull};

use super::record;

/// The lives of a table of times and events; `None` when captures are not at hand.
pub(super) fn lives(file: &str) -> Option<Vec<Watched>> {
    let bytes = record(&format!("lifetimes/{file}"))?;
    let mut rows = csv::Reader::from_reader(bytes.as_slice());
    let life = |row: Result<(f64, f64), csv::Error>| {
        let (to, event) = row.expect("time and event");
        Watched { from: 0.0, to, event }
    };
    Some(rows.deserialize().map(life).collect())
}

fn near(got: f64, published: f64, within: f64) {
    assert!((got / published - 1.0).abs() <= within, "{got} is not within {within} of {published}");
}

fn fit(lives: &[Watched]) -> Weibull {
    fit_weibull(lives, 0.95).expect("a fit")
}

// 31 vehicles, 10 failures. Published: 134,243 miles and shape 1.15586, ln likelihood -128.974;
// lifelines: 134651.0356, 1.1544267, -128.9738323. Kaplan-Meier: the package's own test has 22.999467075
// for the sum of the curve over all 31 times and 38.377898733 and 25.645200969 for its normal limits.
#[test]
fn captures_of_lives_vehicles_under_test() {
    let Some(lives) = lives("automotive.csv") else { return };
    let fit = fit(&lives);
    near(fit.scale, 134_243.0, 5e-3);
    near(fit.shape, 1.155_86, 5e-3);
    near(fit.scale, 134_651.035_6, 1e-6);
    near(fit.shape, 1.154_426_7, 1e-6);
    near(fit.ln_likelihood, -128.973_832_3, 1e-8);
    let curve = kaplan_meier(&lives, 0.95).expect("31 vehicles");
    let sum: f64 = lives.iter().map(|one| curve.at(one.to).map_or(1.0, |step| step.free)).sum();
    near(sum, 22.999_467_075_124_368, 1e-9);
}

// 13,645 vehicles of a maker, 1,350 failures. Published: 10,001.5 and shape .677348 (.645463 to .710807
// by the normal limits of its logarithm), ln likelihood -12273.2; lifelines: 10001.4566, .67734771.
#[test]
fn captures_of_lives_a_maker_with_defective_parts() {
    let Some(lives) = lives("defective_sample.csv") else { return };
    let fit = fit(&lives);
    near(fit.scale, 10_001.5, 1e-4);
    near(fit.shape, 0.677_348, 1e-5);
    near(fit.ln_likelihood, -12_273.166_817_27, 1e-8);
    near(fit.shape_low.expect("low"), 0.645_463, 1e-3);
    near(fit.shape_high.expect("high"), 0.710_807, 1e-3);
    assert!(fit.shape_high.is_some_and(|high| high < 1.0), "early failures");
}

// 100 failures, none censored. Published: 33,518.7 and shape 3.13461; lifelines: 33555.2245, 3.1371216.
#[test]
fn captures_of_lives_mileage_of_all_failures() {
    let Some(lives) = lives("mileage.csv") else { return };
    let fit = fit(&lives);
    near(fit.scale, 33_518.7, 2e-3);
    near(fit.shape, 3.134_61, 2e-3);
    near(fit.scale, 33_555.224_45, 1e-6);
    near(fit.shape, 3.137_121_58, 1e-6);
    assert!(fit.shape_low.is_some_and(|low| low > 1.0), "wear");
}
