//! What stands beside a code: its status, how often it was seen, its failure type.
//!
//! A status word counts where it stands apart (between marks, at the beginning or at the end); inside the
//! code's own text (`signal intermittent in the circuit`) it does not.

use std::sync::OnceLock;

use regex::Regex;

use super::names::Names;
use super::phrases::Token;
use super::words::{Label, Stage, Words};
use crate::vocabulary::CodeStatus;

/// What was found beside a code.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Attributes {
    pub status: Option<CodeStatus>,
    pub occurrences: Option<u32>,
    pub failure_type: Option<u8>,
    pub since_start_s: Option<f64>,
    /// Words are left that say something else: the code's own text.
    pub text: bool,
}

fn raw_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"(?i)\b0x([0-9a-f]{2})\b|\b([0-9a-f]{2})h\b")
            .expect("the pattern is a constant that tests compile")
    })
}

fn times_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"(?i)(?:^|[\s(\[,;])(?:(\d{1,6}) ?(?:x|×|times|time|mal|occurrences?)|[x×] ?(\d{1,6}))(?:$|[\s)\],;.])")
            .expect("the pattern is a constant that tests compile")
    })
}

fn since_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"(?i)\b(\d{1,6}(?:\.\d+)?) ?s(?:ec|econds)? (?:after|since) (?:start|wake-?up|ignition on)")
            .expect("the pattern is a constant that tests compile")
    })
}

/// Reads what stands behind a code, up to the next one.
pub(super) fn attributes(segment: &str, words: &Words, names: &Names<'_>) -> Attributes {
    let mut found = Attributes::default();
    let mut stages: Vec<Stage> = Vec::new();
    if let Some(parts) = times_form().captures(segment) {
        let digits = parts.get(1).or_else(|| parts.get(2));
        found.occurrences = digits.and_then(|d| d.as_str().parse().ok());
    }
    if let Some(parts) = since_form().captures(segment) {
        found.since_start_s = parts.get(1).and_then(|d| d.as_str().parse().ok());
    }
    let marks = |c: char| "()[]{},;|/:=–—·•\n→<>\"".contains(c);
    let spaced = segment.replace(" - ", "|").replace("  ", "|");
    let pieces: Vec<&str> = spaced.split(marks).map(str::trim).filter(|p| !p.is_empty()).collect();
    let mut label: Option<Label> = None;
    for (at, piece) in pieces.iter().enumerate() {
        let said = names.split(piece);
        let owner = label.take();
        if said.is_empty() {
            continue;
        }
        if let Some((value, kind)) = labelled(&said, owner, words) {
            match (kind, value) {
                (_, Value::Stage(stage)) => stages.push(stage),
                (_, Value::Raw(byte)) => found.status = Some(CodeStatus::Raw(byte)),
                (_, Value::Times(times)) => found.occurrences = Some(times),
                (_, Value::Failure(byte)) => found.failure_type = Some(byte),
            }
            continue;
        }
        if let Some((Label::Status | Label::Occurrences | Label::FailureType, _)) =
            words.labels.exact(&said)
        {
            label = words.labels.exact(&said).map(|(label, _)| *label);
            continue;
        }
        if let Some(parts) = raw_form().captures(piece).filter(|_| said.len() <= 4) {
            let digits = parts.get(1).or_else(|| parts.get(2)).map_or("", |d| d.as_str());
            found.status = u8::from_str_radix(digits, 16).ok().map(CodeStatus::Raw);
            continue;
        }
        let staged = words.status.any(&said);
        let only_times = !staged && times_form().is_match(piece) && said.len() <= 2
            || said.iter().all(|t| t.text.bytes().all(|b| b.is_ascii_digit()));
        if only_times || since_form().is_match(piece) && said.len() <= 6 {
            continue;
        }
        // Covered by status words alone, or such words at an end of the code's own text.
        let all = words.status.all(&said);
        let covered: usize = all.iter().map(|(_, length, _)| *length).sum();
        let loose = said.len() - covered.min(said.len());
        if covered > 0 && loose <= said.iter().filter(|t| is_joining(t, words)).count() {
            stages.extend(all.iter().map(|(_, _, stage)| **stage));
            continue;
        }
        if said.iter().all(|token| is_joining(token, words)) {
            continue;
        }
        found.text = true;
        let first = all.first().filter(|(start, ..)| *start == 0 && at == 0);
        let last = all
            .last()
            .filter(|(start, length, _)| start + length == said.len() && at + 1 == pieces.len());
        if let Some((_, _, stage)) = first.or(last) {
            stages.push(**stage);
        }
    }
    found.status = found.status.or_else(|| merged(&stages));
    found
}

