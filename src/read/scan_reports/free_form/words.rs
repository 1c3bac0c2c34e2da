//! The words by which reports of unknown layout are read: data in TOML, English built in, more by the
//! pipeline's `report_words`.
//!
//! A file of words names its `language`, the sign before its `decimals` and how `03/04/2026` is meant,
//! and lists phrases by what they mean. Every key is optional; an unknown key, an empty phrase or a
//! value of the wrong kind is a fault with its line, and the rest of the file stays in use.

use std::collections::BTreeMap;
use std::sync::Arc;

use toml::de::DeTable;

use super::phrases::Phrases;
use crate::read::account::{Account, Reading};
use crate::read::nearest::suggestion;
use crate::read::toml_text::TomlText;
use crate::vocabulary::Place;

/// What a label or a column says about the value beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Label {
    /// The vehicle's name.
    Vehicle,
    /// The vehicle identification number: names the vehicle when nothing else does.
    Vin,
    /// When the tester asked.
    Date,
    /// The time of day that belongs to the date.
    Time,
    /// A date of something else.
    OtherDate,
    /// Odometer.
    Odometer,
    /// Ambient temperature.
    Ambient,
    /// Relative humidity.
    Humidity,
    /// Battery voltage.
    Battery,
    /// Time between the start and the scan.
    SinceStart,
    /// The reporting module.
    Module,
    /// Trouble codes.
    Code,
    /// Failure type byte.
    FailureType,
    /// Status of a code.
    Status,
    /// How often a code was seen.
    Occurrences,
    /// The code's own text.
    Description,
    /// Whether the module answered.
    Answer,
    /// Something else; what stands beside it is never a code, a module or a value.
    Other,
}

const LABELS: [(&str, Label); 18] = [
    ("vehicle", Label::Vehicle),
    ("vin", Label::Vin),
    ("date", Label::Date),
    ("time", Label::Time),
    ("other_date", Label::OtherDate),
    ("odometer", Label::Odometer),
    ("ambient", Label::Ambient),
    ("humidity", Label::Humidity),
    ("battery", Label::Battery),
    ("since_start", Label::SinceStart),
    ("module", Label::Module),
    ("code", Label::Code),
    ("failure_type", Label::FailureType),
    ("status", Label::Status),
    ("occurrences", Label::Occurrences),
    ("description", Label::Description),
    ("answer", Label::Answer),
    ("other", Label::Other),
];

/// How far a status word says that a code has matured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stage {
    Pending,
    Confirmed,
    Current,
    Stored,
}

/// What a report says of a module as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Answer {
    Answered,
    Silent,
    NotFitted,
}

/// What a part of a report is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Section {
    /// Text about codes in general; nothing in it is a finding.
    Explanation,
    /// A part that is about no single module.
    Summary,
    /// Values frozen when a code was set; they are not the scan's.
    Frame,
}

/// How `03/04/2026` is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DayOrder {
    DayFirst,
    MonthFirst,
    Unclear,
}

/// One language's way of writing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Language {
    pub name: String,
    pub decimal_comma: bool,
    pub slash_dates: DayOrder,
    /// The file lists no labels: its settings are for all languages.
    pub only_settings: bool,
}

/// All words in use.
#[derive(Debug, Clone, Default)]
pub struct Words {
    pub(super) labels: Phrases<(Label, usize)>,
    pub(super) status: Phrases<Stage>,
    pub(super) answers: Phrases<Answer>,
    pub(super) sections: Phrases<Section>,
    pub(super) months: Phrases<u32>,
    pub(super) generic: Phrases<()>,
    pub(super) marks: Phrases<()>,
    pub(super) fillers: Phrases<()>,
    pub(super) reporting: Phrases<()>,
    pub(super) mention: Phrases<()>,
    pub(super) explains: Phrases<()>,
    pub(super) description: Phrases<()>,
    pub(super) classes: Phrases<String>,
    /// True for the afternoon.
    pub(super) clock: Phrases<bool>,
    /// Seconds ahead of UTC.
    pub(super) zones: BTreeMap<String, i64>,
    pub(super) suffixes: Vec<String>,
    pub(super) languages: Vec<Language>,
}

const ENGLISH: &str = include_str!("english.toml");

