//! What each kind of test takes, and how far its outcome can be trusted.
//!
//! Grammar: TOML with a table for each kind of test, its keys as `default.toml` explains them. The shipped
//! table has every key of every kind; a file of the user's changes what it names. A fault costs the one value it
//! spoils, is reported with its line, and the value stays as shipped. Refuses a table that lets a
//! module of steering or brakes be unplugged on a vehicle that is driven.

use std::ops::Range;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use toml::de::DeTable;

use crate::read::account::{Account, Reading};
use crate::read::nearest::suggestion;
use crate::read::toml_text::TomlText;
use crate::vocabulary::Place;

/// A kind of test, or of setting one up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum TestKind {
    /// Disconnect a module and repeat the start.
    Disconnect,
    /// Put a known good module in its place.
    Swap,
    /// Voltage drop of feed and ground at a module under load.
    ModuleSupply,
    /// Wiggle the connector of a module while the bus is logged.
    ModuleConnector,
    /// Voltage drop of a feed or ground under load.
    SupplyLine,
    /// Wiggle and dry a branch while the bus is logged.
    Wiggle,
    /// Resistance of the unpowered bus.
    BusResistance,
    /// Battery voltage while cranking.
    CrankingVoltage,
    /// Another tester, codes cleared.
    SecondTester,
    /// Sets up: standing in the cold over night.
    ColdSoak,
    /// Sets up: water on wiring and connectors.
    Spray,
}

/// All kinds, by the name of their table.
pub const KINDS: [(&str, TestKind); 11] = [
    ("disconnect", TestKind::Disconnect),
    ("swap", TestKind::Swap),
    ("module-supply", TestKind::ModuleSupply),
    ("module-connector", TestKind::ModuleConnector),
    ("supply-line", TestKind::SupplyLine),
    ("wiggle", TestKind::Wiggle),
    ("bus-resistance", TestKind::BusResistance),
    ("cranking-voltage", TestKind::CrankingVoltage),
    ("second-tester", TestKind::SecondTester),
    ("cold-soak", TestKind::ColdSoak),
    ("spray", TestKind::Spray),
];

/// Whether a test may be done on modules of steering and brakes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum OnSafety {
    /// Not at all.
    No,
    /// Only while the vehicle stands.
    Standing,
    /// As on any other.
    Yes,
}

const ON_SAFETY: [(&str, OnSafety); 3] =
    [("no", OnSafety::No), ("standing", OnSafety::Standing), ("yes", OnSafety::Yes)];

/// What one kind of test takes and tells. Times in minutes, rates as probabilities.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestTerms {
    /// Work, the starts not counted.
    pub minutes: f64,
    /// For each start.
    pub minutes_per_start: f64,
    /// Starts asked for.
    pub starts: u32,
    /// Starts of the longer form.
    pub more_starts: u32,
    /// An incident at a start although the cause is removed.
    pub residual: f64,
    /// Touching a connector cures a bad contact of branch, feed or ground.
    pub reseats: f64,
    /// Positive when the suspect is at fault.
    pub finds: f64,
    /// Positive for a cause close by, as the shipped table explains for each kind.
    pub partly: f64,
    /// The same, further off.
    pub near: f64,
    /// Positive when something else is at fault.
    pub false_alarm: f64,
    /// Positive when the fault is none of the suspects.
    pub other: f64,
    /// To bring about the conditions of the fault.
    pub setup_minutes: f64,
    /// By how much that raises the odds of an incident where the records do not tell.
    pub raises_odds: f64,
    /// Whether it may be done on modules of steering and brakes.
    pub on_safety: OnSafety,
    /// The caution that goes with it.
    pub caution: String,
}

/// Before the shipped table is read; a test sees that it names every value.
const UNREAD: TestTerms = TestTerms {
    minutes: 15.0,
    minutes_per_start: 0.0,
    starts: 0,
    more_starts: 0,
    residual: 0.01,
    reseats: 0.0,
    finds: 0.5,
    partly: 0.1,
    near: 0.1,
    false_alarm: 0.1,
    other: 0.1,
    setup_minutes: 0.0,
    raises_odds: 1.0,
    on_safety: OnSafety::No,
    caution: String::new(),
};

/// The terms of every kind of test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestTable {
    terms: [TestTerms; KINDS.len()],
}

const SHIPPED: &str = include_str!("default.toml");

impl TestTable {
    /// The table that comes with the program.
    #[must_use]
    pub fn shipped() -> TestTable {
        let blank = TestTable { terms: std::array::from_fn(|_| UNREAD) };
        changed(blank, SHIPPED, &"default.toml".into()).records
    }

    /// The terms of one kind.
    #[must_use]
    pub fn of(&self, kind: TestKind) -> &TestTerms {
        &self.terms[kind as usize]
    }

    /// The same, to be changed.
    pub fn of_mut(&mut self, kind: TestKind) -> &mut TestTerms {
        &mut self.terms[kind as usize]
    }
}

