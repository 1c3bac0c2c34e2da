//! Tables: a line of column names, then rows.
//!
//! Columns are told by their names; cells find them by number where marks part the cells, by the place they
//! begin at where blanks do. An empty cell for the module means the module of the row above.

use super::attributes::status_alone;
use super::codes::find_codes;
use super::document::{Cell, Line};
use super::gathered::Labelled;
use super::names::bare;
use super::pairs::label_of;
use super::reading::Reader;
use super::words::{Answer, Label};

/// The columns of a table.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    /// Where each begins, what it holds, the unit in its name, how long its name is.
    columns: Vec<(usize, Option<Label>, Option<String>, usize)>,
    /// The marked table; 0 where blanks part the cells.
    table: u32,
    /// A header over a single row of values: `Vehicle  Date  Odometer`.
    about_scan: bool,
    /// The name of the status column says that bytes stand in it.
    bytes: bool,
    rows: u32,
    languages: Vec<usize>,
}

impl Columns {
    /// The columns that a line names; `None` when it is no line of column names.
    pub(super) fn of_header(line: &Line, reader: &Reader<'_>) -> Option<Columns> {
        let cells: Vec<&Cell> = line.filled().collect();
        if cells.len() < 2 || cells.iter().any(|cell| !find_codes(&cell.text).is_empty()) {
            return None;
        }
        if cells.iter().any(|cell| cell.text.trim_end().ends_with(':')) {
            return None;
        }
        let mut columns = Vec::new();
        let mut languages = Vec::new();
        let mut bytes = false;
        for cell in &line.cells {
            let found = label_of(&cell.text, reader.words, reader.names);
            let label = found.as_ref().map(|(label, ..)| *label);
            let unit = found.as_ref().and_then(|(_, _, unit)| unit.clone());
            languages.extend(found.iter().map(|(_, language, _)| *language));
            bytes |= label == Some(Label::Status)
                && reader
                    .names
                    .split(&cell.text)
                    .iter()
                    .any(|t| t.text == "byte" || t.text == "hex");
            columns.push((cell.column, label, unit, cell.text.chars().count()));
        }
        let has = |wanted: &[Label]| {
            columns
                .iter()
                .filter(|(_, label, ..)| label.is_some_and(|l| wanted.contains(&l)))
                .count()
        };
        let known = has(&LABELS);
        let findings = has(&[Label::Code]) >= 1 && known >= 2
            || has(&[Label::Module, Label::Vehicle]) >= 1
                && has(&[Label::Answer, Label::Status]) >= 1;
        let scan = [
            Label::Vehicle,
            Label::Vin,
            Label::Date,
            Label::Odometer,
            Label::Battery,
            Label::Ambient,
            Label::Humidity,
            Label::Time,
        ];
        let about_scan = !findings
            && has(&scan) >= 2
            && columns.iter().all(|(_, label, _, length)| label.is_some() || *length == 0);
        if !(findings && known * 2 >= cells.len() || about_scan) {
            return None;
        }
        Some(Columns { columns, table: line.table, about_scan, bytes, rows: 0, languages })
    }

    /// Whether a column holds modules; `Unit` does so in a table of findings.
    pub(super) fn has_modules(&self) -> bool {
        self.columns.iter().any(|(_, label, ..)| self.is_module(*label))
    }

    fn is_module(&self, label: Option<Label>) -> bool {
        label == Some(Label::Module) || !self.about_scan && label == Some(Label::Vehicle)
    }

    fn first(&self) -> usize {
        self.columns.first().map_or(0, |(start, ..)| *start)
    }

    /// The texts of a row, by column.
    fn texts(&self, line: &Line) -> Vec<String> {
        let mut texts = vec![String::new(); self.columns.len()];
        let mut put = |at: usize, text: &str| {
            if let Some(known) = texts.get_mut(at).filter(|_| !text.trim().is_empty()) {
                if !known.is_empty() {
                    known.push_str("  ");
                }
                known.push_str(text.trim());
            }
        };
        for cell in &line.cells {
            if self.table != 0 {
                if let Some(at) =
                    self.columns.iter().position(|(column, ..)| *column == cell.column)
                {
                    put(at, &cell.text);
                }
                continue;
            }
            for (start, text) in self.cut(cell) {
                put(self.nearest(start, text.chars().count()), &text);
            }
        }
        texts
    }

