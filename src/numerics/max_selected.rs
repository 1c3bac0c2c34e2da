//! A threshold that was searched for: what the best of many cuts is worth.
//!
//! In: a covariate and a yes or no for each trial. Out: the cut that separates best, and the
//! probability that the best of all cuts separates as well when the covariate means nothing. The
//! search is paid for: the p-value is that of the whole procedure (Miller & Siegmund 1982; Lausen
//! & Schumacher 1992), exact and not by their approximation. Refuses values that are not finite.

use super::circular::SHORTEST_SERIES;
use super::logs::{ln_choose, log_sum_exp};

/// The best cut of all.
#[derive(Debug, Clone, PartialEq)]
pub struct BestCut {
    /// Trials at or below this value are the lower side.
    pub at: f64,
    /// The largest standardised difference, at this cut; positive when the hits lie below.
    pub z: f64,
    /// Exact probability of so large a difference at any cut, two-sided.
    pub p_value: f64,
    /// Smallest and largest cut whose difference is not clearly smaller than the best one: z² at
    /// most 7.35 below the best z², the 95 % point for a threshold (Hansen 2000). The 3.84 of an
    /// ordinary parameter holds the true cut in 80 % only: a threshold has no curvature.
    pub range: (f64, f64),
    /// Hits and trials at or below the cut, then above it.
    pub counts: [u64; 4],
}

/// The 95 % point of the likelihood ratio of a threshold, −2 ln(1 − √0.95): Hansen 2000
/// (Econometrica 68:575), table 1.
const THRESHOLD_95: f64 = 7.35;

/// A cut that may be chosen.
struct Cut {
    value: f64,
    /// Trials at or below.
    below: usize,
    hits: usize,
}

/// The cut of `values` that separates the hits best, among cuts that leave at least `least` (as in
/// 0.1) of the trials on either side.
///
/// The statistic is |k − mK/n| over its standard deviation under permutation. Its p-value is
/// exact: the orders of hits and misses in which no cut reaches the observed value are counted by
/// dynamic programming, so ties are no trouble and no random numbers are needed. The trials are
/// taken for independent; for series in time see [`super::circular`]. `None` without a hit, without
/// a miss, without a cut, for unlike lengths and values that are not finite.
#[must_use]
pub fn best_cut(values: &[f64], hits: &[bool], least: f64) -> Option<BestCut> {
    let trials = values.len();
    let all_hits = hits.iter().filter(|hit| **hit).count();
    let usable = trials == hits.len() && values.iter().all(|value| value.is_finite());
    if !usable || all_hits == 0 || all_hits == trials {
        return None;
    }
    let cuts = cuts(values, hits, least);
    let (k, n) = (all_hits as f64, trials as f64);
    let z = |below: usize, hits: usize| {
        let m = below as f64;
        (hits as f64 - m * k / n) / (k * (n - k) * m * (n - m) / (n * n * (n - 1.0))).sqrt()
    };
    let size = |cut: &Cut| z(cut.below, cut.hits).abs();
    // Of equally good cuts the lowest.
    let best = cuts.iter().reduce(|a, b| if size(b) > size(a) + 1e-9 { b } else { a })?;
    let reached = size(best) - 1e-9;
    let close = |cut: &&Cut| size(best).powi(2) - size(cut).powi(2) <= THRESHOLD_95;
    let same_side = |cut: &&Cut| z(cut.below, cut.hits) * z(best.below, best.hits) > 0.0;
    let near: Vec<f64> = cuts.iter().filter(close).filter(same_side).map(|cut| cut.value).collect();
    let counts = [best.hits, best.below, all_hits - best.hits, trials - best.below];
    Some(BestCut {
        at: best.value,
        z: z(best.below, best.hits),
        p_value: reaching(&cuts, trials, all_hits, |below, hits| z(below, hits).abs() >= reached),
        range: (*near.first()?, *near.last()?),
        counts: counts.map(|count| count as u64),
    })
}

