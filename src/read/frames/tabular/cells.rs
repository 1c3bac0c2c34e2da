//! Cells of text: times, identifiers, data, flags. The quick ways for the usual spellings stand here;
//! whatever does not fit goes to the careful readers that all tables share.

use chrono_tz::Tz;

use crate::read::frames::hexadecimal::{eight, nibble};
use crate::read::tables::parse_flag;
use crate::read::times::{parse_epoch, parse_time};
use crate::vocabulary::{Instant, NANOS_PER_SECOND};

/// Reads the times of one column.
#[derive(Debug)]
pub(super) struct Times {
    /// Decimals of the unit when the pipeline says that times are numbers.
    epoch: Option<u32>,
    zone: Tz,
    /// `YYYY-MM-DDTHH:MM:` of the row before.
    minute: [u8; 17],
    /// What stood behind its seconds: `Z` or an offset.
    behind: Vec<u8>,
    base: i64,
    leniency: Option<&'static str>,
}

impl Times {
    pub(super) fn new(epoch: Option<u32>, zone: Tz) -> Times {
        let (minute, behind) = ([0; 17], Vec::new());
        Times { epoch, zone, minute, behind, base: 0, leniency: None }
    }

    /// Reads a time, and what was let pass.
    ///
    /// # Errors
    /// A reason in words.
    #[inline]
    pub(super) fn read(&mut self, cell: &[u8]) -> Result<(Instant, Option<&'static str>), String> {
        if let Some(time) = epoch(cell, self.epoch.unwrap_or(0)) {
            return Ok((time, None));
        }
        if self.epoch.is_none()
            && let Some(time) = self.same_minute(cell)
        {
            return Ok((time, self.leniency));
        }
        self.careful(cell)
    }

    /// A time in the minute of the row before, with the same offset.
    fn same_minute(&self, cell: &[u8]) -> Option<Instant> {
        let (minute, rest) = cell.split_first_chunk::<17>()?;
        if *minute != self.minute {
            return None;
        }
        let ([tens, ones], rest) = rest.split_first_chunk::<2>()?;
        if !matches!(tens, b'0'..=b'5') || !ones.is_ascii_digit() {
            return None;
        }
        let seconds = i64::from(tens - b'0') * 10 + i64::from(ones - b'0');
        let (fraction, behind) = match rest.split_first() {
            Some((b'.', rest)) => {
                let digits = rest.iter().take_while(|b| b.is_ascii_digit()).count();
                rest.split_at_checked(digits)?
            }
            _ => (&[][..], rest),
        };
        if behind != self.behind || fraction.len() > 9 {
            return None;
        }
        let mut nanos = fraction.iter().fold(0i64, |n, digit| n * 10 + i64::from(digit - b'0'));
        for _ in fraction.len()..9 {
            nanos *= 10;
        }
        Some(Instant(self.base.checked_add(seconds * NANOS_PER_SECOND + nanos)?))
    }

    #[cold]
    fn careful(&mut self, cell: &[u8]) -> Result<(Instant, Option<&'static str>), String> {
        let text = std::str::from_utf8(cell).map_err(|_| "the time is not text".to_owned())?;
        if cell.is_empty() {
            return Err("`time` is empty, every row needs it".to_owned());
        }
        if let Some(decimals) = self.epoch {
            return parse_epoch(text, decimals).map(|time| (time, None));
        }
        let is_number = text.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
        if is_number && !text.get(1..).is_some_and(|rest| rest.contains('-')) {
            return parse_epoch(text, 0).map(|time| (time, None));
        }
        let read = parse_time(text, self.zone)?;
        self.remember(cell);
        Ok((read.instant, read.leniency))
    }

