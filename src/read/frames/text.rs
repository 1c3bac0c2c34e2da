//! SocketCAN text logs, both forms, as a push parser: blocks of bytes in, frames out.
//!
//! Nearly every line of a real log has one shape, so that shape is read first, with no search and no
//! allocation (`quick`); whatever does not fit goes to the careful reader in `fields`.

use std::sync::Arc;

use super::fields;
use super::frame::Frame;
use super::quick::{AHEAD, Quick};
use super::rejects::RejectList;

/// The longest line accepted; nothing longer is ever held.
pub(super) const LINE_BYTES: usize = 64 * 1024;
const TOO_LONG: &str = "a line of more than 65,536 bytes; this is not a text log";
/// Interfaces one log may name; a log with more is damaged.
pub(super) const INTERFACES: usize = 64;

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
    pub(super) line: u64,
    skipping: bool,
    quick: Quick,
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
            self.rejects.line(self.line, TOO_LONG);
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
        if line.len() > LINE_BYTES {
            self.rejects.line(self.line, TOO_LONG);
            return;
        }
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

    pub(super) fn channel(&mut self, interface: &[u8]) -> Option<u16> {
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
