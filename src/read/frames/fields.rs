//! One line of a text log, read field by field: the careful way, for every form of the grammar.
//!
//! ```text
//! log form      (SECONDS[.FRACTION]) INTERFACE ID#DATA [R|T]
//!               ID##FLAGS DATA (FD) · ID#R[length] (remote) · DATA bytes may be parted by dots
//! console form  [ ](SECONDS[.FRACTION])  INTERFACE  ID  [LENGTH]  BYTE BYTE … | remote request
//! ```
//! ID has 3 digits (11 bit) or 8 (29 bit, or an error message frame when bit 0x20000000 is set).
//! What the grammar leaves open, and how it is settled here: the fraction has 0 to 9 digits; a
//! decimal comma is read as a point and counted; a minus sign or a date is refused.

use super::frame::{Frame, FrameKind};
use super::hexadecimal::nibble;
use crate::vocabulary::{Identifier, Instant, NANOS_PER_SECOND};

/// The flag of an error message frame in an identifier of eight digits.
const ERROR_FLAG: u32 = 0x2000_0000;
/// The last second accepted (in the year 2116): half of what nanoseconds in 64 bits can hold, so that
/// differences and sums of times cannot run over.
pub(super) const LAST_SECOND: i64 = i64::MAX / 2 / NANOS_PER_SECOND;
/// The longest interface name accepted.
const INTERFACE_BYTES: usize = 64;

/// A line's fields; the interface is still a name.
pub(super) struct Fields<'a> {
    pub frame: Frame,
    pub interface: &'a [u8],
    pub decimal_comma: bool,
}

/// Reads one line without its line end.
///
/// # Errors
/// A reason in words when the line is not a frame.
pub(super) fn line(text: &[u8], number: u64) -> Result<Fields<'_>, &'static str> {
    let text = text.trim_ascii();
    if text.contains(&0) {
        return Err("bytes that are not text (a NUL); expected `(seconds) interface id#data`");
    }
    let rest = text.strip_prefix(b"(").ok_or(
        "no time stamp; expected a line such as `(1700000000.123456) can0 1A0#0011223344556677`",
    )?;
    let close = rest
        .iter()
        .position(|b| *b == b')')
        .ok_or("the time stamp has no closing bracket; the line may be cut short")?;
    let (time, decimal_comma) = seconds(rest[..close].trim_ascii())?;
    let rest = rest[close + 1..].trim_ascii_start();
    let (interface, rest) = word(rest);
    if interface.is_empty() || rest.is_empty() {
        return Err("the line ends before an identifier; it may be cut short");
    }
    if interface.len() > INTERFACE_BYTES || !interface.iter().all(u8::is_ascii_graphic) {
        return Err("the interface name is too long or not plain text");
    }
    let mut frame = Frame {
        time,
        data: 0,
        line: number,
        id: Identifier(0),
        channel: 0,
        length: 0,
        kind: FrameKind::Data,
    };
    let (id_and_data, rest) = word(rest);
    if let Some(hash) = id_and_data.iter().position(|b| *b == b'#') {
        identifier(&id_and_data[..hash], &mut frame)?;
        log_data(&id_and_data[hash + 1..], &mut frame)?;
        if !matches!(rest, b"" | b"R" | b"T" | b"Rx" | b"Tx") {
            return Err("something follows the data that is neither `R` nor `T`");
        }
    } else {
        identifier(id_and_data, &mut frame)?;
        console_data(rest, &mut frame)?;
    }
    Ok(Fields { frame, interface, decimal_comma })
}

/// The first word and what follows it, both trimmed.
fn word(text: &[u8]) -> (&[u8], &[u8]) {
    let end = text.iter().position(u8::is_ascii_whitespace).unwrap_or(text.len());
    (&text[..end], text[end..].trim_ascii())
}

/// `SECONDS[.FRACTION]` as nanoseconds, and whether the point was a comma.
fn seconds(text: &[u8]) -> Result<(Instant, bool), &'static str> {
    const NOT_SECONDS: &str =
        "the time stamp is not `seconds.fraction`; times of day and dates are not read here";
    let point = text.iter().position(|b| matches!(b, b'.' | b','));
    let (whole, fraction) = match point {
        Some(at) => (&text[..at], &text[at + 1..]),
        None => (text, &[][..]),
    };
    if whole.is_empty() || whole.len() > 10 || fraction.len() > 9 {
        return Err(NOT_SECONDS);
    }
    let mut value = 0i64;
    for digit in whole.iter().chain(fraction) {
        if !digit.is_ascii_digit() {
            return Err(NOT_SECONDS);
        }
        // At most 19 digits can stand here and the first 10 are below 9.3e9 only if checked:
        value = value
            .checked_mul(10)
            .and_then(|v| v.checked_add(i64::from(digit - b'0')))
            .ok_or(NOT_SECONDS)?;
    }
    for _ in fraction.len()..9 {
        value = value.checked_mul(10).ok_or(NOT_SECONDS)?;
    }
    if value > LAST_SECOND * NANOS_PER_SECOND {
        return Err("a time stamp after the year 2116");
    }
    Ok((Instant(value), point.is_some_and(|at| text[at] == b',')))
}

