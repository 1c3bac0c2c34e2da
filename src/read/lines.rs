//! Lines of a text input, in bounded memory.
//!
//! A line ends at LF; CRs before it are dropped. A line longer than the limit is not kept: it is
//! skipped to its end and reported with its length. An input that breaks off (a cut gzip file) gives
//! all lines before the break, the last cut one included, and then says where it broke.

use std::io::{BufRead, BufReader, Read};

use memchr::memchr;

/// The longest line of a small file that is kept, in bytes.
pub const LONGEST_LINE: usize = 1 << 20;

/// What comes next in the input.
#[derive(Debug, PartialEq, Eq)]
pub enum NextLine<'l> {
    /// A line without its end.
    Line {
        /// Its number, from 1.
        number: u64,
        /// Where it begins, in bytes from 0.
        offset: u64,
        /// Its bytes.
        bytes: &'l [u8],
    },
    /// A line over the limit; it was skipped.
    TooLong {
        /// Its number, from 1.
        number: u64,
        /// Its length in bytes.
        length: u64,
    },
    /// The input broke off here; nothing follows.
    Broken {
        /// How many bytes came before the break.
        offset: u64,
        /// Why.
        reason: String,
    },
    /// The end.
    End,
}

/// Reads lines one after another.
pub struct Lines<R> {
    source: BufReader<R>,
    buffer: Vec<u8>,
    limit: usize,
    number: u64,
    offset: u64,
    broken: Option<String>,
    over: bool,
}

impl<R: Read> Lines<R> {
    /// Lines of `source`, each at most `limit` bytes long.
    pub fn new(source: R, limit: usize) -> Lines<R> {
        Lines {
            source: BufReader::with_capacity(1 << 16, source),
            buffer: Vec::new(),
            limit,
            number: 0,
            offset: 0,
            broken: None,
            over: false,
        }
    }

    /// The next line.
    pub fn advance(&mut self) -> NextLine<'_> {
        if let Some(reason) = self.broken.take() {
            return NextLine::Broken { offset: self.offset, reason };
        }
        // A source that failed may fail again for ever; it is not asked twice.
        if self.over {
            return NextLine::End;
        }
        let start = self.offset;
        let mut length = 0_u64;
        let mut ended = false;
        self.buffer.clear();
        while !ended {
            let chunk = match self.source.fill_buf() {
                Ok(chunk) => chunk,
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
                Err(e) => {
                    self.broken = Some(e.to_string());
                    self.over = true;
                    break;
                }
            };
            if chunk.is_empty() {
                break;
            }
            let (part, taken) = match memchr(b'\n', chunk) {
                Some(at) => (&chunk[..at], at + 1),
                None => (chunk, chunk.len()),
            };
            ended = taken > part.len();
            let room = (self.limit + 1).saturating_sub(self.buffer.len());
            self.buffer.extend_from_slice(&part[..part.len().min(room)]);
            length += part.len() as u64;
            self.offset += taken as u64;
            self.source.consume(taken);
        }
        if length == 0 && !ended {
            return match self.broken.take() {
                Some(reason) => NextLine::Broken { offset: self.offset, reason },
                None => NextLine::End,
            };
        }
        self.number += 1;
        if length > self.limit as u64 {
            return NextLine::TooLong { number: self.number, length };
        }
        let mut end = self.buffer.len();
        while end > 0 && self.buffer[end - 1] == b'\r' {
            end -= 1;
        }
        NextLine::Line { number: self.number, offset: start, bytes: &self.buffer[..end] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(number: u64, offset: u64, bytes: &[u8]) -> NextLine<'_> {
        NextLine::Line { number, offset, bytes }
    }

    #[test]
    fn line_ends_of_both_kinds_and_a_last_line_without_one() {
        let mut lines = Lines::new(&b"a\r\n\nb"[..], 10);
        assert_eq!(lines.advance(), line(1, 0, b"a"));
        assert_eq!(lines.advance(), line(2, 3, b""));
        assert_eq!(lines.advance(), line(3, 4, b"b"));
        assert_eq!(lines.advance(), NextLine::End);
    }

    #[test]
    fn an_enormous_line_is_skipped_and_the_next_is_read() {
        let text = [vec![b'x'; 300_000], b"\nnext\n".to_vec()].concat();
        let mut lines = Lines::new(&text[..], 100);
        assert_eq!(lines.advance(), NextLine::TooLong { number: 1, length: 300_000 });
        assert!(lines.buffer.capacity() < 1000);
        assert_eq!(lines.advance(), line(2, 300_001, b"next"));
        assert_eq!(lines.advance(), NextLine::End);
    }

    #[test]
    fn what_came_before_a_break_counts() {
        struct Breaks;
        impl Read for Breaks {
            fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
                Err(std::io::Error::other("cut"))
            }
        }
        let mut lines = Lines::new((&b"one\ntw"[..]).chain(Breaks), 100);
        assert_eq!(lines.advance(), line(1, 0, b"one"));
        assert_eq!(lines.advance(), line(2, 4, b"tw"));
        assert_eq!(lines.advance(), NextLine::Broken { offset: 6, reason: "cut".into() });
        assert_eq!(lines.advance(), NextLine::End);
    }
}
