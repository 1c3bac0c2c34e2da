//! A report as lines of cells, whatever it came as: plain text, HTML or PDF.
//!
//! A line keeps its place; a cell its text and where it stands: a character position where columns are
//! made by blanks, a number where they are made by marks or HTML. Bounds: [`LARGEST`] bytes in,
//! [`MOST_LINES`] lines, [`MOST_CELLS`] cells a line, [`LONGEST_LINE`] characters a line; what goes over
//! is refused or cut, and said.

use crate::read::account::Account;
use crate::vocabulary::Place;

/// The largest report that is read, in unpacked bytes.
pub const LARGEST: u64 = 32 << 20;
/// The most lines of a report.
pub const MOST_LINES: usize = 100_000;
/// The most cells of a line.
pub const MOST_CELLS: usize = 64;
/// The longest line, in characters.
pub const LONGEST_LINE: usize = 4_000;

/// One report of unknown layout.
#[derive(Debug, Clone)]
pub struct Document {
    /// What it came as: `text`, `HTML`, `PDF`.
    pub form: &'static str,
    /// Its lines, none without a cell.
    pub lines: Vec<Line>,
    /// What was refused or let pass so far.
    pub account: Account,
}

/// One line, table row or paragraph.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Where it stands.
    pub place: Place,
    /// Its cells, at least one; an empty cell of a table stays.
    pub cells: Vec<Cell>,
    /// Whether something parts it from the line before: a blank line, a rule, a new block.
    pub gap: bool,
    /// Whether its dress says that it is a heading: an HTML heading, a rule below, a larger type.
    pub heading: bool,
    /// The table it is a row of, where marks say so; 0 for none.
    pub table: u32,
}

/// A piece of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// Its text, trimmed.
    pub text: String,
    /// Its column: a number in a marked table, else the position of its first character.
    pub column: usize,
}

impl Line {
    /// All cells as one text, two blanks between them.
    #[must_use]
    pub fn text(&self) -> String {
        let cells: Vec<&str> =
            self.cells.iter().map(|c| c.text.as_str()).filter(|t| !t.is_empty()).collect();
        cells.join("  ")
    }

    /// The cells that hold something.
    pub fn filled(&self) -> impl Iterator<Item = &Cell> {
        self.cells.iter().filter(|cell| !cell.text.is_empty())
    }
}

impl Document {
    /// An empty document.
    #[must_use]
    pub fn new(form: &'static str) -> Document {
        Document { form, lines: Vec::new(), account: Account::default() }
    }

    /// Adds a line when it holds anything; `false` when no more lines are taken.
    pub fn push(&mut self, mut line: Line) -> bool {
        if line.filled().next().is_none() {
            return true;
        }
        if self.lines.len() >= MOST_LINES {
            let reason = format!("more than {MOST_LINES} lines; the rest is not read");
            self.account.reject(line.place, reason);
            return false;
        }
        if line.cells.len() > MOST_CELLS {
            let reason =
                format!("{} cells in a line, only {MOST_CELLS} are read", line.cells.len());
            self.account.reject(line.place.clone(), reason);
            line.cells.truncate(MOST_CELLS);
        }
        let mut room = LONGEST_LINE;
        for cell in &mut line.cells {
            let length = cell.text.chars().count();
            if length > room {
                let reason = format!("a line of over {LONGEST_LINE} characters is cut there");
                self.account.reject(line.place.clone(), reason);
                cell.text = cell.text.chars().take(room).collect();
            }
            room = room.saturating_sub(length);
        }
        self.lines.push(line);
        true
    }
}