/// Words that join status words: `and`, `code`, `is`.
fn is_joining(token: &Token, words: &Words) -> bool {
    let one = std::slice::from_ref(token);
    let digits = token.text.trim_matches(['x', '×']);
    !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
        || words.fillers.exact(one).is_some()
        || matches!(words.labels.exact(one), Some((Label::Code | Label::Status, _)))
        || matches!(token.text.as_str(), "and" | "but" | "is" | "und" | "dtc")
}

enum Value {
    Stage(Stage),
    Raw(u8),
    Times(u32),
    Failure(u8),
}

/// `status stored`, `count 3`, `ftb 87`, the label in the same piece or in the one before.
fn labelled(said: &[Token], owner: Option<Label>, words: &Words) -> Option<(Value, Label)> {
    let (label, rest) = match owner {
        Some(label) => (label, said),
        None => {
            let (length, (label, _)) = words.labels.at(said, 0)?;
            (*label, said.get(length..).unwrap_or(&[]))
        }
    };
    let first = rest.first()?;
    let byte = || {
        let digits = first.text.strip_prefix("0x").unwrap_or(&first.text);
        let digits = digits.strip_suffix('h').unwrap_or(digits);
        (digits.len() == 2).then(|| u8::from_str_radix(digits, 16).ok()).flatten()
    };
    let value = match label {
        Label::Status => match words.status.at(rest, 0) {
            Some((_, stage)) => Value::Stage(*stage),
            None => Value::Raw(byte()?),
        },
        Label::Occurrences => {
            let digits = first.text.trim_end_matches(['x', '×']);
            Value::Times(digits.parse().ok()?)
        }
        Label::FailureType => Value::Failure(byte()?),
        _ => return None,
    };
    Some((value, label))
}

/// What several status words come to: failing now before not failing now before matured.
pub(super) fn merged(stages: &[Stage]) -> Option<CodeStatus> {
    [
        (Stage::Current, CodeStatus::Confirmed),
        (Stage::Stored, CodeStatus::Stored),
        (Stage::Confirmed, CodeStatus::Confirmed),
        (Stage::Pending, CodeStatus::Pending),
    ]
    .into_iter()
    .find(|(stage, _)| stages.contains(stage))
    .map(|(_, status)| status)
}

/// A status that stands alone in a cell or behind its label; `None` when it is none that is known.
///
/// `byte`: the label says that a raw byte stands there, so that two digits are hexadecimal.
pub(super) fn status_alone(
    text: &str,
    byte: bool,
    words: &Words,
    names: &Names<'_>,
) -> Option<CodeStatus> {
    let said = names.split(text);
    if let Some(parts) = raw_form().captures(text) {
        let digits = parts.get(1).or_else(|| parts.get(2)).map_or("", |d| d.as_str());
        return u8::from_str_radix(digits, 16).ok().map(CodeStatus::Raw);
    }
    let stages: Vec<Stage> = words.status.all(&said).iter().map(|(_, _, stage)| **stage).collect();
    if let Some(status) = merged(&stages) {
        return Some(status);
    }
    let [only] = said.as_slice() else { return None };
    let digits = only.text.as_str();
    let hex = digits.len() == 2 && digits.bytes().all(|b| b.is_ascii_hexdigit());
    // `28` may be a decimal number; `2F` and `08` may not.
    let sure =
        byte || digits.starts_with('0') || digits.contains(|c: char| c.is_ascii_alphabetic());
    (hex && sure).then(|| u8::from_str_radix(digits, 16).ok()).flatten().map(CodeStatus::Raw)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(segment: &str) -> Attributes {
        let words = Words::english();
        let names = Names::new(None, &words);
        attributes(segment, &words, &names)
    }

    #[test]
    fn status_words_count_only_where_they_stand_apart() {
        for (segment, status) in [
            (" (confirmed, not active)", Some(CodeStatus::Stored)),
            (" Lost communication with brake - intermittent", Some(CodeStatus::Stored)),
            (" signal intermittent in the circuit", None),
            (" active: lost communication", Some(CodeStatus::Confirmed)),
            (" [status 0x2F]", Some(CodeStatus::Raw(0x2F))),
            (" status byte: 2Fh", Some(CodeStatus::Raw(0x2F))),
            (" Status: pending, Count: 3", Some(CodeStatus::Pending)),
            (" lost communication pending", Some(CodeStatus::Pending)),
            ("", None),
        ] {
            assert_eq!(of(segment).status, status, "{segment}");
        }
    }

    #[test]
    fn counts_and_failure_types() {
        assert_eq!(of(" stored, 3x").occurrences, Some(3));
        assert_eq!(of(" (occurrences: 12)").occurrences, Some(12));
        assert_eq!(of(" seen 4 times").occurrences, Some(4));
        assert_eq!(of(" FTB 87 stored").failure_type, Some(0x87));
        assert_eq!(of(" confirmed 41 s after start").since_start_s, Some(41.0));
        assert!(!of(" (stored) 3x").text && of(" no message (stored)").text);
    }
}