const KEYS: [&str; 11] = [
    "language",
    "decimal",
    "slash_dates",
    "labels",
    "status",
    "answers",
    "sections",
    "months",
    "modules",
    "clock",
    "zones",
];
const STAGES: [(&str, Stage); 4] = [
    ("pending", Stage::Pending),
    ("confirmed", Stage::Confirmed),
    ("current", Stage::Current),
    ("stored", Stage::Stored),
];
const ANSWERS: [(&str, Answer); 3] =
    [("answered", Answer::Answered), ("silent", Answer::Silent), ("not_fitted", Answer::NotFitted)];
const SECTIONS: [(&str, Section); 3] = [
    ("explanation", Section::Explanation),
    ("summary", Section::Summary),
    ("frame", Section::Frame),
];
const MODULES: [&str; 9] = [
    "generic",
    "marks",
    "suffixes",
    "fillers",
    "reporting",
    "mention",
    "explains",
    "description",
    "classes",
];

impl Words {
    /// The built-in English words.
    #[must_use]
    pub fn english() -> Words {
        let mut words = Words::default();
        // A test reads the built-in file without a fault.
        let _ = words.add(ENGLISH.as_bytes(), &"english.toml".into());
        words
    }

    /// Adds a file of words; what is wrong in it is refused with its line. The record is the language.
    pub fn add(&mut self, bytes: &[u8], name: &Arc<str>) -> Reading<String> {
        let mut account = Account::default();
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => text,
            Err(error) => {
                let place = Place::byte(name, error.valid_up_to() as u64);
                account.reject(place, "not UTF-8, expected report words; save it as UTF-8");
                return Reading { records: String::new(), account };
            }
        };
        let (mut file, table) = TomlText::parse(text, name);
        file.check_keys(&table, &KEYS, "the report words");
        let language = self.language(&mut file, &table);
        let number = self.languages.len().saturating_sub(1);
        if let Some((modules, _)) = file.table(&table, "modules") {
            // Suffixes first: they part the compounds of all other phrases.
            let suffixes = file.words(modules, "suffixes");
            self.suffixes.extend(suffixes.into_iter().map(|word| word.text.to_lowercase()));
        }
        let suffixes = self.suffixes.clone();
        let labels = LABELS.map(|(key, label)| (key, (label, number)));
        fill(&mut file, &table, "labels", &labels, &mut self.labels, &suffixes);
        fill(&mut file, &table, "status", &STAGES, &mut self.status, &suffixes);
        fill(&mut file, &table, "answers", &ANSWERS, &mut self.answers, &suffixes);
        fill(&mut file, &table, "sections", &SECTIONS, &mut self.sections, &suffixes);
        let clock = [("am", false), ("pm", true)];
        fill(&mut file, &table, "clock", &clock, &mut self.clock, &suffixes);
        self.months(&mut file, &table);
        self.modules(&mut file, &table, &suffixes);
        self.zones(&mut file, &table);
        account.rejects = file.faults;
        Reading { records: language, account }
    }

    fn language(&mut self, file: &mut TomlText<'_>, table: &DeTable<'_>) -> String {
        let name = file.word(table, "language").map_or("unnamed".to_owned(), |word| word.text);
        let choice = |file: &mut TomlText<'_>, key: &str, known: &[&str]| {
            let word = file.word(table, key)?;
            let found = known.iter().position(|k| *k == word.text);
            if found.is_none() {
                let hint = suggestion(&word.text, known);
                file.fault(&word.span, format!("unknown `{key}` of `{}`; {hint}", word.text));
            }
            found
        };
        let decimal_comma = choice(file, "decimal", &["point", "comma"]) == Some(1);
        let slash_dates =
            match choice(file, "slash_dates", &["day-first", "month-first", "unclear"]) {
                Some(0) => DayOrder::DayFirst,
                Some(1) => DayOrder::MonthFirst,
                _ => DayOrder::Unclear,
            };
        let only_settings = !table.contains_key("labels");
        let name_of = name.clone();
        self.languages.push(Language { name: name_of, decimal_comma, slash_dates, only_settings });
        name
    }

    fn months(&mut self, file: &mut TomlText<'_>, table: &DeTable<'_>) {
        let Some((months, _)) = file.table(table, "months") else { return };
        file.check_keys(months, &["names", "short"], "[months]");
        for key in ["names", "short"] {
            let names = file.words(months, key);
            if !names.is_empty() && names.len() != 12 {
                let span = names.first().map_or(0..0, |word| word.span.clone());
                let reason = format!("`{key}` of [months] has {} names, expected 12", names.len());
                file.fault(&span, reason);
                continue;
            }
            for (number, word) in (1..).zip(names) {
                self.months.add(&word.text, number, &[]);
            }
        }
    }

    fn modules(&mut self, file: &mut TomlText<'_>, table: &DeTable<'_>, suffixes: &[String]) {
        let Some((modules, _)) = file.table(table, "modules") else { return };
        file.check_keys(modules, &MODULES, "[modules]");
        for (key, phrases) in [
            ("generic", &mut self.generic),
            ("marks", &mut self.marks),
            ("fillers", &mut self.fillers),
            ("reporting", &mut self.reporting),
            ("mention", &mut self.mention),
            ("explains", &mut self.explains),
            ("description", &mut self.description),
        ] {
            for word in file.words(modules, key) {
                add(file, phrases, &word.text, (), suffixes, &word.span);
            }
        }
        let Some((classes, _)) = file.table(modules, "classes") else { return };
        let names: Vec<String> = classes.keys().map(|key| key.get_ref().to_string()).collect();
        for class in names {
            for word in file.words(classes, &class) {
                add(file, &mut self.classes, &word.text, class.clone(), suffixes, &word.span);
            }
        }
    }

    fn zones(&mut self, file: &mut TomlText<'_>, table: &DeTable<'_>) {
        let Some((zones, _)) = file.table(table, "zones") else { return };
        let names: Vec<String> = zones.keys().map(|key| key.get_ref().to_string()).collect();
        for name in names {
            let Some(word) = file.word(zones, &name) else { continue };
            match crate::read::times::offset_seconds(&word.text) {
                Some(seconds) => {
                    self.zones.insert(name.to_lowercase(), seconds);
                }
                None => {
                    let reason = format!("`{name}`: `{}` is no offset like +01:00", word.text);
                    file.fault(&word.span, reason);
                }
            }
        }
    }
}

