//! SocketCAN text logs, both forms, as a push parser: blocks of bytes in, frames out.
//!
//! Nearly every line of a real log has one shape, so that shape is read first, with no search and no
//! allocation; whatever does not fit goes to the careful reader in `fields`.

use std::sync::Arc;

use super::fields;
use super::frame::{Frame, FrameKind};
use super::hexadecimal::{eight, nibble};
use super::rejects::RejectList;
use crate::vocabulary::{Identifier, Instant, NANOS_PER_SECOND};

/// The longest line accepted; nothing longer is ever held.
const LINE_BYTES: usize = 64 * 1024;
/// The quick way needs this many bytes ahead, so that it never runs over the end of a block.
const AHEAD: usize = 128;
/// Interfaces one log may name; a log with more is damaged.
const INTERFACES: usize = 64;

/// A text log being read. Push blocks, then [`TextLog::finish`].
#[derive(Debug)]
pub struct TextLog {
    /// Interface names by channel number, in order of appearance.
    pub interfaces: Vec<String>,
    /// Rejected lines.
    pub rejects: RejectList,
    /// Lines whose time stamp had a decimal comma.
    pub decimal_commas: u64,
    /// Blank lines and comments, which are accepted as such.
    pub blank_lines: u64,
    rest: Vec<u8>,
    line: u64,
    skipping: bool,
    quick: Quick,
}

/// What the quick way remembers from the line before.
#[derive(Debug, Default)]
struct Quick {
    seconds_text: [u8; 10],
    seconds: i64,
    /// `) can0 ` of the line before, padded with zeros, and its length.
    interface: [u8; 16],
    interface_length: usize,
    channel: u16,
}

impl TextLog {
    /// A reader for one log; `file` names it in rejects.
    #[must_use]
    pub fn new(file: &Arc<str>) -> TextLog {
        TextLog {
            interfaces: Vec::new(),
            rejects: RejectList::new(file),
            decimal_commas: 0,
            blank_lines: 0,
            rest: Vec::new(),
            line: 0,
            skipping: false,
            quick: Quick::default(),
        }
    }

    /// Reads a block; complete lines become frames, an unfinished one waits for the next block.
    pub fn push(&mut self, block: &[u8], out: &mut Vec<Frame>) {
        let mut block = block;
        if self.skipping || !self.rest.is_empty() {
            let Some(end) = memchr::memchr(b'\n', block) else {
                self.keep(block);
                return;
            };
            if self.skipping {
                self.skipping = false;
            } else {
                let mut line = std::mem::take(&mut self.rest);
                line.extend_from_slice(&block[..end]);
                self.line += 1;
                self.careful(&line, out);
                line.clear();
                self.rest = line;
            }
            block = &block[end + 1..];
        }
        let used = self.whole_lines(block, out);
        if used < block.len() {
            self.keep(&block[used..]);
        }
    }

    /// Reads what is left when the log ends without a line end.
    pub fn finish(&mut self, out: &mut Vec<Frame>) {
        let line = std::mem::take(&mut self.rest);
        if !line.is_empty() {
            self.line += 1;
            self.careful(&line, out);
        }
    }

    /// Lines read so far.
    #[must_use]
    pub fn lines(&self) -> u64 {
        self.line
    }

    fn keep(&mut self, part: &[u8]) {
        if self.skipping {
            return;
        }
        if self.rest.len() + part.len() > LINE_BYTES {
            self.line += 1;
            self.rejects
                .line(self.line, "a line of more than 65,536 bytes; this is not a text log");
            self.rest.clear();
            self.skipping = true;
        } else {
            self.rest.extend_from_slice(part);
        }
    }

    /// Reads all complete lines of a block; returns how many bytes they took.
    fn whole_lines(&mut self, block: &[u8], out: &mut Vec<Frame>) -> usize {
        let mut at = 0;
        while at < block.len() {
            if let Some(window) = block.get(at..at + AHEAD)
                && let Some((frame, length)) = self.quick.line(window, self.line + 1)
            {
                self.line += 1;
                out.push(frame);
                at += length;
                continue;
            }
            let Some(end) = memchr::memchr(b'\n', &block[at..]) else { break };
            self.line += 1;
            self.careful(&block[at..at + end], out);
            at += end + 1;
        }
        at
    }

    /// One line without its line end, by the whole grammar.
    fn careful(&mut self, line: &[u8], out: &mut Vec<Frame>) {
        let trimmed = line.trim_ascii();
        if trimmed.is_empty() || matches!(trimmed[0], b'#' | b';') {
            self.blank_lines += 1;
            return;
        }
        match fields::line(line, self.line) {
            Ok(found) => {
                let Some(channel) = self.channel(found.interface) else {
                    self.rejects.line(self.line, "more than 64 interfaces in one log");
                    return;
                };
                self.decimal_commas += u64::from(found.decimal_comma);
                self.quick.learn(found.interface, channel);
                out.push(Frame { channel, ..found.frame });
            }
            Err(reason) => self.rejects.line(self.line, reason),
        }
    }

