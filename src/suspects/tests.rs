//! Laws of the ranking as a whole: a slow enumeration beside it, names and order that do not matter, weights that add up,
//! starts that say nothing, two causes, and what each suspect's marks do.

use proptest::prelude::*;

use super::habit::remember;
use super::hypotheses::{Manner, Space};
use super::invented::{accuse, found, healthy_start, network, place, silence};
use super::listening::Listening;
use super::ranking::rank;
use super::rates;
use super::scene::Scene;
use super::{SuspectFinding, VehicleFinding};
use crate::incidents::Incident;
use crate::read::{ServiceAction, ServiceNote, ServiceOutcome};
use crate::vocabulary::{Network, Suspect, Verdict};

const ALL: [&str; 5] = ["brake", "door", "engine", "lift", "steer"];

fn small() -> Network {
    network(&[
        ("brake", "front", "F1", "G1"),
        ("door", "rear", "F2", "G2"),
        ("engine", "front", "F1", "G1"),
        ("lift", "rear", "F2", "G2"),
        ("steer", "front", "F3", "G1"),
    ])
}

fn of<'f>(finding: &'f VehicleFinding, name: &str) -> &'f SuspectFinding {
    let suspect = Suspect::parse(name).expect("a suspect");
    finding.suspects.iter().find(|s| s.suspect == suspect).expect("in the space")
}

/// Silence and disturbance of incidents, worked out in plain probabilities, hypothesis by hypothesis.
fn enumerated(space: &Space, sets: &[Vec<bool>]) -> Vec<f64> {
    let nodes = space.nodes.len();
    let mut silences = vec![0.0; nodes];
    let mut mixed = vec![1.0; space.hypotheses.len()];
    let mut all_alien = 1.0;
    let eps = rates::CONTAMINATION;
    let temper = rates::TEMPER + (1.0 - rates::TEMPER) / sets.len() as f64;
    for (number, set) in sets.iter().enumerate() {
        let chance = |h: &super::hypotheses::Hypothesis| -> f64 {
            let spread: &[(f64, f64)] = match h.manner {
                Manner::Talks | Manner::Floods | Manner::Strays => &rates::DISTURBED,
                Manner::BusOff => &rates::DISTURBED_SHORTLY,
                Manner::Wires => &rates::WIRES,
                Manner::Supply => &rates::SUPPLY,
                _ => &rates::BYSTANDER,
            };
            let mut sum = 0.0;
            for (share, severity) in spread {
                let mut product = 1.0;
                for node in 0..nodes {
                    let certain = h.struck[node]
                        && !matches!(
                            h.manner,
                            Manner::Talks
                                | Manner::Floods
                                | Manner::Strays
                                | Manner::Wires
                                | Manner::Supply
                        );
                    let mut p = match h.manner {
                        Manner::Artefact | Manner::Stale => 0.01,
                        _ if certain => rates::STRUCK,
                        Manner::Talks if h.struck[node] => 0.02 + rates::TALKER_UNHEARD * severity,
                        Manner::Floods if h.struck[node] => 0.02,
                        _ => *severity,
                    };
                    if !certain {
                        p = (rates::HABIT * p + silences[node]) / (rates::HABIT + number as f64);
                    }
                    product *= if set[node] { p } else { 1.0 - p };
                }
                sum += share * product;
            }
            sum
        };
        let count = set.iter().filter(|s| **s).count();
        let ways = (1..=count).fold(1.0, |w, k| w * (nodes + 1 - k) as f64 / k as f64);
        // No log holds an error frame: what that tells is told once.
        let calm = |level: f64, unnoticed: f64| {
            let none = rates::NO_ERROR_CHANNEL;
            let all = sets.len() as f64;
            (none * unnoticed.powf(all) + (1.0 - none) * level.powf(all)).powf(1.0 / all)
        };
        let quiet = |h: &super::hypotheses::Hypothesis| match h.manner {
            Manner::Talks | Manner::BusOff => {
                calm(rates::LEVELS_DISTURBER[0], rates::UNNOTICED.0) * (1.0 - rates::FLOOD_SEEN.1)
            }
            Manner::Floods | Manner::Strays => {
                calm(rates::LEVELS_DISTURBER[0], rates::UNNOTICED.0) * (1.0 - rates::FLOOD_SEEN.0)
            }
            Manner::Dead | Manner::CutOff => {
                calm(rates::LEVELS_DROP_OUT[0], rates::UNNOTICED.2) * (1.0 - rates::FLOOD_SEEN.2)
            }
            Manner::Feed | Manner::Ground => {
                calm(rates::LEVELS_UNPOWERED[0], rates::UNNOTICED.2) * (1.0 - rates::FLOOD_SEEN.2)
            }
            Manner::Branch => {
                calm(rates::LEVELS_BRANCH[0], rates::UNNOTICED.2) * (1.0 - rates::FLOOD_SEEN.2)
            }
            Manner::Wires => {
                calm(rates::LEVELS_WIRES[0], rates::UNNOTICED.1) * (1.0 - rates::FLOOD_SEEN.2)
            }
            Manner::Supply => {
                calm(rates::LEVELS_SUPPLY[0], rates::UNNOTICED.2) * (1.0 - rates::FLOOD_SEEN.2)
            }
            Manner::Artefact | Manner::Stale | Manner::Other => {
                calm(rates::LEVELS_NONE[0], rates::UNNOTICED.2) * (1.0 - rates::FLOOD_SEEN.2)
            }
        };
        let named = || space.hypotheses.iter().filter(|h| h.manner != Manner::Other);
        let weight: f64 = named().map(|h| h.prior).sum();
        let mean: f64 = named().map(|h| h.prior * quiet(h)).sum::<f64>() / weight;
        let alien = mean / ((nodes + 1) as f64 * ways);
        for (value, h) in mixed.iter_mut().zip(&space.hypotheses) {
            let own = if h.manner == Manner::Other { alien } else { chance(h) * quiet(h) };
            *value *= (1.0 - eps) * own + eps * alien;
        }
        all_alien *= eps * alien;
        for (sum, silent) in silences.iter_mut().zip(set) {
            *sum += f64::from(u8::from(*silent));
        }
    }
    // One incident at least is of the cause.
    let one_at_all = 1.0 - eps.powi(i32::try_from(sets.len()).expect("few"));
    let posterior: Vec<f64> = mixed
        .iter()
        .zip(&space.hypotheses)
        .map(|(value, h)| {
            let other = h.manner == Manner::Other;
            let joint = if other { *value } else { (value - all_alien) / one_at_all };
            h.prior * joint.powf(temper)
        })
        .collect();
    let total: f64 = posterior.iter().sum();
    posterior.iter().map(|p| p / total).collect()
}

