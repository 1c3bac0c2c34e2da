//! How often intervals cover and tests reject: by enumeration where that is possible, else by
//! simulation with fixed seeds. Test builds only.
//!
//! All of it is ignored in an ordinary run; `.ci/run` runs it in a step of its own
//! (`cargo test slow:: -- --ignored`). A simulated share of n runs is off by its own chance: the
//! allowances below are three standard errors of a share of .95 (or .05), .0065 for n = 10 000,
//! .0185 for 1 250, .025 for 700, beside what the method itself is known to miss.

use statrs::function::gamma::gamma_lr;

use super::binomial::ln_upper;
use super::bisection::quantile;
use super::clustered::clustered_curve;
use super::exact::{fisher, mid_p};
use super::firth::firth;
use super::lcg::Lcg;
use super::logs::{ln_choose, ln_factorial};
use super::max_selected::best_cut;
use super::proportion::{clopper_pearson, jeffreys, wilson};
use super::rate::{constant_rate_p, garwood};
use super::ratio::koopman;
use super::sequential::sprt_lines;
use super::shrinkage::{mostly_alike, shrink, weigh};
use super::strata;
use super::survival::{Watched, kaplan_meier, log_rank};
use super::table::TwoGroups;

fn binomial(n: u64, p: f64) -> Vec<f64> {
    (0..=n)
        .map(|x| (ln_choose(n, x) + x as f64 * p.ln() + (n - x) as f64 * (-p).ln_1p()).exp())
        .collect()
}

// q1.operating_characteristics: all tables of two binomials enumerated (scipy 1.17.1): how often
// Fisher's test and mid-P reject at .05, how often Koopman's interval covers the true ratio. The
// stored values have four places. mid-P never exceeded .05 without an effect.
#[test]
#[ignore = "slow: enumerates 100 000 tables"]
fn risk_tests_and_ratio_intervals_enumerated() {
    for (n1, n2, p2, ratio, by_fisher, by_mid_p, covered) in [
        (10, 30, 0.05, 1.0, 0.0066, 0.0255, 0.9772),
        (10, 30, 0.05, 4.0, 0.2154, 0.3434, 0.9675),
        (10, 30, 0.05, 10.0, 0.8505, 0.9164, 0.9623),
        (30, 90, 0.03, 1.0, 0.0183, 0.0315, 0.9686),
        (30, 90, 0.03, 4.0, 0.4188, 0.4762, 0.9496),
        (30, 90, 0.03, 8.0, 0.8977, 0.9154, 0.9559),
        (60, 240, 0.02, 1.0, 0.0189, 0.0321, 0.9571),
        (60, 240, 0.02, 4.0, 0.5441, 0.6121, 0.952),
        (60, 240, 0.02, 8.0, 0.9641, 0.9739, 0.9509),
    ] {
        let (of_first, of_second) = (binomial(n1, p2 * ratio), binomial(n2, p2));
        let (mut whole, mut mid, mut inside, mut left_out) = (0.0, 0.0, 0.0, 0.0);
        for (x1, a) in (0..).zip(&of_first) {
            for (x2, b) in (0..).zip(&of_second) {
                // What is left out is less than a tenth of the last stored place.
                if a * b < 1e-10 {
                    left_out += a * b;
                    continue;
                }
                let table = TwoGroups::new(x1, n1, x2, n2).expect("possible");
                let interval = koopman(table, 0.95).expect("two groups");
                let covers = interval.low <= ratio && interval.high.is_none_or(|h| ratio <= h);
                whole += if fisher(table) <= 0.05 { a * b } else { 0.0 };
                mid += if mid_p(table) <= 0.05 { a * b } else { 0.0 };
                inside += if covers { a * b } else { 0.0 };
            }
        }
        assert!(left_out < 1e-5);
        for (got, want) in [(whole, by_fisher), (mid, by_mid_p), (inside, covered)] {
            assert!((got - want).abs() < 1e-4, "{n1}/{n2} x{ratio}: {got} {want}");
        }
        assert!(ratio > 1.0 || mid <= 0.05);
    }
}

