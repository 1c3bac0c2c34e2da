//! One text log for several hands: cut into chunks at line ends, each chunk read by itself.
//!
//! [`Chunks`] cuts a stream of bytes into chunks of whole lines; a line of any length is held only up
//! to what the reader accepts. [`Part::read`] reads one chunk as if it were a log of its own, in any
//! order and on any thread. [`TextLog::take`] takes the parts in order: lines are counted on,
//! interfaces get their numbers in the whole log, rejects their places. The result is the same as if
//! the log had been read in one piece; a part that depends on what came before it is read again, in
//! its place.

use std::io::{self, Read};
use std::sync::Arc;

use super::frame::Frame;
use super::text::{INTERFACES, LINE_BYTES, TextLog};

/// A stream of bytes, chunk by chunk.
#[derive(Debug)]
pub struct Chunks<R> {
    source: R,
    size: usize,
    /// The beginning of the next chunk: a line that the chunk before could not hold whole.
    rest: Vec<u8>,
    over: bool,
    offset: u64,
    failure: Option<io::Error>,
}

impl<R: Read> Chunks<R> {
    /// Chunks of about `size` bytes, which is raised to hold at least two of the longest lines.
    #[must_use]
    pub fn new(source: R, size: usize) -> Chunks<R> {
        let size = size.max(2 * LINE_BYTES + 2);
        Chunks::exactly(source, size)
    }

    pub(super) fn exactly(source: R, size: usize) -> Chunks<R> {
        Chunks { source, size, rest: Vec::new(), over: false, offset: 0, failure: None }
    }

    /// Fills `chunk` with the next chunk: whole lines, and at the end of the stream what is left.
    /// Returns the bytes of `chunk` that count; `None` when nothing is left. `chunk` is scratch, and
    /// best used again.
    pub fn next<'c>(&mut self, chunk: &'c mut Vec<u8>) -> Option<&'c [u8]> {
        chunk.resize(self.size.max(self.rest.len()), 0);
        let mut filled = self.rest.len();
        chunk[..filled].copy_from_slice(&self.rest);
        self.rest.clear();
        // How much of the beginning is known to hold no line end.
        let mut searched = filled;
        let end = loop {
            filled += self.fill(&mut chunk[filled..]);
            if self.over {
                break filled;
            }
            if let Some(end) = memchr::memrchr(b'\n', &chunk[searched..filled]) {
                break searched + end + 1;
            }
            // One line fills the chunk. What is over the limit is not held: the reader refuses a
            // line that is one byte too long as it refuses one that is longer still.
            if filled > LINE_BYTES + 1 {
                filled = LINE_BYTES + 1;
            } else {
                chunk.resize(2 * chunk.len() + 2, 0);
            }
            searched = filled;
        };
        self.rest.extend_from_slice(&chunk[end..filled]);
        (end > 0).then(|| &chunk[..end])
    }

    /// Reads until `room` is full or the stream is over.
    fn fill(&mut self, room: &mut [u8]) -> usize {
        let mut filled = 0;
        while filled < room.len() && !self.over {
            match self.source.read(&mut room[filled..]) {
                Ok(0) => self.over = true,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => {
                    self.over = true;
                    self.failure = Some(error);
                }
            }
        }
        self.offset += filled as u64;
        filled
    }

    /// Why the stream broke off, and after how many bytes; `None` while it did not.
    #[must_use]
    pub fn failure(&self) -> Option<(&io::Error, u64)> {
        self.failure.as_ref().map(|error| (error, self.offset))
    }
}

/// A chunk that was read by itself.
#[derive(Debug)]
pub struct Part {
    /// Its frames; lines count from the chunk's beginning, and so do channels until the part is taken.
    pub frames: Vec<Frame>,
    log: TextLog,
}

impl Part {
    /// Reads a chunk of the log `file`. `frames` is an empty buffer, used again.
    #[must_use]
    pub fn read(file: &Arc<str>, chunk: &[u8], mut frames: Vec<Frame>) -> Part {
        frames.clear();
        let mut log = TextLog::new(file);
        log.push(chunk, &mut frames);
        log.finish(&mut frames);
        Part { frames, log }
    }
}

impl TextLog {
    /// Takes the next part, which was read from `chunk`: its frames and its account become those
    /// that reading `chunk` here and now would give, but for the lines of the frames: to each belong the lines
    /// before, which come back. (The frames are as a rule in another core's cache: they are best left as they
    /// are.) Call [`TextLog::finish`] after the last.
    #[must_use]
    pub fn take(&mut self, part: &mut Part, chunk: &[u8]) -> u64 {
        let Some(channels) = self.channels_of(&part.log) else {
            part.frames.clear();
            self.push(chunk, &mut part.frames);
            return 0;
        };
        let before = self.line;
        if channels.iter().enumerate().any(|(own, here)| own != usize::from(*here)) {
            for frame in &mut part.frames {
                if let Some(channel) = channels.get(usize::from(frame.channel)) {
                    frame.channel = *channel;
                }
            }
        }
        self.rejects.append(&part.log.rejects, self.line);
        self.decimal_commas += part.log.decimal_commas;
        self.blank_lines += part.log.blank_lines;
        self.line += part.log.line;
        before
    }

    /// The channels of a part's interfaces in this log; `None` when the part must be read in its place:
    /// when interfaces run out, or it has more rejects than it could list one by one.
    fn channels_of(&mut self, part: &TextLog) -> Option<Vec<u16>> {
        let new = part.interfaces.iter().filter(|name| !self.interfaces.contains(name)).count();
        let room = self.interfaces.len() + new < INTERFACES;
        if !room || !part.rejects.is_complete() {
            return None;
        }
        part.interfaces.iter().map(|name| self.channel(name.as_bytes())).collect()
    }
}
