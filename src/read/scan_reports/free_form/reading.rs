//! A report read line by line: what is a heading, a table, a label with its value, a code with its text.
//!
//! The state is small: the module that the lines are about, the part of the report, the columns of the table,
//! the last codes (a status may follow on a line of its own). A code counts as a finding only where
//! findings stand: at the beginning of a line or cell, behind a label for codes, in a column of codes, behind
//! a module's name. One inside running text is a mention. A module's name counts as a heading only when
//! it is hardly more than a name; inside a code's own text it never does.

use super::attributes::{Attributes, attributes, status_alone};
use super::codes::find_codes;
use super::document::{Document, Line};
use super::gathered::{Gathered, Item, Mention};
use super::names::{Heading, Names, Naming, bare};
use super::pairs::{label_of, pairs};
use super::rows::Columns;
use super::words::{Answer, Label, Section, Words};
use crate::vocabulary::{CodeStatus, Place};

/// The state while a report is read.
pub(super) struct Reader<'r> {
    pub words: &'r Words,
    pub names: &'r Names<'r>,
    pub gathered: Gathered,
    /// The module that the lines are about.
    pub module: Option<usize>,
    pub section: Option<Section>,
    /// A status that stands over a list of codes.
    pub status: Option<CodeStatus>,
    /// What is said of all modules listed below.
    pub listed: Option<Answer>,
    pub columns: Option<Columns>,
    /// The items that the next lines may say more about: from here to the end.
    pub open: usize,
    /// Whether the line before held nothing but codes, so that this one may be their text.
    /// It holds the column at which they began.
    awaits_text: Option<usize>,
    /// The labels of the record being read, to tell where the next one begins.
    pub record: Vec<Label>,
}

