//! The frames around an onset, taken from a log that is read again.
//!
//! In: onsets by place, and the log's frames in order. Out: for each onset the few frames before it, the
//! frame at it, the few after it, and where the sender is heard again the frames around that. What lies
//! between is counted, not kept: an excerpt has a few dozen rows whatever the log's length.

use std::collections::{BTreeSet, VecDeque};

use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant};

/// Frames shown before the onset, after it, before the sender is heard again, and after that.
const BEFORE: usize = 6;
const AFTER: usize = 9;
const BEFORE_RETURN: usize = 2;
const AFTER_RETURN: usize = 3;

/// What is looked for: the last frame before a silence, or the first frame of a disturbance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Onset {
    /// Line, packet or row of the frame.
    pub line: u64,
    /// The bus, as the facts name it; frames of others are no witnesses here.
    pub bus: String,
    /// The identifiers of the sender that falls silent; empty for a disturbance.
    pub identifiers: BTreeSet<Identifier>,
    /// Looked for the sender's next frame this long after the onset, seconds.
    pub longest_s: f64,
}

/// One frame of an excerpt.
#[derive(Debug, Clone, PartialEq)]
pub struct ExcerptFrame {
    /// Line, packet or row.
    pub line: u64,
    /// Seconds after the frame at the onset; negative before it.
    pub offset_s: f64,
    /// The identifier; for error frames its class bits.
    pub id: Identifier,
    /// Data length, bytes.
    pub length: u8,
    /// The first eight data bytes, first byte in the most significant place.
    pub data: u64,
    /// What kind of frame.
    pub kind: FrameKind,
    /// Whether it is of the sender that falls silent, or the first of the disturbance.
    pub own: bool,
}

/// A row of an excerpt.
#[derive(Debug, Clone, PartialEq)]
pub enum ExcerptRow {
    /// A frame.
    Frame(ExcerptFrame),
    /// Frames that are not shown: how many, over how many seconds.
    Skipped(u64, f64),
}

/// The frames around one onset.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Excerpt {
    /// The rows in order; empty when the place was not found again.
    pub rows: Vec<ExcerptRow>,
    /// Whether the sender was heard again in what was read.
    pub returned: bool,
}

/// Takes excerpts while a log streams by.
#[derive(Debug)]
pub struct Excerpting {
    windows: Vec<Window>,
    /// The last frames of any bus, before any window.
    recent: VecDeque<Frame>,
}

#[derive(Debug)]
struct Window {
    onset: Onset,
    excerpt: Excerpt,
    zero: Option<Instant>,
    after: usize,
    skipped: VecDeque<Frame>,
    skipped_before: u64,
    last_shown: Instant,
    tail: Option<usize>,
    done: bool,
}

impl Excerpting {
    /// Looks for these onsets, all of one log.
    #[must_use]
    pub fn new(onsets: Vec<Onset>) -> Excerpting {
        let windows = onsets
            .into_iter()
            .map(|onset| Window {
                onset,
                excerpt: Excerpt::default(),
                zero: None,
                after: 0,
                skipped: VecDeque::new(),
                skipped_before: 0,
                last_shown: Instant(0),
                tail: None,
                done: false,
            })
            .collect();
        Excerpting { windows, recent: VecDeque::new() }
    }

    /// The place to begin reading at.
    #[must_use]
    pub fn first_line(&self) -> u64 {
        // A few more than shown: frames of other buses and refused lines stand between.
        let first = self.windows.iter().map(|w| w.onset.line).min().unwrap_or(1);
        first.saturating_sub(8 * BEFORE as u64).max(1)
    }

    /// Takes the next frame; `bus` is its bus. False when nothing more is looked for.
    pub fn push(&mut self, frame: &Frame, bus: &str) -> bool {
        if frame.kind == FrameKind::Lost {
            // A mark has the line of the frame behind it and is none itself.
            return self.windows.iter().any(|w| !w.done);
        }
        let mut wanted = false;
        for window in self.windows.iter_mut().filter(|w| !w.done) {
            wanted |= bus == window.onset.bus;
            if bus == window.onset.bus {
                window.push(frame, &self.recent);
            }
        }
        if wanted {
            if self.recent.len() == BEFORE {
                self.recent.pop_front();
            }
            self.recent.push_back(*frame);
        }
        self.windows.iter().any(|w| !w.done)
    }

    /// The excerpts, in the order of the onsets.
    #[must_use]
    pub fn finish(self) -> Vec<Excerpt> {
        let close = |mut window: Window| {
            window.close();
            window.excerpt
        };
        self.windows.into_iter().map(close).collect()
    }
}

impl Window {
    fn push(&mut self, frame: &Frame, recent: &VecDeque<Frame>) {
        let own = self.onset.identifiers.contains(&frame.id) && frame.kind != FrameKind::Error;
        let Some(zero) = self.zero else {
            if frame.line == self.onset.line {
                self.zero = Some(frame.time);
                for before in recent {
                    let own = self.onset.identifiers.contains(&before.id);
                    self.show(before, own && before.kind != FrameKind::Error);
                }
                self.show(frame, true);
            }
            self.done = frame.line > self.onset.line;
            return;
        };
        if let Some(tail) = &mut self.tail {
            *tail -= 1;
            self.done = *tail == 0;
            self.show(frame, own);
        } else if own {
            self.excerpt.returned = true;
            self.tail = Some(AFTER_RETURN);
            self.flush(BEFORE_RETURN);
            self.show(frame, true);
        } else if self.after < AFTER {
            self.after += 1;
            self.show(frame, false);
            self.done = self.after == AFTER && self.onset.identifiers.is_empty();
        } else {
            self.skipped.push_back(*frame);
            if self.skipped.len() > BEFORE_RETURN {
                self.skipped.pop_front();
                self.skipped_before += 1;
            }
            if frame.time.seconds_since(zero) > self.onset.longest_s {
                self.close();
            }
        }
    }

