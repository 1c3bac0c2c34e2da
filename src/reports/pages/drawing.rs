//! What pictures share: axes with round ticks, intervals, step curves, thinning, and the words that say
//! on how many observations a picture rests.
//!
//! In: plain numbers. Out: coordinates as text, ready for a template, and sentences. All coordinates are
//! in the units of the picture's own view box; nothing drawn here lies outside the ends it was given, and
//! a value that is not finite has no place. The markup is in `templates/drawing.html`.

use serde::Serialize;

use super::{at, round_step};
use crate::reports::wording::{count, grouped, number};

/// Left end of the plain of a picture as wide as the page, whose view box is 720 wide: room for the
/// labels of an upright axis.
pub(in crate::reports) const LEFT: f64 = 46.0;
/// Right end of the plain.
pub(in crate::reports) const RIGHT: f64 = 704.0;

/// A mark on an axis.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(in crate::reports) struct Tick {
    /// Its coordinate along the axis.
    pub at: String,
    /// What stands at it.
    pub label: String,
}

/// A scale: values on one side, coordinates on the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::reports) struct Axis {
    low: f64,
    high: f64,
    near: f64,
    far: f64,
    step: f64,
    logarithmic: bool,
}

impl Axis {
    /// From `low` (drawn at `near`) to `high` (drawn at `far`), cut into at most `parts`; the ends are
    /// kept as they are. An empty or unordered range becomes one of length 1 from `low`.
    pub(in crate::reports) fn linear(
        (low, high): (f64, f64),
        (near, far): (f64, f64),
        parts: f64,
    ) -> Axis {
        let low = if low.is_finite() { low } else { 0.0 };
        let high = if high.is_finite() && high > low { high } else { low + 1.0 };
        Axis { low, high, near, far, step: round_step(high - low, parts), logarithmic: false }
    }

    /// Round ends around all finite `values`, at least `least` long; `None` when there are none.
    pub(in crate::reports) fn around(
        values: impl Iterator<Item = f64>,
        least: f64,
        ends: (f64, f64),
        parts: f64,
    ) -> Option<Axis> {
        let (low, high) = values
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            return None;
        }
        let step = round_step((high - low).max(least), parts);
        let low = (low / step).floor() * step;
        let high = ((high / step).ceil() * step).max(low + step);
        Some(Axis { step, ..Axis::linear((low, high), ends, parts) })
    }

    /// A logarithmic scale in whole decades around `low` and `high`, both above 0; else from 0.1 to 10.
    pub(in crate::reports) fn logarithmic(
        (low, high): (f64, f64),
        (near, far): (f64, f64),
    ) -> Axis {
        let usable = low > 0.0 && high >= low && high.is_finite();
        let (low, high) = if usable { (low, high) } else { (0.1, 10.0) };
        let (first, last) = (low.log10().floor(), high.log10().ceil());
        let last = if last > first { last } else { first + 1.0 };
        let step = round_step(last - first, 8.0).max(1.0);
        Axis { low: first, high: last, near, far, step, logarithmic: true }
    }

    /// The coordinate of a value; what lies beyond an end is drawn at it. `None` when the value is not
    /// finite, or has no logarithm on a logarithmic scale.
    pub(in crate::reports) fn place(&self, value: f64) -> Option<f64> {
        let value = match self.logarithmic {
            true if value > 0.0 => value.log10(),
            true => return None,
            false => value,
        };
        let share = (value - self.low) / (self.high - self.low);
        value.is_finite().then(|| self.near + share.clamp(0.0, 1.0) * (self.far - self.near))
    }

    /// The value at a coordinate of a linear scale; `None` outside its ends.
    pub(in crate::reports) fn value(&self, place: f64) -> Option<f64> {
        let share = (place - self.near) / (self.far - self.near);
        let inside = !self.logarithmic && (-1e-9..=1.0 + 1e-9).contains(&share);
        inside.then_some(self.low + share * (self.high - self.low))
    }

    /// The marks, from low to high, a dozen at most.
    pub(in crate::reports) fn ticks(&self) -> Vec<Tick> {
        self.marks().into_iter().map(|(_, tick)| tick).collect()
    }

    /// The marks with their values; on a logarithmic scale the values are decades.
    pub(in crate::reports) fn marks(&self) -> Vec<(f64, Tick)> {
        let decimals = match self.step {
            step if step >= 1.0 => 0,
            step if step >= 0.1 => 1,
            step if step >= 0.01 => 2,
            _ => 3,
        };
        let first = (self.low / self.step - 1e-9).ceil();
        (0..12)
            .map(|n| (first + f64::from(n)) * self.step)
            .take_while(|value| *value <= self.high + self.step * 1e-6)
            .map(|value| {
                let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
                let label = match self.logarithmic {
                    true if value < 0.0 => number(10_f64.powf(value), decades(-value)),
                    true if value < 7.0 => number(10_f64.powf(value), 0),
                    true => format!("1e{value:.0}"),
                    false => number(value, decimals),
                };
                let place = self.near + share * (self.far - self.near);
                (value, Tick { at: at(place), label })
            })
            .collect()
    }
}

