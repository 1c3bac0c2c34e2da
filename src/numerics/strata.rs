//! Two groups compared within strata, exactly.
//!
//! In: a two-by-two table for each stratum (each weather, each vehicle). Out: one-sided p-values
//! of the exact conditional test of a common odds ratio (Gart 1970): the hits of the first group,
//! added over strata, given all margins. A difference between strata cannot pass for one between
//! groups. Strata whose margins leave only one table add nothing.

use super::exact::ln_hypergeometric;
use super::table::TwoGroups;

/// Most hits of all strata together for which the distribution is worked out.
const MOST_HITS: u64 = 20_000;

/// P of at least as many hits in the first group: the whole observed sum counts. 1 when there is
/// nothing to compare; `None` for more than 20 000 hits.
#[must_use]
pub fn upper_p(strata: &[TwoGroups]) -> Option<f64> {
    tails(strata).map(|(beyond, at)| (beyond + at).min(1.0))
}

/// Mid-P of the same tail: half of the observed sum's probability counts (Lancaster 1961).
#[must_use]
pub fn upper_mid_p(strata: &[TwoGroups]) -> Option<f64> {
    tails(strata).map(|(beyond, at)| (beyond + at / 2.0).min(1.0))
}

/// Probability of more hits in the first group than observed, and of exactly as many.
fn tails(strata: &[TwoGroups]) -> Option<(f64, f64)> {
    let hits: u64 = strata.iter().map(|table| table.hits1() + table.hits2()).sum();
    if hits > MOST_HITS {
        return None;
    }
    // The probability of each number of hits in the first group beyond the least possible. Sums of what is
    // above 0 keep their digits; what is less than 1e-300 comes out as nothing, as it does in the answer.
    let (mut spread, mut observed) = (vec![1.0], 0usize);
    for table in strata {
        let hits = table.hits1() + table.hits2();
        let population = table.trials1() + table.trials2();
        let least = hits.saturating_sub(table.trials2());
        let most = hits.min(table.trials1());
        observed += usize::try_from(table.hits1() - least).ok()?;
        if least == most {
            continue;
        }
        let own: Vec<f64> = (least..=most)
            .map(|x| ln_hypergeometric(x, hits, population, table.trials1()).exp())
            .collect();
        let mut joined = vec![0.0; spread.len() + own.len() - 1];
        for (j, b) in own.iter().enumerate() {
            let slots = joined.get_mut(j..).unwrap_or_default();
            for (slot, a) in slots.iter_mut().zip(&spread) {
                *slot += a * b;
            }
        }
        spread = joined;
    }
    let at = *spread.get(observed)?;
    // The smallest first: they are not lost beside the largest.
    let beyond = spread.get(observed + 1..)?.iter().rev().sum();
    Some((beyond, at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::exact;
    use crate::numerics::tolerances::holds;

    fn table(x1: u64, n1: u64, x2: u64, n2: u64) -> TwoGroups {
        TwoGroups::new(x1, n1, x2, n2).expect("possible")
    }

    // q1.exact_stratified: R mantelhaen.test(exact = TRUE); mid-P by the same convolution.
    #[test]
    fn two_strata() {
        let strata = [table(5, 14, 0, 6), table(2, 16, 1, 44)];
        holds("strata::upper_p", upper_p(&strata).expect("few hits"), 0.028_376_455_630_085);
        let mid = upper_mid_p(&strata).expect("few hits");
        holds("strata::upper_mid_p", mid, 0.015_244_797_971_482);
    }

    #[test]
    fn one_stratum_is_fishers_test_and_empty_ones_add_nothing() {
        let one = table(7, 34, 1, 34);
        let nothing = [table(0, 9, 0, 7), one, table(0, 0, 2, 5)];
        for strata in [&[one][..], &nothing[..]] {
            holds("strata::upper_p", upper_p(strata).expect("few hits"), exact::upper_p(one));
            let mid = upper_mid_p(strata).expect("few hits");
            holds("strata::upper_mid_p", mid, exact::upper_mid_p(one));
        }
        holds("strata::upper_p", upper_p(&[]).expect("no hits"), 1.0);
    }
}
