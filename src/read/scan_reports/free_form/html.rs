//! HTML as lines of cells.
//!
//! Only the tokens are read, not a tree: a block element ends a line, a table row is a line with its
//! cells numbered (`colspan` counted, `rowspan` repeated below), a heading element marks its line, `dt`
//! and `dd` are two cells. Scripts, styles and comments are left out. A place is the line of the source
//! on which the text begins. Nesting needs no stack but that of open tables, which is bounded.

use std::sync::Arc;

use html5gum::{DefaultEmitter, StartTag, Token, Tokenizer};

use super::document::{Cell, Document, Line, MOST_CELLS};
use super::plain::{by_blanks, decode};
use crate::vocabulary::Place;

/// How deep tables may lie in each other.
const DEEPEST: usize = 32;

const BLOCKS: [&str; 32] = [
    "p",
    "div",
    "section",
    "article",
    "header",
    "footer",
    "main",
    "aside",
    "nav",
    "ul",
    "ol",
    "li",
    "dl",
    "table",
    "thead",
    "tbody",
    "tfoot",
    "form",
    "fieldset",
    "figure",
    "address",
    "pre",
    "hr",
    "body",
    "html",
    "blockquote",
    "details",
    "dialog",
    "center",
    "menu",
    "title",
    "option",
];
const HEADINGS: [&str; 9] = ["h1", "h2", "h3", "h4", "h5", "h6", "caption", "legend", "summary"];
const LEFT_OUT: [&str; 6] = ["script", "style", "template", "noscript", "svg", "select"];
const INLINE: [&str; 5] = ["span", "label", "strong", "b", "em"];

/// Splits HTML into lines and cells.
pub(super) fn read_html(bytes: &[u8], name: &Arc<str>) -> Document {
    let mut document = Document::new("HTML");
    let text = decode(bytes, &mut document.account);
    let mut reader = Html {
        name: Arc::clone(name),
        document,
        cells: Vec::new(),
        text: String::new(),
        line: 0,
        gap: true,
        heading: false,
        left_out: None,
        inline_ended: false,
        pre: false,
        rows: Vec::new(),
        tables: 0,
        full: false,
    };
    let mut emitter = DefaultEmitter::<usize>::new_with_span();
    emitter.naively_switch_states(true);
    let mut at = 0;
    let mut line = 1;
    for token in Tokenizer::new_with_emitter(&text, emitter) {
        let Ok(token) = token;
        let start = match &token {
            Token::StartTag(tag) => tag.span.start,
            Token::EndTag(tag) => tag.span.start,
            Token::String(string) => string.span.start,
            _ => continue,
        };
        let start = start.clamp(at, text.len());
        line += memchr::memchr_iter(b'\n', &text.as_bytes()[at..start]).count() as u64;
        at = start;
        match token {
            Token::StartTag(tag) => reader.start(&tag, line),
            Token::EndTag(tag) => reader.end(&String::from_utf8_lossy(&tag.name)),
            Token::String(string) => reader.text(&String::from_utf8_lossy(&string), line),
            _ => {}
        }
        if reader.full {
            break;
        }
    }
    reader.flush();
    reader.document
}

/// An open table.
#[derive(Default)]
struct Rows {
    number: u32,
    /// Cells that reach into the rows below: column, rows left, text.
    hanging: Vec<(usize, usize, String)>,
    /// Whether a row is open, and the column of its next cell.
    row: Option<usize>,
    /// The column of the open cell and its height.
    cell: Option<(usize, usize)>,
}

struct Html {
    name: Arc<str>,
    document: Document,
    cells: Vec<Cell>,
    text: String,
    line: u64,
    gap: bool,
    heading: bool,
    left_out: Option<String>,
    inline_ended: bool,
    pre: bool,
    rows: Vec<Rows>,
    tables: u32,
    full: bool,
}