    /// A cell that runs on into the next column, where a single blank parts them, is cut there.
    fn cut(&self, cell: &Cell) -> Vec<(usize, String)> {
        let signs: Vec<char> = cell.text.chars().collect();
        let mut pieces = Vec::new();
        let mut from = 0;
        for (start, ..) in self.columns.iter().skip(1) {
            let Some(inner) = start.checked_sub(cell.column) else { continue };
            let blank = inner.checked_sub(1).and_then(|before| signs.get(before)) == Some(&' ');
            if inner > from && blank && inner < signs.len() {
                pieces.push((
                    cell.column + from,
                    signs.get(from..inner).unwrap_or(&[]).iter().collect(),
                ));
                from = inner;
            }
        }
        pieces.push((cell.column + from, signs.get(from..).unwrap_or(&[]).iter().collect()));
        pieces
    }

    /// The column that a cell shares most characters with, else the last that begins before it.
    fn nearest(&self, start: usize, length: usize) -> usize {
        let end = start + length;
        let shared = |at: usize| {
            let (from, _, _, name) = &self.columns[at];
            let until = from + name;
            until.min(end).saturating_sub(*from.max(&start))
        };
        let best = (0..self.columns.len()).max_by_key(|at| (shared(*at), std::cmp::Reverse(*at)));
        match best.filter(|at| shared(*at) > 0) {
            Some(at) => at,
            None => self.columns.iter().rposition(|(from, ..)| *from <= start + 1).unwrap_or(0),
        }
    }
}

const LABELS: [Label; 18] = [
    Label::Vehicle,
    Label::Vin,
    Label::Date,
    Label::Time,
    Label::OtherDate,
    Label::Odometer,
    Label::Ambient,
    Label::Humidity,
    Label::Battery,
    Label::SinceStart,
    Label::Module,
    Label::Code,
    Label::FailureType,
    Label::Status,
    Label::Occurrences,
    Label::Description,
    Label::Answer,
    Label::Other,
];