/// 3 digits: 11 bit; 8 digits: 29 bit or an error message frame.
fn identifier(digits: &[u8], frame: &mut Frame) -> Result<(), &'static str> {
    let mut value = 0u32;
    if !matches!(digits.len(), 3 | 8) {
        return Err("the identifier has neither 3 nor 8 hexadecimal digits");
    }
    for digit in digits {
        let digit = nibble(*digit);
        if digit == 0xFF {
            return Err("the identifier has a character that is not hexadecimal");
        }
        value = value << 4 | u32::from(digit);
    }
    if digits.len() == 3 {
        if value > 0x7FF {
            return Err("an identifier of 3 digits above 7FF");
        }
        frame.id = Identifier::base(value);
    } else if value & ERROR_FLAG != 0 {
        frame.kind = FrameKind::Error;
        frame.id = Identifier(value & 0x1FFF_FFFF);
    } else if value > 0x1FFF_FFFF {
        return Err("an identifier of 8 digits above 1FFFFFFF");
    } else {
        frame.id = Identifier::extended(value);
    }
    Ok(())
}

/// Pairs of digits, dots between them allowed; stores the first eight bytes.
fn bytes(text: &[u8], most: u8, frame: &mut Frame) -> Result<(), &'static str> {
    let mut digits = text.iter().copied().filter(|b| *b != b'.');
    frame.length = 0;
    while let Some(first) = digits.next() {
        let second = digits.next().ok_or("half a data byte; the line may be cut short")?;
        let (high, low) = (nibble(first), nibble(second));
        if high == 0xFF || low == 0xFF {
            return Err("a data byte that is not hexadecimal");
        }
        push(high << 4 | low, most, frame)?;
    }
    Ok(())
}

fn push(byte: u8, most: u8, frame: &mut Frame) -> Result<(), &'static str> {
    if frame.length >= most {
        return Err(if most == 8 {
            "more than 8 data bytes in a classic frame"
        } else {
            "more than 64 data bytes"
        });
    }
    if frame.length < 8 {
        frame.data |= u64::from(byte) << (56 - 8 * u32::from(frame.length));
    }
    frame.length += 1;
    Ok(())
}

/// The error state indicator among the flags of a CAN FD frame.
pub(super) const ESI: u8 = 0x02;

/// What stands behind `#` in the log form.
fn log_data(text: &[u8], frame: &mut Frame) -> Result<(), &'static str> {
    match text {
        [b'#', flags, data @ ..] => {
            if nibble(*flags) == 0xFF {
                return Err("the FD flags are not a hexadecimal digit");
            }
            if nibble(*flags) & ESI != 0 && frame.kind == FrameKind::Data {
                frame.kind = FrameKind::PassiveData;
            }
            bytes(data, 64, frame)?;
            if matches!(frame.length, 0..=8 | 12 | 16 | 20 | 24 | 32 | 48 | 64) {
                Ok(())
            } else {
                Err("a length that no CAN FD frame can have")
            }
        }
        [b'#'] => Err("no FD flags; the line may be cut short"),
        [b'R' | b'r', length @ ..] => {
            if frame.kind == FrameKind::Data {
                frame.kind = FrameKind::Remote;
            }
            match length {
                [] => Ok(()),
                [digit @ b'0'..=b'8'] | [digit @ b'0'..=b'8', b'_', _] => {
                    frame.length = digit - b'0';
                    Ok(())
                }
                _ => Err("the length of a remote frame is not 0 to 8"),
            }
        }
        data => {
            // `_D` behind eight bytes is the raw length code.
            let data = match data {
                [head @ .., b'_', code] if nibble(*code) != 0xFF => head,
                _ => data,
            };
            bytes(data, 8, frame)
        }
    }
}

/// `[LENGTH]  BYTE BYTE …` or `[LENGTH]  remote request` of the console form.
fn console_data(text: &[u8], frame: &mut Frame) -> Result<(), &'static str> {
    let (bracket, rest) = word(text);
    let stated = bracket
        .strip_prefix(b"[")
        .and_then(|b| b.strip_suffix(b"]"))
        .filter(|b| matches!(b.len(), 1 | 2) && b.iter().all(u8::is_ascii_digit))
        .ok_or("neither `id#data` nor `id [length] bytes`; the line may be cut short")?
        .iter()
        .fold(0u8, |n, d| n * 10 + (d - b'0'));
    if rest.starts_with(b"remote request") {
        frame.kind = FrameKind::Remote;
        frame.length = stated.min(8);
        return Ok(());
    }
    let mut rest = rest;
    while frame.length < stated {
        let (pair, after) = word(rest);
        match pair {
            [first, second] if nibble(*first) != 0xFF && nibble(*second) != 0xFF => {
                push(nibble(*first) << 4 | nibble(*second), 64, frame)?;
            }
            [] => return Err("fewer data bytes than stated; the line may be cut short"),
            _ => return Err("a data byte that is not two hexadecimal digits"),
        }
        rest = after;
    }
    // The console form may end in the bytes as characters, or in the word ERRORFRAME.
    if rest.is_empty() || rest.starts_with(b"'") || rest.starts_with(b"ERRORFRAME") {
        Ok(())
    } else {
        Err("more data bytes than stated")
    }
}
