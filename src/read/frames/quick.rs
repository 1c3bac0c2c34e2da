//! The quick way through a text log: lines of the usual shapes, without search and allocation.
//!
//! `(dddddddddd.dddddd) IFACE ID#DATA`, data of a classic or CAN FD frame, error message frames, a
//! trailing direction mark, either line end. What a line holds decides as few branches as can be:
//! the length of the data is found by arithmetic, not by a loop. `None` always means "read it
//! carefully", never "reject", and what is read here is what `fields` would read.

use super::fields::{ESI, LAST_SECOND};
use super::frame::{Frame, FrameKind};
use super::hexadecimal::{Digits, HALF_OF, all_hexadecimal, digits, eight, sixteen};
use crate::vocabulary::{Identifier, Instant, NANOS_PER_SECOND};

/// The quick way needs this many bytes ahead, so that it never runs over the end of a block: the
/// longest line it reads has 18 + 16 + 8 + 3 + 128 + 4 bytes.
pub(super) const AHEAD: usize = 192;
/// Interfaces that are told the quick way; a log with more is read, but slower.
const TELLS: usize = 8;
/// The flag of an error message frame in an identifier of eight digits.
const ERROR_FLAG: u32 = 0x2000_0000;

type Window = [u8; AHEAD];

/// What the quick way remembers from the lines before.
#[derive(Debug, Default)]
pub(super) struct Quick {
    /// `(dddddddddd.` of the line before, as numbers of the machine.
    second_head: u64,
    second_tail: u32,
    seconds: i64,
    interface: Interface,
    others: Vec<Interface>,
}

/// `) can0 ` as a number, which of its bytes count, and their number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Interface {
    text: u128,
    mask: u128,
    length: usize,
    channel: u16,
}

impl Default for Interface {
    /// Of no name: nothing but zeros, which no line holds there.
    fn default() -> Interface {
        Interface { text: 0, mask: u128::MAX, length: 0, channel: 0 }
    }
}

impl Quick {
    /// Remembers an interface that the careful way has read.
    pub(super) fn learn(&mut self, interface: &[u8], channel: u16) {
        let length = interface.len() + 3;
        let mut text = [0u8; 16];
        if length > text.len() {
            return;
        }
        text[..2].copy_from_slice(b") ");
        text[2..length - 1].copy_from_slice(interface);
        text[length - 1] = b' ';
        let mask = u128::MAX >> (128 - 8 * length);
        let new = Interface { text: u128::from_le_bytes(text), mask, length, channel };
        if new != self.interface {
            if self.others.len() == TELLS {
                self.others.clear();
            }
            if !self.others.contains(&new) {
                self.others.push(new);
            }
            self.interface = new;
        }
    }

    /// Reads one line; the frame and how many bytes it took.
    #[inline]
    pub(super) fn line(&mut self, window: &[u8], number: u64) -> Option<(Frame, usize)> {
        let window: &Window = window.try_into().ok()?;
        if word(window, 0) != self.second_head || half_word(window, 8) != self.second_tail {
            self.new_second(window)?;
        }
        let micros = six_digits(window)?;
        let time = Instant(self.seconds + i64::from(micros) * 1000);
        let text = u128::from(word(window, 18)) | u128::from(word(window, 26)) << 64;
        if (text ^ self.interface.text) & self.interface.mask != 0 {
            self.interface =
                *self.others.iter().find(|other| (text ^ other.text) & other.mask == 0)?;
        }
        let start = 18 + self.interface.length;
        let mut kind = FrameKind::Data;
        let (id, at) = if window[start + 3] == b'#' {
            let value = HALF_OF[usize::from(window[start])] << 8
                | HALF_OF[usize::from(window[start + 1])] << 4
                | HALF_OF[usize::from(window[start + 2])];
            if value > 0x7FF {
                return None;
            }
            (Identifier::base(value), start + 4)
        } else if window[start + 8] == b'#' {
            let value = eight(word(window, start).to_le_bytes())?;
            if value & ERROR_FLAG != 0 {
                kind = FrameKind::Error;
                (Identifier(value & 0x1FFF_FFFF), start + 9)
            } else if value <= 0x1FFF_FFFF {
                (Identifier::extended(value), start + 9)
            } else {
                return None;
            }
        } else {
            return None;
        };
        let (data, length, end) = match eight_bytes(window, at) {
            Some(data) => (data, 8, at + 17),
            None => {
                if window[at] == b'#'
                    && HALF_OF[usize::from(window[at + 1])] & u32::from(ESI) != 0
                    && kind == FrameKind::Data
                {
                    kind = FrameKind::PassiveData;
                }
                data(window, at)?
            }
        };
        let channel = self.interface.channel;
        Some((Frame { time, data, line: number, id, channel, length, kind }, end))
    }

