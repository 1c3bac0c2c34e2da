//! Many ratios of observed to expected at once: each is pulled towards what all of them are like.
//!
//! In: observed events and expected ones, by group. Out: the distribution of the true ratios over
//! groups (one gamma distribution, or a mixture of two), and for each group the distribution of its
//! own ratio given its events. Few events say little, so a group with few stays near the others.
//! Events may be sums of probabilities. Refuses groups without expected events.

use statrs::function::gamma::{digamma, gamma_lr, ln_gamma};

use super::bisection::quantile;
use super::logs::log_sum_exp;
use super::simplex::maximum;

/// Shapes and rates are sought between these: at the upper end the groups do not differ at all.
const LEAST: f64 = 0.01;
/// The upper end.
const MOST: f64 = 100.0;

/// A gamma distribution of ratios.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gamma {
    /// How much of the mixture it is, above 0; the weights of a mixture add up to 1.
    pub weight: f64,
    /// Shape.
    pub shape: f64,
    /// Rate: the mean is shape by rate.
    pub rate: f64,
}

/// A mixture of gamma distributions: what ratios are like, or what one ratio may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratios(pub Vec<Gamma>);

/// A group's ratio, pulled towards the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shrunk {
    /// Geometric mean (DuMouchel 1999: EBGM).
    pub centre: f64,
    /// Posterior mean.
    pub mean: f64,
    /// Lower end of the equal-tailed interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Probability that the true ratio is above 2.
    pub above_two: f64,
}

impl Ratios {
    /// Probability that the ratio is at most `at`.
    fn at_most(&self, at: f64) -> f64 {
        self.0.iter().map(|g| g.weight * gamma_lr(g.shape, g.rate * at)).sum()
    }

    fn quantile(&self, level: f64) -> f64 {
        let mut high = 1.0_f64;
        while self.at_most(high) < level && high < 1e12 {
            high *= 2.0;
        }
        quantile(high, level, |at| self.at_most(at))
    }
}

/// A gamma distribution of ratios with what of it is the same for every group.
#[derive(Clone, Copy)]
struct Marginal {
    gamma: Gamma,
    ln_weight: f64,
    ln_gamma_shape: f64,
}

impl Marginal {
    fn of(gamma: &Gamma) -> Marginal {
        let (ln_weight, ln_gamma_shape) = (gamma.weight.ln(), ln_gamma(gamma.shape));
        Marginal { gamma: *gamma, ln_weight, ln_gamma_shape }
    }

    /// ln of its weight and of the probability of `events` when `expected` are expected and the ratio is
    /// gamma: negative binomial, without the part that no parameter changes.
    fn ln(&self, events: f64, expected: f64) -> f64 {
        let Gamma { shape, rate, .. } = self.gamma;
        let none = shape * (rate / (rate + expected)).ln();
        if events <= 0.0 {
            // Most groups: there is nothing more to it.
            return self.ln_weight + none;
        }
        let some =
            ln_gamma(shape + events) - self.ln_gamma_shape + none - events * (rate + expected).ln();
        self.ln_weight + some
    }
}

/// ln of the probability of all groups' events under a distribution of ratios, the Poisson's own
/// constant (events · ln expected − ln events!) left out. `None` for a group that cannot be.
#[must_use]
pub fn ln_likelihood(ratios: &Ratios, groups: &[(f64, f64)]) -> Option<f64> {
    groups.iter().all(possible).then(|| {
        let parts: Vec<Marginal> = ratios.0.iter().map(Marginal::of).collect();
        let mut terms = vec![0.0; parts.len()];
        let one = |(events, expected): &(f64, f64)| {
            for (term, part) in terms.iter_mut().zip(&parts) {
                *term = part.ln(*events, *expected);
            }
            log_sum_exp(&terms)
        };
        groups.iter().map(one).sum()
    })
}

fn possible(group: &(f64, f64)) -> bool {
    let (events, expected) = *group;
    events >= 0.0 && events.is_finite() && expected > 0.0 && expected.is_finite()
}

/// One gamma distribution of ratios by maximum likelihood (Greenwood & Yule 1920 for counts).
///
/// `None` with fewer than two groups or a group that cannot be.
#[must_use]
pub fn fit_gamma(groups: &[(f64, f64)]) -> Option<Ratios> {
    if groups.len() < 2 || !groups.iter().all(possible) {
        return None;
    }
    let of = |at: &[f64]| {
        let free = |place: usize| bounded(at.get(place).copied().unwrap_or(0.0));
        Ratios(vec![Gamma { weight: 1.0, shape: free(0), rate: free(1) }])
    };
    let value = |at: &[f64]| ln_likelihood(&of(at), groups).unwrap_or(f64::NEG_INFINITY);
    let best = maximum(&value, &[&[0.0, 0.0], &[2.0, 2.0]]);
    Some(of(&best))
}

