//! JSON Schemas of the TOML files by which a shop makes the program its own: what tests take and tell, and the
//! words of its reports.
//!
//! Like those of the other inputs these types only describe; tests hold them against the readers' keys and the
//! shipped files.
#![expect(dead_code, reason = "the types describe files; only their schemas are used")]

use std::collections::BTreeMap;

use schemars::JsonSchema;

use super::input_schemas::{Words, file};
use crate::reports::NamedSchema;

/// A table of tests (TOML). What it leaves out stays as shipped.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields, rename_all = "kebab-case")]
struct Tests {
    /// Disconnect a module and repeat the start.
    disconnect: Option<Repeated>,
    /// Put a known good module in its place and repeat the start.
    swap: Option<Repeated>,
    /// Voltage drop of feed and ground at a module under load.
    module_supply: Option<Measured>,
    /// Wiggle the connector of a module while the bus is logged.
    module_connector: Option<Measured>,
    /// Voltage drop of a feed or ground under load.
    supply_line: Option<Measured>,
    /// Wiggle and dry a branch while the bus is logged.
    wiggle: Option<Measured>,
    /// Resistance of the unpowered bus.
    bus_resistance: Option<Measured>,
    /// Battery voltage while cranking.
    cranking_voltage: Option<Measured>,
    /// Another tester, codes cleared.
    second_tester: Option<Measured>,
    /// Sets up: standing in the cold over night.
    cold_soak: Option<SettingUp>,
    /// Sets up: water on wiring and connectors.
    spray: Option<SettingUp>,
}

/// A test that repeats the start.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Repeated {
    /// Minutes of work, the starts not counted.
    #[schemars(range(min = 0, max = 20_000))]
    minutes: Option<f64>,
    /// Minutes for each start.
    #[schemars(range(min = 0, max = 20_000))]
    minutes_per_start: Option<f64>,
    /// Starts asked for.
    #[schemars(range(min = 1, max = 1000))]
    starts: Option<u32>,
    /// Starts of the longer form.
    #[schemars(range(min = 1, max = 1000))]
    more_starts: Option<u32>,
    /// Probability of an incident at a start although the cause is removed.
    #[schemars(range(min = 0, max = 1))]
    residual: Option<f64>,
    /// Probability that touching the connector cures a bad contact of a branch, feed or ground.
    #[schemars(range(min = 0, max = 1))]
    reseats: Option<f64>,
    /// Probability of a positive outcome when the fault is none of the suspects listed.
    #[schemars(range(min = 0, max = 1))]
    other: Option<f64>,
    /// On modules of steering and brakes; never driven with one unplugged.
    on_safety_modules: Option<Standing>,
    /// The caution that goes with it.
    caution: Option<String>,
}

/// A test with one outcome.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Measured {
    /// Minutes of work.
    #[schemars(range(min = 0, max = 20_000))]
    minutes: Option<f64>,
    /// Probability of a positive outcome when the suspect is at fault; above `false_alarm`.
    #[schemars(range(min = 0, max = 1))]
    finds: Option<f64>,
    /// The same for a cause close by.
    #[schemars(range(min = 0, max = 1))]
    partly: Option<f64>,
    /// The same for a cause further off.
    #[schemars(range(min = 0, max = 1))]
    near: Option<f64>,
    /// The same when something else is at fault.
    #[schemars(range(min = 0, max = 1))]
    false_alarm: Option<f64>,
    /// The same when the fault is none of the suspects listed.
    #[schemars(range(min = 0, max = 1))]
    other: Option<f64>,
    /// On modules of steering and brakes.
    on_safety_modules: Option<OnSafety>,
    /// The caution that goes with it.
    caution: Option<String>,
}