// One proportion: Clopper-Pearson covers at least 95 % at every risk (Clopper & Pearson 1934), the
// one-sided end of no hit in n too. Jeffreys' and Wilson's cover 95 % on the mean over risks and
// no less than about 88 and 83 % at the worst of them (Brown, Cai & DasGupta 2001).
#[test]
#[ignore = "slow: enumerates all counts at 199 risks"]
fn proportion_intervals_enumerated() {
    for n in [10, 30, 60] {
        let ends = |interval: fn(u64, u64, f64) -> Option<super::proportion::Interval>| {
            (0..=n).map(|x| interval(x, n, 0.95).expect("trials")).collect::<Vec<_>>()
        };
        let all = [ends(clopper_pearson), ends(jeffreys), ends(wilson)];
        let (mut sums, mut least) = ([0.0; 3], [1.0f64; 3]);
        for step in 1..200 {
            let p = f64::from(step) / 200.0;
            let weights = binomial(n, p);
            for (kind, intervals) in all.iter().enumerate() {
                let covered: f64 = intervals
                    .iter()
                    .zip(&weights)
                    .filter(|(own, _)| own.low <= p && p <= own.high)
                    .map(|(_, weight)| weight)
                    .sum();
                sums[kind] += covered / 199.0;
                least[kind] = least[kind].min(covered);
            }
        }
        assert!(least[0] >= 0.95 - 1e-9, "{n}: Clopper-Pearson {}", least[0]);
        for kind in [1, 2] {
            assert!((sums[kind] - 0.95).abs() < 0.012, "{n}: mean {}", sums[kind]);
            assert!(least[kind] > 0.82, "{n}: least {}", least[kind]);
        }
        // No hit in n: a risk above the one-sided 95 % end shows at least one hit in 95 %.
        let end = clopper_pearson(0, n, 0.9).expect("trials").high;
        let some = ln_upper(1, n, end).expect("a risk").exp();
        assert!((some - 0.95).abs() < 1e-6);
    }
}

// A rate: Garwood's interval covers at least 95 % at every mean; the exact test of a constant rate
// rejects no more than 5 %.
#[test]
#[ignore = "slow: enumerates counts"]
fn rate_intervals_and_the_constant_rate_enumerated() {
    let ends: Vec<_> = (0..=90).map(|x| garwood(x, 1.0, 0.95).expect("a rate")).collect();
    for step in 1..=300 {
        let mean = f64::from(step) / 10.0;
        let covered: f64 = (0u32..)
            .zip(&ends)
            .filter(|(_, own)| own.low <= mean && mean <= own.high)
            .map(|(x, _)| (f64::from(x) * mean.ln() - mean - ln_factorial(x.into())).exp())
            .sum();
        assert!(covered >= 0.95 - 1e-9, "mean {mean}: {covered}");
    }
    let minutes = [8.0, 40.0, 90.0, 200.0];
    let total: f64 = minutes.iter().sum();
    for events in [3u64, 6, 9] {
        let mut rejected = 0.0;
        for a in 0..=events {
            for b in 0..=events - a {
                for c in 0..=events - a - b {
                    let counts = [a, b, c, events - a - b - c];
                    let p = constant_rate_p(&counts, &minutes).expect("spans");
                    let weight: f64 = counts
                        .iter()
                        .zip(minutes)
                        .map(|(x, t)| *x as f64 * (t / total).ln() - ln_factorial(*x))
                        .sum();
                    rejected += if p <= 0.05 { (weight + ln_factorial(events)).exp() } else { 0.0 };
                }
            }
        }
        assert!(rejected <= 0.05 && rejected > 0.005, "{events} events: {rejected}");
    }
}

