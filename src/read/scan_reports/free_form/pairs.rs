//! Labels with their values in a line.
//!
//! `Label: value`, several of them in one cell, `Label | value` in two cells, and, for numbers with a unit,
//! dates and status words, `Label value` with nothing between.

use super::document::Line;
use super::names::{Names, bare};
use super::phrases::Token;
use super::words::{Label, Words};

/// A label with its value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pair {
    pub label: Label,
    /// The language of the label, by position.
    pub language: usize,
    /// A unit in the label: `Odometer (km)`.
    pub unit: Option<String>,
    pub value: String,
}

/// A label, with a unit in brackets behind it.
pub(super) fn label_of(
    text: &str,
    words: &Words,
    names: &Names<'_>,
) -> Option<(Label, usize, Option<String>)> {
    let text = bare(text).trim_end_matches([':', '=', '.', ' ']);
    let said = names.split(text);
    if said.len() > 6 {
        return None;
    }
    if let Some((label, language)) = words.labels.exact(&said) {
        return Some((*label, *language, None));
    }
    if let Some((head, tail)) = text.split_once(['(', '[']) {
        let unit = tail.trim_end_matches([')', ']', ' ']).to_owned();
        let said = names.split(head);
        let (label, language) = words.labels.exact(&said)?;
        return Some((*label, *language, Some(unit)));
    }
    if let Some((head, tail)) = text.split_once(',') {
        let said = names.split(head);
        let (label, language) = words.labels.exact(&said)?;
        return (tail.trim().len() <= 6).then(|| (*label, *language, Some(tail.trim().to_owned())));
    }
    // A label that nobody listed but that holds the word of an unimportant one: `spare part no`.
    let other = (0..said.len())
        .any(|at| matches!(words.labels.at(&said, at), Some((_, (Label::Other, _)))));
    let other = other && said.len() <= 4 && names.heading(text, false, false).is_none();
    other.then_some((Label::Other, 0, None))
}

/// The pairs of a line; empty when it has none.
pub(super) fn pairs(line: &Line, words: &Words, names: &Names<'_>) -> Vec<Pair> {
    let mut found = Vec::new();
    let cells: Vec<&str> = line.filled().map(|cell| cell.text.as_str()).collect();
    let mut at = 0;
    while let Some(cell) = cells.get(at) {
        at += 1;
        let next = cells.get(at);
        let inner = in_cell(cell, words, names);
        if let Some(last) = inner.last() {
            let open = last.value.is_empty();
            found.extend(inner.iter().cloned());
            // `Label:` with its value in the next cell.
            if let (true, Some(next), Some(pair)) = (open, next, found.last_mut())
                && in_cell(next, words, names).is_empty()
            {
                pair.value = (*next).to_owned();
                at += 1;
            }
            continue;
        }
        let exact = label_of(cell, words, names)
            .filter(|(label, ..)| *label != Label::Other || cells.len() == 2);
        if let (Some((label, language, unit)), Some(next)) = (exact, next)
            && (label_of(next, words, names).is_none() || cells.len() == 2)
        {
            let value = next.trim_start_matches([':', '=', ' ']).to_owned();
            found.push(Pair { label, language, unit, value });
            at += 1;
            continue;
        }
        found.extend(bare_value(cell, words, names));
    }
    found
}

/// Pairs with a mark between, in one cell.
fn in_cell(cell: &str, words: &Words, names: &Names<'_>) -> Vec<Pair> {
    let mut found: Vec<Pair> = Vec::new();
    let mut from = 0;
    let marks = cell.match_indices([':', '=']).map(|(at, _)| at);
    let mut value_from = 0;
    for mark in marks {
        let before = cell.get(from..mark).unwrap_or("");
        // A time of day has colons too.
        let digits = before.ends_with(|c: char| c.is_ascii_digit())
            && cell.get(mark + 1..).is_some_and(|a| a.starts_with(|c: char| c.is_ascii_digit()));
        if digits {
            continue;
        }
        let label = if found.is_empty() {
            label_of(before, words, names).map(|label| (0, label))
        } else {
            ending(before, words, names)
        };
        let Some((start, (label, language, unit))) = label else { continue };
        if let Some(last) = found.last_mut() {
            let value = cell.get(value_from..from + start).unwrap_or("");
            last.value = value.trim().trim_end_matches([',', ';', '/', '|', '-', ' ']).to_owned();
        }
        found.push(Pair { label, language, unit, value: String::new() });
        from = mark + 1;
        value_from = mark + 1;
    }
    if let Some(last) = found.last_mut() {
        last.value = cell.get(value_from..).unwrap_or("").trim().to_owned();
    }
    found
}

