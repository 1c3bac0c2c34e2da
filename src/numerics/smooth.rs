//! How far each point lies from the smooth curve through all the others.
//!
//! In: points with their own errors, and how a curve may bend (a Gaussian process: vague level, line,
//! wiggles). Out: per point the distance from what the others foresee, and how sure they are of it.
//! Where a point has no neighbours the others foresee little, and the error says so.

/// How a curve may run: standard deviations of its parts, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Of the level.
    pub level: f64,
    /// Of the slope, per unit of the abscissa.
    pub slope: f64,
    /// Of the wiggles about the line.
    pub wiggle: f64,
    /// Over what distance of the abscissa a wiggle lasts.
    pub length: f64,
}

/// Per point the residual from the leave-one-out prediction, and the standard deviation of that
/// residual, its own error included (Rasmussen & Williams 2006, 5.4.2). `errors` are standard deviations.
///
/// `None` for slices of different length, for fewer than two points, and for what is not finite or has
/// an error that is not positive.
#[must_use]
pub fn leave_one_out(
    at: &[f64],
    values: &[f64],
    errors: &[f64],
    curve: Curve,
) -> Option<Vec<(f64, f64)>> {
    let n = at.len();
    if n < 2 || values.len() != n || errors.len() != n {
        return None;
    }
    if at.iter().chain(values).any(|v| !v.is_finite())
        || errors.iter().any(|e| !e.is_finite() || *e <= 0.0)
    {
        return None;
    }
    let middle = at.iter().sum::<f64>() / n as f64;
    let covariance = |a: f64, b: f64| {
        let apart = (a - b) / curve.length;
        curve.level.powi(2)
            + curve.slope.powi(2) * (a - middle) * (b - middle)
            + curve.wiggle.powi(2) * (-0.5 * apart * apart).exp()
    };
    let mut matrix: Vec<Vec<f64>> = at
        .iter()
        .enumerate()
        .map(|(i, a)| {
            let own = errors.get(i).copied().unwrap_or(0.0).powi(2);
            at.iter()
                .enumerate()
                .map(|(j, b)| covariance(*a, *b) + if i == j { own } else { 0.0 })
                .collect()
        })
        .collect();
    let inverse = inverse(&mut matrix)?;
    inverse
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let precision = *row.get(i)?;
            if precision <= 0.0 {
                return None;
            }
            let weighed: f64 = row.iter().zip(values).map(|(k, v)| k * v).sum();
            Some((weighed / precision, (1.0 / precision).sqrt()))
        })
        .collect()
}

/// The inverse of a symmetric positive definite matrix, by Gauss and Jordan; consumes its input.
fn inverse(matrix: &mut [Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut out: Vec<Vec<f64>> =
        (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for column in 0..n {
        // The diagonal is a pivot large enough: the matrix is positive definite.
        let pivot = *matrix.get(column)?.get(column)?;
        if pivot <= 0.0 || !pivot.is_finite() {
            return None;
        }
        for value in matrix.get_mut(column)?.iter_mut().chain(out.get_mut(column)?.iter_mut()) {
            *value /= pivot;
        }
        let (pivot_row, out_row) = (matrix.get(column)?.clone(), out.get(column)?.clone());
        for row in (0..n).filter(|row| *row != column) {
            let factor = *matrix.get(row)?.get(column)?;
            for (value, own) in matrix.get_mut(row)?.iter_mut().zip(&pivot_row) {
                *value -= factor * own;
            }
            for (value, own) in out.get_mut(row)?.iter_mut().zip(&out_row) {
                *value -= factor * own;
            }
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    const CURVE: Curve = Curve { level: 3.0, slope: 1.0, wiggle: 0.7, length: 1.0 };

    // Each point foreseen from the other four by solving their system anew, numpy.linalg.solve.
    #[test]
    fn outside_values() {
        let at = [0.0, 1.0, 2.5, 4.0, 4.2];
        let values = [0.3, -0.2, 1.1, 0.7, 2.0];
        let errors = [0.5, 0.6, 0.5, 0.9, 0.5];
        let want = [
            (0.923_506_393_687_952_4, 1.164_437_724_529_667_5),
            (-0.825_591_507_798_136_8, 0.869_122_250_658_233_9),
            (0.337_213_103_636_795_8, 0.902_076_363_113_536_1),
            (-1.147_281_489_158_866, 1.007_987_411_333_257_4),
            (1.125_915_198_833_484, 0.956_599_314_421_650_6),
        ];
        let got = leave_one_out(&at, &values, &errors, CURVE).expect("five points");
        for ((off, error), (want_off, want_error)) in got.into_iter().zip(want) {
            holds("smooth::leave_one_out", off, want_off);
            holds("smooth::leave_one_out", error, want_error);
        }
    }

    #[test]
    fn a_point_far_from_all_others_is_hardly_foreseen() {
        let at = [0.0, 0.2, 0.4, 6.0];
        let got = leave_one_out(&at, &[0.0; 4], &[0.1; 4], CURVE).expect("four points");
        assert!(got[3].1 > 5.0 * got[1].1);
    }

    #[test]
    fn refusals() {
        assert_eq!(leave_one_out(&[1.0], &[1.0], &[1.0], CURVE), None);
        assert_eq!(leave_one_out(&[1.0, 2.0], &[1.0, 1.0], &[0.0, 1.0], CURVE), None);
        assert_eq!(leave_one_out(&[1.0, 2.0], &[f64::NAN, 1.0], &[1.0, 1.0], CURVE), None);
        assert_eq!(leave_one_out(&[1.0, 2.0], &[1.0], &[1.0, 1.0], CURVE), None);
    }
}
