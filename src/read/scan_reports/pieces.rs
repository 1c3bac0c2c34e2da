//! Cuts a JSON file into its reports: one object, JSON Lines, objects one after another, or an array.
//!
//! A piece that does not parse is refused with its line; reading goes on at the next line that begins
//! like the spoilt piece did (a `{` at the same column), so that in JSON Lines and in indented
//! arrays one bad report costs one report.

use serde::de::IgnoredAny;

/// One piece of the file.
#[derive(Debug, PartialEq)]
pub(super) enum Piece<'t> {
    /// A well-formed value and the line it begins on.
    Whole { text: &'t str, line: u64 },
    /// Not well-formed.
    Spoilt { line: u64, reason: String },
}

/// All pieces, in order.
pub(super) fn pieces(bytes: &[u8]) -> Vec<Piece<'_>> {
    let mut found = Vec::new();
    let mut at = 0;
    let mut line = 1;
    let mut in_array = false;
    while let Some(&byte) = bytes.get(at) {
        if byte.is_ascii_whitespace() {
            line += u64::from(byte == b'\n');
            at += 1;
            continue;
        }
        if (found.is_empty() && byte == b'[' && !in_array)
            || (in_array && (byte == b',' || byte == b']'))
        {
            in_array = true;
            at += 1;
            continue;
        }
        let (piece, length) = next_piece(bytes, at, line);
        found.push(piece);
        line += memchr::memchr_iter(b'\n', &bytes[at..at + length]).count() as u64;
        at += length;
    }
    found
}

/// The piece at `at`, and how many bytes to go on.
fn next_piece(bytes: &[u8], at: usize, line: u64) -> (Piece<'_>, usize) {
    let rest = &bytes[at..];
    let mut values = serde_json::Deserializer::from_slice(rest).into_iter::<IgnoredAny>();
    let failure = match values.next() {
        Some(Ok(_)) => {
            let length = values.byte_offset();
            let piece = match std::str::from_utf8(&rest[..length]) {
                Ok(text) => Piece::Whole { text, line },
                Err(error) => {
                    let bad = error.valid_up_to();
                    let line = line + memchr::memchr_iter(b'\n', &rest[..bad]).count() as u64;
                    let byte = rest.get(bad).copied().unwrap_or(0);
                    let reason = format!("not UTF-8 (byte 0x{byte:02X}); save the file as UTF-8");
                    Piece::Spoilt { line, reason }
                }
            };
            return (piece, length);
        }
        Some(Err(error)) => error,
        None => return (Piece::Spoilt { line, reason: "no JSON value".to_owned() }, rest.len()),
    };
    let line = line + (failure.line() as u64).saturating_sub(1);
    let said = failure.to_string();
    let said = said.split(" at line ").next().unwrap_or("");
    let reason = format!("not JSON (column {}): {said}", failure.column());
    (Piece::Spoilt { line, reason }, restart(bytes, at))
}

/// How far it is from a spoilt piece to the next line that begins as it did.
fn restart(bytes: &[u8], at: usize) -> usize {
    let line_start = memchr::memrchr(b'\n', &bytes[..at]).map_or(0, |n| n + 1);
    let indent = at - line_start;
    let mut next = at;
    while let Some(end) = memchr::memchr(b'\n', &bytes[next..]) {
        next += end + 1;
        let line = &bytes[next..];
        let blanks = line.iter().take_while(|b| matches!(b, b' ' | b'\t')).count();
        if blanks == indent && line.get(blanks) == Some(&b'{') {
            return next - at;
        }
    }
    bytes.len() - at
}
