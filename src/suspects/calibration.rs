//! How good the ranking is where the truth is known: scores of many vehicles, beside naive counts.
//!
//! In: one [`Trial`] a vehicle (its finding, and what was really wrong). Out: a [`Calibration`]: how often the
//! first and the first three suspects hold the truth, how good the stated probabilities are, how many verdicts
//! were wrong, and what counting accusations or missing answers would have said.

use std::collections::BTreeMap;

use super::findings::VehicleFinding;
use crate::numerics::scoring::{Bin, calibration_error, corp, reliability};
use crate::vocabulary::Verdict;

/// Bins of the reliability table.
const BINS: usize = 10;
/// The least probability that the log score counts: one sure error must not hide all else.
const LEAST: f64 = 1e-6;

/// What was really wrong with a vehicle, and how it was watched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Truth {
    /// The suspect at fault, `none` when reports mislead, `quiet` when there is nothing to explain.
    pub suspect: String,
    /// The kind of fault, as the tables name it.
    pub kind: String,
    /// How well it was watched, as the tables name it.
    pub profile: String,
    /// Whether bus logs exist.
    pub logged: bool,
}

/// One vehicle with known truth.
#[derive(Debug, Clone)]
pub struct Trial {
    truth: Truth,
    incidents: usize,
    ranked: Vec<(String, f64)>,
    verdict: Verdict,
    most_accused: Option<String>,
    most_mute: Option<String>,
}

impl Trial {
    /// A finding beside the truth.
    #[must_use]
    pub fn new(truth: Truth, finding: &VehicleFinding) -> Trial {
        let incidents = &finding.incidents;
        let accused = incidents
            .iter()
            .flat_map(|i| i.accusations.iter().filter(|a| !a.heard))
            .map(|a| a.accused.as_str());
        let mute = incidents.iter().flat_map(|i| &i.unanswered).map(|(n, _)| n.as_str());
        Trial {
            truth,
            incidents: incidents.len(),
            ranked: finding
                .suspects
                .iter()
                .map(|s| (s.suspect.to_string(), s.probability))
                .collect(),
            verdict: finding.verdict.clone(),
            most_accused: most(accused),
            most_mute: most(mute),
        }
    }

    fn first_is_right(&self) -> bool {
        self.ranked.first().is_some_and(|(name, _)| *name == self.truth.suspect)
    }
}

/// The name that comes most often, the first by name among equals.
fn most<'n>(names: impl Iterator<Item = &'n str>) -> Option<String> {
    let mut counts: BTreeMap<&str, u32> = BTreeMap::new();
    for name in names {
        *counts.entry(name).or_default() += 1;
    }
    let top = counts.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)));
    top.map(|(name, _)| format!("node:{name}"))
}

/// Scores of one group of faulty vehicles.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// What the group has in common.
    pub group: String,
    /// Faulty vehicles of which something was seen.
    pub vehicles: u32,
    /// Faulty vehicles of which nothing was seen: no log or report caught an incident.
    pub unseen: u32,
    /// Share with the truth first.
    pub top_1: f64,
    /// Share with the truth among the first three.
    pub top_3: f64,
    /// Mean −ln of the probability given to the truth, nats (Good 1952).
    pub log_score: f64,
    /// Mean squared distance over all suspects of a vehicle, 0 to 2 (Brier 1950).
    pub brier: f64,
    /// Verdicts that name a suspect.
    pub named: u32,
    /// Of these, right.
    pub named_right: u32,
    /// Mean over ten bins of how far the stated probability of the first is from how often it is right.
    pub calibration_error: f64,
    /// Share in which the most accused node is the truth.
    pub most_accused: f64,
    /// Share in which the node that most often did not answer is the truth.
    pub most_mute: f64,
}

/// How good the ranking is, over all trials and split.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// All faulty vehicles.
    pub all: Score,
    /// The same split: heading, scores.
    pub splits: Vec<(&'static str, Vec<Score>)>,
    /// Reliability of the first suspect's probability, ten bins, healthy vehicles with codes included.
    pub bins: Vec<Bin>,
    /// Its Brier score's miscalibration, discrimination and uncertainty.
    pub corp: [f64; 3],
    /// Healthy vehicles.
    pub healthy: u32,
    /// Of these, with a verdict that names something other than `none`.
    pub false_verdicts: u32,
    /// Of these, `quiet`.
    pub quiet: u32,
}