impl Html {
    fn start(&mut self, tag: &StartTag<usize>, line: u64) {
        let name = String::from_utf8_lossy(&tag.name).into_owned();
        let name = name.as_str();
        if self.left_out.is_some() {
            return;
        }
        if LEFT_OUT.contains(&name) && !tag.self_closing {
            self.left_out = Some(name.to_owned());
            return;
        }
        let span = |key: &[u8]| {
            let value = tag.attributes.get(key).map(|v| String::from_utf8_lossy(v).into_owned());
            value.and_then(|v| v.trim().parse::<usize>().ok()).unwrap_or(1).clamp(1, 1000)
        };
        match name {
            "table" => {
                self.flush();
                if self.rows.len() < DEEPEST {
                    self.tables += 1;
                    self.rows.push(Rows { number: self.tables, ..Rows::default() });
                }
                self.gap = true;
            }
            "tr" => {
                self.flush();
                if let Some(rows) = self.rows.last_mut() {
                    rows.row = Some(0);
                }
            }
            "td" | "th" => self.open_cell(span(b"colspan").min(MOST_CELLS), span(b"rowspan"), line),
            "dt" => {
                self.flush();
                self.gap = true;
                self.line = line;
            }
            "dd" => {
                self.close_piece();
                self.line = if self.cells.is_empty() { line } else { self.line };
            }
            "br" => self.text.push('\n'),
            "img" | "input" => self.text.push(' '),
            _ if HEADINGS.contains(&name) => {
                self.flush();
                self.heading = true;
                self.gap = true;
            }
            _ if BLOCKS.contains(&name) => {
                self.pre |= name == "pre";
                self.block();
                self.gap |= !matches!(name, "li" | "option" | "thead" | "tbody" | "tfoot");
            }
            _ if INLINE.contains(&name) && self.inline_ended => self.close_piece(),
            _ => {}
        }
        self.inline_ended = false;
    }

    fn end(&mut self, name: &str) {
        if let Some(left_out) = &self.left_out {
            if left_out == name {
                self.left_out = None;
            }
            return;
        }
        match name {
            "td" | "th" => self.close_cell(),
            "tr" => self.flush(),
            "table" => {
                self.flush();
                self.rows.pop();
                self.gap = true;
            }
            "dt" => self.close_piece(),
            "dd" => self.flush(),
            _ if HEADINGS.contains(&name) => {
                self.flush();
                self.heading = false;
            }
            _ if BLOCKS.contains(&name) => {
                self.block();
                self.pre &= name != "pre";
            }
            _ => {}
        }
        self.inline_ended = INLINE.contains(&name);
    }

    fn text(&mut self, text: &str, line: u64) {
        if self.left_out.is_some() {
            return;
        }
        if !text.trim().is_empty() {
            self.inline_ended = false;
            if self.text.trim().is_empty() && self.cells.is_empty() {
                let lead = text.len() - text.trim_start().len();
                let skipped = memchr::memchr_iter(b'\n', &text.as_bytes()[..lead]).count();
                self.line = line + skipped as u64;
            }
        }
        if !self.pre {
            let folded: String = text.chars().map(|c| if c == '\n' { ' ' } else { c }).collect();
            self.text.push_str(&folded);
            return;
        }
        for (at, piece) in text.split('\n').enumerate() {
            if at > 0 {
                let blank = self.text.trim().is_empty();
                self.flush();
                self.gap |= blank;
                self.line = line + at as u64;
            }
            self.text.push_str(piece);
        }
    }

    /// A block inside a table cell only parts the cell's text; elsewhere it ends the line.
    fn block(&mut self) {
        let in_cell = self.rows.last().is_some_and(|rows| rows.cell.is_some());
        if in_cell && !self.pre {
            if !self.text.trim().is_empty() {
                self.text.push('\n');
            }
        } else {
            self.flush();
        }
    }