/// What brings about the conditions of the fault.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct SettingUp {
    /// Minutes, paid once a session.
    #[schemars(range(min = 0, max = 20_000))]
    setup_minutes: Option<f64>,
    /// By how much it raises the odds of an incident where the records do not tell.
    #[schemars(range(min = 1, max = 1000))]
    raises_odds: Option<f64>,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum OnSafety {
    Yes,
    Standing,
    No,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum Standing {
    Standing,
    No,
}

/// The words of reports of any layout (TOML), added to the built-in English ones. Phrases stand under what they
/// mean; case, hyphens and blanks do not matter.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct ReportWords {
    /// The language, as `check` names it.
    language: Option<String>,
    /// The sign before decimals.
    decimal: Option<Decimal>,
    /// How `03/04/2026` is meant; it is refused while unclear.
    slash_dates: Option<DayOrder>,
    /// Labels and columns, by the value that stands beside them.
    labels: Option<Labels>,
    /// Words for the state of a code.
    status: Option<Status>,
    /// Words for whether a module answered.
    answers: Option<Answers>,
    /// Headings of parts that are about no single module.
    sections: Option<Sections>,
    /// Names of the months.
    months: Option<Months>,
    /// How modules are told from other text.
    modules: Option<Modules>,
    /// Words for the halves of the day.
    clock: Option<Clock>,
    /// Names of time zones with their offsets, as in `CET = "+01:00"`.
    zones: Option<BTreeMap<String, String>>,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum Decimal {
    Point,
    Comma,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum DayOrder {
    DayFirst,
    MonthFirst,
    Unclear,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Labels {
    /// The vehicle’s name.
    vehicle: Option<Words>,
    /// The identification number: names the vehicle when nothing else does.
    vin: Option<Words>,
    /// When the tester asked.
    date: Option<Words>,
    /// The time of day that belongs to the date.
    time: Option<Words>,
    /// A date of something else.
    other_date: Option<Words>,
    /// Odometer.
    odometer: Option<Words>,
    /// Ambient temperature.
    ambient: Option<Words>,
    /// Relative humidity.
    humidity: Option<Words>,
    /// Battery voltage.
    battery: Option<Words>,
    /// Time between the start and the scan.
    since_start: Option<Words>,
    /// The reporting module.
    module: Option<Words>,
    /// Trouble codes.
    code: Option<Words>,
    /// Failure type byte.
    failure_type: Option<Words>,
    /// Status of a code.
    status: Option<Words>,
    /// How often a code was seen.
    occurrences: Option<Words>,
    /// The code’s own text.
    description: Option<Words>,
    /// Whether the module answered.
    answer: Option<Words>,
    /// Something else: what stands beside it is never a code, a module or a value.
    other: Option<Words>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Status {
    /// Not confirmed yet.
    pending: Option<Words>,
    /// Confirmed.
    confirmed: Option<Words>,
    /// Failing now.
    current: Option<Words>,
    /// Confirmed, not failing now.
    stored: Option<Words>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Answers {
    /// It answered.
    answered: Option<Words>,
    /// It did not.
    silent: Option<Words>,
    /// The vehicle does not have it.
    not_fitted: Option<Words>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Sections {
    /// Text about codes in general; nothing in it is a finding.
    explanation: Option<Words>,
    /// A part about no single module.
    summary: Option<Words>,
    /// Values frozen when a code was set.
    frame: Option<Words>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Months {
    /// Twelve names.
    #[schemars(length(equal = 12))]
    names: Option<Vec<String>>,
    /// Twelve short names.
    #[schemars(length(equal = 12))]
    short: Option<Vec<String>>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Modules {
    /// Words that stand for any module, as in “control unit”.
    generic: Option<Words>,
    /// Words that mark a heading of a module.
    marks: Option<Words>,
    /// Ends of compound words, taken off.
    suffixes: Option<Words>,
    /// Words without meaning between others.
    fillers: Option<Words>,
    /// Words before the module that reports.
    reporting: Option<Words>,
    /// Words before a module that is only spoken of.
    mention: Option<Words>,
    /// Words after which a code is only explained.
    explains: Option<Words>,
    /// Words of the texts of codes.
    description: Option<Words>,
    /// Words for modules by class, for modules that no network description names.
    classes: Option<BTreeMap<String, Words>>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Clock {
    /// Before noon.
    am: Option<Words>,
    /// After noon.
    pm: Option<Words>,
}

/// The schemas of these files.
pub(super) fn shop_schemas() -> [NamedSchema; 2] {
    [
        file::<Tests>("tests", "a table of tests (TOML)"),
        file::<ReportWords>("report_words", "words of reports of any layout (TOML)"),
    ]
}