/// Incidents of given silent sets, with nothing else to tell.
fn incidents(sets: &[Vec<bool>]) -> Vec<Incident> {
    (0u32..)
        .zip(sets)
        .map(|(day, set)| {
            let silent: Vec<&str> =
                ALL.iter().zip(set).filter(|(_, s)| **s).map(|(n, _)| *n).collect();
            silence(day, &silent, &ALL, 5.0)
        })
        .collect()
}

fn ranked(space: &Space, incidents: &[Incident]) -> Vec<f64> {
    let listening = Listening::default();
    let mut scenes: Vec<Scene> =
        incidents.iter().map(|i| Scene::new(i, space, (&listening, &listening))).collect();
    remember(&mut scenes);
    rank(space, &scenes, &[], &[]).posterior
}

fn space() -> Space {
    let names: Vec<String> = ALL.iter().map(|n| (*n).to_owned()).collect();
    let (buses, met) = (Default::default(), names.iter().cloned().collect());
    Space::new(&names, Some(&small()), &buses, &met)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_ranking_is_what_a_slow_enumeration_says(
        sets in prop::collection::vec(prop::collection::vec(any::<bool>(), 5), 1..5)
    ) {
        let space = space();
        let (found, wanted) = (ranked(&space, &incidents(&sets)), enumerated(&space, &sets));
        for (h, (a, b)) in space.hypotheses.iter().zip(found.iter().zip(&wanted)) {
            prop_assert!((a - b).abs() < 1e-9, "{:?} {:?}: {a} and {b}", h.suspect, h.manner);
        }
    }

    #[test]
    fn prior_and_weights_add_up_to_the_probability(
        sets in prop::collection::vec(prop::collection::vec(any::<bool>(), 5), 1..5)
    ) {
        let network = small();
        let mut told = incidents(&sets);
        accuse(&mut told[0], &ALL, &[("brake", "steer"), ("door", "steer"), ("lift", "engine")]);
        let finding = found(Some(&network), &ALL, told, &[], &[]);
        let total: f64 = finding.suspects.iter().map(|s| s.probability).sum();
        prop_assert!((total - 1.0).abs() < 1e-9, "{total}");
        for s in &finding.suspects {
            let weights: f64 = s.evidence.iter().map(|e| e.weight_db).sum();
            let stands = 10.0 * s.probability.log10();
            // Each weight left out as rounding is below 0.005.
            prop_assert!((10.0 * s.prior.log10() + weights - stands).abs() < 0.1, "{s:?}");
        }
    }

    #[test]
    fn other_names_and_another_order_change_nothing(
        sets in prop::collection::vec(prop::collection::vec(any::<bool>(), 5), 1..4),
        accused in 0usize..5,
    ) {
        // The names in reverse, so that every order by name turns round.
        let other = |name: &str| {
            let at = ALL.iter().position(|n| *n == name).expect("a node");
            ALL[ALL.len() - 1 - at]
        };
        let mut plain = incidents(&sets);
        let pairs: Vec<(&str, &str)> =
            ALL.iter().filter(|n| **n != ALL[accused]).map(|n| (*n, ALL[accused])).collect();
        accuse(&mut plain[0], &ALL, &pairs);
        let mut turned = plain.clone();
        for incident in &mut turned {
            for s in &mut incident.silent {
                s.node = other(&s.node).to_owned();
            }
            incident.silent.reverse();
            for name in incident.alive.iter_mut().chain(&mut incident.reporters) {
                *name = other(name).to_owned();
            }
            for a in &mut incident.accusations {
                (a.reporter, a.accused) = (other(&a.reporter).to_owned(), other(&a.accused).to_owned());
            }
            incident.accusations.reverse();
        }
        let mut renamed = small();
        for node in &mut renamed.nodes {
            node.name = other(&node.name).to_owned();
        }
        renamed.nodes.reverse();
        let a = found(Some(&small()), &ALL, plain, &[], &[]);
        let b = found(Some(&renamed), &ALL, turned, &[], &[]);
        for s in &a.suspects {
            let same = match &s.suspect {
                Suspect::Node(name) => Suspect::Node(other(name).to_owned()),
                rest => rest.clone(),
            };
            let twin = b.suspects.iter().find(|t| t.suspect == same).expect("its twin");
            prop_assert!((s.probability - twin.probability).abs() < 1e-9, "{}", s.suspect);
        }
    }
}

