//! Trouble codes in running text.
//!
//! A code is a letter P, C, B or U, a digit 0 to 3 and three hex digits, in any case, not part of a longer
//! word or number. One blank or dash may stand behind the letter. Behind the code the failure type may
//! stand: joined, behind a dash or colon, in brackets, or behind a blank where it can be nothing else.
//! What only looks like a code (a letter O for a zero, a tail too long) is given back as doubtful; a span
//! of codes (`U0100–U0110`) is no code at all.

use std::sync::OnceLock;

use regex::Regex;

use crate::vocabulary::TroubleCode;

/// A code where it stands in a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FoundCode {
    /// Where it begins, in bytes.
    pub start: usize,
    /// Where it and its failure type end.
    pub end: usize,
    /// The code; `Err` says why it is doubtful.
    pub code: Result<TroubleCode, String>,
    /// A blank or dash stands behind its letter, or the letter is small: only a code where a code is
    /// expected.
    pub loose: bool,
}

fn form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(
            r"([PCBUpcbu])([ \u{A0}\u{2010}-\u{2013}\u{2212}-]?)([0-3Oo])([0-9A-Fa-fOoIl]{3})",
        )
        .expect("the pattern is a constant that tests compile")
    })
}

fn tail_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(
            r"^(?:(?P<joined>[0-9A-Fa-f]{2})|(?P<tight>[-:/.\u{2010}-\u{2015}\u{2212}](?P<t>[0-9A-Fa-f]{2}))|(?P<spaced>[ \u{A0}]{0,2}[-:\u{2010}-\u{2015}\u{2212}][ \u{A0}]{0,2}(?P<s>[0-9A-Fa-f]{2}))|(?P<bracket>[ \u{A0}]?[\[(](?P<b>[0-9A-Fa-f]{2})[\])])|(?P<blank>[ \u{A0}](?P<l>[0-9A-Fa-f]{2})))",
        )
        .expect("the pattern is a constant that tests compile")
    })
}

/// All codes of a text, from left to right.
pub(super) fn find_codes(text: &str) -> Vec<FoundCode> {
    let mut found: Vec<FoundCode> = Vec::new();
    let mut from = 0;
    while let Some(parts) = text.get(from..).and_then(|rest| form().captures(rest)) {
        let whole = parts.get(0).map_or(0..0, |m| m.range());
        let (start, end) = (from + whole.start, from + whole.end);
        // The next try begins behind this letter, so that `BU0100` hides nothing.
        from += whole.start + 1;
        if !stands_alone(text, start) {
            continue;
        }
        let after = text.get(end..).unwrap_or("");
        let (digits, letter) = (format!("{}{}", &parts[3], &parts[4]), &parts[1]);
        let loose = !parts[2].is_empty() || letter.chars().all(char::is_lowercase);
        if digits.contains(['O', 'o', 'I', 'l']) {
            let numbers = digits.chars().filter(char::is_ascii_digit).count();
            if numbers >= 2 && !continues(after) && !loose && letter == letter.to_uppercase() {
                let shown = format!("{letter}{digits}");
                let reason = format!("`{shown}` looks like a code with a letter for a digit");
                found.push(FoundCode { start, end, code: Err(reason), loose: false });
                from = end;
            }
            continue;
        }
        let Some(word) = word_of(letter, &digits) else { continue };
        let (failure_type, length) = match tail(after) {
            Tail::None => (None, 0),
            Tail::Byte(byte, length) => (Some(byte), length),
            Tail::Longer => continue,
        };
        let end = end + length;
        let code = if word == 0 {
            Err("P0000 is padding, not a code".to_owned())
        } else {
            Ok(TroubleCode { word, failure_type })
        };
        found.push(FoundCode { start, end, code, loose });
        from = end.max(from);
    }
    drop_spans(text, &mut found);
    found
}

/// Two codes with only a dash or `to` between them are a span; neither is a finding.
fn drop_spans(text: &str, found: &mut [FoundCode]) {
    let dash = |between: &str| {
        let between = between.trim();
        between == "to" || between == "bis" || between == "..." || between == "…" || {
            let dashes = between.chars().filter(|c| "-‐‑‒–—−~".contains(*c)).count();
            dashes == 1 && between.chars().count() == 1
        }
    };
    let spans: Vec<bool> = found
        .windows(2)
        .map(|pair| match pair {
            [a, b] => dash(text.get(a.end..b.start).unwrap_or("")),
            _ => false,
        })
        .collect();
    for (at, span) in spans.into_iter().enumerate() {
        if span {
            for one in found.iter_mut().skip(at).take(2) {
                one.code = Err("a span of codes is no finding".to_owned());
            }
        }
    }
}

fn word_of(letter: &str, digits: &str) -> Option<u16> {
    let family: u16 = match letter.to_ascii_uppercase().as_str() {
        "P" => 0,
        "C" => 1,
        "B" => 2,
        "U" => 3,
        _ => return None,
    };
    u16::from_str_radix(digits, 16).ok().map(|rest| (family << 14) | rest)
}