    fn show(&mut self, frame: &Frame, own: bool) {
        self.last_shown = frame.time;
        self.excerpt.rows.push(ExcerptRow::Frame(ExcerptFrame {
            line: frame.line,
            offset_s: frame.time.seconds_since(self.zero.unwrap_or(frame.time)),
            id: frame.id,
            length: frame.length,
            data: frame.data,
            kind: frame.kind,
            own,
        }));
    }

    /// Counts what was passed over, and shows its last `most` frames.
    fn flush(&mut self, most: usize) {
        let mut passed = self.skipped_before;
        let mut until = self.last_shown;
        while self.skipped.len() > most {
            until = self.skipped.pop_front().map_or(until, |f| f.time);
            passed += 1;
        }
        if passed > 0 {
            let until = self.skipped.front().map_or(until, |f| f.time);
            let seconds = until.seconds_since(self.last_shown);
            self.excerpt.rows.push(ExcerptRow::Skipped(passed, seconds));
        }
        for frame in std::mem::take(&mut self.skipped) {
            self.show(&frame, false);
        }
        self.skipped_before = 0;
    }

    /// Nothing more comes.
    fn close(&mut self) {
        if !self.done && self.tail.is_none() {
            self.flush(0);
        }
        self.done = true;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(line: u64, id: u32) -> Frame {
        Frame {
            time: Instant(i64::try_from(line).unwrap() * 1_000_000),
            data: 0,
            line,
            id: Identifier::base(id),
            channel: 0,
            length: 8,
            kind: FrameKind::Data,
        }
    }

    /// The rows of an excerpt as lines; a gap as the number of frames passed over, negative.
    fn shape(excerpt: &Excerpt) -> Vec<i64> {
        let shape = |row: &ExcerptRow| match row {
            ExcerptRow::Frame(frame) => i64::try_from(frame.line).unwrap(),
            ExcerptRow::Skipped(frames, _) => -i64::try_from(*frames).unwrap(),
        };
        excerpt.rows.iter().map(shape).collect()
    }

    fn silence(line: u64) -> Onset {
        Onset {
            line,
            bus: "can0".to_owned(),
            identifiers: [Identifier::base(0x1A0)].into(),
            longest_s: 0.5,
        }
    }

    #[test]
    fn a_silence_shows_its_two_ends_and_counts_what_lies_between() {
        let mut taking = Excerpting::new(vec![silence(100)]);
        assert_eq!(taking.first_line(), 52);
        let mut read = 0;
        for line in 52..1000 {
            let id = if line == 100 || line >= 200 { 0x1A0 } else { 0x1B0 };
            read = line;
            if !taking.push(&frame(line, id), "can0") {
                break;
            }
        }
        assert_eq!(read, 203, "reading ends when nothing more is looked for");
        let excerpt = &taking.finish()[0];
        let mut expected: Vec<i64> = (94..=109).collect();
        expected.extend([-88, 198, 199, 200, 201, 202, 203]);
        assert_eq!(shape(excerpt), expected);
        assert!(excerpt.returned);
        assert!(matches!(&excerpt.rows[6], ExcerptRow::Frame(f) if f.own && f.offset_s == 0.0));
    }

    #[test]
    fn a_mark_of_lost_frames_is_not_the_frame_behind_it() {
        let mark = |line| Frame { kind: FrameKind::Lost, data: 7, ..frame(line, 0) };
        let mut taking = Excerpting::new(vec![silence(3)]);
        for line in 1..=6 {
            assert!(taking.push(&mark(line), "can0"), "a mark ends nothing");
            assert!(taking.push(&frame(line, if line == 3 { 0x1A0 } else { 0x1B0 }), "can0"));
        }
        let excerpt = &taking.finish()[0];
        assert_eq!(shape(excerpt), [1, 2, 3, 4, 5, 6]);
        let own = |row: &&ExcerptRow| matches!(row, ExcerptRow::Frame(frame) if frame.own);
        let own: Vec<&ExcerptRow> = excerpt.rows.iter().filter(own).collect();
        assert!(
            matches!(own[..], [ExcerptRow::Frame(f)] if f.id == Identifier::base(0x1A0)),
            "{own:?}"
        );
    }

    #[test]
    fn a_sender_that_is_not_heard_again_is_not_looked_for_for_ever() {
        let mut taking = Excerpting::new(vec![silence(3)]);
        let going = (1..5000).take_while(|line| {
            let id = if *line == 3 { 0x1A0 } else { 0x1B0 };
            taking.push(&frame(*line, id), "can0")
        });
        assert_eq!(going.count(), 503);
        let excerpt = &taking.finish()[0];
        assert_eq!(shape(excerpt), [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, -492]);
        assert!(!excerpt.returned);
    }

    #[test]
    fn a_place_that_is_not_there_gives_nothing_and_other_buses_do_not_count() {
        let mut taking = Excerpting::new(vec![silence(10), silence(12)]);
        for line in 1..40 {
            if line != 10 {
                taking.push(&frame(line, 0x1A0), if line == 12 { "can0" } else { "other" });
            }
        }
        let excerpts = taking.finish();
        assert_eq!((shape(&excerpts[0]), shape(&excerpts[1])), (vec![], vec![12]));
    }
}