// Firth's profile interval: 60 trials, two binary conditions of which one multiplies the odds by
// e² and the other does nothing. 700 vehicles, seed 21.
#[test]
#[ignore = "slow: 700 profiles"]
fn firths_profile_interval_covers() {
    let mut lcg = Lcg(21);
    let (mut fitted, mut covered, mut rejected) = (0u32, [0u32; 2], 0u32);
    while fitted < 700 {
        let (mut rows, mut hits) = (Vec::new(), Vec::new());
        for _ in 0..60 {
            let row =
                [lcg.uniform() < 0.3, lcg.uniform() < 0.4].map(|met| f64::from(u8::from(met)));
            hits.push(lcg.uniform() < 1.0 / (1.0 + (2.5 - 2.0 * row[0]).exp()));
            rows.push(row.to_vec());
        }
        let Some(effects) = firth(&rows, &hits, 0.95) else { continue };
        fitted += 1;
        for (slot, (effect, truth)) in covered.iter_mut().zip(effects[1..].iter().zip([2.0, 0.0])) {
            let inside = effect.low.is_none_or(|low| low <= truth)
                && effect.high.is_none_or(|high| truth <= high);
            *slot += u32::from(inside);
        }
        rejected += u32::from(effects[2].p_value <= 0.05);
    }
    for count in covered {
        let share = f64::from(count) / f64::from(fitted);
        assert!((0.925..=0.985).contains(&share), "covers {share}");
    }
    let share = f64::from(rejected) / f64::from(fitted);
    assert!((0.01..=0.075).contains(&share), "rejects {share}");
}

/// Forty subjects that share a rate, watched for unlike spans.
fn watched(lcg: &mut Lcg, subjects: usize, rate: f64, longest: f64) -> Vec<Watched> {
    (0..subjects)
        .map(|_| {
            let event = -(1.0 - lcg.uniform()).ln() / rate;
            let end = longest * (0.3 + 0.7 * lcg.uniform());
            if event <= end { Watched::until_event(event) } else { Watched::censored(end) }
        })
        .collect()
}

// The curve's log(-log) interval at one time, and Brookmeyer & Crowley's for the median; the
// log-rank test of two halves that do not differ. 2000 samples of 40, seed 22.
#[test]
#[ignore = "slow: 2000 curves"]
fn survival_intervals_cover() {
    let mut lcg = Lcg(22);
    let (mut told, mut inside, mut median_inside, mut rejected) = (0u32, 0u32, 0u32, 0u32);
    let runs = 2000;
    for _ in 0..runs {
        let all = watched(&mut lcg, 40, 0.1, 12.0);
        let curve = kaplan_meier(&all, 0.95).expect("subjects");
        if let Some((low, high)) = curve.at(3.0).and_then(|step| step.low.zip(step.high)) {
            told += 1;
            let truth = (-0.3f64).exp();
            inside += u32::from(low <= truth && truth <= high);
        }
        let median = curve.quantile(0.5);
        let truth = 2f64.ln() / 0.1;
        let covers = median.low.is_none_or(|low| low <= truth)
            && median.high.is_none_or(|high| truth <= high);
        median_inside += u32::from(covers);
        let p = log_rank(&[&all[..20], &all[20..]]).expect("events").p_value;
        rejected += u32::from(p <= 0.05);
    }
    let share = |count: u32, of: u32| f64::from(count) / f64::from(of);
    assert!(told > runs - 20, "an interval is nearly always told");
    assert!((0.935..=0.985).contains(&share(inside, told)), "{}", share(inside, told));
    assert!(share(median_inside, runs) >= 0.935, "{}", share(median_inside, runs));
    assert!((0.03..=0.065).contains(&share(rejected, runs)), "{}", share(rejected, runs));
}

