//! How good stated probabilities are once the truth is known.
//!
//! In: probabilities and outcomes, pair by pair. Out: mean scores, a reliability table, and how much of the
//! Brier score comes from miscalibration, discrimination and uncertainty. `None` for no pair at all, for
//! slices of different length, and for what is no probability.

/// One bin of a reliability table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// How many forecasts fell in.
    pub count: u32,
    /// Their mean stated probability; 0 for an empty bin.
    pub stated: f64,
    /// The share that came true; 0 for an empty bin.
    pub came_true: f64,
}

/// Mean squared distance of probability and outcome (Brier 1950), 0 to 1.
#[must_use]
pub fn brier(stated: &[f64], came_true: &[bool]) -> Option<f64> {
    mean(stated, came_true, |p, y| (p - number(y)).powi(2))
}

/// Mean of −ln of the probability given to what happened (Good 1952), in nats.
#[must_use]
pub fn log_score(stated: &[f64], came_true: &[bool]) -> Option<f64> {
    mean(stated, came_true, |p, y| -(if y { p } else { 1.0 - p }).ln())
}

/// Reliability in `bins` bins of equal width over [0, 1]; the last one holds 1 itself.
#[must_use]
pub fn reliability(stated: &[f64], came_true: &[bool], bins: usize) -> Option<Vec<Bin>> {
    checked(stated, came_true)?;
    let mut sums = vec![(0u32, 0.0, 0.0); bins];
    for (p, y) in stated.iter().zip(came_true) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1")]
        let bin = (p * bins as f64).floor() as usize;
        let (count, sum, hits) = sums.get_mut(bin.min(bins.checked_sub(1)?))?;
        *count += 1;
        *sum += p;
        *hits += number(*y);
    }
    let share = |sum: f64, count: u32| if count > 0 { sum / f64::from(count) } else { 0.0 };
    let bin = |(count, sum, hits): (u32, f64, f64)| Bin {
        count,
        stated: share(sum, count),
        came_true: share(hits, count),
    };
    Some(sums.into_iter().map(bin).collect())
}

/// Expected calibration error: mean over forecasts of how far their bin's stated mean lies from the
/// share that came true (Naeini, Cooper & Hauskrecht 2015).
#[must_use]
pub fn calibration_error(stated: &[f64], came_true: &[bool], bins: usize) -> Option<f64> {
    let table = reliability(stated, came_true, bins)?;
    let total: u32 = table.iter().map(|b| b.count).sum();
    let off: f64 = table.iter().map(|b| f64::from(b.count) * (b.stated - b.came_true).abs()).sum();
    Some(off / f64::from(total))
}

/// Miscalibration, discrimination and uncertainty of the Brier score, by isotonic recalibration
/// (Dimitriadis, Gneiting & Jordan 2021): score = miscalibration − discrimination + uncertainty.
#[must_use]
pub fn corp(stated: &[f64], came_true: &[bool]) -> Option<[f64; 3]> {
    let score = brier(stated, came_true)?;
    let base = came_true.iter().map(|y| number(*y)).sum::<f64>() / came_true.len() as f64;
    let uncertainty = base * (1.0 - base);
    let mut order: Vec<usize> = (0..stated.len()).collect();
    order.sort_by(|a, b| stated[*a].total_cmp(&stated[*b]));
    // Pools of equal forecasts first, then adjacent violators (Ayer et al. 1955): sum and count.
    let mut pools: Vec<(f64, f64)> = Vec::new();
    let mut last = f64::NAN;
    for at in order {
        match pools.last_mut() {
            Some((sum, count)) if stated[at].total_cmp(&last).is_eq() => {
                *sum += number(came_true[at]);
                *count += 1.0;
            }
            _ => pools.push((number(came_true[at]), 1.0)),
        }
        last = stated[at];
    }
    let mut merged: Vec<(f64, f64)> = Vec::new();
    for pool in pools {
        merged.push(pool);
        while let [.., (s, c), (next_s, next_c)] = merged.as_slice() {
            if s / c <= next_s / next_c {
                break;
            }
            let joined = (s + next_s, c + next_c);
            merged.truncate(merged.len() - 2);
            merged.push(joined);
        }
    }
    let n = stated.len() as f64;
    // Σ (r − y)² of a pool whose recalibrated forecast is its own share r.
    let recalibrated = merged.iter().map(|(s, c)| s * (1.0 - s / c)).sum::<f64>() / n;
    Some([score - recalibrated, uncertainty - recalibrated, uncertainty])
}

fn number(y: bool) -> f64 {
    f64::from(u8::from(y))
}

fn checked(stated: &[f64], came_true: &[bool]) -> Option<()> {
    let sound = stated.iter().all(|p| (0.0..=1.0).contains(p));
    (!stated.is_empty() && stated.len() == came_true.len() && sound).then_some(())
}

fn mean(stated: &[f64], came_true: &[bool], each: impl Fn(f64, bool) -> f64) -> Option<f64> {
    checked(stated, came_true)?;
    let sum: f64 = stated.iter().zip(came_true).map(|(p, y)| each(*p, *y)).sum();
    Some(sum / stated.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    const P: [f64; 20] = [
        0.8, 0.8, 0.8, 0.8, 0.8, 0.4, 0.4, 0.4, 0.4, 0.4, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1,
        0.1, 0.1,
    ];
    const Y: [u8; 20] = [1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0];

    // scikit-learn's page on brier_score_loss: 0.0375; log_loss of the same by scikit-learn 1.9.1. The
    // twenty forecasts: Murphy's identity 0.165 = 0.020 − 0.0425 + 0.1875, recalibration by scikit-learn 1.9.1.
    #[test]
    fn outside_values() {
        let y = [false, true, true, false];
        let p = [0.1, 0.9, 0.8, 0.3];
        holds("scoring::brier", brier(&p, &y).expect("pairs"), 0.0375);
        holds("scoring::log_score", log_score(&p, &y).expect("pairs"), 0.197_634_881_642_148_68);
        let y: Vec<bool> = Y.iter().map(|y| *y == 1).collect();
        holds("scoring::brier", brier(&P, &y).expect("pairs"), 0.165);
        let parts = corp(&P, &y).expect("pairs");
        for (got, want) in parts.into_iter().zip([0.02, 0.0425, 0.1875]) {
            holds("scoring::corp", got, want);
        }
        // By hand: |0.8 − 0.6|, |0.4 − 0.2|, |0.1 − 0.1| with weights 5, 5, 10 of 20.
        holds("scoring::calibration_error", calibration_error(&P, &y, 10).expect("pairs"), 0.1);
        let table = reliability(&P, &y, 10).expect("pairs");
        assert_eq!(table[8].count, 5);
        holds("scoring::reliability", table[8].came_true, 0.6);
        holds("scoring::reliability", table[1].stated, 0.1);
    }

    #[test]
    fn adjacent_violators_are_pooled() {
        // Forecasts that rise while outcomes fall carry no discrimination at all.
        let parts = corp(&[0.1, 0.9], &[true, false]).expect("pairs");
        holds("scoring::corp", parts[1], 0.0);
        holds("scoring::corp", parts[0], 0.81 - 0.25);
    }

    #[test]
    fn refusals() {
        assert_eq!(brier(&[], &[]), None);
        assert_eq!(brier(&[1.2], &[true]), None);
        assert_eq!(log_score(&[0.5], &[]), None);
        assert_eq!(reliability(&[0.5], &[true], 0), None);
    }
}