#[test]
fn without_a_change_on_the_vehicle_healthy_starts_lower_nobody() {
    let network = small();
    let told = || (0..4).map(|day| silence(day, &["lift"], &ALL, 5.0)).collect::<Vec<_>>();
    let few = found(Some(&network), &ALL, told(), &[], &[healthy_start(5)]);
    let many: Vec<_> = (5..25).map(healthy_start).collect();
    let many = found(Some(&network), &ALL, told(), &[], &many);
    for s in &few.suspects {
        let (a, b) = (s.probability, of(&many, &s.suspect.to_string()).probability);
        assert!((a - b).abs() < 1e-12, "{}: {a} and {b}", s.suspect);
    }
    assert!(of(&few, "node:lift").probability > 0.75);
    assert_eq!(few.verdict, Verdict::Suspect(Suspect::Node("lift".to_owned())));
}

/// Where a replacement's outcome is not stated it is read off the starts: each healthy one behind it speaks for what was
/// replaced, and so takes from the others. A stated outcome stands, whatever the starts do.
#[test]
fn healthy_starts_behind_a_replacement_speak_for_what_was_replaced() {
    let network = small();
    let lift = |outcome: Option<ServiceOutcome>, healthy: u32| {
        let days = [0, 1, 2, 3, 10, 11];
        let told = Vec::from(days.map(|day| silence(day, &["lift"], &ALL, 5.0)));
        let note = ServiceNote {
            time: healthy_start(5).start,
            vehicle: "V".to_owned(),
            action: ServiceAction::Replace,
            target: Some(Suspect::Node("lift".to_owned())),
            outcome,
            note: String::new(),
            place: place(),
        };
        let starts: Vec<_> = (12..12 + healthy).map(healthy_start).collect();
        of(&found(Some(&network), &ALL, told, &[note], &starts), "node:lift").probability
    };
    let read_off = [0, 1, 5, 20].map(|healthy| lift(None, healthy));
    assert!(read_off.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12), "{read_off:?}");
    assert!(read_off[1] + 0.02 < read_off[2] && read_off[2] < read_off[3], "{read_off:?}");
    let said = [0, 20].map(|healthy| lift(Some(ServiceOutcome::NoChange), healthy));
    assert!((said[0] - said[1]).abs() < 1e-12, "{said:?}");
}