/// A mixture of two gamma distributions by maximum likelihood (DuMouchel 1999).
///
/// The first one is the one with the lower mean. `None` as for [`fit_gamma`].
#[must_use]
pub fn fit_two_gammas(groups: &[(f64, f64)]) -> Option<Ratios> {
    if groups.len() < 2 || !groups.iter().all(possible) {
        return None;
    }
    let of = |at: &[f64]| {
        let free = |place: usize| at.get(place).copied().unwrap_or(0.0);
        // Kept off the ends, where one of the two would be nothing.
        let weight = 0.001 + 0.998 / (1.0 + (-free(4)).exp());
        let mut two = [
            Gamma { weight, shape: bounded(free(0)), rate: bounded(free(1)) },
            Gamma { weight: 1.0 - weight, shape: bounded(free(2)), rate: bounded(free(3)) },
        ];
        two.sort_by(|a, b| (a.shape / a.rate).total_cmp(&(b.shape / b.rate)));
        Ratios(two.to_vec())
    };
    let value = |at: &[f64]| ln_likelihood(&of(at), groups).unwrap_or(f64::NEG_INFINITY);
    // The same most of all; a few much worse; a few much better.
    let starts: [&[f64]; 3] =
        [&[2.0, 2.0, 1.0, 0.0, 3.0], &[0.0, 0.0, 2.0, 2.0, -1.5], &[1.0, 1.0, 1.0, -0.5, 1.0]];
    Some(of(&maximum(&value, &starts)))
}

/// A free number as a shape or rate between the ends.
fn bounded(free: f64) -> f64 {
    let (low, high) = (LEAST.ln(), MOST.ln());
    free.clamp(low, high).exp()
}

