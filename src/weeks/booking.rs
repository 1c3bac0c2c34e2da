//! What to book: for a decided vehicle the inspection of its suspect and the part to have ready, for
//! an undecided one its best next test, with the minutes of the table of tests.

use crate::observe::UNNAMED;
use crate::read::{ModuleRow, TestKind, TestTable};
use crate::suspects::{VehicleFinding, module_caution};
use crate::vocabulary::{Instant, Network, Suspect, Verdict};

use super::need::Need;
use super::severity::Severity;

/// What to book for one vehicle.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Booking {
    /// What to do, in words; empty when nothing is to be booked.
    pub what: String,
    /// How long it takes, minutes; `None` when nothing tells.
    pub minutes: Option<f64>,
    /// What the suspect module is, by the table of modules: `part number HT4-431-A, software S1.4`.
    pub part: Option<String>,
    /// The caution that goes with it; empty when none.
    pub caution: String,
}

/// What the papers say of the vehicle.
#[derive(Clone, Copy)]
pub(super) struct OfVehicle<'a> {
    /// What tests take.
    pub tests: &'a TestTable,
    /// Its rows of the modules table.
    pub modules: &'a [&'a ModuleRow],
    /// Its network description.
    pub network: Option<&'a Network>,
}

/// What to book.
pub(super) fn booking(
    finding: &VehicleFinding,
    need: Need,
    severity: Option<&Severity>,
    papers: OfVehicle<'_>,
) -> Booking {
    let tests = papers.tests;
    match (need, &finding.verdict) {
        (Need::Bay, Verdict::Suspect(suspect)) => {
            let hands_off = severity.is_some_and(|severity| severity.hands_off);
            inspection(suspect, hands_off, papers)
        }
        (Need::Bay | Need::Desk, _) => test(finding, tests),
        (Need::Watch | Need::Data | Need::Nothing, _) => Booking::default(),
    }
}

/// The best next test.
fn test(finding: &VehicleFinding, tests: &TestTable) -> Booking {
    match finding.next_tests.first() {
        Some(test) => Booking {
            what: test.test.clone(),
            minutes: Some(test.minutes),
            part: None,
            caution: test.caution.clone(),
        },
        None => {
            let terms = tests.of(TestKind::SecondTester);
            let what =
                "scan all modules again and log more starts: no test tells the suspects apart";
            Booking { what: what.to_owned(), minutes: Some(terms.minutes), ..Booking::default() }
        }
    }
}

fn inspection(suspect: &Suspect, hands_off: bool, papers: OfVehicle<'_>) -> Booking {
    let OfVehicle { tests, modules, network } = papers;
    let care = match suspect {
        Suspect::Node(name) => module_caution(name, network),
        _ => None,
    };
    let (what, kinds): (String, &[TestKind]) = match suspect {
        Suspect::Node(name) if hands_off => {
            let what = format!(
                "{}: by authorised people and the maker's procedure only; no test of this program touches it",
                suspect.the_in_words()
            );
            return Booking { what, part: part(name, modules), ..Booking::default() };
        }
        Suspect::Node(name) if name.starts_with(UNNAMED) => {
            let what = format!("find out which module the sender {name} is, by its identifiers");
            let caution = care.unwrap_or_default().to_owned();
            return Booking { what, caution, ..Booking::default() };
        }
        Suspect::Node(_) => (
            format!("inspect {}: connector, feed and ground under load", suspect.the_in_words()),
            &[TestKind::ModuleConnector, TestKind::ModuleSupply],
        ),
        Suspect::Branch(name) => (
            format!(
                "inspect the wiring branch {name}: splice and connectors, wiggled while the bus is logged"
            ),
            &[TestKind::Wiggle],
        ),
        Suspect::Feed(name) => {
            (format!("inspect the feed {name}: voltage drop under load"), &[TestKind::SupplyLine])
        }
        Suspect::Ground(name) => (
            format!("inspect the ground point {name}: voltage drop under load"),
            &[TestKind::SupplyLine],
        ),
        Suspect::Bus(name) => (
            format!("inspect the wires of bus {name}: resistance with the bus asleep"),
            &[TestKind::BusResistance],
        ),
        Suspect::Supply => (
            "inspect the battery, its terminals and charging: voltage while cranking".to_owned(),
            &[TestKind::CrankingVoltage],
        ),
        Suspect::None => (
            "scan again with another tester, codes saved and cleared".to_owned(),
            &[TestKind::SecondTester],
        ),
    };
    let terms = || kinds.iter().map(|kind| tests.of(*kind));
    let mut caution = care.unwrap_or_default().to_owned();
    for said in terms().map(|terms| terms.caution.as_str()) {
        if !caution.contains(said) {
            caution.push_str(if caution.is_empty() { "" } else { "; " });
            caution.push_str(said);
        }
    }
    let part = match suspect {
        Suspect::Node(name) => part(name, modules),
        _ => None,
    };
    let minutes = Some(terms().map(|terms| terms.minutes).sum());
    Booking { what, minutes, part, caution }
}

/// What is fitted as a node, in words.
fn part(node: &str, modules: &[&ModuleRow]) -> Option<String> {
    let row = fitted(node, modules, None)?;
    let told = [
        ("part number", &row.part_number),
        ("hardware", &row.hardware),
        ("software", &row.software),
        ("batch", &row.batch),
    ];
    let words: Vec<String> = told
        .iter()
        .filter_map(|(word, value)| Some(format!("{word} {}", value.as_ref()?)))
        .collect();
    (!words.is_empty()).then(|| words.join(", "))
}

/// The module fitted as a node at a time, or now; of several the one fitted last.
pub(super) fn fitted<'a>(
    node: &str,
    modules: &[&'a ModuleRow],
    at: Option<Instant>,
) -> Option<&'a ModuleRow> {
    let there = |row: &&&ModuleRow| match at {
        Some(at) => {
            row.installed_on.is_none_or(|on| on <= at) && row.removed_on.is_none_or(|on| at < on)
        }
        None => row.removed_on.is_none(),
    };
    let own = modules.iter().filter(|row| row.node == node).filter(there);
    own.max_by_key(|row| row.installed_on).copied()
}
