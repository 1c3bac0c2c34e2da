//! Several conditions together: logistic regression that stays finite when they separate.
//!
//! In: one row of covariates for each trial, and whether it was a hit. Out: log-odds ratios with
//! intervals and p-values from the penalised likelihood (Firth 1993; Heinze & Schemper 2002). When
//! every hit falls under one condition, as with few hits they often do, the ordinary estimate is
//! infinite and its standard error worthless; this one is neither. It draws predicted risks
//! towards 1/2, so it is for effects, not for risks. Refuses more coefficients than it can tell
//! apart.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Most coefficients, the constant among them.
const MOST: usize = 8;
/// Largest step of a coefficient in one iteration.
const LONGEST_STEP: f64 = 5.0;

/// One coefficient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The log-odds ratio (for the first: the constant).
    pub value: f64,
    /// Lower end of the profile penalised-likelihood interval; `None` when it is not bounded.
    pub low: Option<f64>,
    /// Upper end of it.
    pub high: Option<f64>,
    /// From the penalised likelihood ratio.
    pub p_value: f64,
}

/// Fits hits to covariates; the constant is added and stands first in the answer.
///
/// `rows` has one row a trial, all of the same length (at most 7 covariates). `None` without a hit
/// or a miss, for rows of unlike length or values that are not finite, for covariates that add
/// nothing to each other (one is constant or a combination of others), or when the fit does not
/// settle.
#[must_use]
pub fn firth(rows: &[Vec<f64>], hits: &[bool], confidence: f64) -> Option<Vec<Effect>> {
    let width = rows.first()?.len();
    let alike = rows.iter().all(|row| row.len() == width && row.iter().all(|v| v.is_finite()));
    let both = hits.iter().any(|hit| *hit) && hits.iter().any(|hit| !hit);
    let confident = confidence > 0.0 && confidence < 1.0;
    if !alike || !both || !confident || rows.len() != hits.len() || width + 1 > MOST {
        return None;
    }
    let design: Vec<Vec<f64>> =
        rows.iter().map(|row| std::iter::once(1.0).chain(row.iter().copied()).collect()).collect();
    let data = Data { design: &design, hits };
    let fit = data.fit(None)?;
    let chi = ChiSquared::new(1.0).ok()?;
    let critical = chi.inverse_cdf(confidence);
    (0..=width)
        .map(|at| {
            let value = *fit.values.get(at)?;
            let without = data.fit(Some((at, 0.0)))?;
            let drop = (2.0 * (fit.penalised - without.penalised)).max(0.0);
            let end = |direction: f64| data.profile_end(&fit, at, direction, critical);
            Some(Effect { value, low: end(-1.0), high: end(1.0), p_value: chi.sf(drop) })
        })
        .collect()
}

struct Data<'a> {
    design: &'a [Vec<f64>],
    hits: &'a [bool],
}

struct Fit {
    values: Vec<f64>,
    penalised: f64,
    errors: Vec<f64>,
}

/// The information matrix, its lower Cholesky factor, and the penalised log likelihood.
struct At {
    information: Vec<Vec<f64>>,
    factor: Vec<Vec<f64>>,
    penalised: f64,
}