/// A group's own ratio given its events: gamma with `shape + events` and `rate + expected`, the parts
/// of a mixture weighed by how well they foresaw the events. The interval has this confidence.
///
/// `None` for a group that cannot be or a confidence outside (0, 1).
#[must_use]
pub fn shrink(ratios: &Ratios, events: f64, expected: f64, confidence: f64) -> Option<Shrunk> {
    if !(possible(&(events, expected)) && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let weights: Vec<f64> = ratios.0.iter().map(|g| Marginal::of(g).ln(events, expected)).collect();
    let shares = super::logs::normalise(&weights)?;
    let own: Vec<Gamma> = ratios
        .0
        .iter()
        .zip(shares)
        .map(|(g, weight)| Gamma { weight, shape: g.shape + events, rate: g.rate + expected })
        .collect();
    let ln_centre: f64 = own.iter().map(|g| g.weight * (digamma(g.shape) - g.rate.ln())).sum();
    let mean = own.iter().map(|g| g.weight * g.shape / g.rate).sum();
    let own = Ratios(own);
    let tail = (1.0 - confidence) / 2.0;
    let above_two: f64 = own
        .0
        .iter()
        .map(|g| g.weight * statrs::function::gamma::gamma_ur(g.shape, 2.0 * g.rate))
        .sum();
    Some(Shrunk {
        centre: ln_centre.exp(),
        mean,
        low: own.quantile(tail),
        high: own.quantile(1.0 - tail),
        above_two,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    /// Ten nuclear pumps: failures and thousands of hours (Gaver & O'Muircheartaigh 1987).
    const PUMPS: [(f64, f64); 10] = [
        (5.0, 94.3),
        (1.0, 15.7),
        (5.0, 62.9),
        (14.0, 126.0),
        (3.0, 5.24),
        (19.0, 31.4),
        (1.0, 1.05),
        (1.0, 1.05),
        (4.0, 2.1),
        (22.0, 10.5),
    ];

    // q6.gamma_poisson.pumps: alpha .82297, beta 1.26165, log likelihood -32.257836 with the Poisson's
    // constant; pump 7 shrinks from .952 to .7886, pump 10 from 2.095 to 1.940 (published to four places).
    #[test]
    fn published_pumps() {
        let fitted = fit_gamma(&PUMPS).expect("ten pumps");
        let [gamma] = fitted.0.as_slice() else { panic!("one gamma") };
        assert!((gamma.shape - 0.822_965).abs() < 1e-4 && (gamma.rate - 1.261_653).abs() < 1e-4);
        let constant: f64 =
            PUMPS.iter().map(|(x, t): &(f64, f64)| x * t.ln() - ln_gamma(x + 1.0)).sum();
        let highest = ln_likelihood(&fitted, &PUMPS).expect("possible") + constant;
        holds("shrinkage::fit_gamma", highest, -32.257_836_303_327_14);
        holds("shrinkage::ln_likelihood", highest, -32.257_836_303_327_14);
        for (pump, want) in [(6, 0.788_597_9), (9, 1.940_455_5), (2, 0.090_754_6)] {
            let (x, t) = PUMPS[pump];
            let own = shrink(&fitted, x, t, 0.9).expect("possible");
            assert!((own.mean - want).abs() < 1e-4, "{own:?}");
        }
        let ten = shrink(&fitted, 22.0, 10.5, 0.9).expect("possible");
        assert!((ten.low - 1.324_050_8).abs() < 1e-4 && (ten.high - 2.653_299_6).abs() < 1e-4);
        let two = fit_two_gammas(&PUMPS).expect("ten pumps");
        let higher = ln_likelihood(&two, &PUMPS).expect("possible") + constant;
        assert!(higher >= highest - 1e-9, "a mixture holds the single one: {higher} < {highest}");
    }

    // q6.mgps.openEBGM: the vignette of openEBGM 0.9.1 prints 2.23 .49 13.85 and 23.26 15.68 33.48;
    // scipy gives the digits.
    #[test]
    fn published_mixture() {
        let prior = Ratios(vec![
            Gamma { weight: 0.065_345_57, shape: 3.253_793_56, rate: 0.399_888_54 },
            Gamma { weight: 1.0 - 0.065_345_57, shape: 2.026_126_92, rate: 1.908_079_7 },
        ]);
        for (n, e, centre, low, high) in [
            (1.0, 0.036_054_827_2, 2.226_686_930_197, 0.491_073_760_712_8, 13.856_063_234_750),
            (16.0, 0.406_436_23, 23.261_108_040_531_3, 15.685_661_918_618, 33.477_336_634_202),
            (6.0, 0.078_665_08, 18.276_486_687_417_7, 10.161_711_435_875, 30.836_104_615_217),
        ] {
            let own = shrink(&prior, n, e, 0.9).expect("possible");
            holds("shrinkage::shrink", own.centre, centre);
            holds("shrinkage::shrink", own.low, low);
            holds("shrinkage::shrink", own.high, high);
        }
        // Nothing seen of nothing expected: the prior itself.
        let none = shrink(&prior, 0.0, 1e-12, 0.9).expect("possible");
        holds(
            "shrinkage::shrink",
            none.mean,
            0.065_345_57 * 3.253_793_56 / 0.399_888_54 + 0.934_654_43 * 2.026_126_92 / 1.908_079_7,
        );
        assert_eq!(shrink(&prior, 1.0, 0.0, 0.9), None);
    }

    // Groups drawn from a known mixture: nine in ten near 1, one in ten near 4.
    #[test]
    fn a_few_bad_groups_are_told_apart() {
        let mut lcg = crate::numerics::lcg::Lcg(5);
        let groups: Vec<(f64, f64)> = (0..300)
            .map(|group| {
                let mean = if group % 10 == 0 { 40.0 } else { 10.0 };
                (f64::max(0.0, (mean + lcg.normal() * f64::sqrt(mean)).round()), 10.0)
            })
            .collect();
        let two = fit_two_gammas(&groups).expect("300 groups");
        let one = fit_gamma(&groups).expect("300 groups");
        let ln = |ratios: &Ratios| ln_likelihood(ratios, &groups).expect("possible");
        assert!(ln(&two) > ln(&one) + 20.0);
        let bad = two.0[1];
        holds("shrinkage::fit_two_gammas", (bad.weight * 100.0).round() / 100.0, 0.1);
        assert!((bad.shape / bad.rate - 4.0).abs() < 0.4, "{two:?}");
        let sound = shrink(&two, 10.0, 10.0, 0.95).expect("possible");
        let own = shrink(&two, 40.0, 10.0, 0.95).expect("possible");
        assert!(sound.above_two < 0.01 && own.above_two > 0.99 && own.low > 2.0);
    }
}