// Vehicles that differ: twelve with thirty starts each, half of them never ill. The interval by
// clusters covers the fleet's share, Greenwood's does not. 1000 fleets, seed 23.
#[test]
#[ignore = "slow: 1000 fleets"]
fn clustered_interval_covers_where_greenwoods_does_not() {
    let mut lcg = Lcg(23);
    let (mut told, mut by_clusters, mut by_greenwood) = (0u32, 0u32, 0u32);
    // Of the starts of a vehicle, this share has its incident, evenly over ten minutes.
    let truth = 1.0 - 0.5 * 0.25;
    for _ in 0..1000 {
        let fleet: Vec<Vec<Watched>> = (0..12)
            .map(|_| {
                let ill = lcg.uniform() < 0.5;
                let risk = if ill { 0.5 * lcg.uniform() } else { 0.0 };
                (0..30)
                    .map(|_| match lcg.uniform() < risk {
                        true => Watched::until_event(10.0 * lcg.uniform()),
                        false => Watched::censored(10.0 + 20.0 * lcg.uniform()),
                    })
                    .collect()
            })
            .collect();
        let (Some(curve), Some(plain)) =
            (clustered_curve(&fleet, 0.95), kaplan_meier(&fleet.concat(), 0.95))
        else {
            continue;
        };
        let ends = |curve: &super::survival::Curve| {
            curve.at(10.0).and_then(|step| step.low.zip(step.high))
        };
        let (Some(wide), Some(narrow)) = (ends(&curve), ends(&plain)) else { continue };
        told += 1;
        by_clusters += u32::from(wide.0 <= truth && truth <= wide.1);
        by_greenwood += u32::from(narrow.0 <= truth && truth <= narrow.1);
    }
    let share = |count: u32| f64::from(count) / f64::from(told);
    assert!(told > 980);
    assert!(share(by_clusters) >= 0.92, "by clusters {}", share(by_clusters));
    assert!(share(by_greenwood) < 0.75, "Greenwood {}", share(by_greenwood));
}

// A threshold: the range of cuts that do about as well holds the true one in about 95 % (Python, 4000
// runs each: .93, .97 and .96 for three pairs of risks; with chi-squared's 3.84 only .78); without an effect the
// p-value of the search is below .05 in no more than 5 %. 1250 vehicles each, seed 24.
#[test]
#[ignore = "slow: 2500 searches"]
fn the_range_of_cuts_holds_the_true_one() {
    let mut lcg = Lcg(24);
    let (mut found, mut inside) = (0u32, 0u32);
    while found < 1250 {
        let values: Vec<f64> = (0..80).map(|_| 30.0 * lcg.uniform() - 10.0).collect();
        let hits: Vec<bool> = values
            .iter()
            .map(|value| lcg.uniform() < if *value <= 2.0 { 0.3 } else { 0.03 })
            .collect();
        let Some(cut) = best_cut(&values, &hits, 0.1) else { continue };
        if hits.iter().filter(|hit| **hit).count() < 6 {
            continue;
        }
        found += 1;
        let truth = values.iter().copied().filter(|value| *value <= 2.0).fold(-10.0, f64::max);
        inside += u32::from(cut.range.0 <= truth && truth <= cut.range.1);
    }
    let share = f64::from(inside) / f64::from(found);
    assert!(share >= 0.90, "holds {share}");
    let (mut runs, mut rejected) = (0u32, 0u32);
    while runs < 1250 {
        let values: Vec<f64> = (0..60).map(|_| lcg.uniform()).collect();
        let hits: Vec<bool> = (0..60).map(|_| lcg.uniform() < 0.12).collect();
        let Some(cut) = best_cut(&values, &hits, 0.1) else { continue };
        runs += 1;
        rejected += u32::from(cut.p_value <= 0.05);
    }
    let share = f64::from(rejected) / f64::from(runs);
    assert!((0.01..=0.06).contains(&share), "rejects {share}");
}

// Two strata of unlike risk, no difference within: one-sided mid-P at .05. 10 000 pairs, seed 25.
#[test]
#[ignore = "slow: 10 000 pairs of tables"]
fn stratified_mid_p_keeps_its_level() {
    let mut lcg = Lcg(25);
    let mut rejected = 0u32;
    for _ in 0..10_000 {
        let mut drawn = |n: u64, p: f64| (0..n).filter(|_| lcg.uniform() < p).count() as u64;
        let tables = [(20, 15, 0.3), (40, 50, 0.03)].map(|(n1, n2, p)| {
            TwoGroups::new(drawn(n1, p), n1, drawn(n2, p), n2).expect("possible")
        });
        rejected += u32::from(strata::upper_mid_p(&tables).expect("few hits") <= 0.05);
    }
    let share = f64::from(rejected) / 10_000.0;
    assert!((0.03..=0.06).contains(&share), "rejects {share}");
}