impl Data<'_> {
    fn probability(row: &[f64], values: &[f64]) -> (f64, f64) {
        let eta: f64 = row.iter().zip(values).map(|(x, b)| x * b).sum();
        // p, and ln(1 + e^eta) without overflow.
        let softplus = eta.max(0.0) + (-eta.abs()).exp().ln_1p();
        (1.0 / (1.0 + (-eta).exp()), softplus)
    }

    fn at(&self, values: &[f64]) -> Option<At> {
        let width = values.len();
        let mut information = vec![vec![0.0; width]; width];
        let mut likelihood = 0.0;
        for (row, hit) in self.design.iter().zip(self.hits) {
            let (p, softplus) = Self::probability(row, values);
            let eta: f64 = row.iter().zip(values).map(|(x, b)| x * b).sum();
            likelihood += if *hit { eta - softplus } else { -softplus };
            for (line, a) in information.iter_mut().zip(row) {
                for (cell, b) in line.iter_mut().zip(row) {
                    *cell += p * (1.0 - p) * a * b;
                }
            }
        }
        let factor = cholesky(&information)?;
        let ln_root: f64 = factor.iter().enumerate().map(|(i, row)| row[i].ln()).sum();
        Some(At { information, factor, penalised: likelihood + ln_root })
    }

    /// Newton steps on the modified score, halved until the penalised likelihood does not fall;
    /// one coefficient may be held.
    fn fit(&self, held: Option<(usize, f64)>) -> Option<Fit> {
        let width = self.design.first()?.len();
        let mut values = vec![0.0; width];
        if let Some((at, value)) = held {
            *values.get_mut(at)? = value;
        }
        let free: Vec<usize> = (0..width).filter(|i| held.is_none_or(|(at, _)| at != *i)).collect();
        let mut now = self.at(&values)?;
        for _ in 0..500 {
            let step = self.step(&values, &now, &free)?;
            let mut share = 1.0;
            let (next, there) = loop {
                let next: Vec<f64> =
                    values.iter().zip(&step).map(|(value, step)| value + share * step).collect();
                let there = self.at(&next);
                if let Some(there) = there.filter(|t| t.penalised >= now.penalised - 1e-12) {
                    break (next, there);
                }
                share /= 2.0;
                if share < 1e-9 {
                    break (values.clone(), self.at(&values)?);
                }
            };
            let moved = values.iter().zip(&next).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            (values, now) = (next, there);
            if moved < 1e-11 {
                let errors = (0..width).map(|i| variance(&now.factor, i).sqrt()).collect();
                return Some(Fit { values, penalised: now.penalised, errors });
            }
        }
        None
    }

    fn step(&self, values: &[f64], now: &At, free: &[usize]) -> Option<Vec<f64>> {
        let width = values.len();
        let mut score = vec![0.0; width];
        for (row, hit) in self.design.iter().zip(self.hits) {
            let (p, _) = Self::probability(row, values);
            let spread: f64 = forward(&now.factor, row).iter().map(|v| v * v).sum();
            let leverage = p * (1.0 - p) * spread;
            let off = f64::from(u8::from(*hit)) - p + leverage * (0.5 - p);
            for (slot, x) in score.iter_mut().zip(row) {
                *slot += x * off;
            }
        }
        let part: Vec<Vec<f64>> =
            free.iter().map(|i| free.iter().map(|j| now.information[*i][*j]).collect()).collect();
        let wanted: Vec<f64> = free.iter().map(|i| score[*i]).collect();
        let factor = cholesky(&part)?;
        let solved = backward(&factor, forward(&factor, &wanted));
        let longest = solved.iter().map(|v| v.abs()).fold(0.0, f64::max);
        let scale = if longest > LONGEST_STEP { LONGEST_STEP / longest } else { 1.0 };
        let mut step = vec![0.0; width];
        for (i, value) in free.iter().zip(solved) {
            step[*i] = value * scale;
        }
        Some(step)
    }

    /// Where the penalised likelihood, all other coefficients fitted anew, has dropped by half the
    /// critical value.
    fn profile_end(&self, fit: &Fit, at: usize, direction: f64, critical: f64) -> Option<f64> {
        let drop = |value: f64| {
            let held = self.fit(Some((at, value)))?;
            Some(2.0 * (fit.penalised - held.penalised) - critical)
        };
        let estimate = *fit.values.get(at)?;
        let mut stride = fit.errors.get(at)?.max(1e-3);
        let (mut inside, mut outside) = (estimate, estimate + direction * stride);
        while drop(outside)? < 0.0 {
            inside = outside;
            stride *= 1.3;
            outside += direction * stride;
            if (outside - estimate).abs() > 100.0 {
                return None;
            }
        }
        while (outside - inside).abs() > 1e-9 {
            let middle = f64::midpoint(inside, outside);
            if drop(middle)? < 0.0 {
                inside = middle;
            } else {
                outside = middle;
            }
        }
        Some(f64::midpoint(inside, outside))
    }
}

/// The lower factor of a symmetric matrix; `None` when a direction has no weight of its own.
fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let size = matrix.len();
    let mut factor = vec![vec![0.0; size]; size];
    for i in 0..size {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            let rest = matrix[i][j] - known;
            if i == j {
                if !(rest > 1e-12 * matrix[i][i] && rest.is_finite()) {
                    return None;
                }
                factor[i][i] = rest.sqrt();
            } else {
                factor[i][j] = rest / factor[j][j];
            }
        }
    }
    Some(factor)
}

/// Solves L v = b.
fn forward(factor: &[Vec<f64>], b: &[f64]) -> Vec<f64> {
    let mut v: Vec<f64> = Vec::with_capacity(b.len());
    for (row, wanted) in factor.iter().zip(b) {
        let at = v.len();
        let known: f64 = row.iter().zip(&v).map(|(l, v)| l * v).sum();
        v.push((wanted - known) / row[at]);
    }
    v
}

/// Solves L' v = b.
fn backward(factor: &[Vec<f64>], mut b: Vec<f64>) -> Vec<f64> {
    for i in (0..b.len()).rev() {
        b[i] /= factor[i][i];
        for j in 0..i {
            b[j] -= factor[i][j] * b[i];
        }
    }
    b
}

/// The i-th diagonal element of the inverse of L L'.
fn variance(factor: &[Vec<f64>], i: usize) -> f64 {
    let unit: Vec<f64> = (0..factor.len()).map(|j| if i == j { 1.0 } else { 0.0 }).collect();
    forward(factor, &unit).iter().map(|v| v * v).sum()
}
