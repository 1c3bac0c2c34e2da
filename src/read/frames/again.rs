//! A log read again from a known place, for the frames around what was found in it.
//!
//! In: an opened log of any format and the place (line, packet, row) to begin at. Out: its frames from
//! there on, in order, until the taker has enough. A text log is only counted by line ends up to the
//! place; captures, CSV and Arrow streams are read from the front and left once enough was seen; formats
//! that are read at any offset are read whole. Nothing is held but one block. Rejects were told when the
//! log was read first, so they are passed over here.

use std::cell::RefCell;
use std::io::{ErrorKind, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::frame::Frame;
use super::log::{LogTables, read_log};
use super::text::TextLog;
use crate::read::opening::{Bytes, Opened};
use crate::read::recognising::Kind;

/// Bytes of a block.
const BLOCK: usize = 256 * 1024;

/// Takes a frame with the interface names by channel number; false: enough.
pub type Take<'a> = dyn FnMut(&Frame, &[String]) -> bool + 'a;

/// Hands on the frames from `first` on until `take` has enough or the log ends.
pub fn read_again(mut opened: Opened, tables: &LogTables, first: u64, take: &mut Take<'_>) {
    if opened.kind == Kind::BusLogText {
        let name = Arc::clone(&opened.name);
        read_text(opened.bytes, &name, first, take);
        return;
    }
    let enough = Arc::new(AtomicBool::new(false));
    opened.bytes = Box::new(Stopping { bytes: opened.bytes, enough: Arc::clone(&enough) });
    let take = RefCell::new(take);
    // The account tells of the same log as when it was read first.
    let _ = read_log(opened, tables, &|mut frames: Vec<Frame>, interfaces: &[String]| {
        for frame in frames.iter().filter(|f| f.line >= first) {
            if enough.load(Ordering::Relaxed) || !(take.borrow_mut())(frame, interfaces) {
                enough.store(true, Ordering::Relaxed);
                break;
            }
        }
        frames.clear();
        frames
    });
}

fn read_text(mut bytes: Bytes, name: &Arc<str>, first: u64, take: &mut Take<'_>) {
    let mut log = TextLog::new(name);
    let mut block = vec![0; BLOCK];
    let mut frames = Vec::new();
    // Lines that are only counted.
    let mut left = first.saturating_sub(1);
    let mut over = false;
    while !over {
        let filled = match bytes.read(&mut block) {
            Ok(filled) => filled,
            Err(error) if error.kind() == ErrorKind::Interrupted => continue,
            // Where packed data break off was told when the log was read first.
            Err(_) => 0,
        };
        let mut piece = &block[..filled];
        while left > 0 {
            let Some(end) = memchr::memchr(b'\n', piece) else {
                piece = &[];
                break;
            };
            (piece, left) = (&piece[end + 1..], left - 1);
        }
        if left == 0 && log.lines() == 0 && first > 1 {
            log.line = first - 1;
        }
        if filled == 0 {
            over = true;
            log.finish(&mut frames);
        } else {
            log.push(piece, &mut frames);
        }
        over |= !frames.iter().all(|frame| take(frame, &log.interfaces));
        frames.clear();
    }
}

/// A stream that ends when enough was seen.
struct Stopping {
    bytes: Bytes,
    enough: Arc<AtomicBool>,
}

impl Read for Stopping {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        if self.enough.load(Ordering::Relaxed) { Ok(0) } else { self.bytes.read(into) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::opening::unpack;

    fn opened(text: String) -> Opened {
        let name: Arc<str> = "a.log".into();
        unpack(Box::new(std::io::Cursor::new(text.into_bytes())), 1, &name).unwrap()
    }

    /// The lines of the frames given from `first` on, at most `most`.
    fn lines(text: &str, first: u64, most: usize) -> Vec<u64> {
        let mut seen = Vec::new();
        read_again(opened(text.to_owned()), &LogTables::default(), first, &mut |frame, names| {
            assert_eq!(names[usize::from(frame.channel)], "can0");
            seen.push(frame.line);
            seen.len() < most
        });
        seen
    }

    #[test]
    fn a_text_log_is_read_from_its_line_on_and_left_when_it_is_enough() {
        let line = |n: u64| format!("({}.{:03}000) can0 1A0#0102\n", n / 1000, n % 1000);
        // A comment, a broken line and a blank one keep their numbers.
        let mut text = "# begin\n(nonsense\n\n".to_owned();
        text.extend((1..=20_000).map(line));
        assert_eq!(lines(&text, 1, 3), [4, 5, 6]);
        assert_eq!(lines(&text, 4, 2), [4, 5]);
        assert_eq!(lines(&text, 15_000, 3), [15_000, 15_001, 15_002]);
        assert_eq!(lines(&text, 20_003, 3), [20_003]);
        assert_eq!(lines(&text, 20_004, 3), [0; 0]);
        let unended = text.trim_end();
        assert_eq!(lines(unended, 20_003, 3), [20_003]);
    }

    #[test]
    fn a_table_is_read_from_its_row_on_and_left_when_it_is_enough() {
        let mut text = "time,bus,id,data\n".to_owned();
        text.extend((0..30_000).map(|n| format!("{}.{:03},can0,1A0,0102\n", n / 1000, n % 1000)));
        let opened_table = || opened(text.clone());
        assert!(matches!(opened_table().kind, Kind::Csv { .. }));
        let mut seen = Vec::new();
        read_again(opened_table(), &LogTables::default(), 12_000, &mut |frame, _| {
            seen.push(frame.line);
            seen.len() < 4
        });
        assert_eq!(seen.len(), 4);
        assert!(seen.windows(2).all(|w| w[1] == w[0] + 1) && seen[0] >= 12_000, "{seen:?}");
    }
}