impl Reader<'_> {
    /// Reads the line as a row of the open table; `false` when it is none.
    pub(super) fn table_row(&mut self, line: &Line) -> bool {
        let Some(columns) = self.columns.take() else { return false };
        let alone = line.filled().count() == 1;
        let belongs = if columns.table != 0 {
            line.table == columns.table
        } else {
            line.table == 0 && !line.heading && !(line.gap && columns.rows > 0 && alone)
        };
        if !belongs {
            if columns.has_modules() {
                self.module = None;
            }
            return false;
        }
        let mut columns = columns;
        let text = line.text();
        if alone && find_codes(&text).is_empty() {
            // A row of one cell: a group's name, or the rest of a long text.
            let first = line.filled().next().map_or(0, |cell| cell.column) <= columns.first() + 1;
            let group = first.then(|| self.names.heading(&text, false, false)).flatten();
            match group {
                Some(heading) if !heading.leftover || heading.answer.is_some() => {
                    self.enter(&heading, &text, &line.place);
                }
                _ if first && self.status_heading(bare(&text)).is_some() => {
                    self.status = self.status_heading(bare(&text));
                }
                _ if first && (line.gap || text.contains(':')) => return false,
                _ => {}
            }
            self.columns = Some(columns);
            return true;
        }
        if columns.table == 0 && line.gap && columns.rows > 0 && self.labelled_line(line) {
            self.module = if columns.has_modules() { None } else { self.module };
            return false;
        }
        columns.rows += 1;
        if columns.rows == 1 {
            for language in &columns.languages {
                if let Some(count) = self.gathered.languages.get_mut(*language) {
                    *count += 1;
                }
            }
        }
        self.row(line, &columns);
        let over = columns.about_scan && columns.table == 0;
        self.columns = (!over).then_some(columns);
        true
    }

    /// `Label: value` in front: the table is over.
    fn labelled_line(&self, line: &Line) -> bool {
        let Some(cell) = line.filled().next() else { return false };
        let Some((head, _)) = cell.text.split_once(':') else { return false };
        label_of(head, self.words, self.names).is_some()
    }

    fn row(&mut self, line: &Line, columns: &Columns) {
        let texts = columns.texts(line);
        let place = &line.place;
        let of = |wanted: Label| {
            let at = columns.columns.iter().position(|(_, label, ..)| *label == Some(wanted));
            at.and_then(|at| texts.get(at)).map_or("", |text| text.as_str())
        };
        if columns.about_scan {
            for ((_, label, unit, _), text) in columns.columns.iter().zip(&texts) {
                if let Some(label) = label.filter(|_| !text.is_empty()) {
                    let (text, unit) = (text.clone(), unit.clone());
                    let place = place.clone();
                    self.gathered.values.push(Labelled { label, text, unit, place, inside: false });
                }
            }
            return;
        }
        let module_at = columns.columns.iter().position(|(_, label, ..)| columns.is_module(*label));
        let module_text = module_at.and_then(|at| texts.get(at)).map_or("", |text| text.as_str());
        let mut said_of_module = None;
        if module_at.is_some() && !is_ditto(module_text) {
            // A code in the column of modules: the row is not what the columns say.
            match self
                .names
                .heading(module_text, true, true)
                .filter(|_| find_codes(module_text).is_empty())
            {
                Some(heading) => {
                    said_of_module = heading.answer;
                    self.module = self.gathered.module(&heading, module_text, place);
                }
                None => self.module = None,
            }
        }
        if let Some(answer) = said_of_module {
            self.gathered.answer(self.module, answer, place);
        }
        let has_code_column =
            columns.columns.iter().any(|(_, label, ..)| *label == Some(Label::Code));
        let (code_text, status_text) = (of(Label::Code), of(Label::Status));
        self.open = self.gathered.items.len();
        if has_code_column {
            self.codes_of(code_text, place, self.module, None);
        }
        let holds = self.gathered.items.len() > self.open;
        if holds {
            self.row_details(
                status_text,
                of(Label::FailureType),
                of(Label::Occurrences),
                columns.bytes,
                line,
            );
        } else {
            self.row_answer(
                code_text,
                status_text,
                of(Label::Answer),
                of(Label::Description),
                line,
            );
        }
        for ((_, label, ..), text) in columns.columns.iter().zip(&texts) {
            let own =
                matches!(label, Some(Label::Code)) || module_at.is_some() && text == module_text;
            if !own {
                self.mention_all(text, place, "in another column of a table", true);
            }
        }
    }

    fn row_details(&mut self, status: &str, failure: &str, times: &str, bytes: bool, line: &Line) {
        let found = status_alone(status, bytes, self.words, self.names);
        let byte = crate::protocol::trouble_codes::parse_failure_type(failure)
            .filter(|_| failure.trim().trim_start_matches("0x").len() == 2);
        let times: Option<u32> = times.trim_matches(|c: char| !c.is_ascii_digit()).parse().ok();
        for item in self.gathered.items.iter_mut().skip(self.open) {
            item.status = found.or(item.status);
            item.occurrences = item.occurrences.or(times);
            item.code.failure_type = item.code.failure_type.or(byte);
        }
        if found.is_none() && status.chars().any(char::is_alphanumeric) {
            let shown = crate::read::times::shortened(status);
            self.doubt(&line.place, format!("status `{shown}` is none that is known"));
        }
    }

    /// A row without a code: what it says of the module.
    fn row_answer(&mut self, code: &str, status: &str, answer: &str, text: &str, line: &Line) {
        let place = &line.place;
        for said in [answer, status, text, code] {
            if said.is_empty() {
                continue;
            }
            let tokens = self.names.split(said);
            if let Some(answer) = self.names.answer(&tokens) {
                self.gathered.answer(self.module, answer, place);
                return;
            }
            let counted = tokens.len() == 1
                && tokens.iter().all(|t| t.text.bytes().all(|b| b.is_ascii_digit()));
            if counted || tokens.is_empty() && said == code {
                self.gathered.answer(self.module, Answer::Answered, place);
                return;
            }
            // `No response after 3 tries`, `OK (2 codes)`.
            if let Some((_, answer)) = self.words.answers.at(&tokens, 0) {
                self.gathered.answer(self.module, *answer, place);
                return;
            }
        }
    }
}

/// An empty cell, or a mark for "as above".
fn is_ditto(text: &str) -> bool {
    let text = text.trim();
    text.is_empty()
        || matches!(
            text,
            "\"" | "''"
                | "〃"
                | "..."
                | "…"
                | "ditto"
                | "\"\""
                | "-\"-"
                | "”"
                | "“"
                | "↑"
                | "-"
                | "–"
                | "—"
                | "same"
        )
}
