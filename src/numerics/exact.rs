//! Exact tests of a two-by-two table with fixed margins.
//!
//! In: [`TwoGroups`]. Out: p-values of Fisher's test, two-sided and upper, whole and mid-P, and
//! the smallest that the margins allow. Where the margins leave only one table (no hit at all,
//! only hits, an empty group) there is nothing to test and every p-value is 1.
//!
//! Two-sided means: all tables no more probable than the observed one. Mirror tables that tie in
//! exact arithmetic differ in floating point, so the comparison has a tolerance; without one a
//! symmetric table loses half of its p-value.

use super::logs::{ln_choose, log_sum_exp};
use super::table::TwoGroups;

/// Tables whose probabilities differ by less than this ratio are tied.
const TIE: f64 = 1e-7;

/// ln of the hypergeometric probability that `drawn` of `population` hold `k` of the `marked`.
///
/// Minus infinity for what cannot be drawn. Works in logarithms throughout, so it stays finite
/// where products of factorials overflow (population 100 000 and beyond).
#[must_use]
pub fn ln_hypergeometric(k: u64, marked: u64, population: u64, drawn: u64) -> f64 {
    if marked > population || drawn > population || k > drawn {
        return f64::NEG_INFINITY;
    }
    ln_choose(marked, k) + ln_choose(population - marked, drawn - k) - ln_choose(population, drawn)
}

/// Fisher's two-sided p: the share of tables no more probable than the observed one.
///
/// Source: Fisher 1935; two-sided rule and tie tolerance as in Fagerland, Lydersen & Laake 2017.
#[must_use]
pub fn fisher(table: TwoGroups) -> f64 {
    Spread::of(table).map_or(1.0, |spread| spread.share(|weight| weight <= TIE))
}

/// Two-sided mid-P: Fisher's p less half the probability of all tables tied with the observed.
///
/// Source: Lancaster 1961; Fagerland, Lydersen & Laake 2017, chapter 4. Less timid than Fisher's
/// test, which for small counts rejects far less often than its level says.
#[must_use]
pub fn mid_p(table: TwoGroups) -> f64 {
    Spread::of(table).map_or(1.0, |spread| {
        spread.share(|weight| weight < -TIE) + 0.5 * spread.share(|weight| weight.abs() <= TIE)
    })
}

/// One-sided p: the share of tables with at least as many hits in the first group.
#[must_use]
pub fn upper_p(table: TwoGroups) -> f64 {
    Spread::of(table).map_or(1.0, |spread| spread.upper(spread.observed))
}

/// One-sided mid-P: tables with more hits in the first group and half of the observed one.
#[must_use]
pub fn upper_mid_p(table: TwoGroups) -> f64 {
    Spread::of(table).map_or(1.0, |spread| {
        let (beyond, at) = (spread.upper(spread.observed + 1), spread.upper(spread.observed));
        0.5 * (beyond + at)
    })
}

/// The smallest two-sided mid-P that any table with these margins could have given.
///
/// To be shown beside every result that is not significant: it tells whether the counts could
/// have shown anything.
#[must_use]
pub fn smallest_mid_p(table: TwoGroups) -> f64 {
    Spread::of(table).map_or(1.0, |spread| {
        let least = spread.weights.iter().copied().fold(f64::INFINITY, f64::min);
        0.5 * spread.share(|weight| weight <= least + TIE)
    })
}

/// ln of the probability of each table with the same margins, less that of the observed one.
///
/// Built from ratios of neighbours: no factorial is needed, so nothing cancels at any size.
struct Spread {
    /// From the fewest hits in the first group to the most.
    weights: Vec<f64>,
    /// Position of the observed table, whose weight is 0.
    observed: usize,
    /// ln of the sum of all.
    total: f64,
}

impl Spread {
    /// `None` when the margins leave only one table.
    fn of(table: TwoGroups) -> Option<Spread> {
        let hits = table.hits1() + table.hits2();
        let lowest = hits.saturating_sub(table.trials2());
        let highest = hits.min(table.trials1());
        if lowest == highest {
            return None;
        }
        // ln P(x + 1) - ln P(x)
        let step = |x: u64| {
            let (n1, n2) = (table.trials1() as f64, table.trials2() as f64);
            let (x, hits) = (x as f64, hits as f64);
            let (more, fewer) = ((n1 - x) * (hits - x), (x + 1.0) * (n2 - hits + x + 1.0));
            more.ln() - fewer.ln()
        };
        let mut below = Vec::new();
        let mut weight = 0.0;
        for x in (lowest..table.hits1()).rev() {
            weight -= step(x);
            below.push(weight);
        }
        let observed = below.len();
        let mut weights: Vec<f64> = below.into_iter().rev().collect();
        weights.push(0.0);
        weight = 0.0;
        for x in table.hits1()..highest {
            weight += step(x);
            weights.push(weight);
        }
        let total = log_sum_exp(&weights);
        Some(Spread { weights, observed, total })
    }

    /// The probability of all tables whose weight is chosen.
    fn share(&self, chosen: impl Fn(f64) -> bool) -> f64 {
        let kept: Vec<f64> = self.weights.iter().copied().filter(|w| chosen(*w)).collect();
        (log_sum_exp(&kept) - self.total).exp().min(1.0)
    }

