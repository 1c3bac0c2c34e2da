//! How grave a fault of a suspect is: from a table of classes of module that a pipeline may bring
//! itself.
//!
//! In: a suspect, the network description, the table. Out: the severity from 1 to 10, whether people's
//! safety is touched, whether only authorised people may work on it. A wiring branch, a feed, a ground
//! or a bus is as grave as the gravest module that hangs on it. The figures are common practice
//! without a source: a severity scale from 1 to 10 is, the places of the classes on it are judgement.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::tables::{ColumnChoices, read_severity};
use crate::read::{Account, SeverityRow};
use crate::repairs::{class_of, texts_of};
use crate::suspects::untouched;
use crate::vocabulary::{Network, Suspect};

/// The class of modules that no word tells.
const ANY: &str = "any";
/// The class of the battery supply.
const SUPPLY: &str = "supply";
/// A suspect without a row, where the table has none for `any` either: the middle of the scale.
const MIDDLE: f64 = 5.0;
/// No bus fault, or the tester's doing: the lowest of the scale.
const NO_FAULT: f64 = 1.0;

/// The shipped table.
const SHIPPED: &str = include_str!("severity.csv");
/// Its name in messages.
const SHIPPED_NAME: &str = "severity.csv (built in)";

/// How grave a fault of one suspect is.
#[derive(Debug, Clone, PartialEq)]
pub struct Severity {
    /// The class that told it; `None` when nothing did.
    pub class: Option<String>,
    /// 1 to 10.
    pub degree: f64,
    /// Whether people's safety is touched.
    pub safety: bool,
    /// Whether only authorised people may work on it.
    pub hands_off: bool,
    /// What may happen, in words; empty when nothing is known.
    pub why: String,
}

/// The table of severities.
#[derive(Debug, Clone, PartialEq)]
pub struct Severities {
    rows: Vec<SeverityRow>,
}

impl Severities {
    /// The pipeline's own rows, or the shipped table where it has none.
    #[must_use]
    pub fn new(own: Vec<SeverityRow>) -> Severities {
        if own.is_empty() { Severities::shipped().0 } else { Severities { rows: own } }
    }

    /// The shipped table, and what is wrong with it (a test asks for nothing).
    pub(super) fn shipped() -> (Severities, Account) {
        let name: Arc<str> = SHIPPED_NAME.into();
        let reading = read_severity(SHIPPED.as_bytes(), &name, &ColumnChoices::new(), Tz::UTC);
        (Severities { rows: reading.records }, reading.account)
    }

    /// All rows, gravest first, in the order of the table among equals.
    #[must_use]
    pub fn rows(&self) -> Vec<&SeverityRow> {
        let mut rows: Vec<&SeverityRow> = self.rows.iter().collect();
        rows.sort_by(|a, b| b.safety.cmp(&a.safety).then(b.severity.total_cmp(&a.severity)));
        rows
    }

    /// How grave a fault of a suspect is.
    #[must_use]
    pub fn of(&self, suspect: &Suspect, network: Option<&Network>) -> Severity {
        match suspect {
            Suspect::None => {
                let why = "no fault of the bus".to_owned();
                let (safety, hands_off) = (false, false);
                Severity { class: None, degree: NO_FAULT, safety, hands_off, why }
            }
            Suspect::Supply => self.of_class(SUPPLY),
            Suspect::Node(name) => self.of_node(name, network),
            Suspect::Branch(_) | Suspect::Feed(_) | Suspect::Ground(_) | Suspect::Bus(_) => network
                .map(|network| hanging_on(suspect, network))
                .unwrap_or_default()
                .iter()
                .map(|node| self.of_node(node, network))
                .reduce(graver)
                // Wires are worked on with the cautions of their test, whoever hangs on them.
                .map(|severity| Severity { hands_off: false, ..severity })
                .unwrap_or_else(|| self.of_class(ANY)),
        }
    }

    fn of_node(&self, name: &str, network: Option<&Network>) -> Severity {
        let told = self.rows.iter().filter(|row| row.class != ANY);
        let texts = texts_of(name, network);
        let severity = match class_of(&texts, told.map(|row| (row, row.words.as_slice()))) {
            Some((row, _)) => of_row(row),
            None => self.of_class(ANY),
        };
        // What the tests do not touch the table of severities cannot give free.
        Severity { hands_off: severity.hands_off || untouched(name, network), ..severity }
    }

    fn of_class(&self, class: &str) -> Severity {
        let row = |class: &str| self.rows.iter().find(|row| row.class == class);
        row(class).or_else(|| row(ANY)).map_or_else(
            || Severity {
                class: None,
                degree: MIDDLE,
                safety: false,
                hands_off: false,
                why: String::new(),
            },
            of_row,
        )
    }
}

/// Severities that have been told already: most vehicles of a network ask for the same.
pub(super) struct Known<'a> {
    table: &'a Severities,
    /// By the network's name and the suspect.
    told: BTreeMap<(Option<&'a str>, &'a Suspect), Severity>,
}

impl<'a> Known<'a> {
    pub(super) fn new(table: &'a Severities) -> Known<'a> {
        Known { table, told: BTreeMap::new() }
    }

    /// How grave a fault of a suspect is.
    pub(super) fn of(&mut self, suspect: &'a Suspect, network: Option<&'a Network>) -> &Severity {
        let key = (network.map(|network| network.name.as_str()), suspect);
        self.told.entry(key).or_insert_with(|| self.table.of(suspect, network))
    }
}

fn of_row(row: &SeverityRow) -> Severity {
    Severity {
        class: (row.class != ANY).then(|| row.class.clone()),
        degree: row.severity,
        safety: row.safety,
        hands_off: row.hands_off,
        why: row.why.clone(),
    }
}

/// The graver of two; of equals the first.
fn graver(a: Severity, b: Severity) -> Severity {
    if (b.safety, b.degree) > (a.safety, a.degree) { b } else { a }
}

/// The nodes that a branch, feed, ground or bus carries.
fn hanging_on<'n>(suspect: &'n Suspect, network: &'n Network) -> Vec<&'n str> {
    let below = match suspect {
        Suspect::Branch(name) => network.branches_below(name),
        _ => BTreeSet::new(),
    };
    let nodes = network.nodes.iter().filter(|node| match suspect {
        Suspect::Branch(_) => node.branches.iter().any(|branch| below.contains(branch.as_str())),
        Suspect::Feed(name) => node.feed.as_ref() == Some(name),
        Suspect::Ground(name) => node.ground.as_ref() == Some(name),
        Suspect::Bus(name) => node.buses.contains(name),
        Suspect::Node(_) | Suspect::Supply | Suspect::None => false,
    });
    nodes.map(|node| node.name.as_str()).collect()
}
