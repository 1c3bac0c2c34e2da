//! What to test next: expected information per minute, from what each outcome would mean.
//!
//! Information is H(h) − Σ P(o) H(h|o) in bits (Lindley 1956). Outcome rates and minutes are METHODS
//! 4.1 and 4.3; they are guesses of the trade, so only the order of the list should be trusted.

use super::findings::NextTest;
use super::hypotheses::{Hypothesis, Manner, Space};
use super::ranking::Ranking;
use crate::vocabulary::Suspect;

/// Tests listed.
const MOST: usize = 5;
/// Suspects for which tests are made up.
const LEADERS: usize = 6;
/// An outcome that a hypothesis does not foresee still happens this often.
const ANYWAY: f64 = 0.05;

struct Test {
    name: String,
    minutes: f64,
    /// Probability of the positive outcome under a hypothesis.
    positive: Box<dyn Fn(&Hypothesis) -> f64>,
    meaning: String,
    caution: &'static str,
}

const STANDING: &str = "vehicle standing and secured; expect loss of brake or steering assistance, \
    lights, parking brake or gear lock; never unplug a module on a vehicle that may move";
const MEASURING: &str = "follow the maker's procedure; never probe airbag or belt circuits; on \
    high-voltage vehicles isolation comes first and by authorised people only";
const UNPOWERED: &str = "bus unpowered and asleep, battery off as the maker says, with the waiting \
    time for airbags";

/// The best tests for a ranking. `risk` is the probability of an incident at a start under the
/// trigger, before any change.
pub(super) fn next_tests(
    space: &Space,
    ranking: &Ranking,
    risk: f64,
    trigger: &str,
) -> Vec<NextTest> {
    let mut tests: Vec<NextTest> = made_up(space, ranking, risk, trigger)
        .into_iter()
        .map(|test| {
            let bits = information(space, &ranking.posterior, &*test.positive);
            NextTest {
                test: test.name,
                bits,
                minutes: test.minutes,
                meaning: test.meaning,
                caution: test.caution.to_owned(),
            }
        })
        .filter(|t| t.bits >= 0.005)
        .collect();
    tests.sort_by(|a, b| {
        (b.bits / b.minutes).total_cmp(&(a.bits / a.minutes)).then_with(|| a.test.cmp(&b.test))
    });
    tests.truncate(MOST);
    tests
}