/// Decimal places that show `10^-decades`.
fn decades(decades: f64) -> usize {
    (1..9).find(|n| *n as f64 >= decades).unwrap_or(9)
}

/// An interval with its middle, drawn lying on a horizontal axis.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(in crate::reports) struct Interval {
    /// Left end.
    pub left: String,
    /// Its width, wide enough to be seen.
    pub width: String,
    /// Right end.
    pub right: String,
    /// The estimate, when there is one.
    pub middle: Option<String>,
    /// Whether the interval has no upper end: an arrow says so.
    pub open: bool,
}

/// An interval on an axis; without an upper end it reaches the end of the axis and is open. `None`
/// without a lower end.
pub(in crate::reports) fn interval(
    axis: &Axis,
    low: Option<f64>,
    middle: Option<f64>,
    high: Option<f64>,
) -> Option<Interval> {
    let bottom = |value: f64| axis.place(value).unwrap_or(axis.near);
    let left = bottom(low.filter(|value| value.is_finite())?);
    let high = high.filter(|value| value.is_finite());
    let right = high.map_or(axis.far, bottom);
    Some(Interval {
        left: at(left),
        width: at((right - left).max(1.5)),
        right: at(right.max(left + 1.5)),
        middle: middle.filter(|value| value.is_finite()).map(|value| at(bottom(value))),
        open: high.is_none(),
    })
}

/// A curve that goes in steps: level from the first point's height to the next time, then straight to
/// its height; it ends level at `until`. Points stand by time; those without a place are left out.
pub(in crate::reports) fn steps(
    across: &Axis,
    upwards: &Axis,
    first: f64,
    points: impl Iterator<Item = (f64, f64)>,
    until: f64,
) -> String {
    let mut path = match (across.place(across.low), upwards.place(first)) {
        (Some(x), Some(y)) => format!("M{} {}", at(x), at(y)),
        _ => return String::new(),
    };
    for (time, height) in points.take_while(|(time, _)| *time <= until) {
        if let (Some(x), Some(y)) = (across.place(time), upwards.place(height)) {
            path.push_str(&format!("H{}V{}", at(x), at(y)));
        }
    }
    if let Some(x) = across.place(until) {
        path.push_str(&format!("H{}", at(x)));
    }
    path
}

/// What is drawn of many items, and how to say that some are not.
#[derive(Debug, Clone)]
pub(in crate::reports) struct Thinned<'a, T> {
    /// The items to draw, in their order.
    pub drawn: Vec<&'a T>,
    /// As in `of 4 000 starts without incident, one in 3 is drawn`; `None` when all are drawn.
    pub said: Option<String>,
}

/// Draws every item that `keep` names, and of the others at most about `most`, evenly: the first, then
/// every n-th. `of` says in words, in the plural, what the others are.
pub(in crate::reports) fn thinned<'a, T>(
    items: &'a [T],
    keep: impl Fn(&T) -> bool,
    most: usize,
    of: &str,
) -> Thinned<'a, T> {
    let others = items.iter().filter(|item| !keep(item)).count();
    let stride = others.div_ceil(most.max(1)).max(1);
    let mut seen = 0_usize;
    let drawn = items
        .iter()
        .filter(|item| {
            if keep(item) {
                return true;
            }
            seen += 1;
            (seen - 1).is_multiple_of(stride)
        })
        .collect();
    let said = (stride > 1)
        .then(|| format!("of {} {of}, one in {stride} is drawn", grouped(others as u64)));
    Thinned { drawn, said }
}