/// Scores trials.
#[must_use]
pub fn calibrate(trials: &[Trial]) -> Calibration {
    let (healthy, faulty): (Vec<&Trial>, Vec<&Trial>) =
        trials.iter().partition(|t| t.truth.suspect == "quiet");
    let split = |name: &dyn Fn(&Trial) -> String| -> Vec<Score> {
        let mut groups: BTreeMap<String, Vec<&Trial>> = BTreeMap::new();
        for trial in &faulty {
            groups.entry(name(trial)).or_default().push(trial);
        }
        groups.into_iter().map(|(group, trials)| score(group, &trials)).collect()
    };
    let logs = |t: &Trial| if t.truth.logged { "bus logs" } else { "reports only" };
    let often = |t: &Trial| match t.incidents {
        0 => "none seen",
        1 => "1 incident",
        2 => "2 incidents",
        3..=5 => "3 to 5 incidents",
        _ => "6 or more incidents",
    };
    let splits = vec![
        ("How it was watched", split(&|t| format!("{}, {}", t.truth.profile, logs(t)))),
        ("Logs and incidents", {
            let many = |t: &Trial| if t.incidents >= 3 { "three or more" } else { "one or two" };
            split(&|t| format!("{}, {} incidents", logs(t), many(t)))
        }),
        ("Incidents seen", split(&|t| often(t).to_owned())),
        ("Kind of fault", split(&|t| t.truth.kind.clone())),
    ];
    let (stated, right): (Vec<f64>, Vec<bool>) = trials
        .iter()
        .filter_map(|t| {
            let (name, p) = t.ranked.first()?;
            let none = t.truth.suspect == "quiet" && name == "none";
            Some((p.clamp(0.0, 1.0), t.first_is_right() || none))
        })
        .unzip();
    let named = |t: &&&Trial| matches!(&t.verdict, Verdict::Suspect(s) if s.to_string() != "none");
    Calibration {
        all: score("all".to_owned(), &faulty),
        splits,
        bins: reliability(&stated, &right, BINS).unwrap_or_default(),
        corp: corp(&stated, &right).unwrap_or_default(),
        healthy: count(healthy.len()),
        false_verdicts: count(healthy.iter().filter(named).count()),
        quiet: count(healthy.iter().filter(|t| t.verdict == Verdict::Quiet).count()),
    }
}

fn count(many: usize) -> u32 {
    u32::try_from(many).unwrap_or(u32::MAX)
}

fn score(group: String, trials: &[&Trial]) -> Score {
    let seen: Vec<&&Trial> = trials.iter().filter(|t| !t.ranked.is_empty()).collect();
    let n = seen.len().max(1) as f64;
    let share = |holds: &dyn Fn(&Trial) -> bool| -> f64 {
        seen.iter().filter(|t| holds(t)).count() as f64 / n
    };
    let of_truth = |t: &Trial| -> f64 {
        t.ranked.iter().find(|(name, _)| *name == t.truth.suspect).map_or(0.0, |(_, p)| *p)
    };
    let named: Vec<&&&Trial> =
        seen.iter().filter(|t| matches!(t.verdict, Verdict::Suspect(_))).collect();
    let is_truth = |name: &Option<String>, t: &Trial| name.as_deref() == Some(&t.truth.suspect);
    let stated: Vec<f64> =
        seen.iter().filter_map(|t| Some(t.ranked.first()?.1.clamp(0.0, 1.0))).collect();
    let right: Vec<bool> = seen.iter().map(|t| t.first_is_right()).collect();
    Score {
        group,
        vehicles: count(seen.len()),
        unseen: count(trials.len() - seen.len()),
        top_1: share(&|t| t.first_is_right()),
        top_3: share(&|t| t.ranked.iter().take(3).any(|(name, _)| *name == t.truth.suspect)),
        log_score: seen.iter().map(|t| -of_truth(t).max(LEAST).ln()).sum::<f64>() / n,
        brier: seen.iter().map(|t| squared(t)).sum::<f64>() / n,
        named: count(named.len()),
        named_right: count(
            named
                .iter()
                .filter(|t| matches!(&t.verdict, Verdict::Suspect(s) if s.to_string() == t.truth.suspect))
                .count(),
        ),
        calibration_error: calibration_error(&stated, &right, BINS).unwrap_or(0.0),
        most_accused: share(&|t| is_truth(&t.most_accused, t)),
        most_mute: share(&|t| is_truth(&t.most_mute, t)),
    }
}

