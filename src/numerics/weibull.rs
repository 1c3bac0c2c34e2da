//! The Weibull distribution of lives, from subjects most of which are still alive.
//!
//! In: subjects as for [`super::survival`]: seen from their beginning or later (left truncation), to
//! the event or without it (right censoring); an event may count for its probability. Out: shape and
//! scale by maximum likelihood, the shape's profile likelihood interval. A shape below 1: early
//! failures; about 1: one rate at any age; above 1: wear. Refuses fewer than two distinct lives'
//! worth of events, which fix no shape, and events at time 0.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::bisection::bisect;
use super::survival::Watched;

/// Shapes are sought between these.
const LEAST: f64 = 0.05;
/// The upper end.
const MOST: f64 = 30.0;

/// A fitted Weibull distribution: the share alive at `t` is exp(−(t / scale)^shape).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    /// Shape.
    pub shape: f64,
    /// Scale, in the unit of the times: 63 % have had the event by then.
    pub scale: f64,
    /// ln of the likelihood at its highest.
    pub ln_likelihood: f64,
    /// Lower end of the shape's interval; `None` where the data set none.
    pub shape_low: Option<f64>,
    /// Upper end.
    pub shape_high: Option<f64>,
}

/// Fits shape and scale; the shape's interval is at `confidence` by the likelihood ratio.
///
/// `None` without a highest likelihood between shapes 0.05 and 30, for a subject that cannot be, an
/// event at time 0, or a confidence outside (0, 1).
#[must_use]
pub fn fit_weibull(subjects: &[Watched], confidence: f64) -> Option<Weibull> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let lives = Lives::of(subjects)?;
    let shape = root(LEAST, MOST, &|shape| lives.slope(shape))?;
    let highest = lives.profile(shape);
    let drop = ChiSquared::new(1.0).ok()?.inverse_cdf(confidence) / 2.0;
    let below = |shape: f64| lives.profile(shape) - highest + drop;
    Some(Weibull {
        shape,
        scale: lives.scale(shape),
        ln_likelihood: highest,
        shape_low: root(LEAST, shape, &|at| -below(at)),
        shape_high: root(shape, MOST, &below),
    })
}

/// The scale by maximum likelihood when the shape is known beforehand (Nelson 1985); needs only one
/// event. `None` as for [`fit_weibull`], and for a shape that is not above 0.
#[must_use]
pub fn scale_at_shape(subjects: &[Watched], shape: f64) -> Option<f64> {
    let known = shape.is_finite() && shape > 0.0;
    known.then(|| Lives::of(subjects).map(|lives| lives.scale(shape))).flatten()
}

/// Subjects in the unit of the longest time, so that no power overflows.
struct Lives {
    unit: f64,
    /// From and to of each.
    spans: Vec<(f64, f64)>,
    events: f64,
    /// Sum of ln t over events, by their weights.
    ln_sum: f64,
}

impl Lives {
    fn of(subjects: &[Watched]) -> Option<Lives> {
        let usable = |one: &Watched| {
            one.from >= 0.0
                && one.to.is_finite()
                && one.to >= one.from
                && (0.0..=1.0).contains(&one.event)
                && (one.event <= 0.0 || one.to > 0.0)
        };
        let unit = subjects.iter().map(|one| one.to).fold(0.0, f64::max);
        if !subjects.iter().all(usable) || unit <= 0.0 {
            return None;
        }
        let events: f64 = subjects.iter().map(|one| one.event).sum();
        let happened = subjects.iter().filter(|one| one.event > 0.0);
        let ln_sum = happened.map(|one| one.event * (one.to / unit).ln()).sum();
        let spans = subjects.iter().map(|one| (one.from / unit, one.to / unit)).collect();
        (events > 0.0).then_some(Lives { unit, spans, events, ln_sum })
    }

    /// Sum of to^shape − from^shape, and its derivative by the shape.
    fn sums(&self, shape: f64) -> (f64, f64) {
        let term = |at: f64| {
            let power = at.powf(shape);
            if at > 0.0 { (power, power * at.ln()) } else { (0.0, 0.0) }
        };
        self.spans.iter().fold((0.0, 0.0), |(sum, by), (from, to)| {
            let (from, to) = (term(*from), term(*to));
            (sum + to.0 - from.0, by + to.1 - from.1)
        })
    }

