//! The logger: turns what passes on the buses into a SocketCAN text log.
//!
//! It has its own clock, records error frames or not, and now and then goes blind for a moment
//! while the buses go on. The form of a line is `(1767600000.123456) can0 1A0#0011223344556677`.

use std::io::Write as _;

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::course::Span;
use crate::rehearse::model::{Model, ns};
use crate::rehearse::traffic::Seen;
use crate::vocabulary::Instant;

const DIGITS: &[u8; 16] = b"0123456789ABCDEF";

/// How a log is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Packing {
    /// As it is: `.log`.
    Plain,
    /// gzip: `.log.gz`.
    Gzip,
    /// Zstandard: `.log.zst`.
    Zstd,
}

impl Packing {
    /// The end of the file's name.
    pub(crate) fn ending(self) -> &'static str {
        match self {
            Packing::Plain => "log",
            Packing::Gzip => "log.gz",
            Packing::Zstd => "log.zst",
        }
    }

    /// Packs a log's text; `level` is Zstandard's.
    pub(crate) fn pack(self, text: Vec<u8>, level: i32) -> Result<Vec<u8>, RehearseError> {
        match self {
            Packing::Plain => Ok(text),
            Packing::Gzip => {
                let level = flate2::Compression::best();
                let mut packer = flate2::write::GzEncoder::new(Vec::new(), level);
                packer.write_all(&text)?;
                Ok(packer.finish()?)
            }
            Packing::Zstd => Ok(zstd::encode_all(text.as_slice(), level)?),
        }
    }
}

/// A vehicle's logger.
#[derive(Clone, Copy)]
pub(crate) struct Logger {
    /// Whether it records error frames.
    pub(crate) error_frames: bool,
    /// Its clock is ahead by so many nanoseconds.
    pub(crate) clock_ns: i64,
    /// The probability of a blind spot in a log.
    pub(crate) blind: f64,
}

/// When a logger is blind, at most twice in a window and never in its first two seconds.
pub(crate) fn blind_spots(probability: f64, window: Span, chance: &mut Chance) -> Vec<Span> {
    let mut spots = Vec::new();
    while spots.len() < 2 && chance.happens(probability) {
        let latest = (window.to - window.from - ns(4.0)).max(ns(2.0));
        let from = window.from + ns(chance.within([2.0, latest as f64 / 1e9]));
        spots.push(Span { from, to: from + ns(chance.within([0.2, 3.0])) });
    }
    spots.sort_by_key(|spot| spot.from);
    spots
}

impl Logger {
    /// The text of a log, and how many frames stand in it.
    pub(crate) fn text(
        &self,
        model: &Model,
        begin: Instant,
        seen: &mut [Seen],
        blind: &[Span],
    ) -> (Vec<u8>, u64) {
        seen.sort_by_key(|one| (one.at, one.bus));
        let mut text = Vec::with_capacity(seen.len() * 46);
        let mut frames = 0;
        let mut told = 0;
        for one in seen.iter() {
            if blind.iter().any(|spot| spot.holds(one.at)) {
                continue;
            }
            let stamp = begin.0 + one.at + self.clock_ns;
            let interface = model.plan.bus[one.bus].interface.as_bytes();
            if let Some(spot) = blind.get(told)
                && spot.to <= one.at
            {
                told += 1;
                // Every other logger says that its buffer ran over; the others lose in silence.
                if self.error_frames && self.clock_ns % 2 == 0 {
                    let back = begin.0 + spot.to + self.clock_ns;
                    stamp_line(&mut text, back, interface);
                    text.extend_from_slice(b"20000004#0001000000000000\n");
                }
            }
            if one.id.is_none() && !self.error_frames {
                continue;
            }
            stamp_line(&mut text, stamp, interface);
            frame(&mut text, one);
            frames += 1;
        }
        (text, frames)
    }
}

/// Writes `(seconds.micros) interface `.
pub(crate) fn stamp_line(text: &mut Vec<u8>, nanos: i64, interface: &[u8]) {
    let micros = nanos / 1000;
    text.push(b'(');
    decimal(text, micros / 1_000_000, 1);
    text.push(b'.');
    decimal(text, micros % 1_000_000, 6);
    text.extend_from_slice(b") ");
    text.extend_from_slice(interface);
    text.push(b' ');
}

fn decimal(text: &mut Vec<u8>, value: i64, width: usize) {
    let mut digits = [b'0'; 20];
    let mut at = digits.len();
    let mut rest = value.unsigned_abs();
    while rest > 0 || digits.len() - at < width {
        at -= 1;
        digits[at] = DIGITS[usize::try_from(rest % 10).unwrap_or(0)];
        rest /= 10;
    }
    text.extend_from_slice(&digits[at..]);
}

/// Writes an identifier: three digits, or eight.
pub(crate) fn identifier(text: &mut Vec<u8>, value: u32, digits: u32) {
    for at in (0..digits).rev() {
        text.push(DIGITS[usize::try_from((value >> (4 * at)) & 0xF).unwrap_or(0)]);
    }
}

/// Writes `#`, the payload and the end of the line.
pub(crate) fn payload(text: &mut Vec<u8>, data: &[u8]) {
    text.push(b'#');
    for &byte in data {
        text.push(DIGITS[usize::from(byte >> 4)]);
        text.push(DIGITS[usize::from(byte & 0xF)]);
    }
    text.push(b'\n');
}

fn frame(text: &mut Vec<u8>, one: &Seen) {
    match one.id {
        Some(id) => identifier(text, id.value(), if id.is_extended() { 8 } else { 3 }),
        None => text.extend_from_slice(b"20000088"),
    }
    payload(text, &one.data[..one.length]);
}

#[cfg(test)]
mod tests {
    use super::{identifier, payload, stamp_line};

    #[test]
    fn a_line_has_the_contracts_form() {
        let mut text = Vec::new();
        stamp_line(&mut text, 1_767_600_000_123_456_789, b"can0");
        identifier(&mut text, 0x1A0, 3);
        payload(&mut text, &[0x00, 0x11, 0xFF]);
        assert_eq!(text, b"(1767600000.123456) can0 1A0#0011FF\n");
    }
}
