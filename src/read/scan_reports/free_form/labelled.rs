//! What a label with its value does: a module, a code, something about the codes just read, a value of the scan.
//!
//! Labels come in records: a record begins where the label comes again that began the one before. In a record
//! that begins with its code the module behind it belongs to that code.

use super::attributes::status_alone;
use super::codes::find_codes;
use super::gathered::{Item, Labelled};
use super::pairs::Pair;
use super::reading::Reader;
use super::words::{Answer, Label, Section};
use crate::vocabulary::{CodeStatus, Place};

impl Reader<'_> {
    /// A label with its value.
    pub(super) fn pair(&mut self, pair: &Pair, place: &Place) {
        if let Some(count) = self.gathered.languages.get_mut(pair.language) {
            *count += 1;
        }
        let value = pair.value.as_str();
        let record = matches!(pair.label, Label::Module | Label::Code);
        if record && self.record.first() == Some(&pair.label) {
            self.record.clear();
            self.open = self.gathered.items.len();
        }
        if record {
            self.record.push(pair.label);
        }
        match pair.label {
            Label::Module => self.module_pair(value, place),
            Label::Vehicle => match self.names.heading(value, false, false) {
                // `Unit: Body control` is a module.
                Some(found) if !found.leftover => self.module_pair(value, place),
                _ => self.value(pair, place),
            },
            Label::Code => self.code_pair(value, place),
            Label::Status => self.status_pair(value, false, place),
            Label::FailureType => {
                let said = self.names.split(value);
                let digits = said.first().map_or("", |t| t.text.as_str());
                let byte = crate::protocol::trouble_codes::parse_failure_type(digits)
                    .filter(|_| digits.trim_start_matches("0x").len() == 2);
                match byte {
                    Some(byte) => self.each_open(|item| {
                        item.code.failure_type = item.code.failure_type.or(Some(byte));
                    }),
                    None => {
                        self.doubt(place, format!("failure type `{value}` is not two hex digits"))
                    }
                }
            }
            Label::Occurrences => {
                let digits = value.trim_matches(|c: char| !c.is_ascii_digit());
                if let Ok(times) = digits.parse() {
                    self.each_open(|item| item.occurrences = item.occurrences.or(Some(times)));
                }
            }
            Label::Answer => match self.names.answer(&self.names.split(value)) {
                Some(answer) => self.gathered.answer(self.module, answer, place),
                None => self.mention_all(value, place, "behind a label for answers", false),
            },
            Label::Description | Label::Other | Label::OtherDate => {
                self.mention_all(value, place, "behind a label for something else", true);
            }
            _ => self.value(pair, place),
        }
    }

    fn value(&mut self, pair: &Pair, place: &Place) {
        let frame = self.section == Some(Section::Frame);
        self.gathered.values.push(Labelled {
            label: pair.label,
            text: pair.value.clone(),
            unit: pair.unit.clone(),
            place: place.clone(),
            inside: frame || self.module.is_some(),
        });
    }

    fn module_pair(&mut self, value: &str, place: &Place) {
        let Some(heading) = self.names.heading(value, true, true) else { return };
        let after =
            self.record.first() == Some(&Label::Code) && self.gathered.items.len() > self.open;
        if !after {
            self.enter(&heading, value, place);
            return;
        }
        // The record began with its code: the module belongs to what was just read.
        let module = self.gathered.module(&heading, value, place);
        self.each_open(|item| item.module = module);
        self.module = None;
    }

    fn code_pair(&mut self, value: &str, place: &Place) {
        if find_codes(value).is_empty() {
            if let Some(answer) = self.names.answer(&self.names.split(value)) {
                self.gathered.answer(self.module, answer, place);
            } else if value.trim().bytes().all(|b| b.is_ascii_digit()) && !value.trim().is_empty() {
                self.gathered.answer(self.module, Answer::Answered, place);
            } else if let Some(status) = self.status_heading(value) {
                self.status = Some(status);
            }
            return;
        }
        self.open = self.gathered.items.len();
        self.codes_of(value, place, self.module, None);
    }

    pub(super) fn status_pair(&mut self, value: &str, byte: bool, place: &Place) {
        let status = status_alone(value, byte, self.words, self.names);
        let holds = self.gathered.items.len() > self.open;
        match (status, holds) {
            (Some(status), true) => self.give_status(status),
            (status, false) => match self.names.answer(&self.names.split(value)) {
                Some(answer) if self.module.is_some() => {
                    self.gathered.answer(self.module, answer, place);
                }
                _ => self.status = status.or(self.status),
            },
            (None, true) if value.trim().is_empty() => {}
            (None, true) => {
                let shown = crate::read::times::shortened(value.trim());
                self.doubt(place, format!("status `{shown}` is none that is known"));
            }
        }
    }

    pub(super) fn give_status(&mut self, status: CodeStatus) {
        self.each_open(|item| item.status = item.status.or(Some(status)));
    }

    /// Changes the items that the last lines gave.
    fn each_open(&mut self, change: impl Fn(&mut Item)) {
        self.gathered.items.iter_mut().skip(self.open).for_each(change);
    }

    /// The status that a line says and nothing else.
    pub(super) fn only_status(&self, text: &str) -> Option<CodeStatus> {
        let said = self.names.split(text);
        let covered: usize = self.words.status.all(&said).iter().map(|(_, n, _)| n).sum();
        (covered > 0 && covered == said.len())
            .then(|| status_alone(text, false, self.words, self.names))
            .flatten()
    }
}