fn made_up(space: &Space, ranking: &Ranking, risk: f64, trigger: &str) -> Vec<Test> {
    let mut tests = Vec::new();
    let risk = risk.clamp(0.05, 0.95);
    for suspect in ranking.suspects.iter().take(LEADERS).map(|r| r.suspect.clone()) {
        match &suspect {
            Suspect::Node(name) => {
                let own = suspect.clone();
                tests.push(Test {
                    name: format!("disconnect {suspect} and repeat the start {trigger}"),
                    minutes: 25.0,
                    positive: Box::new(move |h| {
                        if h.suspect == own { 0.97 } else { (1.0 - risk).max(ANYWAY) }
                    }),
                    meaning: format!(
                        "no incident: {name} or its stub; an incident all the same: not {name}"
                    ),
                    caution: STANDING,
                });
                let own = suspect.clone();
                let number = space.node(name);
                tests.push(Test {
                    name: format!("measure feed and ground at {suspect} under load"),
                    minutes: 15.0,
                    positive: Box::new(move |h| match h.manner {
                        Manner::Dead if h.suspect == own => 0.6,
                        Manner::Feed | Manner::Ground if number.is_some_and(|n| h.struck[n]) => 0.8,
                        _ => ANYWAY,
                    }),
                    meaning: "a voltage drop: power or ground, not the module".to_owned(),
                    caution: MEASURING,
                });
            }
            Suspect::Branch(name) => {
                let own = suspect.clone();
                tests.push(Test {
                    name: format!("wiggle and dry {suspect} while logging"),
                    minutes: 12.0,
                    positive: Box::new(move |h| if h.suspect == own { 0.55 } else { 0.1 }),
                    meaning: format!("nodes below {name} drop out with the movement: the branch"),
                    caution: STANDING,
                });
            }
            Suspect::Feed(_) | Suspect::Ground(_) => {
                let own = suspect.clone();
                tests.push(Test {
                    name: format!("measure the voltage drop of {suspect} under load"),
                    minutes: 12.0,
                    positive: Box::new(move |h| if h.suspect == own { 0.8 } else { ANYWAY }),
                    meaning: format!("more drop than the maker allows: {suspect}"),
                    caution: MEASURING,
                });
            }
            Suspect::Bus(name) => {
                let own = suspect.clone();
                tests.push(Test {
                    name: format!("measure the resistance of the unpowered bus {name}"),
                    minutes: 6.0,
                    positive: Box::new(move |h| match h.manner {
                        Manner::Wires if h.suspect == own => 0.7,
                        Manner::Branch => 0.25,
                        _ => 0.03,
                    }),
                    meaning: "far from 60 ohm (two terminators of 120 ohm in parallel): wires or \
                              termination; a warm dry bus may read right all the same"
                        .to_owned(),
                    caution: UNPOWERED,
                });
            }
            Suspect::Supply => tests.push(Test {
                name: "record the battery voltage while cranking cold".to_owned(),
                minutes: 10.0,
                positive: Box::new(|h| if h.manner == Manner::Supply { 0.9 } else { 0.08 }),
                meaning: "below 9.6 V (12 V systems): the supply".to_owned(),
                caution: MEASURING,
            }),
            Suspect::None => tests.push(Test {
                name: "scan again with another tester, codes cleared, after one more start"
                    .to_owned(),
                minutes: 15.0,
                positive: Box::new(|h| match h.manner {
                    Manner::Artefact | Manner::Stale => 0.95,
                    Manner::Other => 0.5,
                    _ => 0.35,
                }),
                meaning: "all answer and no code returns: the tester or old codes".to_owned(),
                caution: "",
            }),
        }
    }
    tests
}

fn information(space: &Space, posterior: &[f64], positive: &dyn Fn(&Hypothesis) -> f64) -> f64 {
    // Over suspects, not hypotheses: the manner alone is worth nothing to the technician.
    let mut groups: std::collections::BTreeMap<&Suspect, (f64, f64)> =
        std::collections::BTreeMap::new();
    for (h, p) in space.hypotheses.iter().zip(posterior) {
        let entry = groups.entry(&h.suspect).or_default();
        entry.0 += p * positive(h);
        entry.1 += p * (1.0 - positive(h));
    }
    let yes: Vec<f64> = groups.values().map(|(y, _)| *y).collect();
    let no: Vec<f64> = groups.values().map(|(_, n)| *n).collect();
    let all: Vec<f64> = groups.values().map(|(y, n)| y + n).collect();
    (entropy(&all) - weighted(&yes) - weighted(&no)).max(0.0)
}

fn weighted(joint: &[f64]) -> f64 {
    let total: f64 = joint.iter().sum();
    if total <= 0.0 {
        return 0.0;
    }
    let shares: Vec<f64> = joint.iter().map(|p| p / total).collect();
    total * entropy(&shares)
}

fn entropy(shares: &[f64]) -> f64 {
    shares.iter().filter(|p| **p > 0.0).map(|p| -p * p.log2()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MacKay 2003, twelve balls (METHODS 4.2, `q4.mackay.weighing`): 4 against 4 gives log2 3 bits,
    /// here as three equal outcomes through `weighted`.
    #[test]
    fn entropy_of_published_weighings() {
        assert!((entropy(&[1.0 / 3.0; 3]) - 1.584_963).abs() < 1e-6);
        assert!((entropy(&[5.0 / 12.0, 5.0 / 12.0, 2.0 / 12.0]) - 1.4834).abs() < 5e-5);
        assert!((entropy(&[1.0 / 12.0, 1.0 / 12.0, 10.0 / 12.0]) - 0.8167).abs() < 5e-5);
        assert!((weighted(&[0.25, 0.25]) - 0.5).abs() < 1e-12);
        assert!(weighted(&[0.0]).abs() < 1e-12);
    }
}
