//! Lines in which a code stands without a table around it and without a label.
//!
//! What stands before the code decides: nothing, a bullet, a status or a word for codes (the code belongs to
//! the heading above), a module's name (it belongs to that module), a sentence in which a module reports it; or
//! other words, and then the code is only mentioned.

use super::codes::find_codes;
use super::document::Line;
use super::names::{Heading, bare};
use super::reading::{Reader, is_plain_name};
use super::words::Label;

impl Reader<'_> {
    /// Reads the line; `false` when its codes are too loose to be codes.
    pub(super) fn code_line(&mut self, line: &Line, text: &str) -> bool {
        let found = find_codes(text);
        let Some(first) = found.first() else { return false };
        let before = text.get(..first.start).unwrap_or("");
        let prefix =
            bare(before).trim_end_matches([':', '-', '–', '—', '(', '[', '>', '=', '|', '.']);
        let prefix = prefix.trim();
        let place = &line.place;
        let behind = text.get(first.start..).unwrap_or("");
        if first.loose && !prefix.is_empty() && !self.is_code_label(prefix) {
            let named = self.names.heading(prefix, false, false);
            if !named.is_some_and(|heading| is_plain_name(&heading)) {
                return false;
            }
        }
        if prefix.is_empty() {
            // Small letters or a gap inside: only with something that makes it a finding.
            if first.loose && self.module.is_none() {
                return false;
            }
            self.findings(line, behind);
            return true;
        }
        let said = self.names.split(prefix);
        let status =
            self.words.status.exact(&said).is_some() || self.status_heading(prefix).is_some();
        if status {
            let status = super::attributes::status_alone(prefix, false, self.words, self.names);
            self.open = self.gathered.items.len();
            self.codes_of(behind, place, self.module, status);
            return true;
        }
        if self.is_code_label(prefix) {
            self.findings(line, behind);
            return true;
        }
        if let Some((heading, called)) = self.told(text, before) {
            let module = self.gathered.module(&heading, &called, place);
            self.open = self.gathered.items.len();
            self.codes_of(behind, place, module, None);
            return true;
        }
        // A colon or a cell of its own shows that a name stands before the code.
        let parted = before.trim_end().ends_with([':', '|', '\u{bb}']) || before.ends_with("  ");
        if let Some(heading) = self.names.heading(prefix, false, parted)
            && !heading.leftover
        {
            self.enter(&heading, prefix, place);
            self.finding(line, behind);
            return true;
        }
        let prose = self.words.mention.any(&self.names.split(text)) || said.len() >= 6;
        let why = "behind words that are neither a module nor a label";
        self.mention_all(text, place, why, prose);
        true
    }

    /// `Code`, `DTC 3`, `Fault #2`.
    fn is_code_label(&self, prefix: &str) -> bool {
        let said = self.names.split(prefix);
        match self.words.labels.at(&said, 0) {
            Some((length, (Label::Code, _))) => said.get(length..).is_some_and(|rest| {
                rest.iter().all(|t| t.text.bytes().all(|b| b.is_ascii_digit()))
            }),
            _ => false,
        }
    }

    /// Codes of the module above; without one, of the module that a bracket or a cell behind names.
    fn findings(&mut self, line: &Line, behind: &str) {
        if self.module.is_some() {
            self.finding(line, behind);
            return;
        }
        let mut named: Vec<(Heading, String)> = Vec::new();
        let cells = line.filled().map(|cell| cell.text.as_str());
        let brackets = behind.split(['(', '[']).skip(1).filter_map(|b| b.split([')', ']']).next());
        for piece in cells.chain(brackets) {
            if !find_codes(piece).is_empty() {
                continue;
            }
            if let Some(heading) = self.names.heading(piece, false, false)
                && is_plain_name(&heading)
                && !named.iter().any(|(known, _)| known.naming == heading.naming)
            {
                named.push((heading, piece.to_owned()));
            }
        }
        let module = match named.as_slice() {
            [(heading, called)] => {
                let (heading, called) = (heading.clone(), called.clone());
                self.gathered.module(&heading, &called, &line.place)
            }
            _ => None,
        };
        self.open = self.gathered.items.len();
        self.codes_of(behind, &line.place, module, None);
    }

    fn finding(&mut self, line: &Line, behind: &str) {
        self.open = self.gathered.items.len();
        let beside = self.codes_of(behind, &line.place, self.module, None);
        self.expect_text(line, !beside.text);
    }

    /// `The body control module reported U0126`: a module, then a word for reporting, then the code.
    fn told(&self, text: &str, before: &str) -> Option<(Heading, String)> {
        let sentence = self.names.split(text);
        if self.words.mention.any(&sentence) {
            return None;
        }
        let said = self.names.split(before);
        // The reporting word nearest to the code, with only words around it that say nothing.
        let (at, _, ()) = self.words.reporting.all(&said).into_iter().next()?;
        let verb = said.get(at)?;
        let rest = said.get(at..)?;
        let quiet = rest.iter().all(|token| {
            let one = std::slice::from_ref(token);
            self.words.reporting.at(one, 0).is_some()
                || self.words.fillers.at(one, 0).is_some()
                || self.words.labels.exact(one).is_some()
                || self.words.status.exact(one).is_some()
                || token.text.bytes().all(|b| b.is_ascii_digit())
                || matches!(
                    token.text.as_str(),
                    "back" | "also" | "now" | "one" | "two" | "three" | "them" | "it"
                )
        });
        if !quiet {
            return None;
        }
        let called = before.get(..verb.start)?.trim();
        let called = called.rsplit(['.', ';']).next()?.trim();
        let heading = self.names.heading(called, false, false)?;
        (!heading.leftover).then(|| (heading, called.to_owned()))
    }
}