    /// Keeps the begin of the minute, so that the rows after are read quickly.
    fn remember(&mut self, cell: &[u8]) {
        let Some((minute, rest)) = cell.split_first_chunk::<17>() else { return };
        let Some(rest) = rest.get(2..) else { return };
        let digits = |b: &&u8| b.is_ascii_digit();
        let behind = match rest.strip_prefix(b".") {
            Some(fraction) => &fraction[fraction.iter().take_while(digits).count()..],
            None => rest,
        };
        let begin = [&minute[..], b"00", behind].concat();
        let Ok(text) = String::from_utf8(begin) else { return };
        // Only spellings with seconds have a colon here.
        if minute[16] == b':'
            && let Ok(read) = parse_time(&text, self.zone)
        {
            self.minute = *minute;
            self.behind = behind.to_vec();
            self.base = read.instant.0;
            self.leniency = read.leniency;
        }
    }
}

/// `digits[.digits]` in a unit of so many decimals, exactly; `None` means "read it carefully".
#[inline]
fn epoch(cell: &[u8], decimals: u32) -> Option<Instant> {
    let mut value = 0i64;
    let mut behind = None;
    for byte in cell {
        match byte {
            b'0'..=b'9' => {
                value = value.checked_mul(10)?.checked_add(i64::from(byte - b'0'))?;
                behind = behind.map(|places: u32| places + 1);
            }
            b'.' if behind.is_none() => behind = Some(0),
            _ => return None,
        }
    }
    if cell.is_empty() || cell[0] == b'.' {
        return None;
    }
    let missing = 9u32.checked_sub(decimals)?.checked_sub(behind.unwrap_or(0))?;
    value.checked_mul(10i64.checked_pow(missing)?).map(Instant)
}

/// An identifier in hexadecimal, `0x` allowed, and whether it has eight digits.
///
/// # Errors
/// A reason in words.
#[inline]
pub(super) fn identifier(cell: &[u8]) -> Result<(u32, bool), &'static str> {
    let digits = cell.strip_prefix(b"0x").or(cell.strip_prefix(b"0X")).unwrap_or(cell);
    if digits.is_empty() {
        return Err("`id` is empty, every row needs it");
    }
    if digits.len() > 8 {
        return Err("the identifier has more than 8 hexadecimal digits");
    }
    let mut value = 0u32;
    for digit in digits {
        let digit = nibble(*digit);
        if digit == 0xFF {
            return Err("the identifier has a character that is not hexadecimal");
        }
        value = value << 4 | u32::from(digit);
    }
    Ok((value, digits.len() == 8))
}

/// Data bytes in hexadecimal, joined or with blanks between the pairs; how many there are.
///
/// # Errors
/// A reason in words.
#[inline]
pub(super) fn data(cell: &[u8], into: &mut [u8; 64]) -> Result<usize, &'static str> {
    if let Ok(sixteen) = <&[u8; 16]>::try_from(cell)
        && let (Some(high), Some(low)) = (sixteen.first_chunk(), sixteen.last_chunk())
        && let (Some(high), Some(low)) = (eight(*high), eight(*low))
    {
        into[..4].copy_from_slice(&high.to_be_bytes());
        into[4..8].copy_from_slice(&low.to_be_bytes());
        return Ok(8);
    }
    let mut count = 0;
    let mut rest = cell;
    loop {
        rest = rest.trim_ascii_start();
        let (first, second) = match rest {
            [] => return Ok(count),
            [_] => return Err("half a data byte; the row may be cut short"),
            [first, second, ..] => (nibble(*first), nibble(*second)),
        };
        if first == 0xFF || second == 0xFF {
            return Err("a data byte that is not two hexadecimal digits");
        }
        *into.get_mut(count).ok_or("more than 64 data bytes")? = first << 4 | second;
        count += 1;
        rest = &rest[2..];
    }
}

