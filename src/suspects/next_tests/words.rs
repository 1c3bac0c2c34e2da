//! Tests and their outcomes in sentences for people: no `node:` stands in them.

use super::Candidate;
use super::safety::Care;
use crate::read::TestKind;
use crate::vocabulary::Suspect;

fn times(starts: u32) -> String {
    if starts == 1 { "once".to_owned() } else { format!("{starts} times") }
}

/// What to do.
pub(super) fn test(candidate: &Candidate, care: Care) -> String {
    let the = candidate.target.the_in_words();
    let starts = times(candidate.starts);
    let text = match candidate.kind {
        TestKind::Disconnect if care >= Care::Standing => format!(
            "with the vehicle standing and not driven, disconnect {the} and repeat the start {starts}"
        ),
        TestKind::Disconnect => format!("disconnect {the} and repeat the start {starts}"),
        TestKind::Swap if care >= Care::Standing => format!(
            "with the vehicle standing and not driven, fit a known good part for {the} and repeat the \
             start {starts}"
        ),
        TestKind::Swap => format!("fit a known good part for {the} and repeat the start {starts}"),
        TestKind::ModuleSupply => format!("measure feed and ground at {the} under load"),
        TestKind::ModuleConnector => {
            format!("wiggle the connector of {the} while the bus is logged")
        }
        TestKind::SupplyLine => format!("measure the voltage drop of {the} under load"),
        TestKind::Wiggle => format!("wiggle and dry {the} while the bus is logged"),
        TestKind::BusResistance => match &candidate.target {
            Suspect::Bus(name) => format!("measure the resistance of the unpowered bus {name}"),
            _ => "measure the resistance of the unpowered bus".to_owned(),
        },
        TestKind::CrankingVoltage => "record the battery voltage while cranking cold".to_owned(),
        TestKind::SecondTester => {
            "scan again with another tester, codes cleared, after one more start".to_owned()
        }
        TestKind::ColdSoak | TestKind::Spray => String::new(),
    };
    match &candidate.condition {
        Some(words) => format!("{text} {words}"),
        None => text,
    }
}

/// The positive and the negative outcome.
pub(super) fn outcomes(candidate: &Candidate) -> [String; 2] {
    let starts = candidate.starts;
    let pair = |positive: &str, negative: &str| [positive.to_owned(), negative.to_owned()];
    match candidate.kind {
        TestKind::Disconnect | TestKind::Swap => {
            let positive = match starts {
                1 => "no incident at the start".to_owned(),
                n => format!("no incident in {n} starts"),
            };
            [positive, "an incident all the same".to_owned()]
        }
        TestKind::ModuleSupply | TestKind::SupplyLine => {
            pair("more voltage drop than the maker allows", "no undue voltage drop")
        }
        TestKind::ModuleConnector => {
            pair("the module drops out with the movement", "it stays on the bus")
        }
        TestKind::Wiggle => {
            pair("modules on the branch drop out with the movement", "nothing happens")
        }
        TestKind::BusResistance => {
            pair("far from 60 ohm (two terminators of 120 ohm in parallel)", "about 60 ohm")
        }
        TestKind::CrankingVoltage => {
            pair("below 9.6 V on a 12 V system, or 19.2 V on a 24 V one", "the voltage holds")
        }
        TestKind::SecondTester => {
            pair("all modules answer and no code returns", "a module is missing or a code returns")
        }
        TestKind::ColdSoak | TestKind::Spray => pair("", ""),
    }
}

/// What must be done first, as a heading; empty when nothing.
pub(super) fn set_up(kind: Option<TestKind>) -> &'static str {
    match kind {
        Some(TestKind::ColdSoak) => "let the vehicle stand over night in the cold",
        Some(TestKind::Spray) => {
            "spray splices, connectors and wiring with water, no pressure washer, nothing inside the cabin"
        }
        _ => "",
    }
}

/// A probability in percent; never as certain as 0 or 100.
pub(super) fn percent(probability: f64) -> String {
    if probability > 0.99 {
        ">99 %".to_owned()
    } else if probability < 0.01 {
        "<1 %".to_owned()
    } else {
        format!("{:.0} %", probability * 100.0)
    }
}

/// A sentence begins with a capital letter.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
