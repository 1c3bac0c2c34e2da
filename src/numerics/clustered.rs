//! The share free of an event when subjects come in clusters.
//!
//! In: subjects by cluster (what is seen of one and the same thing is a cluster). Out: the
//! Kaplan-Meier curve of them all, with intervals that allow for the subjects of one cluster being
//! alike. Greenwood's formula takes every subject for a witness of its own; where a few clusters
//! have most of the events, its interval is far too narrow.
//!
//! The influence of each cluster on the logarithm of the curve is the sum over its subjects of the
//! infinitesimal jackknife (Efron 1981); with every subject a cluster of its own the squares add up
//! to Greenwood's formula exactly, and without censoring to the variance of a ratio estimator
//! (Cochran 1977). Refuses a single cluster: nothing tells then how much clusters differ.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::survival::{Curve, Watched, kaplan_meier, log_log_interval};

/// The curve of all subjects, its standard errors and log(-log) intervals by clusters.
///
/// The variance has the factor K/(K − 1) for K clusters, the intervals Student's quantile with
/// K − 1 degrees of freedom. `None` for fewer than two clusters with subjects, and as for
/// [`kaplan_meier`]. A step whose clusters do not differ at all has no interval.
#[must_use]
pub fn clustered_curve(clusters: &[Vec<Watched>], confidence: f64) -> Option<Curve> {
    let clusters: Vec<&Vec<Watched>> = clusters.iter().filter(|c| !c.is_empty()).collect();
    let all: Vec<Watched> = clusters.iter().flat_map(|c| c.iter().copied()).collect();
    let mut curve = kaplan_meier(&all, confidence)?;
    let count = clusters.len() as f64;
    if clusters.len() < 2 {
        return None;
    }
    let quantile =
        -StudentsT::new(0.0, 1.0, count - 1.0).ok()?.inverse_cdf((1.0 - confidence) / 2.0);
    let mut influence = Influence::of(&clusters);
    for step in &mut curve.steps {
        let squares = influence.after(step.time, step.at_risk as f64, step.events);
        let spread = (squares * count / (count - 1.0)).sqrt();
        let known = step.free > 0.0 && spread.is_finite();
        let ends = (known && spread > 0.0).then(|| log_log_interval(step.free, quantile * spread));
        step.std_error = known.then_some(step.free * spread);
        step.low = ends.map(|ends| ends.0);
        step.high = ends.map(|ends| ends.1);
    }
    Some(curve)
}

/// Below this share of all that was ever added, squares are what rounding has left of nothing.
const ROUNDING: f64 = 1e-13;

/// The influence of each cluster on the logarithm of the curve, carried from step to step.
///
/// A step moves the influence of a cluster by its subjects at risk times one figure, the same for all, and
/// by its own events. So the sum of squares is carried by three sums over clusters, and a cluster is
/// touched only when one of its subjects begins, ends or has its event: the whole costs as much as sorting
/// the subjects, however many steps and clusters there are.
struct Influence {
    /// Beginnings and ends: when, what kind, which cluster, the event's weight.
    changes: Vec<(f64, Change, usize, f64)>,
    next: usize,
    own: Vec<Own>,
    /// What a subject at risk from the beginning to now has been moved by.
    moved: f64,
    /// Sums over clusters: influence squared, influence times at risk, at risk squared.
    squares: f64,
    crossed: f64,
    exposed: f64,
    /// All that the squares ever were raised by: the measure of their rounding.
    raised: f64,
}

/// What happens to a subject. At 0 it begins first and may end there.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Change {
    /// A subject is at risk at times after this one (or, at 0, from it on).
    Begins,
    /// A subject is at risk up to this time.
    Ends,
}

/// One cluster: its influence when `moved` was `since`, and its subjects at risk since then.
#[derive(Clone, Copy, Default)]
struct Own {
    value: f64,
    since: f64,
    at_risk: f64,
}

