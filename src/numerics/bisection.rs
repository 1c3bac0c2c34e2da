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