/// Squared distance of a vehicle's probabilities from the truth, over all suspects.
fn squared(trial: &Trial) -> f64 {
    let mut sum = 0.0;
    let mut met = false;
    for (name, p) in &trial.ranked {
        let is = *name == trial.truth.suspect;
        met |= is;
        sum += (p - f64::from(u8::from(is))).powi(2);
    }
    // A truth outside the space of suspects was given nothing.
    sum + f64::from(u8::from(!met))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::suspects::SuspectFinding;
    use crate::suspects::invented::found;
    use crate::vocabulary::Suspect;

    fn trial(truth: &str, ranked: &[(&str, f64)], verdict: Verdict) -> Trial {
        let mut finding = found(None, &[], Vec::new(), &[], &[]);
        finding.suspects = ranked
            .iter()
            .map(|(name, probability)| SuspectFinding {
                suspect: Suspect::parse(name).expect("a suspect"),
                probability: *probability,
                range: (*probability, *probability),
                prior: 0.1,
                range: (*probability, *probability),
                mechanisms: Vec::new(),
                evidence: Vec::new(),
            })
            .collect();
        finding.verdict = verdict;
        let truth = Truth {
            suspect: truth.to_owned(),
            kind: "bus-off".to_owned(),
            profile: "clear".to_owned(),
            logged: true,
        };
        Trial::new(truth, &finding)
    }

    fn names(name: &str) -> Verdict {
        Verdict::Suspect(Suspect::parse(name).expect("a suspect"))
    }

    // Worked by hand from the definitions of Good 1952 and Brier 1950.
    #[test]
    fn trials_are_scored_as_by_hand() {
        let calibration = calibrate(&[
            trial("node:a", &[("node:a", 0.8), ("node:b", 0.2)], names("node:a")),
            trial("node:b", &[("node:a", 0.6), ("node:b", 0.4)], Verdict::Undecided),
            trial("node:c", &[], Verdict::Quiet),
            trial("quiet", &[("none", 0.9), ("node:a", 0.1)], names("none")),
            trial("quiet", &[("node:a", 0.9), ("none", 0.1)], names("node:a")),
            trial("quiet", &[], Verdict::Quiet),
        ]);
        let all = &calibration.all;
        assert_eq!((all.vehicles, all.unseen, all.named, all.named_right), (2, 1, 1, 1));
        assert!((all.top_1 - 0.5).abs() < 1e-12 && (all.top_3 - 1.0).abs() < 1e-12);
        let log = -(0.8f64.ln() + 0.4f64.ln()) / 2.0;
        assert!((all.log_score - log).abs() < 1e-12, "{}", all.log_score);
        assert!((all.brier - (0.08 + 0.72) / 2.0).abs() < 1e-12, "{}", all.brier);
        // Bins 0.8 (right) and 0.6 (wrong), one vehicle each.
        assert!((all.calibration_error - (0.2 + 0.6) / 2.0).abs() < 1e-12);
        let healthy = (calibration.healthy, calibration.false_verdicts, calibration.quiet);
        assert_eq!(healthy, (3, 1, 1), "`none` for a healthy vehicle is no false verdict");
        let stated: u32 = calibration.bins.iter().map(|b| b.count).sum();
        assert_eq!(stated, 4, "every ranked vehicle stands in a bin");
    }

    #[test]
    fn a_truth_outside_the_space_counts_as_given_nothing() {
        let calibration = calibrate(&[trial("bus:x", &[("node:a", 1.0)], Verdict::Undecided)]);
        assert!((calibration.all.brier - 2.0).abs() < 1e-12);
        assert!((calibration.all.log_score + LEAST.ln()).abs() < 1e-12);
    }
}