    fn open_cell(&mut self, wide: usize, high: usize, line: u64) {
        self.close_cell();
        if self.cells.is_empty() {
            self.line = line;
        }
        let Some(rows) = self.rows.last_mut() else { return };
        let mut column = rows.row.unwrap_or(0);
        // Cells that hang down from rows above stand first.
        while let Some(at) = rows.hanging.iter().position(|(c, ..)| *c == column) {
            let (_, left, text) = &mut rows.hanging[at];
            self.cells.push(Cell { text: text.clone(), column });
            *left -= 1;
            if *left == 0 {
                rows.hanging.remove(at);
            }
            column += 1;
        }
        rows.cell = Some((column, high));
        rows.row = Some(column + wide);
        self.text.clear();
    }

    fn close_cell(&mut self) {
        let Some((column, high)) = self.rows.last_mut().and_then(|r| r.cell.take()) else {
            return;
        };
        let text = tidy(&std::mem::take(&mut self.text));
        if let Some(rows) = self.rows.last_mut()
            && high > 1
            && rows.hanging.len() < MOST_CELLS
        {
            rows.hanging.push((column, high - 1, text.clone()));
        }
        self.cells.push(Cell { text, column });
    }

    /// Ends the piece of a line that is in no table.
    fn close_piece(&mut self) {
        if self.rows.last().is_some_and(|rows| rows.cell.is_some()) {
            self.text.push_str("  ");
            return;
        }
        let text = tidy(&std::mem::take(&mut self.text));
        if !text.is_empty() {
            let column = self.cells.len();
            self.cells.push(Cell { text, column });
        }
    }

    /// Ends the line.
    fn flush(&mut self) {
        self.close_cell();
        let mut table = 0;
        if let Some(rows) = self.rows.last_mut()
            && let Some(column) = rows.row.take()
        {
            table = rows.number;
            let rest: Vec<_> = rows.hanging.extract_if(.., |(c, ..)| *c >= column).collect();
            for (column, left, text) in rest {
                self.cells.push(Cell { text: text.clone(), column });
                if left > 1 {
                    rows.hanging.push((column, left - 1, text));
                }
            }
        }
        if self.pre && self.cells.is_empty() {
            self.cells = by_blanks(&std::mem::take(&mut self.text), 0);
        } else {
            self.close_piece();
        }
        let cells = std::mem::take(&mut self.cells);
        if cells.iter().all(|cell| cell.text.is_empty()) {
            return;
        }
        let gap = std::mem::take(&mut self.gap);
        let place = Place::line(&self.name, self.line);
        let heading = self.heading && table == 0;
        self.full |= !self.document.push(Line { place, cells, gap, heading, table });
    }
}

/// Blanks folded to one; line ends that `br` or blocks made stay as ends.
fn tidy(text: &str) -> String {
    let lines = text.split('\n').map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(html: &str) -> Vec<(String, Vec<String>)> {
        let document = read_html(html.as_bytes(), &"r.html".into());
        let cells = |line: &Line| line.cells.iter().map(|c| c.text.clone()).collect();
        document.lines.iter().map(|l| (l.place.to_string(), cells(l))).collect()
    }

    #[test]
    fn tables_with_spans_keep_their_columns_and_lines() {
        let html = "<table>\n<tr><th>Module<th>Code</tr>\n<tr><td rowspan=2>Body</td><td>U0126\n</td></tr>\n<tr><td>U0121<br>B1000</td></tr></table>";
        assert_eq!(
            rows(html),
            [
                ("r.html:2".to_owned(), vec!["Module".to_owned(), "Code".to_owned()]),
                ("r.html:3".to_owned(), vec!["Body".to_owned(), "U0126".to_owned()]),
                ("r.html:5".to_owned(), vec!["Body".to_owned(), "U0121\nB1000".to_owned()]),
            ]
        );
    }

    #[test]
    fn blocks_headings_and_what_is_left_out() {
        let html = "<script>U0100</script><h2>Body &amp; doors</h2><!-- U0101 --><p>a <b>b</b></p><dl><dt>Date<dd>today</dl>";
        let document = read_html(html.as_bytes(), &"r".into());
        let texts: Vec<String> = document.lines.iter().map(Line::text).collect();
        assert_eq!(texts, ["Body & doors", "a b", "Date  today"]);
        assert!(document.lines[0].heading && !document.lines[1].heading);
    }
}
