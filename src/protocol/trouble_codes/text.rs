//! A trouble code as text.
//!
//! Grammar: a letter `P`, `C`, `B` or `U`; one digit `0` to `3`; three hex digits; then, optionally,
//! the failure type byte as two hex digits, either joined on (`U010087`), behind `-`, `:` or a space
//! (`U0100-87`), or in round brackets (`U0100 (87)`). Case does not matter and blanks may stand
//! around every part. Everything else is refused with the reason; nothing is repaired.

use thiserror::Error;

use crate::vocabulary::TroubleCode;

/// Why a text is not a trouble code.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CodeTextError {
    /// Nothing but blanks.
    #[error("empty trouble code, expected one like `U0100` or `U0100-87`")]
    Empty,
    /// The first letter is none of P, C, B, U.
    #[error("trouble code `{0}` begins with `{1}`, expected P, C, B or U")]
    Letter(String, char),
    /// The first digit is not 0 to 3.
    #[error("trouble code `{0}` has `{1}` as its first digit, expected 0 to 3")]
    FirstDigit(String, char),
    /// The last three characters are not hex digits.
    #[error("trouble code `{0}` has `{1}` where a hex digit should stand")]
    Tail(String, char),
    /// Too few characters.
    #[error("trouble code `{0}` is too short, expected a letter and four digits")]
    Short(String),
    /// Something other than two hex digits follows the code.
    #[error("trouble code `{0}` has `{1}` after its five characters, expected two hex digits")]
    FailureType(String, String),
}

/// Reads a trouble code with or without its failure type byte.
///
/// # Errors
/// When the text is not a code; the error says which character is wrong.
pub fn parse_code(text: &str) -> Result<TroubleCode, CodeTextError> {
    // What is shown back is cut: a cell may hold a whole page by mistake.
    let shown = || text.trim().chars().take(24).collect::<String>();
    let mut rest = text.trim().chars().filter(|c| !c.is_whitespace());
    let letter = rest.next().ok_or(CodeTextError::Empty)?;
    let family: u16 = match letter.to_ascii_uppercase() {
        'P' => 0,
        'C' => 1,
        'B' => 2,
        'U' => 3,
        _ => return Err(CodeTextError::Letter(shown(), letter)),
    };
    let digit = rest.next().ok_or_else(|| CodeTextError::Short(shown()))?;
    let first = match digit {
        '0' => 0,
        '1' => 1,
        '2' => 2,
        '3' => 3,
        _ => return Err(CodeTextError::FirstDigit(shown(), digit)),
    };
    let mut word = (family << 2) | first;
    for _ in 0..3 {
        let found = rest.next().ok_or_else(|| CodeTextError::Short(shown()))?;
        let nibble = hex_value(found).ok_or_else(|| CodeTextError::Tail(shown(), found))?;
        word = (word << 4) | u16::from(nibble);
    }
    let tail: String = rest.collect();
    let failure_type = failure_type_tail(&tail)
        .ok_or_else(|| CodeTextError::FailureType(shown(), tail.chars().take(12).collect()))?;
    Ok(TroubleCode { word, failure_type })
}

/// Reads a failure type byte that stands by itself: one or two hex digits, `0x` allowed; `None`
/// when it is something else.
#[must_use]
pub fn parse_failure_type(text: &str) -> Option<u8> {
    let text = text.trim();
    let digits = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")).unwrap_or(text);
    if digits.is_empty() || digits.len() > 2 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    u8::from_str_radix(digits, 16).ok()
}

/// What follows the five characters: nothing, or the failure type byte in one of its dresses.
/// The outer `None` is a refusal, the inner one says that no byte was given.
fn failure_type_tail(tail: &str) -> Option<Option<u8>> {
    if tail.is_empty() {
        return Some(None);
    }
    let bare = if let Some(inner) = tail.strip_prefix('(') {
        inner.strip_suffix(')')?
    } else {
        tail.strip_prefix(['-', ':']).unwrap_or(tail)
    };
    if bare.len() != 2 {
        return None;
    }
    parse_failure_type(bare).map(Some)
}

fn hex_value(c: char) -> Option<u8> {
    c.to_digit(16).and_then(|v| u8::try_from(v).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_accepted_dress_of_a_code() {
        for text in ["U0100-87", "u0100-87", "U010087", "U0100:87", "U0100 (87)", " u0100 87 "] {
            let code = parse_code(text).expect(text);
            assert_eq!((code.word, code.failure_type), (0xC100, Some(0x87)), "{text}");
        }
        assert_eq!(parse_code("u 0100").unwrap().failure_type, None);
        assert_eq!(parse_code("U029a").unwrap().word, 0xC29A);
    }

    #[test]
    fn every_refusal_says_why() {
        for (text, part) in [
            ("", "empty"),
            ("   ", "empty"),
            ("X0100", "begins with `X`"),
            ("0100", "begins with `0`"),
            ("U4100", "first digit"),
            ("UA100", "first digit"),
            ("U01G0", "hex digit"),
            ("U010", "too short"),
            ("U", "too short"),
            ("U0100-8", "two hex digits"),
            ("U0100-871", "two hex digits"),
            ("U0100-8Z", "two hex digits"),
            ("U0100 (87", "two hex digits"),
            ("U0100ß", "two hex digits"),
        ] {
            let reason = parse_code(text).expect_err(text).to_string();
            assert!(reason.contains(part), "{text}: {reason}");
        }
    }

    #[test]
    fn a_failure_type_by_itself() {
        assert_eq!(parse_failure_type("00"), Some(0));
        assert_eq!(parse_failure_type("0x87"), Some(0x87));
        assert_eq!(parse_failure_type("+7"), None);
        assert_eq!(parse_failure_type("123"), None);
        assert_eq!(parse_failure_type(""), None);
    }
}