type Found = (usize, (Label, usize, Option<String>));

/// The longest label at the end of a text, and where it begins.
fn ending(text: &str, words: &Words, names: &Names<'_>) -> Option<Found> {
    let trimmed = text.trim_end();
    let said: Vec<Token> = names.split(trimmed);
    let most = said.len().min(5);
    (1..=most).rev().find_map(|count| {
        let first = said.get(said.len() - count)?;
        // A value has to stand before it, parted from it or not.
        let start = first.start;
        let (label, language) = *words.labels.exact(said.get(said.len() - count..)?)?;
        Some((start, (label, language, None)))
    })
}

/// `Odometer 81,234 km`, `Date 12.01.2026`, `Status stored`: no mark between.
fn bare_value(cell: &str, words: &Words, names: &Names<'_>) -> Option<Pair> {
    let text = bare(cell);
    let said = names.split(text);
    let (length, (label, language)) = words.labels.at(&said, 0)?;
    let rest = said.get(length..)?;
    let first = rest.first()?;
    let value = text.get(said.get(length - 1)?.end..).unwrap_or("");
    let value = value.trim_start_matches(['.', ' ']).trim().to_owned();
    let numeric = value
        .trim_start_matches(['-', '+', '−', '–', '~', ' '])
        .starts_with(|c: char| c.is_ascii_digit());
    let fits = match label {
        Label::Odometer | Label::Ambient | Label::Humidity | Label::Battery | Label::SinceStart => {
            numeric && rest.len() <= 5
        }
        Label::Date | Label::OtherDate => {
            (numeric || words.months.at(rest, 0).is_some()) && rest.len() <= 9
        }
        // `Fleet no. QM-11`: a label of several words and a name with a digit.
        Label::Vehicle => {
            length > 1 && rest.len() <= 3 && value.chars().any(|c| c.is_ascii_digit())
        }
        Label::Status => words.status.exact(rest).is_some(),
        Label::Occurrences => rest.len() == 1 && first.text.bytes().all(|b| b.is_ascii_digit()),
        _ => false,
    };
    fits.then_some(Pair { label: *label, language: *language, unit: None, value })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::scan_reports::free_form::plain::read_plain;

    fn shown(line: &str) -> Vec<String> {
        let words = Words::english();
        let names = Names::new(None, &words);
        let document = read_plain(line.as_bytes(), &"r".into());
        let found = pairs(&document.lines[0], &words, &names);
        found.iter().map(|pair| format!("{:?}={}", pair.label, pair.value)).collect()
    }

    #[test]
    fn labels_find_their_values() {
        assert_eq!(
            shown("Vehicle: LH-07   Date: 12.01.2026 06:41"),
            ["Vehicle=LH-07", "Date=12.01.2026 06:41"]
        );
        assert_eq!(shown("Vehicle: LH-07 Date: 12.01.2026"), ["Vehicle=LH-07", "Date=12.01.2026"]);
        assert_eq!(shown("Odometer .......... 81,234 km"), ["Odometer=81,234 km"]);
        assert_eq!(shown("Ambient temperature -3.5 °C"), ["Ambient=-3.5 °C"]);
        assert_eq!(shown("| Fault code | U0126 |"), ["Code=U0126"]);
        assert_eq!(shown("Spare part no: B1203"), ["Other=B1203"]);
        assert_eq!(shown("Status: stored, Count: 3"), ["Status=stored", "Occurrences=3"]);
        assert_eq!(shown("The body unit was asked twice"), [""; 0]);
    }
}
