//! The highest point of a smooth function of a few numbers (Nelder & Mead 1965).
//!
//! In: the function and places to begin from. Out: the place of the highest value found, the same
//! for the same input. Works inside `numerics` only, where likelihoods are known to have a highest
//! point; each start is run again from where it ended until it gains nothing more.

/// Most steps of one run.
const STEPS: usize = 1_500;
/// Runs from where the last one ended.
const AGAIN: usize = 3;

/// The best place over all starts; an earlier start wins a tie.
pub(super) fn maximum(value: &dyn Fn(&[f64]) -> f64, starts: &[&[f64]]) -> Vec<f64> {
    let mut best: Option<(f64, Vec<f64>)> = None;
    for start in starts {
        let mut at = (value(start), start.to_vec());
        for _ in 0..AGAIN {
            let found = climb(value, &at.1);
            let gained = found.0 - at.0;
            let size = found.0.abs().max(1.0);
            if found.0 > at.0 {
                at = found;
            }
            if gained.is_nan() || gained < 1e-8 * size {
                break;
            }
        }
        if best.as_ref().is_none_or(|b| at.0 > b.0) {
            best = Some(at);
        }
    }
    best.map(|b| b.1).unwrap_or_default()
}

fn climb(value: &dyn Fn(&[f64]) -> f64, start: &[f64]) -> (f64, Vec<f64>) {
    let mut corners = vec![(value(start), start.to_vec())];
    for side in 0..start.len() {
        let mut corner = start.to_vec();
        if let Some(cell) = corner.get_mut(side) {
            *cell += 0.5;
        }
        corners.push((value(&corner), corner));
    }
    for _ in 0..STEPS {
        corners.sort_by(|a, b| b.0.total_cmp(&a.0));
        let [(top, highest), .., (bottom, lowest)] = corners.as_slice() else { break };
        let (top, bottom) = (*top, *bottom);
        let apart: f64 = highest.iter().zip(lowest).map(|(a, b)| (a - b).abs()).sum();
        if (top - bottom).abs() < 1e-12 * top.abs().max(1.0) && apart < 1e-5 {
            break;
        }
        let kept = corners.len() - 1;
        let centre: Vec<f64> = (0..start.len())
            .map(|side| {
                let sum: f64 =
                    corners.iter().take(kept).filter_map(|corner| corner.1.get(side)).sum();
                sum / kept as f64
            })
            .collect();
        let along = |step: f64| {
            let place: Vec<f64> =
                centre.iter().zip(lowest).map(|(c, low)| c + step * (low - c)).collect();
            (value(&place), place)
        };
        let second = corners.get(kept - 1).map_or(bottom, |corner| corner.0);
        let over = along(-1.0);
        let new = if over.0 > top {
            let further = along(-2.0);
            if further.0 > over.0 { further } else { over }
        } else if over.0 > second {
            over
        } else {
            let nearer = if over.0 > bottom { along(-0.5) } else { along(0.5) };
            if nearer.0 > bottom.max(over.0) {
                nearer
            } else {
                let highest = highest.clone();
                for corner in corners.iter_mut().skip(1) {
                    for (cell, high) in corner.1.iter_mut().zip(&highest) {
                        *cell = f64::midpoint(*cell, *high);
                    }
                    corner.0 = value(&corner.1);
                }
                continue;
            }
        };
        if let Some(last) = corners.last_mut() {
            *last = new;
        }
    }
    corners.sort_by(|a, b| b.0.total_cmp(&a.0));
    corners.swap_remove(0)
}