impl<'r> Reader<'r> {
    pub(super) fn new(words: &'r Words, names: &'r Names<'r>) -> Reader<'r> {
        let gathered =
            Gathered { languages: vec![0; words.languages.len()], ..Gathered::default() };
        Reader {
            words,
            names,
            gathered,
            module: None,
            section: None,
            status: None,
            listed: None,
            columns: None,
            open: 0,
            awaits_text: None,
            record: Vec::new(),
        }
    }

    pub(super) fn read(&mut self, document: &Document) {
        for (at, line) in document.lines.iter().enumerate() {
            self.line(line, document.lines.get(at + 1));
        }
    }

    fn line(&mut self, line: &Line, next: Option<&Line>) {
        if line.gap {
            self.record.clear();
            self.open = self.gathered.items.len();
        }
        let column = line.filled().next().map_or(0, |cell| cell.column);
        let awaited = self.awaits_text.take().is_some_and(|code| column >= code)
            && !line.gap
            && !line.heading;
        if let Some(columns) = Columns::of_header(line, self) {
            self.begin_table(columns);
            return;
        }
        if self.table_row(line) {
            return;
        }
        let text = line.text();
        let has_code = find_codes(&text).iter().any(|code| !code.loose);
        if !has_code && self.part_heading(line, &text) {
            return;
        }
        if self.section == Some(Section::Explanation) {
            let heading = (line.heading || line.gap) && !has_code;
            let heading = heading.then(|| self.names.heading(&text, false, false)).flatten();
            match heading {
                Some(found) if !found.leftover => self.enter(&found, &text, &line.place),
                _ => self.mention_all(&text, &line.place, "in an explanation", true),
            }
            return;
        }
        let found = pairs(line, self.words, self.names);
        // A code with `Status: …` behind it is a code line; one behind `Code:` is a pair.
        let details = found.iter().all(|pair| {
            matches!(
                pair.label,
                Label::Status | Label::Occurrences | Label::FailureType | Label::SinceStart
            )
        });
        if has_code && details && !found.is_empty() && self.code_line(line, &text) {
            return;
        }
        if !found.is_empty() {
            for pair in found {
                self.pair(&pair, &line.place);
            }
            return;
        }
        if !find_codes(&text).is_empty() && self.code_line(line, &text) {
            return;
        }
        let answers = self.names.heading(&text, false, false).is_some_and(|h| h.answer.is_some());
        if awaited && !answers {
            if let Some(status) = self.only_status(&text) {
                self.give_status(status);
            }
            return;
        }
        self.other_line(line, &text, next);
    }

    fn begin_table(&mut self, columns: Columns) {
        if self.section == Some(Section::Explanation) && !columns.has_modules() {
            return;
        }
        self.section = None;
        if columns.has_modules() {
            self.module = None;
        }
        self.columns = Some(columns);
    }

    /// A heading of a part of the report: a section, a list of codes of one status, a list of modules.
    fn part_heading(&mut self, line: &Line, text: &str) -> bool {
        let shown = bare(text).trim_end_matches(':').trim();
        let said = self.names.split(shown);
        if self.names.answer(&said).is_some() {
            return false;
        }
        if said.is_empty() || said.len() > 8 || line.table != 0 && line.filled().count() > 1 {
            return false;
        }
        let alone = line.filled().count() == 1;
        let dressed = line.heading || text.trim_end().ends_with(':') || line.gap;
        if alone && dressed && self.list_heading(line, shown) {
            return true;
        }
        let section = match self.words.sections.exact(&said) {
            Some(section) if alone => Some(*section),
            _ if line.heading => self.words.sections.at(&said, 0).map(|(_, section)| *section),
            _ => None,
        };
        if let (Some(section), true) = (section, dressed || section == Some(Section::Frame)) {
            if self.names.heading(shown, false, false).is_some_and(|h| !h.leftover) {
                return false;
            }
            if section != Section::Frame {
                self.leave();
            }
            self.section = Some(section);
            return true;
        }
        if !alone {
            return false;
        }
        if let Some(status) = self.status_heading(shown) {
            self.status = Some(status);
            self.section = None;
            return true;
        }
        false
    }

    /// `Modules that did not answer:` stands over a list of names.
    fn list_heading(&mut self, line: &Line, shown: &str) -> bool {
        let said = self.names.split(shown);
        let said_of_all = self.words.answers.all(&said);
        let of_modules = self.words.marks.any(&said)
            || (0..said.len())
                .any(|at| matches!(self.words.labels.at(&said, at), Some((_, (Label::Module, _)))));
        let Some((_, _, answer)) = said_of_all.last() else { return false };
        let answer = **answer;
        if !of_modules
            || !(line.gap || line.heading)
            || shown.contains(':')
            || self.names.heading(shown, false, false).is_some()
        {
            return false;
        }
        self.leave();
        self.listed = Some(answer);
        true
    }

    /// `Confirmed codes (2)`: only status words, words for codes, and numbers.
    pub(super) fn status_heading(&self, text: &str) -> Option<CodeStatus> {
        let said = self.names.split(text);
        let stages = self.words.status.all(&said);
        if stages.is_empty() || said.len() > 6 {
            return None;
        }
        let mut codes = false;
        let mut at = 0;
        while at < said.len() {
            if let Some((length, _)) = self.words.status.at(&said, at) {
                at += length;
            } else if let Some((length, (Label::Code, _))) = self.words.labels.at(&said, at) {
                codes = true;
                at += length;
            } else if said.get(at).is_some_and(|t| t.text.bytes().all(|b| b.is_ascii_digit())) {
                at += 1;
            } else if let Some((length, ())) = self.words.fillers.at(&said, at) {
                at += length;
            } else {
                return None;
            }
        }
        codes.then(|| status_alone(text, false, self.words, self.names)).flatten()
    }

    /// Nothing of the module before holds any more.
    pub(super) fn leave(&mut self) {
        self.module = None;
        self.status = None;
        self.listed = None;
        self.columns = None;
        self.section = None;
        self.record.clear();
        self.open = self.gathered.items.len();
    }

    /// A module's heading: what follows is about it.
    pub(super) fn enter(&mut self, heading: &Heading, called: &str, place: &Place) {
        let listed = self.listed;
        self.status = None;
        self.section = None;
        self.open = self.gathered.items.len();
        self.module = self.gathered.module(heading, called, place);
        if let Some(answer) = heading.answer.or(listed) {
            self.gathered.answer(self.module, answer, place);
        }
    }

    /// Takes all codes of a text as findings of `module`; a later one only where a list goes on.
    pub(super) fn codes_of(
        &mut self,
        text: &str,
        place: &Place,
        module: Option<usize>,
        status: Option<CodeStatus>,
    ) -> Attributes {
        let found = find_codes(text);
        let mut goes_on = true;
        let mut last = Attributes::default();
        for (at, one) in found.iter().enumerate() {
            let until = found.get(at + 1).map_or(text.len(), |next| next.start);
            let segment = text.get(one.end..until).unwrap_or("");
            let code = match &one.code {
                Ok(code) => *code,
                Err(reason) => {
                    self.doubt(place, reason.clone());
                    continue;
                }
            };
            let after = self.names.split(segment);
            if self.words.explains.at(&after, 0).is_some() {
                self.mention(code.word, place, "in a sentence that explains it", true);
                continue;
            }
            if !goes_on {
                self.mention(code.word, place, "in the text of another code", true);
                continue;
            }
            let beside = attributes(segment, self.words, self.names);
            let mut code = code;
            code.failure_type = code.failure_type.or(beside.failure_type);
            self.gathered.items.push(Item {
                code,
                status: beside.status.or(status).or(self.status),
                occurrences: beside.occurrences,
                since_start_s: beside.since_start_s,
                module,
                place: place.clone(),
            });
            let parted = segment.trim_end().ends_with([',', ';', '|', '\n', '/', '+', '&', '•'])
                || segment.ends_with("  ");
            goes_on = !beside.text || parted;
            last = beside;
        }
        last
    }

    pub(super) fn mention_all(&mut self, text: &str, place: &Place, why: &str, plain: bool) {
        for one in find_codes(text) {
            if let Ok(code) = one.code
                && !one.loose
            {
                self.mention(code.word, place, why, plain);
            }
        }
    }

    /// Whether the next line may be the text of the codes just read.
    pub(super) fn expect_text(&mut self, line: &Line, expected: bool) {
        let column = line.filled().next().map_or(0, |cell| cell.column);
        self.awaits_text = expected.then_some(column);
    }

    pub(super) fn mention(&mut self, word: u16, place: &Place, why: &str, plain: bool) {
        let why = why.to_owned();
        self.gathered.mentions.push(Mention { word, place: place.clone(), why, plain });
    }

    pub(super) fn doubt(&mut self, place: &Place, reason: String) {
        self.gathered.doubts.push((place.clone(), reason));
    }

    /// A line without codes and labels: a module's heading, a word about the module, or nothing.
    fn other_line(&mut self, line: &Line, text: &str, next: Option<&Line>) {
        let said = self.names.split(bare(text));
        if let Some(answer) = self.names.answer(&said)
            && self.module.is_some()
        {
            self.gathered.answer(self.module, answer, &line.place);
            return;
        }
        if let Some(status) = self.only_status(text) {
            self.give_status(status);
            return;
        }
        // `No response: body, tail lift`; `Not fitted: trailer`.
        if let Some((head, tail)) = text.split_once([':', '='])
            && let Some(answer) = self.answer_of_list(head)
        {
            self.answer_list(answer, tail, &line.place);
            return;
        }
        let dressed = line.heading || text.trim_end().ends_with(':') || follows(next, self);
        let Some(heading) = self.names.heading(text, false, dressed) else {
            if line.heading {
                self.leave();
            }
            return;
        };
        if heading.leftover && !dressed && heading.answer.is_none() {
            return;
        }
        self.enter(&heading, text, &line.place);
    }

    fn answer_of_list(&self, head: &str) -> Option<Answer> {
        let said = self.names.split(bare(head));
        if self.names.heading(head, false, false).is_some() {
            return None;
        }
        let found = self.words.answers.all(&said);
        found.last().map(|(_, _, answer)| **answer).filter(|_| said.len() <= 7)
    }

    fn answer_list(&mut self, answer: Answer, tail: &str, place: &Place) {
        let tail = tail.replace(" and ", ",").replace(" und ", ",");
        for name in tail.split([',', ';', '\n', '/']).filter(|n| !n.trim().is_empty()) {
            if let Some(heading) = self.names.heading(name, false, true) {
                let module = self.gathered.module(&heading, name, place);
                self.gathered.answer(module, answer, place);
            }
        }
    }
}

/// Whether the next line is one that stands under a module's heading.
fn follows(next: Option<&Line>, reader: &Reader<'_>) -> bool {
    let Some(next) = next else { return false };
    let text = next.text();
    if find_codes(&text)
        .first()
        .is_some_and(|code| bare(text.get(..code.start).unwrap_or("")).is_empty())
    {
        return true;
    }
    let said = reader.names.split(bare(&text));
    if reader.names.answer(&said).is_some() {
        return true;
    }
    let first = next.filled().next().and_then(|cell| {
        let head = cell.text.split([':', '=']).next().unwrap_or("");
        label_of(head, reader.words, reader.names)
    });
    matches!(first, Some((Label::Code | Label::Answer, ..)))
}

/// Whether a heading names one module that can be trusted without any dress.
pub(super) fn is_plain_name(heading: &Heading) -> bool {
    !heading.leftover && matches!(heading.naming, Naming::Node { strange: false, .. })
}
