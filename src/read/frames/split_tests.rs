//! A log read as parts is the log read whole, wherever it is cut.

use std::io::{self, Read};
use std::sync::Arc;

use proptest::prelude::*;

use super::text::LINE_BYTES;
use super::{Chunks, Frame, Part, TextLog};
use crate::vocabulary::Reject;

/// Frames, interface names, rejects, and the counts of decimal commas, blank lines and lines.
type Whole = (Vec<Frame>, Vec<String>, Vec<Reject>, [u64; 3]);

fn file() -> Arc<str> {
    "t.log".into()
}

fn account(frames: Vec<Frame>, log: TextLog) -> Whole {
    let counts = [log.decimal_commas, log.blank_lines, log.lines()];
    (frames, log.interfaces, log.rejects.into_entries(), counts)
}

fn whole(text: &[u8]) -> Whole {
    let mut log = TextLog::new(&file());
    let mut frames = Vec::new();
    log.push(text, &mut frames);
    log.finish(&mut frames);
    account(frames, log)
}

/// Gives a few bytes at a time.
struct Drops<'a>(&'a [u8], usize);

impl Read for Drops<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.0.len().min(into.len()).min(self.1);
        into[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

/// Reads all parts before any is taken, the last one first, as other threads might.
fn as_parts(text: &[u8], size: usize, drop: usize) -> Whole {
    let mut chunks = Chunks::exactly(Drops(text, drop), size);
    let mut held = Vec::new();
    let mut buffer = Vec::new();
    while let Some(chunk) = chunks.next(&mut buffer) {
        assert!(chunk.len() <= 2 * size.max(LINE_BYTES + 2) + 2, "a chunk of {}", chunk.len());
        held.push(chunk.to_vec());
    }
    let mut parts: Vec<Part> =
        held.iter().rev().map(|chunk| Part::read(&file(), chunk, Vec::new())).collect();
    parts.reverse();
    let mut log = TextLog::new(&file());
    let mut frames = Vec::new();
    for (chunk, part) in held.iter().zip(&mut parts) {
        let before = log.take(part, chunk);
        part.frames.iter_mut().for_each(|frame| frame.line += before);
        frames.append(&mut part.frames);
    }
    log.finish(&mut frames);
    account(frames, log)
}

const LINES: [&str; 14] = [
    "(1767600000.123456) can0 1A0#0011223344556677",
    "(1767600000.133456) can0 1A0#",
    "(1767600000.143456) can1 18FEF500#FFFFFF802200FFFF T",
    "(1767600000.153456) vehicle-bus-9 18FEDF00##3AABBCCDD",
    "(1767600000.163456) can0 20000004#0001000000000000",
    "(1767600000,173456) can0 123#R8",
    " (000.005001)  can0  18FEDF00   [8]  8A A0 28 7D 7D FF FF F5",
    "(1767600001.000000) a-name-longer-than-the-quick-way 123#00",
    "",
    "# a comment",
    "(garbage",
    "(1767600003.000000) can0 1A0#00112233445566778",
    "(1767600003.000000) can0 12",
    "\u{0}\u{0}",
];

fn any_log() -> impl Strategy<Value = Vec<u8>> {
    let line = prop_oneof![
        6 => prop::sample::select(LINES.to_vec()).prop_map(str::to_owned),
        // Many interfaces, so that they run out; the same line many times, so that rejects are runs.
        1 => (0u8..90).prop_map(|n| format!("(1767600004.5) bus{n} 1A0#{n:02X}")),
        1 => (1usize..40).prop_map(|n| "(half\n".repeat(n)),
    ];
    let ends = prop::sample::select(vec!["\n", "\r\n", "\n\n"]);
    (prop::collection::vec(line, 0..250), ends)
        .prop_map(|(lines, end)| lines.join(end).into_bytes())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 300,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn parts_are_the_whole(text in any_log(), size in 1usize..6000, drop in 1usize..5000) {
        prop_assert_eq!(whole(&text), as_parts(&text, size, drop));
    }
}

#[test]
fn more_rejects_than_a_part_can_list_are_the_same() {
    let text: String = (0..3000)
        .map(|n| if n % 2 == 0 { "(1.5) can0 1A0#00\n" } else { "(1.5) can0 1A0#0\n" })
        .collect();
    let (_, _, rejects, counts) = whole(text.as_bytes());
    assert!(rejects.iter().any(|r| r.reason.contains("summed")), "the list runs over");
    assert_eq!(counts[2], 3000);
    for size in [100, 20_000, 1 << 20] {
        assert_eq!(whole(text.as_bytes()), as_parts(text.as_bytes(), size, 1 << 20));
    }
}

#[test]
fn endless_lines_are_cut_short_and_refused_with_their_number() {
    for long in [LINE_BYTES - 1, LINE_BYTES, LINE_BYTES + 1, LINE_BYTES + 2, 5 * LINE_BYTES] {
        for end in ["", "\n", "\n(1.5) can0 1A0#00\n"] {
            let text = format!("(1.5) can0 1A0#00\n{}{end}", "x".repeat(long));
            let read = whole(text.as_bytes());
            assert_eq!(read.2.len(), 1, "one refusal for a line of {long} bytes");
            for size in [1000, LINE_BYTES, 3 * LINE_BYTES] {
                for drop in [777, usize::MAX] {
                    assert_eq!(read, as_parts(text.as_bytes(), size, drop), "{long} {size} {drop}");
                }
            }
        }
    }
}

#[test]
fn a_stream_that_breaks_gives_what_came_before_and_says_where() {
    struct Breaks;
    impl Read for Breaks {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Err(io::Error::other("cut"))
        }
    }
    let mut chunks = Chunks::new((&b"(1.5) can0 1A0#00\n(2.5"[..]).chain(Breaks), 0);
    let mut buffer = Vec::new();
    assert_eq!(chunks.next(&mut buffer).map(<[u8]>::len), Some(22));
    let (error, offset) = chunks.failure().expect("a failure");
    assert_eq!((error.to_string().as_str(), offset), ("cut", 22));
    assert!(chunks.next(&mut buffer).is_none());
}
