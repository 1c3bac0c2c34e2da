//! Text logs: in pieces = whole, by several hands = by one, every line accounted for; and whatever
//! was read can be observed.

use super::{choice, file};
use crate::observe::{Observer, Senders};
use crate::read::frames::{Chunks, Frame, Part, TextLog};
use crate::vocabulary::Reject;

/// Frames, interface names, rejects, decimal commas, blank lines, lines.
type Read = (Vec<Frame>, Vec<String>, Vec<Reject>, [u64; 3]);

fn account(frames: Vec<Frame>, log: TextLog) -> Read {
    let counts = [log.decimal_commas, log.blank_lines, log.lines()];
    let accounted = frames.len() as u64 + log.rejects.count() + log.blank_lines;
    assert_eq!(accounted, log.lines(), "every line is a frame, a reject or blank");
    (frames, log.interfaces, log.rejects.into_entries(), counts)
}

fn in_pieces(data: &[u8], size: usize) -> Read {
    let mut log = TextLog::new(&file());
    let mut frames = Vec::new();
    for piece in data.chunks(size) {
        log.push(piece, &mut frames);
    }
    log.finish(&mut frames);
    account(frames, log)
}

/// The first byte chooses the size of the pieces.
pub fn text_log(data: &[u8]) {
    let (size, data) = choice(data, 200);
    let whole = in_pieces(data, data.len().max(1));
    assert_eq!(whole, in_pieces(data, size), "in pieces of {size} bytes");
    let mut log = TextLog::new(&file());
    let mut frames = Vec::new();
    // Cut in two at a line end near the middle: chunks of the stream are much larger than the input.
    let middle = data.len() / 256 * size;
    let cut = memchr::memchr(b'\n', &data[middle..]).map_or(data.len(), |at| middle + at + 1);
    for part in [&data[..cut], &data[cut..]] {
        let mut chunks = Chunks::new(part, 0);
        let mut buffer = Vec::new();
        while let Some(chunk) = chunks.next(&mut buffer) {
            let mut part = Part::read(&file(), chunk, Vec::new());
            let before = log.take(&mut part, chunk);
            part.frames.iter_mut().for_each(|frame| frame.line += before);
            frames.append(&mut part.frames);
        }
    }
    log.finish(&mut frames);
    assert_eq!(whole, account(frames, log), "read as parts");
}

/// The frames of a log become facts; the first byte chooses a shift in time.
pub fn observed(data: &[u8]) {
    let (days, data) = choice(data, 256);
    let mut log = TextLog::new(&file());
    let mut frames = Vec::new();
    log.push(data, &mut frames);
    log.finish(&mut frames);
    let mut observer = Observer::default();
    observer.push(&frames, &log.interfaces);
    let shift = i64::try_from(days).unwrap_or(0) * 86_400_000_000_000;
    let seen = observer.finish(&Senders::default(), None, &file(), shift);
    assert_eq!(seen.frames, frames.len() as u64);
    for start in &seen.facts.starts {
        assert!(start.begin <= start.end, "a start ends after it began");
    }
    for silence in &seen.facts.silences {
        assert!(silence.last_heard <= silence.due && silence.due <= silence.end);
    }
}