    fn scale(&self, shape: f64) -> f64 {
        self.unit * (self.sums(shape).0 / self.events).powf(1.0 / shape)
    }

    /// The likelihood's logarithm at a shape, the scale being the best one.
    fn profile(&self, shape: f64) -> f64 {
        let mean = self.sums(shape).0 / self.events;
        self.events * (shape.ln() - mean.ln() - 1.0) + (shape - 1.0) * self.ln_sum
            - self.events * self.unit.ln()
    }

    fn slope(&self, shape: f64) -> f64 {
        let (sum, by) = self.sums(shape);
        self.events / shape + self.ln_sum - self.events * by / sum
    }
}

/// Where a function that begins above 0 falls through it.
fn root(from: f64, to: f64, value: &dyn Fn(f64) -> f64) -> Option<f64> {
    if !(value(from) >= 0.0 && value(to) <= 0.0) {
        return None;
    }
    Some(bisect(from, to, |at| value(at) > 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    /// NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten still running at 500 h.
    fn nist() -> Vec<Watched> {
        let failed = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0];
        let mut all: Vec<Watched> = failed.into_iter().map(Watched::until_event).collect();
        all.extend([Watched::censored(500.0); 10]);
        all
    }

    // q6.weibull.nist (the page prints eta 606.5280, beta 1.7208, logL -75.135) and
    // q6.weibull.profile (scipy); the digits by mpmath, scipy stops 4e-9 beside the shape.
    #[test]
    fn published_handbook_example() {
        let fit = fit_weibull(&nist(), 0.95).expect("ten failures");
        holds("weibull::fit_weibull", fit.shape, 1.720_797_260_801_357);
        assert!((fit.scale - 606.5280).abs() < 1e-3 && (fit.shape - 1.7208).abs() < 5e-5);
        holds("weibull::fit_weibull", fit.ln_likelihood, -75.134_618_164_474_92);
        holds("weibull::fit_weibull", fit.shape_low.expect("low"), 0.905_645_358_752_191_3);
        holds("weibull::fit_weibull", fit.shape_high.expect("high"), 2.885_737_865_741_296_6);
        let scale = scale_at_shape(&nist(), fit.shape).expect("a scale");
        holds("weibull::scale_at_shape", scale, fit.scale);
        // Shape 1 is the exponential: total time by events.
        let total: f64 = nist().iter().map(|one| one.to).sum();
        holds("weibull::scale_at_shape", scale_at_shape(&nist(), 1.0).expect("one"), total / 10.0);
    }

    #[test]
    fn hours_or_seconds_and_half_events() {
        let seconds: Vec<Watched> =
            nist().into_iter().map(|one| Watched { to: one.to * 3600.0, ..one }).collect();
        let (hours, seconds) = (fit_weibull(&nist(), 0.95), fit_weibull(&seconds, 0.95));
        let (hours, seconds) = (hours.expect("a fit"), seconds.expect("a fit"));
        assert!((hours.shape - seconds.shape).abs() < 1e-9);
        assert!((hours.scale * 3600.0 / seconds.scale - 1.0).abs() < 1e-9);
        // An event of one half twice is one event and one censoring.
        let halves = [Watched { from: 0.0, to: 7.0, event: 0.5 }; 2];
        let whole = [Watched::until_event(7.0), Watched::censored(7.0)];
        let scale = scale_at_shape(&halves, 2.0).expect("an event");
        assert!((scale - scale_at_shape(&whole, 2.0).expect("an event")).abs() < 1e-12);
    }

    #[test]
    fn refusals() {
        assert_eq!(fit_weibull(&[], 0.95), None);
        assert_eq!(fit_weibull(&[Watched::censored(3.0); 4], 0.95), None);
        // All events at one time: the likelihood rises with the shape for ever.
        assert_eq!(fit_weibull(&[Watched::until_event(3.0); 4], 0.95), None);
        assert_eq!(scale_at_shape(&[Watched::until_event(0.0)], 1.0), None);
        assert_eq!(scale_at_shape(&nist(), 0.0), None);
    }
}