    #[cold]
    fn new_second(&mut self, window: &Window) -> Option<()> {
        if window[0] != b'(' || window[11] != b'.' {
            return None;
        }
        let mut value = 0i64;
        for digit in &window[1..11] {
            if !digit.is_ascii_digit() {
                return None;
            }
            value = value * 10 + i64::from(digit - b'0');
        }
        if value >= LAST_SECOND {
            return None;
        }
        self.seconds = value * NANOS_PER_SECOND;
        self.second_head = word(window, 0);
        self.second_tail = half_word(window, 8);
        Some(())
    }
}

/// Eight bytes of the window, zeros past its end (which no line of a quick shape reaches).
#[inline]
fn word(window: &Window, at: usize) -> u64 {
    window.get(at..at + 8).and_then(|b| b.try_into().ok()).map_or(0, u64::from_le_bytes)
}

#[inline]
fn half_word(window: &Window, at: usize) -> u32 {
    window.get(at..at + 4).and_then(|b| b.try_into().ok()).map_or(0, u32::from_le_bytes)
}

/// The six digits behind the point.
#[inline]
fn six_digits(window: &Window) -> Option<u32> {
    // The first two of the eight bytes are the last digit of the second and the point; `0` for both.
    let word = word(window, 10) & !0xFFFF | 0x3030;
    let low = word & 0x0F0F_0F0F_0F0F_0F0F;
    let wrong = (word & 0xF0F0_F0F0_F0F0_F0F0) ^ 0x3030_3030_3030_3030
        | ((low + 0x0606_0606_0606_0606) & 0xF0F0_F0F0_F0F0_F0F0);
    if wrong != 0 {
        return None;
    }
    let pairs = (low.wrapping_mul(10) + (low >> 8)) & 0x00FF_00FF_00FF_00FF;
    let quads = (pairs.wrapping_mul(100) + (pairs >> 16)) & 0x0000_FFFF_0000_FFFF;
    let all = quads.wrapping_mul(10_000) + (quads >> 32);
    u32::try_from(all & 0xFFFF_FFFF).ok()
}

/// Eight data bytes and the line end: by far the most frequent. The place of the next line follows
/// from a branch that is foreseen, not from the digits, so that lines are read beside each other.
#[inline]
fn eight_bytes(window: &Window, at: usize) -> Option<u64> {
    let line: &[u8; 17] = window.get(at..at + 17)?.try_into().ok()?;
    let [first @ .., b'\n'] = line else { return None };
    let (first, second) = first.split_first_chunk()?;
    sixteen(u64::from_le_bytes(*first), u64::from_le_bytes(second.try_into().ok()?))
}

/// Data of any kind up to the line end: the first eight bytes, their number, and the next line's place.
fn data(window: &Window, at: usize) -> Option<(u64, u8, usize)> {
    let (data, length, end) =
        if window[at] == b'#' { fd(window, at + 1)? } else { classic(window, at)? };
    Some((data, length, line_end(window, end)?))
}

/// Up to eight data bytes: the bytes, their number, and where their digits end.
#[inline]
fn classic(window: &Window, at: usize) -> Option<(u64, u8, usize)> {
    let (first, second) = (digits(word(window, at)), digits(word(window, at + 8)));
    let count = digits_of(first.count, second.count);
    if count & 1 != 0 {
        return None;
    }
    let whole = join(first, second);
    // Digits past the count are whatever stands behind the data: they are cut off.
    let data = whole & u64::MAX.checked_shl(64 - 4 * count).unwrap_or(0);
    #[expect(clippy::cast_possible_truncation, reason = "the count is at most 16")]
    let length = (count / 2) as u8;
    Some((data, length, at + count as usize))
}

/// How many digits stand at the beginning of sixteen bytes.
#[inline]
fn digits_of(first: u32, second: u32) -> u32 {
    first + if first == 8 { second } else { 0 }
}

#[inline]
fn join(first: Digits, second: Digits) -> u64 {
    u64::from(first.value) << 32 | u64::from(second.value)
}

/// The flags and up to 64 data bytes of a CAN FD frame, from behind the second `#`.
#[inline]
fn fd(window: &Window, at: usize) -> Option<(u64, u8, usize)> {
    if HALF_OF[usize::from(window[at])] > 0xF {
        return None;
    }
    let at = at + 1;
    let (data, length, mut end) = classic(window, at)?;
    if length < 8 {
        return Some((data, length, end));
    }
    // Lengths over eight are multiples of four bytes, eight digits.
    while end < at + 128 && all_hexadecimal(word(window, end).to_le_bytes()) {
        end += 8;
    }
    let length = u8::try_from((end - at) / 2).ok()?;
    matches!(length, 8 | 12 | 16 | 20 | 24 | 32 | 48 | 64).then_some((data, length, end))
}

/// Where the next line begins, when this one ends here: at once, or after a direction mark.
#[inline]
fn line_end(window: &Window, at: usize) -> Option<usize> {
    if window[at] == b'\n' {
        return Some(at + 1);
    }
    let at = if window[at] == b' ' && matches!(window[at + 1], b'R' | b'T') { at + 2 } else { at };
    match (window[at], window[at + 1]) {
        (b'\n', _) => Some(at + 1),
        (b'\r', b'\n') => Some(at + 2),
        _ => None,
    }
}