/// No letter or digit before it, and no dash, dot or slash that ties it to one.
fn stands_alone(text: &str, start: usize) -> bool {
    let mut before = text.get(..start).unwrap_or("").chars().rev();
    match before.next() {
        None => true,
        Some(c) if c.is_alphanumeric() || c == '_' => false,
        Some('-') if ends_with_code(text.get(..start - 1).unwrap_or("")) => true,
        Some('-' | '.' | '#') => !before.next().is_some_and(char::is_alphanumeric),
        Some('/') => {
            // `U0126/U0121` is a list, `part/B0123` is not.
            let word: String = before.take_while(|c| c.is_alphanumeric()).collect();
            word.is_empty()
                || (word.len() >= 5 && word.chars().filter(char::is_ascii_digit).count() >= 2)
                || word.len() == 2
        }
        Some(_) => true,
    }
}

/// Whether a text ends with a code: then a dash behind it makes a span.
fn ends_with_code(text: &str) -> bool {
    let last = text.char_indices().rev().nth(4).map(|(at, _)| at);
    last.and_then(|at| text.get(at..))
        .is_some_and(|word| form().find(word).is_some_and(|found| found.len() == word.len()))
}

fn continues(after: &str) -> bool {
    let mut signs = after.chars();
    match signs.next() {
        Some(c) if c.is_alphanumeric() || c == '_' => true,
        Some('-' | '.' | '/') => {
            signs.next().is_some_and(|c| c.is_alphanumeric()) && !after.starts_with('/')
        }
        _ => false,
    }
}

enum Tail {
    None,
    Byte(u8, usize),
    Longer,
}

/// What stands behind the five characters.
fn tail(after: &str) -> Tail {
    let plain = |after: &str| if ends(after) { Tail::None } else { Tail::Longer };
    let Some(parts) = tail_form().captures(after) else { return plain(after) };
    let length = parts.get(0).map_or(0, |m| m.end());
    let rest = after.get(length..).unwrap_or("");
    let byte = ["joined", "t", "s", "b", "l"]
        .iter()
        .find_map(|name| parts.name(name))
        .and_then(|digits| u8::from_str_radix(digits.as_str(), 16).ok().map(|b| (b, digits)));
    let Some((byte, digits)) = byte else { return plain(after) };
    let closed = ends(rest) && !rest.starts_with('%');
    let alone = closed && !rest.trim_start().starts_with(|c: char| c.is_alphanumeric());
    let sure = closed
        && (digits.as_str().starts_with('0')
            || byte >> 4 == 8
            || digits.as_str().contains(|c: char| c.is_ascii_alphabetic()));
    let taken = if parts.name("joined").is_some() {
        if !closed {
            return Tail::Longer;
        }
        true
    } else if parts.name("tight").is_some() {
        if !closed {
            // `U0100-U0110` and `U0126.5` go on differently; a longer tail belongs to a number.
            return plain(after);
        }
        true
    } else if parts.name("spaced").is_some() {
        alone
    } else if parts.name("bracket").is_some() {
        true
    } else {
        sure
    };
    if taken { Tail::Byte(byte, length) } else { plain(after) }
}

/// Whether a code may end before this.
fn ends(after: &str) -> bool {
    let mut signs = after.chars();
    match (signs.next(), signs.next()) {
        (None, _) => true,
        (Some(c), _) if c.is_alphanumeric() || c == '_' => false,
        (Some('-' | '.'), Some(next)) if next.is_ascii_digit() => false,
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> Vec<String> {
        let show = |code: FoundCode| match code.code {
            Ok(code) => format!("{code}{}", if code.failure_type == Some(0) { "-00" } else { "" }),
            Err(_) => "?".to_owned(),
        };
        find_codes(text).into_iter().map(show).collect()
    }

    #[test]
    fn every_dress_of_a_code() {
        for (text, codes) in [
            ("U0126", &["U0126"][..]),
            ("u0126-87 lost", &["U0126-87"]),
            ("U0126–87", &["U0126-87"]),
            ("U0126:87", &["U0126-87"]),
            ("U0126 - 87", &["U0126-87"]),
            ("U0126 - 87 volts", &["U0126"]),
            ("U012687", &["U0126-87"]),
            ("U0126 (87)", &["U0126-87"]),
            ("U0126 00", &["U0126-00"]),
            ("U0126 12 times", &["U0126"]),
            ("U 0126", &["U0126"]),
            ("U-0126", &["U0126"]),
            ("U0126/U0121, B1000;C0035", &["U0126", "U0121", "B1000", "C0035"]),
            ("U0126.", &["U0126"]),
            ("U0126-Lost", &["U0126"]),
        ] {
            assert_eq!(shown(text), codes, "{text}");
        }
    }

    #[test]
    fn what_is_no_code() {
        for text in [
            "B01234567",
            "AB-P0100",
            "XU0126",
            "U4126",
            "U0126.5",
            "part_B0123",
            "0xC0126",
            "U01261",
        ] {
            assert_eq!(shown(text), [""; 0], "{text}");
        }
        for text in ["UO126", "P0000"] {
            assert_eq!(shown(text), ["?"], "{text}");
        }
        assert_eq!(shown("U0100-U0110"), ["?", "?"]);
        assert_eq!(shown("U0100 – U0110"), ["?", "?"]);
    }
}