/// The share of circular shifts of the hits along the trials, the observed one included, at which
/// the best of all cuts separates at least as well as observed: for trials in order of time whose
/// covariate and hits both come in spells.
///
/// The smallest possible value is 1 / trials. `None` as for [`best_cut`], and for fewer trials
/// than [`SHORTEST_SERIES`].
#[must_use]
pub fn shift_p(values: &[f64], hits: &[bool], least: f64) -> Option<f64> {
    let trials = values.len();
    let all = hits.iter().filter(|hit| **hit).count();
    let usable = trials == hits.len() && values.iter().all(|value| value.is_finite());
    if !usable || trials < SHORTEST_SERIES || all == 0 || all == trials {
        return None;
    }
    // Where the trials stand when sorted by value; the cuts are the same at every shift.
    let mut order: Vec<usize> = (0..trials).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]).then(a.cmp(b)));
    let ends: Vec<usize> = cuts(values, hits, least).iter().map(|cut| cut.below).collect();
    if ends.is_empty() {
        return None;
    }
    let (k, n) = (all as f64, trials as f64);
    let largest = |shift: usize| {
        let (mut best, mut below, mut hit_below) = (0.0f64, 0usize, 0usize);
        for end in &ends {
            for at in order.get(below..*end).unwrap_or_default() {
                hit_below += usize::from(hits[(at + shift) % trials]);
            }
            below = *end;
            let m = below as f64;
            let off = (hit_below as f64 - m * k / n).abs();
            best = best.max(off / (m * (n - m)).sqrt());
        }
        best
    };
    let observed = largest(0) - 1e-12;
    let as_far = (0..trials).filter(|shift| largest(*shift) >= observed).count();
    Some(as_far as f64 / n)
}

/// The cuts between different values that leave enough on both sides, from low to high.
fn cuts(values: &[f64], hits: &[bool], least: f64) -> Vec<Cut> {
    let mut order: Vec<(f64, bool)> = values.iter().copied().zip(hits.iter().copied()).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let trials = order.len() as f64;
    let (mut cuts, mut below, mut hits) = (Vec::new(), 0usize, 0usize);
    for (at, (value, hit)) in order.iter().enumerate() {
        below += 1;
        hits += usize::from(*hit);
        let share = below as f64 / trials;
        let last_of_its_value = order.get(at + 1).is_some_and(|next| next.0 > *value);
        let enough = share >= least - 1e-12 && share <= 1.0 - least + 1e-12;
        if last_of_its_value && enough {
            cuts.push(Cut { value: *value, below, hits });
        }
    }
    cuts
}