// q5.sprt.oc: exact course of the test of .005 against .15, both errors .05, up to 200 starts: how
// often a risk is called fixed or broken, and after how many starts on the mean.
#[test]
#[ignore = "slow: with its fellows"]
fn sequential_test_followed_exactly() {
    let lines = sprt_lines(0.005, 0.15, 0.05, 0.05).expect("risks");
    for (risk, fixed, broken, starts) in [
        (0.005, 0.979_324_328_649_298, 0.020_675_671_305_416, 20.485_644_328_943),
        (0.05, 0.510_373_948_046_008, 0.489_619_491_089_832, 22.716_517_423_484),
        (0.15, 0.048_922_848_248_240, 0.951_077_151_675_048, 10.403_658_046_008),
    ] {
        let mut open = vec![1.0];
        let (mut called_fixed, mut called_broken, mut sum) = (0.0, 0.0, 0.0);
        for trial in 1..=200u32 {
            sum += open.iter().sum::<f64>();
            let mut next = vec![0.0; open.len() + 1];
            for (hits, weight) in open.iter().enumerate() {
                next[hits] += weight * (1.0 - risk);
                next[hits + 1] += weight * risk;
            }
            for (hits, weight) in next.iter_mut().enumerate() {
                let at = hits as f64 - lines.slope * f64::from(trial);
                if at <= -lines.accept {
                    called_fixed += std::mem::take(weight);
                } else if at >= lines.reject {
                    called_broken += std::mem::take(weight);
                }
            }
            open = next;
        }
        for (got, want) in [(called_fixed, fixed), (called_broken, broken), (sum, starts)] {
            assert!((got - want).abs() < 1e-9 * want.max(1.0), "{risk}: {got} {want}");
        }
    }
}

// q6.ranking.simulation: 200 batches, one in twenty bad: of the ten with the greatest probability of a ratio
// above 2 so many have one. numpy, with a gamma distribution fitted to them: .6725, by raw ratios .4995. Both
// sides are simulated, 2,000 places each: three standard errors of the difference are .045. And the
// intervals of the shrunk ratios hold what they say.
#[test]
#[ignore = "slow: forty thousand shrunk ratios"]
fn bad_batches_are_ranked_first() {
    let mut lcg = Lcg(8);
    let exponential = |lcg: &mut Lcg| -(1.0 - lcg.uniform()).ln();
    let of_eight = |lcg: &mut Lcg| (0..8).map(|_| exponential(lcg)).sum::<f64>();
    let (mut found, mut covered, mut raw) = (0.0, 0.0, 0.0);
    for _ in 0..200 {
        let mut batches: Vec<(f64, f64, f64)> = Vec::new();
        for _ in 0..200 {
            let level = lcg.uniform();
            let expected = 8.0 * quantile(1e3, level, |at| gamma_lr(0.6, at)) + 0.05;
            let bad = lcg.uniform() < 0.05;
            let ratio = of_eight(&mut lcg) / if bad { 2.0 } else { 8.0 };
            let (mut events, mut at) = (0.0, exponential(&mut lcg));
            while at < ratio * expected {
                (events, at) = (events + 1.0, at + exponential(&mut lcg));
            }
            batches.push((ratio, events, expected));
        }
        let groups: Vec<(f64, f64)> = batches.iter().map(|b| (b.1, b.2)).collect();
        let told = weigh(mostly_alike(), &groups).expect("groups");
        let mut ranked: Vec<(f64, f64, f64)> = Vec::new();
        for (ratio, events, expected) in batches {
            let own = shrink(&told, events, expected, 0.95).expect("possible");
            covered += f64::from(u8::from(own.low <= ratio && ratio <= own.high));
            ranked.push((own.above_two, events / expected, ratio));
        }
        let bad = |ranked: &[(f64, f64, f64)]| {
            ranked.iter().take(10).filter(|r| r.2 > 2.0).count() as f64
        };
        ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
        raw += bad(&ranked);
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        found += bad(&ranked);
    }
    let (found, raw, covered) = (found / 2e3, raw / 2e3, covered / 4e4);
    assert!((found - 0.6725).abs() < 0.045 && (raw - 0.4995).abs() < 0.045, "{found} {raw}");
    assert!((0.94..0.97).contains(&covered), "{covered}");
}
