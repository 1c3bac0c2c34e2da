//! Many ratios of observed to expected at once: each is pulled towards what all of them are like.
//!
//! In: observed events and expected ones, by group, and distributions that the true ratios may have over
//! groups, each with how probable it is. Out: how probable each is in the light of the groups, and for each
//! group the distribution of its own ratio given its events. Few events say little, so a group with few
//! stays near the others; and groups with few events say little of how much they differ, so no one
//! distribution is taken for the true one: all that may be are kept, by their probabilities.
//! Events may be sums of probabilities. Refuses groups without expected events.

use statrs::function::gamma::{digamma, gamma_lr, gamma_ur, ln_gamma};

use super::bisection::quantile;
use super::logs::{log_sum_exp, normalise};

/// How far ratios that are mostly alike may spread: standard deviations, each as probable as the span it
/// stands for (Gelman 2006: a flat prior for the spread of groups). At the lowest they are all the same.
const SPREADS: [f64; 8] = [0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.55, 0.75];
/// Least share of ratios that are far from the others, and steps from it up to all of them, four a decade.
/// Every share is as probable as every other, so the steps weigh by their size (Laplace 1774).
const LEAST_SHARE: f64 = 1e-5;
const SHARES: i32 = 20;
/// A distribution that is less probable than this is left out.
const NEVER: f64 = 1e-12;

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

/// A distribution that ratios may have.
#[derive(Debug, Clone, PartialEq)]
pub struct Likely {
    /// How probable it is; those of a list add up to 1.
    pub probability: f64,
    /// The distribution.
    pub ratios: Ratios,
}

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

/// What ratios may be like before any is known: most are spread about 1, the same for all or further
/// apart, and a share of any size has ratios of its own, gamma with shape and rate 1.
#[must_use]
pub fn mostly_alike() -> Vec<Likely> {
    let mut all = Vec::new();
    for (at, spread) in SPREADS.into_iter().enumerate() {
        let next = |step: usize| SPREADS.get(step).copied();
        let (from, to) = (at.checked_sub(1).and_then(next), next(at + 1));
        let span = (to.unwrap_or(1.0) - from.unwrap_or(0.0)) / 2.0;
        let shape = 1.0 / (spread * spread);
        for step in 0..=SHARES {
            let share = LEAST_SHARE * 10f64.powf(f64::from(step) / 4.0);
            let end = if step == 0 || step == SHARES { 0.5 } else { 1.0 };
            let parts = [(1.0 - share, shape), (share, 1.0)].into_iter();
            let parts = parts.filter(|(weight, _)| *weight > 0.0);
            let ratios = parts.map(|(weight, shape)| Gamma { weight, shape, rate: shape });
            all.push(Likely { probability: span * share * end, ratios: Ratios(ratios.collect()) });
        }
    }
    let sum: f64 = all.iter().map(|one| one.probability).sum();
    for one in &mut all {
        one.probability /= sum;
    }
    all
}

/// How probable each distribution is in the light of the groups. What cannot be is left out.
///
/// `None` for a group that cannot be, or where none of the distributions can.
#[must_use]
pub fn weigh(all: Vec<Likely>, groups: &[(f64, f64)]) -> Option<Vec<Likely>> {
    let logs: Option<Vec<f64>> = all
        .iter()
        .map(|one| Some(one.probability.ln() + ln_likelihood(&one.ratios, groups)?))
        .collect();
    let weighed = all.into_iter().zip(normalise(&logs?)?);
    let told = weighed.map(|(one, probability)| Likely { probability, ..one });
    let mut kept: Vec<Likely> = told.filter(|one| one.probability > NEVER).collect();
    let sum: f64 = kept.iter().map(|one| one.probability).sum();
    for one in &mut kept {
        one.probability /= sum;
    }
    Some(kept)
}

/// All of them as one mixture: what the ratio of a further group is like.
#[must_use]
pub fn together(all: &[Likely]) -> Ratios {
    let each = |one: &Likely| -> Vec<Gamma> {
        let weighed = |g: &Gamma| Gamma { weight: g.weight * one.probability, ..*g };
        one.ratios.0.iter().map(weighed).collect()
    };
    merged(all.iter().flat_map(each).collect())
}

/// A mixture in which no distribution stands twice.
fn merged(mut parts: Vec<Gamma>) -> Ratios {
    parts.sort_by(|a, b| a.shape.total_cmp(&b.shape).then(a.rate.total_cmp(&b.rate)));
    parts.dedup_by(|next, kept| {
        let same =
            next.shape.total_cmp(&kept.shape).is_eq() && next.rate.total_cmp(&kept.rate).is_eq();
        if same {
            kept.weight += next.weight;
        }
        same
    });
    Ratios(parts)
}

/// A group's own ratio given its events: gamma with `shape + events` and `rate + expected`, the parts of each
/// mixture weighed by how well they foresaw the events, and the mixtures by their probabilities, which know
/// of the group already. The interval has this confidence.
///
/// `None` for a group that cannot be, a confidence outside (0, 1), or no distribution.
#[must_use]
pub fn shrink(all: &[Likely], events: f64, expected: f64, confidence: f64) -> Option<Shrunk> {
    if !(possible(&(events, expected)) && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let mut own: Vec<Gamma> = Vec::new();
    for one in all {
        let weights: Vec<f64> =
            one.ratios.0.iter().map(|g| Marginal::of(g).ln(events, expected)).collect();
        let shares = normalise(&weights)?;
        own.extend(one.ratios.0.iter().zip(shares).map(|(g, share)| Gamma {
            weight: share * one.probability,
            shape: g.shape + events,
            rate: g.rate + expected,
        }));
    }
    let own = merged(own);
    if own.0.is_empty() {
        return None;
    }
    let sum =
        |value: &dyn Fn(&Gamma) -> f64| own.0.iter().map(|g| g.weight * value(g)).sum::<f64>();
    let tail = (1.0 - confidence) / 2.0;
    Some(Shrunk {
        centre: sum(&|g| digamma(g.shape) - g.rate.ln()).exp(),
        mean: sum(&|g| g.shape / g.rate),
        low: own.quantile(tail),
        high: own.quantile(1.0 - tail),
        above_two: sum(&|g| gamma_ur(g.shape, 2.0 * g.rate)),
    })
}