/// Reads a user's table on top of the shipped one.
#[must_use]
pub fn read_test_table(bytes: &[u8], name: &Arc<str>) -> Reading<TestTable> {
    match std::str::from_utf8(bytes) {
        Ok(text) => changed(TestTable::shipped(), text, name),
        Err(error) => {
            let mut account = Account::default();
            let place = Place::byte(name, error.valid_up_to() as u64);
            account.reject(place, "not UTF-8, expected a table of tests; save it as UTF-8");
            Reading { records: TestTable::shipped(), account }
        }
    }
}

const WITH_STARTS: [&str; 9] = [
    "minutes",
    "minutes_per_start",
    "starts",
    "more_starts",
    "residual",
    "reseats",
    "other",
    "on_safety_modules",
    "caution",
];
const MEASURED: [&str; 8] =
    ["minutes", "finds", "partly", "near", "false_alarm", "other", "on_safety_modules", "caution"];
const SETTING_UP: [&str; 2] = ["setup_minutes", "raises_odds"];

fn keys(kind: TestKind) -> &'static [&'static str] {
    match kind {
        TestKind::Disconnect | TestKind::Swap => &WITH_STARTS,
        TestKind::ColdSoak | TestKind::Spray => &SETTING_UP,
        _ => &MEASURED,
    }
}

fn changed(mut table: TestTable, text: &str, name: &Arc<str>) -> Reading<TestTable> {
    let (mut file, root) = TomlText::parse(text, name);
    let names = KINDS.map(|(name, _)| name);
    file.check_keys(&root, &names, "the table of tests");
    for (name, kind) in KINDS {
        let Some((section, span)) = file.table(&root, name) else { continue };
        file.check_keys(section, keys(kind), &format!("[{name}]"));
        change(&mut file, section, &span, kind, table.of_mut(kind));
    }
    let account = Account { rejects: file.faults, ..Account::default() };
    Reading { records: table, account }
}

fn change(
    file: &mut TomlText<'_>,
    section: &DeTable<'_>,
    span: &Range<usize>,
    kind: TestKind,
    terms: &mut TestTerms,
) {
    let before = terms.clone();
    let minutes = (0.0, 20_000.0, "minutes");
    let rate = (0.0, 1.0, "a probability");
    let numbers: [(&str, &mut f64, (f64, f64, &str)); 10] = [
        ("minutes", &mut terms.minutes, minutes),
        ("minutes_per_start", &mut terms.minutes_per_start, minutes),
        ("residual", &mut terms.residual, rate),
        ("reseats", &mut terms.reseats, rate),
        ("finds", &mut terms.finds, rate),
        ("partly", &mut terms.partly, rate),
        ("near", &mut terms.near, rate),
        ("false_alarm", &mut terms.false_alarm, rate),
        ("other", &mut terms.other, rate),
        ("setup_minutes", &mut terms.setup_minutes, minutes),
    ];
    let odds = ("raises_odds", &mut terms.raises_odds, (1.0, 1000.0, "a factor"));
    for (key, value, (low, high, what)) in numbers.into_iter().chain([odds]) {
        let Some((found, span)) = file.number(section, key) else { continue };
        if (low..=high).contains(&found) {
            *value = found;
        } else {
            file.fault(&span, format!("`{key}` {found} is not {what} from {low} to {high}"));
        }
    }
    for (key, value) in [("starts", &mut terms.starts), ("more_starts", &mut terms.more_starts)] {
        let Some((found, span)) = file.whole(section, key) else { continue };
        if (1..=1000).contains(&found) {
            *value = found;
        } else {
            file.fault(&span, format!("`{key}` {found} is not a number of starts from 1 to 1000"));
        }
    }
    if let Some(word) = file.word(section, "caution") {
        terms.caution = word.text;
    }
    if let Some(word) = file.word(section, "on_safety_modules") {
        match ON_SAFETY.iter().find(|(name, _)| *name == word.text) {
            Some((_, OnSafety::Yes)) if matches!(kind, TestKind::Disconnect | TestKind::Swap) => {
                let reason = "modules of steering and brakes are never unplugged on a vehicle that is \
                              driven; give \"standing\" or \"no\"";
                file.fault(&word.span, reason);
            }
            Some((_, allowed)) => terms.on_safety = *allowed,
            None => {
                let hint = suggestion(&word.text, &ON_SAFETY.map(|(name, _)| name));
                let reason = format!("unknown word `{}` in `on_safety_modules`; {hint}", word.text);
                file.fault(&word.span, reason);
            }
        }
    }
    if keys(kind) == MEASURED && terms.finds <= terms.false_alarm {
        let reason = format!(
            "`finds` {} must lie above `false_alarm` {}, else the test tells nothing; both stay as shipped",
            terms.finds, terms.false_alarm
        );
        file.fault(span, reason);
        (terms.finds, terms.false_alarm) = (before.finds, before.false_alarm);
    }
    if matches!(kind, TestKind::Disconnect | TestKind::Swap | TestKind::ColdSoak | TestKind::Spray)
    {
        return;
    }
    if terms.minutes <= 0.0 {
        file.fault(span, "`minutes` must be above 0; it stays as shipped");
        terms.minutes = before.minutes;
    }
}

#[cfg(test)]
mod tests;