/// Fills phrases from a table whose keys are what they mean.
fn fill<T: Clone>(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
    section: &str,
    meanings: &[(&str, T)],
    phrases: &mut Phrases<T>,
    suffixes: &[String],
) {
    let Some((inner, _)) = file.table(table, section) else { return };
    let known: Vec<&str> = meanings.iter().map(|(key, _)| *key).collect();
    file.check_keys(inner, &known, &format!("[{section}]"));
    for (key, meaning) in meanings {
        for word in file.words(inner, key) {
            add(file, phrases, &word.text, meaning.clone(), suffixes, &word.span);
        }
    }
}

fn add<T: Clone>(
    file: &mut TomlText<'_>,
    phrases: &mut Phrases<T>,
    phrase: &str,
    meaning: T,
    suffixes: &[String],
    span: &std::ops::Range<usize>,
) {
    if !phrases.add(phrase, meaning, suffixes) {
        file.fault(span, format!("`{phrase}` holds no letter or digit"));
    }
}

/// The faults of the built-in words; none, as a test keeps.
#[cfg(test)]
pub(super) fn built_in_faults() -> Vec<crate::vocabulary::Reject> {
    Words::default().add(ENGLISH.as_bytes(), &"english.toml".into()).account.rejects
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::scan_reports::free_form::phrases::tokens;

    #[test]
    fn the_built_in_words_have_no_fault() {
        assert_eq!(built_in_faults(), []);
        let words = Words::english();
        assert_eq!(words.labels.exact(&tokens("Fault code")), Some(&(Label::Code, 0)));
        assert_eq!(words.months.exact(&tokens("sep")), Some(&9));
        assert_eq!(words.zones["cest"], 7200);
    }

    #[test]
    fn a_fault_has_its_line_and_the_rest_stays() {
        let mut words = Words::english();
        let text = "language = \"X\"\ndecimal = \"coma\"\n[labels]\nmodul = [\"a\"]\ncode = [\"Kode\", \"-\"]\n";
        let read = words.add(text.as_bytes(), &"x.toml".into());
        let shown: Vec<String> =
            read.account.rejects.iter().map(|r| format!("{}: {}", r.place, r.reason)).collect();
        assert!(
            shown[0].starts_with("x.toml:2: unknown `decimal` of `coma`; did you mean `comma`")
        );
        assert!(shown[1].starts_with("x.toml:4: unknown key `modul`"), "{shown:?}");
        assert!(shown[2].starts_with("x.toml:5: `-` holds no letter"), "{shown:?}");
        assert_eq!(words.labels.exact(&tokens("KODE")), Some(&(Label::Code, 1)));
    }
}
