//! Many tests at once: which of them may still be believed.
//!
//! In: the p-values of all that was looked at. Out: the same, adjusted. Refuses values outside
//! 0 to 1 with `None`; an empty list stays empty.

/// Adjusted p-values that control the share of false finds (Benjamini & Hochberg 1995), in the
/// order given. Holds for independent tests and those that rise together, as overlapping groups do.
#[must_use]
pub fn benjamini_hochberg(p_values: &[f64]) -> Option<Vec<f64>> {
    if p_values.iter().any(|p| !(0.0..=1.0).contains(p)) {
        return None;
    }
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    let value = |place: usize| p_values.get(place).copied().unwrap_or(1.0);
    order.sort_by(|a, b| value(*b).total_cmp(&value(*a)));
    let mut adjusted = vec![1.0; p_values.len()];
    let mut least = 1.0_f64;
    for (above, place) in order.into_iter().enumerate() {
        let rank = (p_values.len() - above) as f64;
        least = least.min(value(place) * p_values.len() as f64 / rank);
        if let Some(cell) = adjusted.get_mut(place) {
            *cell = least;
        }
    }
    Some(adjusted)
}

/// Adjusted p-values that control the chance of any false find, step by step from the smallest
/// (Holm 1979), in the order given. Holds for any tests. `None` for a p-value outside 0 to 1.
#[must_use]
pub fn holm(p_values: &[f64]) -> Option<Vec<f64>> {
    if p_values.iter().any(|p| !(0.0..=1.0).contains(p)) {
        return None;
    }
    let mut order: Vec<(f64, usize)> = p_values.iter().copied().zip(0..).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut adjusted = vec![1.0; p_values.len()];
    let mut reached = 0.0_f64;
    for (rank, (p, place)) in order.into_iter().enumerate() {
        reached = reached.max(p * (p_values.len() - rank) as f64).min(1.0);
        if let Some(cell) = adjusted.get_mut(place) {
            *cell = reached;
        }
    }
    Some(adjusted)
}

/// The same as [`benjamini_hochberg`] with weights given beforehand: a question with a higher weight gets more of the allowed false
/// finds (Genovese, Roeder & Wasserman 2006). The weights are made to have mean 1; they must not depend on
/// the p-values. No adjusted value is below its own p-value.
///
/// `None` for slices of different length, a p-value outside 0 to 1, or a weight that is not above 0.
#[must_use]
pub fn weighted_benjamini_hochberg(p_values: &[f64], weights: &[f64]) -> Option<Vec<f64>> {
    let sound = weights.iter().all(|w| *w > 0.0 && w.is_finite());
    if p_values.len() != weights.len() || !sound {
        return None;
    }
    let mean = weights.iter().sum::<f64>() / weights.len().max(1) as f64;
    let weighed: Vec<f64> =
        p_values.iter().zip(weights).map(|(p, w)| (p * mean / w).min(1.0)).collect();
    if p_values.iter().any(|p| !(0.0..=1.0).contains(p)) {
        return None;
    }
    let adjusted = benjamini_hochberg(&weighed)?;
    Some(adjusted.into_iter().zip(p_values).map(|(adjusted, p)| adjusted.max(*p)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // q6.bh1995: the fifteen p-values of Benjamini & Hochberg 1995, section 3.2; adjusted by
    // statsmodels 0.15.0, scipy false_discovery_control and R p.adjust alike.
    #[test]
    fn published_table() {
        let p = [
            0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262,
            0.5719, 0.6528, 0.759, 1.0,
        ];
        let want = [
            0.0015,
            0.003,
            0.0095,
            0.035_625,
            0.0603,
            0.063_857_142_857_142_86,
            0.063_857_142_857_142_86,
            0.0645,
            0.0765,
            0.486,
            0.581_181_818_181_818_1,
            0.714_875,
            0.753_230_769_230_769_2,
            0.813_214_285_714_285_7,
            1.0,
        ];
        let got = benjamini_hochberg(&p).expect("fifteen p-values");
        for (got, want) in got.iter().zip(want) {
            holds("multiple::benjamini_hochberg", *got, want);
        }
        assert_eq!(got.iter().filter(|p| **p <= 0.05).count(), 4);
        // The paper: control of any false find leaves three.
        let any = holm(&p).expect("fifteen p-values");
        assert_eq!(any.iter().filter(|p| **p <= 0.05).count(), 3);
        // The order given does not matter.
        let back: Vec<f64> = p.into_iter().rev().collect();
        let turned = benjamini_hochberg(&back).expect("fifteen p-values");
        assert_eq!(turned.into_iter().rev().collect::<Vec<_>>(), got);
    }

    // By hand: the smallest of n times n, the next times n - 1, never falling, at most 1.
    #[test]
    fn step_by_step() {
        let got = holm(&[0.01, 0.04, 0.03, 0.005]).expect("four p-values");
        for (got, want) in got.iter().zip([0.03, 0.06, 0.06, 0.02]) {
            holds("multiple::holm", *got, want);
        }
        let equal = holm(&[0.2, 0.1, 0.2, 0.9]).expect("four p-values");
        for (got, want) in equal.iter().zip([0.6, 0.4, 0.6, 0.9]) {
            holds("multiple::holm", *got, want);
        }
        assert_eq!(holm(&[0.4, 0.5, 0.6]), Some(vec![1.0; 3]));
        assert_eq!((holm(&[]), holm(&[-0.1]), holm(&[f64::NAN])), (Some(Vec::new()), None, None));
    }

    // Equal weights change nothing; by hand: p/w = .005 .02 .2 .8 of weights 2 1 .5 .5, times 4 by rank.
    #[test]
    fn weights_given_beforehand() {
        let p = [0.01, 0.02, 0.1, 0.4];
        let same = weighted_benjamini_hochberg(&p, &[3.0; 4]).expect("four");
        for (got, want) in same.iter().zip(benjamini_hochberg(&p).expect("four")) {
            holds("multiple::weighted_benjamini_hochberg", *got, want);
        }
        let got = weighted_benjamini_hochberg(&p, &[2.0, 1.0, 0.5, 0.5]).expect("four");
        for (got, want) in got.iter().zip([0.02, 0.04, 0.8 / 3.0, 0.8]) {
            holds("multiple::weighted_benjamini_hochberg", *got, want);
        }
        assert_eq!(weighted_benjamini_hochberg(&p, &[1.0; 3]), None);
        assert_eq!(weighted_benjamini_hochberg(&p, &[1.0, 1.0, 1.0, 0.0]), None);
    }

    #[test]
    fn nothing_and_nonsense() {
        assert_eq!(benjamini_hochberg(&[]), Some(Vec::new()));
        assert_eq!(benjamini_hochberg(&[0.1, 1.1]), None);
        assert_eq!(benjamini_hochberg(&[f64::NAN]), None);
    }
}