#[test]
fn one_incident_with_two_explanations_stays_undecided() {
    let network = network(&[
        ("brake", "front", "F1", "G1"),
        ("door", "rear", "F2", "G2"),
        ("engine", "front", "F1", "G1"),
        ("lift", "stub", "F3", "G2"),
        ("steer", "front", "F1", "G1"),
    ]);
    let finding = found(Some(&network), &ALL, vec![silence(0, &["lift"], &ALL, 5.0)], &[], &[]);
    assert_eq!(finding.verdict, Verdict::Undecided, "{}", finding.because);
    let leaders: Vec<String> =
        finding.suspects.iter().take(3).map(|s| s.suspect.to_string()).collect();
    for name in ["branch:stub", "node:lift"] {
        assert!(leaders.contains(&name.to_owned()), "{leaders:?}");
    }
    for name in finding.suspects.iter().take(2).map(|s| s.suspect.the_in_words()) {
        assert!(finding.because.contains(&name), "names both: {}", finding.because);
    }
    assert!(finding.because.contains("these two apart"), "{}", finding.because);
}

#[test]
fn two_causes_on_one_vehicle_are_both_told() {
    let network = small();
    let mut told: Vec<Incident> = (0..6).map(|day| silence(day, &["steer"], &ALL, 5.0)).collect();
    told.extend((6..9).map(|day| silence(day, &["lift"], &ALL, 5.0)));
    let finding = found(Some(&network), &ALL, told, &[], &[]);
    let first = finding.suspects.first().expect("a leader");
    assert_eq!(first.suspect.to_string(), "node:steer");
    assert_eq!(finding.explained, 6);
    let other = finding.other_causes.first().expect("a second cause");
    assert_eq!(
        (other.suspect.to_string(), other.incidents, other.of),
        ("node:lift".to_owned(), 3, 9)
    );
}

/// Beyond an open branch the nodes may still hear one another, or each is left alone: both are the branch's doing.
#[test]
fn those_beyond_a_break_may_lose_one_another_too() {
    let network = network(&[
        ("brake", "front", "F1", "G1"),
        ("door", "rear", "F2", "G2"),
        ("engine", "front", "F3", "G3"),
        ("lift", "rear", "F4", "G4"),
        ("steer", "middle", "F5", "G5"),
        ("trailer", "rear", "F6", "G6"),
    ]);
    let all = ["brake", "door", "engine", "lift", "steer", "trailer"];
    let rear = ["door", "lift", "trailer"];
    for apart in [false, true] {
        let lose = |a: &str, b: &str| {
            a != b && (apart && rear.contains(&a) || rear.contains(&a) != rear.contains(&b))
        };
        let pairs: Vec<(&str, &str)> = all
            .iter()
            .flat_map(|a| all.iter().map(move |b| (*a, *b)))
            .filter(|(a, b)| lose(a, b))
            .collect();
        let told = (0..3)
            .map(|day| {
                let mut told = silence(day, &[], &all, 0.0);
                (told.logged, told.alive, told.bus) = (false, Vec::new(), None);
                accuse(&mut told, &all, &pairs);
                told
            })
            .collect();
        let finding = found(Some(&network), &all, told, &[], &[]);
        let leader = finding.suspects.first().expect("a leader").suspect.to_string();
        assert_eq!(leader, "branch:rear", "{apart}: {}", finding.because);
        assert!(apart || finding.verdict != Verdict::Undecided, "{}", finding.because);
    }
}

/// Logs without a single error frame may be of a logger that records none: then their absence says less.
#[test]
fn a_logger_that_records_no_errors_does_not_say_that_there_were_none() {
    let space = space();
    let branch = |errors: bool| {
        let told: Vec<Incident> =
            (0..6).map(|day| silence(day, &["door", "lift"], &ALL, 5.0)).collect();
        let listening = Listening::default();
        let mut scenes: Vec<Scene> =
            told.iter().map(|i| Scene::new(i, &space, (&listening, &listening))).collect();
        scenes[0].error_channel = errors;
        remember(&mut scenes);
        let ranking = rank(&space, &scenes, &[], &[]);
        let of = |name: &str| {
            let suspect = Suspect::parse(name).expect("a suspect");
            ranking
                .suspects
                .iter()
                .find(|s| s.suspect == suspect)
                .expect("in the space")
                .probability
        };
        of("branch:rear") / of("feed:F2")
    };
    assert!(branch(false) > 2.0 * branch(true), "{} and {}", branch(false), branch(true));
}
