//! Plain text as lines of cells.
//!
//! Cells are parted by `|`, box-drawing bars or tabs, by `;` where the lines around have as many of
//! them, by dot leaders, else by two blanks or more. A line of nothing but rule signs parts blocks and
//! makes the line above it a heading when that is a single cell. Encodings: UTF-8, UTF-16 with its
//! mark or with every other byte zero, else Windows-1252, which is counted.

use std::sync::Arc;

use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::document::{Cell, Document, Line};
use crate::read::account::Account;
use crate::vocabulary::Place;

/// Bytes as text.
pub(super) fn decode(bytes: &[u8], account: &mut Account) -> String {
    let wide = match bytes {
        [0xFF, 0xFE, ..] => Some(UTF_16LE),
        [0xFE, 0xFF, ..] => Some(UTF_16BE),
        [_, 0, ..] => Some(UTF_16LE),
        [0, _, ..] => Some(UTF_16BE),
        _ => None,
    };
    if let Some(encoding) = wide {
        account.lenient("report in UTF-16 read");
        return encoding.decode(bytes).0.into_owned();
    }
    let bytes = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => {
            account.lenient("report that is not UTF-8 read as Windows-1252");
            WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned()
        }
    }
}

/// Splits a text into lines and cells.
pub(super) fn read_plain(bytes: &[u8], name: &Arc<str>) -> Document {
    let mut document = Document::new("text");
    let text = decode(bytes, &mut document.account);
    let mut reader = Plain { gap: true, table: 0, in_table: false };
    let lines: Vec<&str> = lines_of(&text);
    for (at, line) in lines.iter().enumerate() {
        let semicolons = count(line, ';');
        let near = |other: Option<&&str>| other.is_some_and(|l| count(l, ';') == semicolons);
        let listed = semicolons >= 1
            && (near(lines.get(at + 1)) || at.checked_sub(1).is_some_and(|b| near(lines.get(b))));
        let underlined = lines.get(at + 1).is_some_and(|next| is_rule(next));
        let place = Place::line(name, at as u64 + 1);
        if !reader.line(line, listed, underlined, place, &mut document) {
            break;
        }
    }
    document
}

/// Lines at LF, CR LF or lone CR; a form feed parts lines too.
fn lines_of(text: &str) -> Vec<&str> {
    let mut lines = Vec::new();
    for line in text.split('\n') {
        let line = line.strip_suffix('\r').unwrap_or(line);
        lines.extend(line.split('\r'));
    }
    lines
}

fn count(line: &str, sign: char) -> usize {
    line.chars().filter(|c| *c == sign).count()
}

/// A line of nothing but three or more rule signs (and blanks and crossings).
fn is_rule(line: &str) -> bool {
    let signs = line.chars().filter(|c| !c.is_whitespace()).collect::<Vec<_>>();
    signs.len() >= 3
        && signs.iter().all(|c| {
            matches!(c, '-' | '=' | '_' | '*' | '~' | '+' | '#' | '|' | '.' | ':' | '/' | '\\')
                || is_drawn(*c)
                || matches!(c, '–' | '—' | '·' | '•')
        })
}

fn is_drawn(c: char) -> bool {
    ('\u{2500}'..='\u{259F}').contains(&c)
}

fn is_bar(c: char) -> bool {
    matches!(c, '|' | '│' | '┃' | '║' | '┆' | '┊' | '¦' | '┇' | '┋')
}

struct Plain {
    gap: bool,
    table: u32,
    in_table: bool,
}

impl Plain {
    fn line(
        &mut self,
        line: &str,
        listed: bool,
        underlined: bool,
        place: Place,
        document: &mut Document,
    ) -> bool {
        let page_break = line.contains('\u{c}');
        let line = line.replace(['\u{c}', '\u{a0}', '\u{202f}', '\u{2007}'], " ");
        if line.trim().is_empty() || is_rule(&line) {
            // A rule inside a table with bars does not end it.
            self.in_table &= line.contains(is_bar) || line.contains('+') || is_rule(&line);
            self.gap = true;
            return true;
        }
        let (cells, marked) = cells(&line, listed);
        if marked && !self.in_table {
            self.table += 1;
        }
        self.in_table = marked;
        let hashes = line.trim_start().starts_with('#');
        let single = cells.iter().filter(|c| !c.text.is_empty()).count() == 1;
        let gap = std::mem::take(&mut self.gap) || page_break;
        let heading = single && (underlined || hashes);
        let table = if marked { self.table } else { 0 };
        document.push(Line { place, cells, gap, heading, table })
    }
}