impl Influence {
    fn of(clusters: &[&Vec<Watched>]) -> Influence {
        let mut changes = Vec::new();
        for (cluster, subjects) in clusters.iter().enumerate() {
            for one in subjects.iter().filter(|one| one.from <= 0.0 || one.from < one.to) {
                changes.push((one.from, Change::Begins, cluster, 0.0));
                changes.push((one.to, Change::Ends, cluster, one.event));
            }
        }
        changes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
        Influence {
            changes,
            next: 0,
            own: vec![Own::default(); clusters.len()],
            moved: 0.0,
            squares: 0.0,
            crossed: 0.0,
            exposed: 0.0,
            raised: 0.0,
        }
    }

    /// Lets one more subject of a cluster be at risk, or one less.
    fn risk(&mut self, cluster: usize, more: f64) {
        let Some(own) = self.own.get_mut(cluster) else { return };
        own.value += own.at_risk * (self.moved - own.since);
        own.since = self.moved;
        self.crossed += own.value * more;
        self.exposed += more * (2.0 * own.at_risk + more);
        own.at_risk += more;
    }

    /// Takes a step and gives the sum of squares after it: `risk` subjects at risk, `events` at `time`.
    fn after(&mut self, time: f64, risk: f64, events: f64) -> f64 {
        // Ends at the very time wait: they are at risk, and may be the step's events.
        let before = |change: &(f64, Change, usize, f64)| {
            change.0 < time || (change.1 == Change::Begins && change.0 <= 0.0)
        };
        while let Some(change) = self.changes.get(self.next).copied().filter(before) {
            let more = if change.1 == Change::Begins { 1.0 } else { -1.0 };
            self.risk(change.2, more);
            self.next += 1;
        }
        let each = events / risk / (risk - events);
        self.squares += each * (2.0 * self.crossed + each * self.exposed);
        self.raised += each * (2.0 * self.crossed.abs() + each * self.exposed);
        self.crossed += each * self.exposed;
        self.moved += each;
        let here = self.changes.get(self.next..).unwrap_or_default().iter();
        let here: Vec<(usize, f64)> = here
            .take_while(|change| change.0 <= time)
            .filter(|change| change.1 == Change::Ends && change.3 > 0.0)
            .map(|change| (change.2, change.3))
            .collect();
        for (cluster, weight) in here {
            let Some(own) = self.own.get_mut(cluster) else { continue };
            let value = own.value + own.at_risk * (self.moved - own.since);
            let fall = weight / (risk - events);
            self.squares += fall * (fall - 2.0 * value);
            self.raised += fall * (fall + 2.0 * value.abs());
            self.crossed -= fall * own.at_risk;
            own.value -= fall;
        }
        if self.squares > ROUNDING * self.raised { self.squares } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::survival::Watch;
    use crate::numerics::tolerances::holds;

    const NAME: &str = "clustered::clustered_curve";

    // q2.cluster.ratio: incidents and starts of ten vehicles; standard error of the ratio by
    // clusters .0143708 (statsmodels 0.15.0 and the formula of Cochran 1977), taken for independent
    // .0094094. Every start watched for one unit, so the curve at 1 is one less the ratio.
    #[test]
    fn without_censoring_it_is_the_ratio_estimator() {
        let hits = [3, 0, 1, 0, 0, 5, 0, 1, 0, 2];
        let trials = [40, 22, 35, 60, 18, 44, 51, 30, 25, 37];
        let clusters: Vec<Vec<Watched>> = hits
            .iter()
            .zip(trials)
            .map(|(hits, trials)| {
                let one = |at| match at < *hits {
                    true => Watched::until_event(1.0),
                    false => Watched::censored(1.0),
                };
                (0..trials).map(one).collect()
            })
            .collect();
        let curve = clustered_curve(&clusters, 0.95).expect("ten clusters");
        let [step] = curve.steps.as_slice() else { panic!("one time") };
        holds(NAME, 1.0 - step.free, 0.033_149_171_270_718);
        holds(NAME, step.std_error.expect("known"), 0.014_370_804_198_772);
        let plain = kaplan_meier(&clusters.concat(), 0.95).expect("subjects");
        holds(NAME, plain.steps[0].std_error.expect("known"), 0.009_409_396_930_374);
        assert!(step.low < plain.steps[0].low && step.high > plain.steps[0].high);
    }

    // Each subject a cluster of its own: Greenwood's formula, but for the factor K/(K − 1). Times
    // of remission under 6-MP, Freireich et al. 1963.
    #[test]
    fn one_subject_a_cluster_is_greenwood() {
        let ended = [6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0];
        let fell = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0];
        let subjects: Vec<Watched> = fell
            .map(Watched::until_event)
            .into_iter()
            .chain(ended.map(Watched::censored))
            .collect();
        let own: Vec<Vec<Watched>> = subjects.iter().map(|one| vec![*one]).collect();
        let curve = clustered_curve(&own, 0.95).expect("clusters");
        let greenwood = [
            0.076_360_354_832_121,
            0.086_935_285_180_057,
            0.096_349_652_994_320,
            0.106_814_707_775_010,
            0.114_053_865_256_753,
            0.128_233_751_693_034,
            0.134_591_456_755_760,
        ];
        for (step, want) in curve.steps.iter().zip(greenwood) {
            let got = step.std_error.expect("above 0") / (21.0f64 / 20.0).sqrt();
            holds(NAME, got, want);
        }
    }

