//! Halving a span until its two ends are neighbours: where a condition that holds at first ceases to.

/// Steps at most: more than a double has digits.
const STEPS: u32 = 200;

/// Between `low`, up to which `below` holds, and `high`, from which on it does not: where it ends.
pub(super) fn bisect(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..STEPS {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if below(middle) { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// Steps at most of [`quantile`].
const TRIES: u32 = 120;

/// Where a distribution function reaches `level`, at most at `high`, above 0.
///
/// The root in the logarithm of the place, by inverse quadratic steps and halving (Chandrupatla 1997): below
/// the middle the logarithm of a distribution function is nearly a straight line there, so ten steps do what
/// halving alone does in sixty and more.
pub(super) fn quantile(high: f64, level: f64, distribution: impl Fn(f64) -> f64) -> f64 {
    let off = |y: f64| {
        let at = distribution(y.exp());
        if level < 0.5 { at.ln().max(-1e4) - level.ln() } else { at - level }
    };
    let (mut b, mut fb) = (high.ln(), off(high.ln()));
    let (mut a, mut fa, mut down) = (b, fb, 1.0);
    // Down to where it is below the level.
    while fa > 0.0 && a > -700.0 {
        (b, fb) = (a, fa);
        a = (a - down).max(-700.0);
        fa = off(a);
        down *= 2.0;
    }
    if fa >= 0.0 {
        return a.exp();
    }
    if fb <= 0.0 {
        return b.exp();
    }
    let mut t = 0.5;
    for _ in 0..TRIES {
        let (x, fx) = (a + t * (b - a), off(a + t * (b - a)));
        let (c, fc);
        if (fx > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc) = (b, fb);
            (b, fb) = (a, fa);
        }
        (a, fa) = (x, fx);
        let best = if fa.abs() < fb.abs() { a } else { b };
        let least = 2.0 * f64::EPSILON * best.abs().max(1.0) / (b - a).abs();
        if least > 0.5 || fa.abs() <= 0.0 {
            return best.exp();
        }
        let (xi, phi) = ((a - b) / (c - b), (fa - fb) / (fc - fb));
        let curved = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
        t = match curved {
            true => {
                fa / (fb - fa) * fc / (fb - fc)
                    + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            }
            false => 0.5,
        };
        t = t.clamp(least, 1.0 - least);
    }
    if fa.abs() < fb.abs() { a.exp() } else { b.exp() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::gamma::gamma_lr;

    #[test]
    fn quantiles_are_where_halving_finds_them() {
        for shape in [0.02, 0.3, 1.0, 7.5, 240.0] {
            for level in [0.001, 0.025, 0.5, 0.975, 0.999] {
                let calls = std::cell::Cell::new(0);
                let distribution = |at: f64| {
                    calls.set(calls.get() + 1);
                    gamma_lr(shape, at)
                };
                let fast = quantile(2_000.0, level, distribution);
                assert!(calls.get() < 45, "{} calls for {shape} {level}", calls.get());
                let slow = bisect(0.0, 2_000.0, |at| gamma_lr(shape, at) < level);
                let same = (fast / slow - 1.0).abs() < 1e-9 || slow < 1e-50;
                assert!(same, "{shape} {level}: {fast} is not {slow}");
            }
        }
        // A straight line, an end that is too low, a function that is never below the level.
        assert!((quantile(1.0, 0.3, |at| at) - 0.3).abs() < 1e-14);
        assert!((quantile(0.2, 0.3, |at| at) - 0.2).abs() < 1e-14);
        assert!(quantile(1.0, 0.3, |_| 1.0) < 1e-300);
    }
}