/// The cells of a line, and whether marks part them.
fn cells(line: &str, listed: bool) -> (Vec<Cell>, bool) {
    let bars = line.chars().filter(|c| is_bar(*c)).count();
    if bars >= 1 {
        let trimmed = line.trim();
        let inner = trimmed.strip_prefix(is_bar).unwrap_or(trimmed);
        let inner = inner.strip_suffix(is_bar).unwrap_or(inner);
        let parts: Vec<&str> = inner.split(is_bar).collect();
        // A frame around a single text is no table.
        if parts.len() > 1 {
            return (numbered(&parts), true);
        }
        return (by_blanks(inner, 0), false);
    }
    if line.trim_matches([' ', '\r']).trim_start_matches('\t').contains('\t') {
        return (numbered(&line.split('\t').collect::<Vec<_>>()), true);
    }
    if listed {
        return (numbered(&line.split(';').collect::<Vec<_>>()), true);
    }
    (by_blanks(line, 0), false)
}

fn numbered(parts: &[&str]) -> Vec<Cell> {
    let clean = |part: &str| part.trim().trim_matches('"').trim().to_owned();
    parts.iter().enumerate().map(|(column, part)| Cell { text: clean(part), column }).collect()
}

/// Cells parted by two blanks or more, or by dot leaders; columns are character positions.
pub(super) fn by_blanks(line: &str, from: usize) -> Vec<Cell> {
    let signs: Vec<char> = line.chars().collect();
    let leader = |at: usize| {
        let dot = |at: usize| signs.get(at).is_some_and(|c| matches!(c, '.' | '…' | '·' | '_'));
        let run = (at..).take_while(|i| dot(*i)).count();
        let spaced =
            (0..).take_while(|i| dot(at + 2 * i) && signs.get(at + 2 * i + 1) == Some(&' '));
        if run >= 3 || signs.get(at) == Some(&'…') {
            run.max(1)
        } else {
            let spaced = spaced.count();
            if spaced >= 3 { 2 * spaced } else { 0 }
        }
    };
    let mut cells: Vec<Cell> = Vec::new();
    let mut text = String::new();
    let mut start = 0;
    let mut blanks = 0;
    let mut at = 0;
    while let Some(&c) = signs.get(at) {
        let led = leader(at);
        if c == ' ' || c == '\t' || led > 0 {
            blanks += if led > 0 {
                led + 2
            } else if c == '\t' {
                2
            } else {
                1
            };
            at += led.max(1);
            continue;
        }
        if blanks >= 2 && !text.is_empty() {
            cells.push(Cell { text: std::mem::take(&mut text), column: from + start });
        }
        if text.is_empty() {
            start = at;
        } else if blanks == 1 {
            text.push(' ');
        }
        blanks = 0;
        text.push(c);
        at += 1;
    }
    if !text.is_empty() {
        cells.push(Cell { text, column: from + start });
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(line: &str, listed: bool) -> Vec<String> {
        cells(line, listed).0.into_iter().map(|cell| cell.text).collect()
    }

    #[test]
    fn every_way_to_part_cells() {
        assert_eq!(texts("| Body | U0126 |", false), ["Body", "U0126"]);
        assert_eq!(texts("Body\tU0126\t", false), ["Body", "U0126", ""]);
        assert_eq!(texts("Body;U0126", true), ["Body", "U0126"]);
        assert_eq!(texts("Body control ........ OK", false), ["Body control", "OK"]);
        assert_eq!(texts("Body . . . . . OK", false), ["Body", "OK"]);
        assert_eq!(texts("  Steering angle   U0126", false), ["Steering angle", "U0126"]);
        assert_eq!(cells("  Steering angle   U0126", false).0[1].column, 19);
        assert_eq!(texts("│ Body control │", false), ["Body control"]);
    }

    #[test]
    fn encodings() {
        let mut account = Account::default();
        assert_eq!(decode("Gerät".as_bytes(), &mut account), "Gerät");
        assert_eq!(decode(b"Ger\xE4t", &mut account), "Gerät");
        assert_eq!(decode(b"\xFF\xFEG\x00e\x00", &mut account), "Ge");
        assert_eq!(account.leniencies.len(), 2);
    }
}