/// Probability, over all orders of hits and misses, that some cut is `extreme`. The orders are
/// followed from cut to cut, and leave the count at the first extreme one.
fn reaching(
    cuts: &[Cut],
    trials: usize,
    all_hits: usize,
    extreme: impl Fn(usize, usize) -> bool,
) -> f64 {
    // ln of the number of orders that have come so far without an extreme cut, by hits so far.
    let mut inside = vec![f64::NEG_INFINITY; all_hits + 1];
    inside[0] = 0.0;
    let (mut out, mut before) = (Vec::new(), 0);
    let whole = |n: usize| n as u64;
    for cut in cuts {
        let step = cut.below - before;
        let mut next = vec![f64::NEG_INFINITY; all_hits + 1];
        for (hits, slot) in next.iter_mut().enumerate() {
            let from = hits.saturating_sub(step);
            let ways: Vec<f64> = (from..=hits)
                .map(|earlier| inside[earlier] + ln_choose(whole(step), whole(hits - earlier)))
                .collect();
            *slot = log_sum_exp(&ways);
        }
        let after = trials - cut.below;
        for (hits, ways) in next.iter_mut().enumerate() {
            if extreme(cut.below, hits) {
                out.push(*ways + ln_choose(whole(after), whole(all_hits - hits)));
                *ways = f64::NEG_INFINITY;
            }
        }
        (inside, before) = (next, cut.below);
    }
    (log_sum_exp(&out) - ln_choose(whole(trials), whole(all_hits))).exp().min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    const TEMPERATURES: [f64; 20] = [
        -14.0, -12.0, -11.0, -9.0, -7.0, -6.0, -4.0, -3.0, -1.0, 0.0, 2.0, 3.0, 5.0, 6.0, 8.0,
        10.0, 11.0, 13.0, 15.0, 18.0,
    ];

    fn hits(at: &[usize], trials: usize) -> Vec<bool> {
        (0..trials).map(|trial| at.contains(&trial)).collect()
    }

    // q1.maxsel.exact20: all 15 504 orders enumerated (numpy): 560 reach 2.7822.
    #[test]
    fn twenty_trials_enumerated() {
        let cut = best_cut(&TEMPERATURES, &hits(&[0, 2, 3, 5, 8], 20), 0.1).expect("a cut");
        holds("max_selected::best_cut", cut.z, 2.782_218_672_344_203);
        holds("max_selected::best_cut", cut.p_value, 0.036_119_711_042_312);
        assert!((cut.at + 1.0).abs() < 1e-12 && cut.counts == [5, 9, 0, 11]);
        assert!(cut.range.0 <= cut.at && cut.at <= cut.range.1);
    }

    #[test]
    fn direction_and_monotone_changes_do_not_matter() {
        let hit = hits(&[0, 2, 3, 5, 8], 20);
        let there = best_cut(&TEMPERATURES, &hit, 0.1).expect("a cut");
        let turned: Vec<f64> = TEMPERATURES.iter().map(|t| -t).collect();
        let back = best_cut(&turned, &hit, 0.1).expect("a cut");
        assert!((there.p_value - back.p_value).abs() < 1e-12 && (there.z + back.z).abs() < 1e-12);
        let stretched: Vec<f64> = TEMPERATURES.iter().map(|t| t.exp()).collect();
        let same = best_cut(&stretched, &hit, 0.1).expect("a cut");
        assert!((there.p_value - same.p_value).abs() < 1e-12);
    }

    /// Slow and obvious: every order of the hits, with tied values.
    #[test]
    fn ties_against_all_orders() {
        let values = [1.0, 1.0, 2.0, 2.0, 2.0, 3.0, 4.0, 4.0, 5.0];
        let observed = best_cut(&values, &hits(&[0, 1, 3], 9), 0.1).expect("a cut");
        let (mut as_far, mut all) = (0u32, 0u32);
        for a in 0..9 {
            for b in a + 1..9 {
                for c in b + 1..9 {
                    let z = best_cut(&values, &hits(&[a, b, c], 9), 0.1).expect("a cut").z;
                    as_far += u32::from(z.abs() >= observed.z.abs() - 1e-9);
                    all += 1;
                }
            }
        }
        let want = f64::from(as_far) / f64::from(all);
        holds("max_selected::best_cut", observed.p_value, want);
    }

    // By the plain definition: the best cut of every shifted series.
    #[test]
    fn shifts_against_every_shifted_series() {
        let values: Vec<f64> = (0..45).map(|i| f64::from(i * 17 % 23)).collect();
        let hit: Vec<bool> = (0..45).map(|i| [2, 3, 4, 20, 21, 22, 40].contains(&i)).collect();
        let z = |shift: usize| {
            let turned: Vec<bool> = (0..45).map(|i| hit[(i + shift) % 45]).collect();
            best_cut(&values, &turned, 0.1).expect("a cut").z.abs()
        };
        let as_far = (0..45).filter(|shift| z(*shift) >= z(0) - 1e-9).count();
        let got = shift_p(&values, &hit, 0.1).expect("long enough");
        holds("max_selected::shift_p", got, as_far as f64 / 45.0);
        assert_eq!(shift_p(&values[..39], &hit[..39], 0.1), None);
    }

    #[test]
    fn nothing_to_cut() {
        assert_eq!(best_cut(&[1.0; 9], &hits(&[2], 9), 0.1), None);
        assert_eq!(best_cut(&TEMPERATURES, &hits(&[], 20), 0.1), None);
        assert_eq!(best_cut(&TEMPERATURES, &[true; 20], 0.1), None);
        assert_eq!(best_cut(&TEMPERATURES, &[true; 3], 0.1), None);
        assert_eq!(best_cut(&[f64::NAN, 1.0], &[true, false], 0.1), None);
    }
}