/// On how many observations something rests, as in `Rests on 41 starts.`: every picture says it.
pub(in crate::reports) fn rests_on(n: usize, noun: &str) -> String {
    format!("Rests on {}.", count(n, noun))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<String> {
        axis.ticks().into_iter().map(|tick| tick.label).collect()
    }

    #[test]
    fn round_ends_hold_every_value_and_nothing_leaves_the_picture() {
        for values in [vec![0.0], vec![-3.2, 17.9], vec![1e6, 1e6 + 1.0], vec![f64::NAN, 2.0]] {
            let axis = Axis::around(values.iter().copied(), 4.0, (236.0, 14.0), 6.0).unwrap();
            for value in values.into_iter().filter(|v| v.is_finite()) {
                let place = axis.place(value).unwrap();
                assert!((14.0..=236.0).contains(&place), "{value} at {place}");
            }
            assert!(axis.ticks().len() >= 2, "{axis:?}");
        }
        assert!(Axis::around([f64::NAN].into_iter(), 1.0, (0.0, 1.0), 5.0).is_none());
        let axis = Axis::linear((0.0, 10.0), (0.0, 100.0), 5.0);
        assert_eq!((axis.place(-1.0), axis.place(11.0)), (Some(0.0), Some(100.0)));
        assert_eq!((axis.place(f64::NAN), axis.place(f64::INFINITY)), (None, None));
        assert_eq!(labels(&axis), ["0", "2", "4", "6", "8", "10"]);
        assert_eq!((axis.value(25.0), axis.value(101.0)), (Some(2.5), None));
    }

    #[test]
    fn a_logarithmic_scale_has_whole_decades_and_no_place_for_nothing() {
        let axis = Axis::logarithmic((0.03, 40.0), (0.0, 40.0));
        assert_eq!(labels(&axis), ["0.01", "0.1", "1", "10", "100"]);
        assert_eq!((axis.place(0.0), axis.place(1.0)), (None, Some(20.0)));
        assert_eq!(labels(&Axis::logarithmic((0.0, 1.0), (0.0, 1.0))), ["0.1", "1", "10"]);
    }

    #[test]
    fn an_interval_without_an_end_is_open_and_one_without_a_begin_is_none() {
        let axis = Axis::logarithmic((0.01, 100.0), (0.0, 120.0));
        let open = interval(&axis, Some(1.0), None, None).unwrap();
        assert_eq!((open.left.as_str(), open.right.as_str(), open.open), ("60.0", "120.0", true));
        // A lower end of 0 has no logarithm: it is drawn at the edge, not left away.
        assert_eq!(interval(&axis, Some(0.0), Some(1.0), Some(10.0)).unwrap().left, "0.0");
        assert_eq!(interval(&axis, None, Some(1.0), Some(10.0)), None);
    }

    #[test]
    fn a_step_curve_is_level_between_its_points() {
        let across = Axis::linear((0.0, 10.0), (0.0, 100.0), 5.0);
        let upwards = Axis::linear((0.0, 1.0), (50.0, 0.0), 5.0);
        let path = steps(&across, &upwards, 0.0, [(2.0, 0.5), (4.0, 1.0)].into_iter(), 8.0);
        assert_eq!(path, "M0.0 50.0H20.0V25.0H40.0V0.0H80.0");
    }

    #[test]
    fn thinning_keeps_what_matters_and_says_what_it_left_out() {
        let many: Vec<usize> = (0..3000).collect();
        let thin = thinned(&many, |n| n % 100 == 7, 500, "calm ones");
        assert_eq!(thin.drawn.iter().filter(|n| **n % 100 == 7).count(), 30);
        assert!(thin.drawn.len() <= 530 && thin.drawn.is_sorted());
        assert_eq!(thin.said.as_deref(), Some("of 2\u{202f}970 calm ones, one in 6 is drawn"));
        let few = thinned(&many[..3], |_| false, 500, "calm ones");
        assert_eq!((few.drawn.len(), few.said), (3, None));
    }
}