    // Against the plain sum over all clusters at every step, with late entry, ties and weighted events.
    #[test]
    fn carried_sums_are_the_plain_ones() {
        let mut lcg = crate::numerics::lcg::Lcg(11);
        let mut subject = || {
            let from = if lcg.uniform() < 0.5 { 0.0 } else { (lcg.uniform() * 10.0).round() };
            let kind = lcg.uniform();
            let event = if kind < 0.5 { 0.0 } else { f64::from(kind < 0.8).max(0.4) };
            Watched { from, to: from + (lcg.uniform() * 20.0).round(), event }
        };
        let clusters: Vec<Vec<Watched>> =
            (0..40).map(|own| (0..1 + own % 5).map(|_| subject()).collect()).collect();
        let curve = clustered_curve(&clusters, 0.95).expect("clusters");
        let watches: Vec<Watch> = clusters.iter().map(|own| Watch::of(own)).collect();
        let mut influence = vec![0.0; clusters.len()];
        assert!(curve.steps.len() > 10);
        for step in &curve.steps {
            let (risk, events) = (step.at_risk as f64, step.events);
            for (own, watch) in influence.iter_mut().zip(&watches) {
                let exposed = watch.at_risk(step.time) as f64;
                let happened = watch.events_at(step.time);
                *own -= (happened - exposed * events / risk) / (risk - events);
            }
            let squares: f64 = influence.iter().map(|own| own * own).sum();
            if let Some(error) = step.std_error {
                holds(NAME, error, step.free * (squares * 40.0 / 39.0).sqrt());
            }
        }
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        let one = vec![Watched::until_event(2.0), Watched::censored(3.0)];
        assert_eq!(clustered_curve(std::slice::from_ref(&one), 0.95), None);
        assert_eq!(clustered_curve(&[one.clone(), Vec::new()], 0.95), None);
        // Two clusters that are alike say nothing of how clusters differ.
        let twins = clustered_curve(&[one.clone(), one], 0.95).expect("two clusters");
        assert_eq!((twins.steps[0].low, twins.steps[0].high), (None, None));
        let fall = vec![Watched::until_event(2.0)];
        let all = clustered_curve(&[fall.clone(), fall], 0.95).expect("two clusters");
        assert_eq!(all.steps[0].std_error, None);
    }
}