/// A yes or no; `None` when the cell is empty or says that there is no value.
///
/// # Errors
/// A reason in words.
#[inline]
pub(super) fn flag(cell: &[u8]) -> Result<Option<bool>, &'static str> {
    match cell {
        b"" => Ok(None),
        b"0" | b"false" => Ok(Some(false)),
        b"1" | b"true" => Ok(Some(true)),
        _ => {
            let text = std::str::from_utf8(cell).unwrap_or("?").trim();
            let no_value = ["na", "n/a", "-", "null", "none", "nan"];
            if no_value.iter().any(|mark| text.eq_ignore_ascii_case(mark)) {
                return Ok(None);
            }
            parse_flag(text).map(Some).ok_or("a flag that is neither true nor false")
        }
    }
}

/// A small whole number; `None` when the cell is empty.
///
/// # Errors
/// A reason in words.
#[inline]
pub(super) fn count(cell: &[u8]) -> Result<Option<u32>, &'static str> {
    if cell.is_empty() {
        return Ok(None);
    }
    if cell.len() > 6 || !cell.iter().all(u8::is_ascii_digit) {
        return Err("`dlc` is not a whole number");
    }
    Ok(Some(cell.iter().fold(0, |n, digit| n * 10 + u32::from(digit - b'0'))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_in_every_spelling() {
        let mut seconds = Times::new(None, Tz::UTC);
        let mut at = |cell: &str| seconds.read(cell.as_bytes()).map(|(time, _)| time.0);
        assert_eq!(at("1767600000.123456"), Ok(1_767_600_000_123_456_000));
        assert_eq!(at("1767600000"), Ok(1_767_600_000_000_000_000));
        assert_eq!(at("-1.5"), Ok(-1_500_000_000));
        for (text, nanos) in [
            ("2026-01-05T08:00:00.123456Z", 1_767_600_000_123_456_000),
            ("2026-01-05T08:00:01Z", 1_767_600_001_000_000_000),
            ("2026-01-05T08:00:59.5Z", 1_767_600_059_500_000_000),
            ("2026-01-05T09:00:59.5+01:00", 1_767_600_059_500_000_000),
            ("2026-01-05T09:00:58.000000001+01:00", 1_767_600_058_000_000_001),
            ("2026-01-05 08:00:02", 1_767_600_002_000_000_000),
        ] {
            assert_eq!(at(text), Ok(nanos), "{text}");
        }
        for wrong in ["", "1e9", "2026-01-05T08:00:61Z", "noon", "99999999999999999999"] {
            assert!(at(wrong).is_err(), "{wrong}");
        }
        let mut micros = Times::new(Some(6), Tz::UTC);
        let (time, _) = micros.read(b"1767600000123456").unwrap();
        assert_eq!(time.0, 1_767_600_000_123_456_000);
        assert!(micros.read(b"2026-01-05T08:00:00Z").is_err());
    }

    #[test]
    fn identifiers_data_and_flags() {
        assert_eq!(identifier(b"1A0"), Ok((0x1A0, false)));
        assert_eq!(identifier(b"0x18FEDF00"), Ok((0x18FE_DF00, true)));
        assert!(identifier(b"").is_err() && identifier(b"123456789").is_err());
        assert!(identifier(b"12x").is_err());
        let mut into = [0; 64];
        assert_eq!(data(b"0011223344556677", &mut into), Ok(8));
        assert_eq!(into[..8], [0, 0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77]);
        assert_eq!(data(b"8A a0  28", &mut into), Ok(3));
        assert_eq!(into[..3], [0x8A, 0xA0, 0x28]);
        assert!(data(b"8 A", &mut into).is_err() && data(b"8", &mut into).is_err());
        assert!(data(&[b'0'; 130], &mut into).is_err());
        assert_eq!(
            (flag(b"Yes"), flag(b"NA"), flag(b"0")),
            (Ok(Some(true)), Ok(None), Ok(Some(false)))
        );
        assert!(flag(b"maybe").is_err());
        assert_eq!((count(b"8"), count(b"")), (Ok(Some(8)), Ok(None)));
        assert!(count(b"-1").is_err());
    }
}