    fn channel(&mut self, interface: &[u8]) -> Option<u16> {
        let known = self.interfaces.iter().position(|name| name.as_bytes() == interface);
        let place = match known {
            Some(place) => place,
            None if self.interfaces.len() < INTERFACES => {
                self.interfaces.push(String::from_utf8_lossy(interface).into_owned());
                self.interfaces.len() - 1
            }
            None => return None,
        };
        u16::try_from(place).ok()
    }
}

impl Quick {
    fn learn(&mut self, interface: &[u8], channel: u16) {
        let length = interface.len() + 3;
        if length > self.interface.len() {
            return;
        }
        self.interface = [0; 16];
        self.interface[..2].copy_from_slice(b") ");
        self.interface[2..length - 1].copy_from_slice(interface);
        self.interface[length - 1] = b' ';
        self.interface_length = length;
        self.channel = channel;
    }

    /// `(dddddddddd.dddddd) IFACE ID#DATA\n` on the interface of the line before; the frame and how
    /// many bytes it took. `None` means "read it carefully", never "reject".
    #[inline]
    fn line(&mut self, window: &[u8], number: u64) -> Option<(Frame, usize)> {
        let window: &[u8; AHEAD] = window.try_into().ok()?;
        if self.interface_length == 0 || window[0] != b'(' || window[11] != b'.' {
            return None;
        }
        if window[1..11] != self.seconds_text {
            self.new_second(window)?;
        }
        let micros = six_digits(window)?;
        let time = Instant(self.seconds + i64::from(micros) * 1000);
        if window[18..18 + self.interface_length] != self.interface[..self.interface_length] {
            return None;
        }
        let start = 18 + self.interface_length;
        let (id, data_at) = if window[start + 3] == b'#' {
            let digits = [window[start], window[start + 1], window[start + 2]].map(nibble);
            if digits[0] > 7 || digits[1] == 0xFF || digits[2] == 0xFF {
                return None;
            }
            let value =
                u32::from(digits[0]) << 8 | u32::from(digits[1]) << 4 | u32::from(digits[2]);
            (Identifier::base(value), start + 4)
        } else if window[start + 8] == b'#' {
            let value = eight(window[start..start + 8].try_into().ok()?)?;
            if value > 0x1FFF_FFFF {
                return None;
            }
            (Identifier::extended(value), start + 9)
        } else {
            return None;
        };
        // An error message frame has bit 0x20000000 set: above 1FFFFFFF, so read carefully.
        let (data, length, end) = payload(window, data_at)?;
        let frame = Frame {
            time,
            data,
            line: number,
            id,
            channel: self.channel,
            length,
            kind: FrameKind::Data,
        };
        Some((frame, end))
    }

    #[cold]
    fn new_second(&mut self, window: &[u8; AHEAD]) -> Option<()> {
        let text = &window[1..11];
        let mut value = 0i64;
        for digit in text {
            if !digit.is_ascii_digit() {
                return None;
            }
            value = value * 10 + i64::from(digit - b'0');
        }
        if value > i64::MAX / NANOS_PER_SECOND - 1 {
            return None;
        }
        self.seconds = value * NANOS_PER_SECOND;
        self.seconds_text.copy_from_slice(text);
        Some(())
    }
}

/// The six digits behind the point.
#[inline]
fn six_digits(window: &[u8; AHEAD]) -> Option<u32> {
    let word: [u8; 8] = window[10..18].try_into().ok()?;
    // The first two of the eight bytes are the last digit of the second and the point; `0` for both.
    let word = u64::from_le_bytes(word) & !0xFFFF | 0x3030;
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

/// Data digits up to the line end: the bytes, their number, and where the next line begins.
#[inline]
fn payload(window: &[u8; AHEAD], at: usize) -> Option<(u64, u8, usize)> {
    if at + 17 < AHEAD && window[at + 16] == b'\n' {
        let high = eight(window[at..at + 8].try_into().ok()?)?;
        let low = eight(window[at + 8..at + 16].try_into().ok()?)?;
        return Some((u64::from(high) << 32 | u64::from(low), 8, at + 17));
    }
    let (mut data, mut length, mut at) = (0u64, 0u8, at);
    loop {
        match window[at] {
            b'\n' => return Some((data, length, at + 1)),
            b'\r' if window[at + 1] == b'\n' => return Some((data, length, at + 2)),
            first => {
                let (high, low) = (nibble(first), nibble(window[at + 1]));
                if high == 0xFF || low == 0xFF || length == 8 {
                    return None;
                }
                data |= u64::from(high << 4 | low) << (56 - 8 * u32::from(length));
                length += 1;
                at += 2;
            }
        }
    }
}
