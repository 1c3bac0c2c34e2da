//! TOML files with every fault named by line: unknown keys, wrong kinds, values out of place.
//!
//! All faults of a file are gathered, syntax faults included; a wrong value counts as not given, so
//! that one slip does not hide the next. Where a list of words is expected a single word will do.

use std::ops::Range;
use std::sync::Arc;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::read::nearest::suggestion;
use crate::vocabulary::{Place, Reject};

/// A word with the place it stands at, in bytes of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// The word.
    pub text: String,
    /// Where it stands.
    pub span: Range<usize>,
}

/// A file being checked, and the faults found so far.
pub struct TomlText<'t> {
    file: Arc<str>,
    text: &'t str,
    /// The faults, each with its line.
    pub faults: Vec<Reject>,
}

impl<'t> TomlText<'t> {
    /// Parses a file as far as it goes; what does not parse is a fault.
    pub fn parse(text: &'t str, file: &Arc<str>) -> (TomlText<'t>, DeTable<'t>) {
        let mut checked = TomlText { file: Arc::clone(file), text, faults: Vec::new() };
        let (table, errors) = DeTable::parse_recoverable(text);
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            checked.fault(&span, format!("not TOML: {}", error.message().trim()));
        }
        (checked, table.into_inner())
    }

    /// The line that a byte stands on, from 1.
    #[must_use]
    pub fn line(&self, byte: usize) -> u64 {
        let before = &self.text.as_bytes()[..byte.min(self.text.len())];
        memchr::memchr_iter(b'\n', before).count() as u64 + 1
    }

    /// Notes a fault.
    pub fn fault(&mut self, span: &Range<usize>, reason: impl Into<String>) {
        let place = Place::line(&self.file, self.line(span.start));
        self.faults.push(Reject::one(place, reason));
    }

    /// Notes a fault of the file as a whole.
    pub fn fault_of_file(&mut self, reason: impl Into<String>) {
        self.faults.push(Reject::one(Place::whole(&self.file), reason));
    }

    /// Notes every key that is not known here.
    pub fn check_keys(&mut self, table: &DeTable<'_>, known: &[&str], whose: &str) {
        for key in table.keys() {
            let name: &str = key.get_ref();
            if !known.contains(&name) {
                let hint = suggestion(name, known);
                self.fault(&key.span(), format!("unknown key `{name}` in {whose}; {hint}"));
            }
        }
    }

    /// A word; numbers are not words.
    pub fn word(&mut self, table: &DeTable<'_>, key: &str) -> Option<Word> {
        let value = table.get(key)?;
        self.word_of(value, key)
    }

    /// One word or a list of words.
    pub fn words(&mut self, table: &DeTable<'_>, key: &str) -> Vec<Word> {
        let Some(value) = table.get(key) else { return Vec::new() };
        match value.get_ref() {
            DeValue::Array(list) => {
                list.iter().filter_map(|item| self.word_of(item, key)).collect()
            }
            _ => self.word_of(value, key).into_iter().collect(),
        }
    }

    /// A number, whole or with decimals.
    pub fn number(&mut self, table: &DeTable<'_>, key: &str) -> Option<(f64, Range<usize>)> {
        let value = table.get(key)?;
        let found = match value.get_ref() {
            DeValue::Integer(digits) if digits.radix() == 10 => digits.as_str().parse().ok(),
            DeValue::Float(digits) => digits.as_str().parse().ok(),
            _ => None,
        };
        let found = found.filter(|number: &f64| number.is_finite());
        if found.is_none() {
            self.wrong(value, key, "a number");
        }
        found.map(|number| (number, value.span()))
    }

    /// A whole number of at least 0, in any radix.
    pub fn whole(&mut self, table: &DeTable<'_>, key: &str) -> Option<(u32, Range<usize>)> {
        let value = table.get(key)?;
        let found = match value.get_ref() {
            DeValue::Integer(digits) => u32::from_str_radix(digits.as_str(), digits.radix()).ok(),
            _ => None,
        };
        if found.is_none() {
            self.wrong(value, key, "a whole number");
        }
        found.map(|number| (number, value.span()))
    }

    /// A table.
    pub fn table<'v, 'i>(
        &mut self,
        table: &'v DeTable<'i>,
        key: &str,
    ) -> Option<(&'v DeTable<'i>, Range<usize>)> {
        let value = table.get(key)?;
        match value.get_ref() {
            DeValue::Table(inner) => Some((inner, value.span())),
            _ => {
                self.wrong(value, key, "a table");
                None
            }
        }
    }

    /// A list of tables; a single table counts as a list of one.
    pub fn tables<'v, 'i>(
        &mut self,
        table: &'v DeTable<'i>,
        key: &str,
    ) -> Vec<(&'v DeTable<'i>, Range<usize>)> {
        let Some(value) = table.get(key) else { return Vec::new() };
        let items: Vec<&'v Spanned<DeValue<'i>>> = match value.get_ref() {
            DeValue::Array(list) => list.iter().collect(),
            _ => vec![value],
        };
        let mut found = Vec::new();
        for item in items {
            match item.get_ref() {
                DeValue::Table(inner) => found.push((inner, item.span())),
                _ => self.wrong(item, key, "a table"),
            }
        }
        found
    }

    /// Notes that a value is of another kind than expected.
    pub fn wrong(&mut self, value: &Spanned<DeValue<'_>>, key: &str, expected: &str) {
        let found = match value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let shown = self.text.get(value.span()).unwrap_or("");
        let shown = crate::read::times::shortened(shown.lines().next().unwrap_or(""));
        self.fault(&value.span(), format!("`{key}` should be {expected}, found {found}: {shown}"));
    }

    fn word_of(&mut self, value: &Spanned<DeValue<'_>>, key: &str) -> Option<Word> {
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => {
                Some(Word { text: text.to_string(), span: value.span() })
            }
            DeValue::String(_) => {
                self.fault(
                    &value.span(),
                    format!("`{key}` is empty, give it a text or leave it out"),
                );
                None
            }
            _ => {
                self.wrong(value, key, "a text");
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_faults_together_each_with_its_line() {
        let text = "a = 1\nb = \"x\"\nnmae = \"y\"\nlist = [\"p\", 2]\nempty = \"\"\n";
        let (mut file, table) = TomlText::parse(text, &"f.toml".into());
        file.check_keys(&table, &["a", "b", "name", "list", "empty"], "the file");
        assert_eq!(file.word(&table, "a"), None);
        assert_eq!(file.words(&table, "b").len(), 1);
        assert_eq!(file.words(&table, "list").len(), 1);
        assert_eq!(file.word(&table, "empty"), None);
        let found: Vec<String> =
            file.faults.iter().map(|f| format!("{}: {}", f.place, f.reason)).collect();
        assert_eq!(
            found,
            [
                "f.toml:3: unknown key `nmae` in the file; did you mean `name`?",
                "f.toml:1: `a` should be a text, found a number: 1",
                "f.toml:4: `list` should be a text, found a number: 2",
                "f.toml:5: `empty` is empty, give it a text or leave it out",
            ]
        );
    }

    #[test]
    fn a_syntax_fault_has_its_line_and_does_not_hide_the_rest() {
        let (file, table) = TomlText::parse("a = \"x\"\nb = = 2\nc = \"z\"\n", &"f".into());
        assert_eq!(file.faults[0].place, Place::line(&"f".into(), 2));
        assert!(file.faults[0].reason.starts_with("not TOML"));
        assert!(table.contains_key("a"));
    }
}