    /// The probability of the tables from a position on.
    fn upper(&self, from: usize) -> f64 {
        let tail = self.weights.get(from..).unwrap_or_default();
        (log_sum_exp(tail) - self.total).exp().min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;
    use proptest::prelude::*;

    fn table(hits1: u64, trials1: u64, hits2: u64, trials2: u64) -> TwoGroups {
        TwoGroups::new(hits1, trials1, hits2, trials2).expect("possible")
    }

    // q1.fisher.tea, .perondi, .ritland, .lampasona: scipy 1.17.1; printed in Fagerland, Lydersen
    // & Laake 2017 ch. 4 (Ritland .06287 / .04466). The last row is the fleet-sized table at which
    // products of factorials overflow, from exact integers (Python fractions).
    const REFERENCE: [([u64; 4], [f64; 4]); 6] = [
        (
            [3, 4, 1, 4],
            [0.485_714_285_714, 0.257_142_857_143, 0.242_857_142_857, 0.128_571_428_571],
        ),
        (
            [7, 34, 1, 34],
            [
                0.054_400_130_495_066,
                0.029_656_258_430_42,
                0.027_200_065_247_533,
                0.014_828_129_215_21,
            ],
        ),
        (
            [0, 16, 15, 72],
            [0.062_866_664_630_11, 0.044_659_691_201_875, 1.0, 0.981_793_026_571_766],
        ),
        (
            [9, 13, 4, 14],
            [
                0.056_982_645_588_111,
                0.039_141_776_720_859,
                0.041_234_800_556_378,
                0.023_393_931_689_126,
            ],
        ),
        (
            [0, 34, 3, 34],
            [0.238_805_970_149_254, 0.119_402_985_074_627, 1.0, 0.940_298_507_462_687],
        ),
        (
            [15, 350, 1185, 99_650],
            [2.806_428_066_43e-5, 1.749_937_689_52e-5, 2.806_428_066_43e-5, 1.749_937_689_52e-5],
        ),
    ];

    #[test]
    fn published_tables() {
        for ([x1, n1, x2, n2], [whole, mid, upper, upper_mid]) in REFERENCE {
            let table = table(x1, n1, x2, n2);
            holds("exact::fisher", fisher(table), whole);
            holds("exact::mid_p", mid_p(table), mid);
            holds("exact::upper_p", upper_p(table), upper);
            holds("exact::upper_mid_p", upper_mid_p(table), upper_mid);
        }
    }

    // q5.beforeafter.typical: 5 of 40 before, none of 30 after.
    #[test]
    fn thirty_clean_starts_are_no_proof() {
        holds("exact::upper_p", upper_p(table(5, 40, 0, 30)), 0.054_367_284_050_072);
        holds("exact::upper_mid_p", upper_mid_p(table(5, 40, 0, 30)), 0.027_183_642_025_036);
    }

    // q6.enrichment.batch, scipy 1.17.1: 7 of 24 failures among the 180 of 3000.
    #[test]
    fn enrichment() {
        holds("exact::upper_p", upper_p(table(7, 180, 17, 2820)), 3.603_438_800_047e-4);
        holds("exact::upper_mid_p", upper_mid_p(table(7, 180, 17, 2820)), 2.032_373_333_111e-4);
    }

    // q6.hypergeom: scipy's documented example, 7 of 20 marked, 12 drawn.
    #[test]
    fn hypergeometric_probabilities() {
        let published: [f64; 5] = [
            0.000_103_199_174_406_6,
            0.004_334_365_325_077_4,
            0.047_678_018_575_851_4,
            0.198_658_410_732_714_2,
            0.357_585_139_318_885_5,
        ];
        for (k, want) in (0..).zip(published) {
            holds("exact::ln_hypergeometric", ln_hypergeometric(k, 7, 20, 12), want.ln());
        }
        // Exact integers, Python fractions.
        let fleet = ln_hypergeometric(15, 1200, 100_000, 350);
        holds("exact::ln_hypergeometric", fleet, -10.764_825_834_841_995);
        assert!(ln_hypergeometric(8, 7, 20, 12).is_infinite());
        assert!(ln_hypergeometric(0, 21, 20, 12).is_infinite());
    }

    // Exact integers; twice these are the 7.7e-4 and .033 of the product rule of the methods note.
    #[test]
    fn smallest_p_of_few_hits() {
        let six = smallest_mid_p(table(2, 20, 4, 40));
        holds("exact::smallest_mid_p", six, 3.871_055_887_420_6e-4);
        let three = smallest_mid_p(table(0, 20, 3, 40));
        holds("exact::smallest_mid_p", three, 0.016_656_925_774_401);
        holds("exact::smallest_mid_p", smallest_mid_p(table(9, 13, 4, 14)), 2.492_733_681_32e-8);
    }

    #[test]
    fn one_possible_table_is_no_test() {
        for one in [table(0, 9, 0, 7), table(9, 9, 7, 7), table(3, 9, 0, 0), table(0, 0, 0, 0)] {
            for p in [fisher(one), mid_p(one), upper_p(one), upper_mid_p(one), smallest_mid_p(one)]
            {
                assert!((p - 1.0).abs() < 1e-15);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            failure_persistence: None,
            ..ProptestConfig::default()
        })]

        #[test]
        fn exchanging_groups_or_hits_changes_nothing(
            n1 in 0u64..60, n2 in 0u64..60, share1 in 0.0f64..1.0, share2 in 0.0f64..1.0
        ) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 60")]
            let hits = |n: u64, share: f64| ((n + 1) as f64 * share) as u64;
            let table = table(hits(n1, share1), n1, hits(n2, share2), n2);
            for same in [table.swapped(), table.inverted(), table.swapped().inverted()] {
                prop_assert!((fisher(table) - fisher(same)).abs() < 1e-12);
                prop_assert!((mid_p(table) - mid_p(same)).abs() < 1e-12);
            }
            prop_assert!(mid_p(table) <= fisher(table));
            prop_assert!(smallest_mid_p(table) <= mid_p(table) + 1e-15);
            // Both one-sided tails hold the observed table.
            let both = upper_mid_p(table) + upper_mid_p(table.swapped());
            prop_assert!((both - 1.0).abs() < 1e-12 || (both - 2.0).abs() < 1e-12);
        }
    }
}
