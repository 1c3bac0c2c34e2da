//! Any number of hands reads the same from a log as one.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io::{self, Read};
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering::SeqCst;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::ThreadId;

use proptest::prelude::*;

use super::hands::Hands;
use super::split::{Taking, read_in_chunks};
use super::watch::watch;
use crate::observe::{Observer, Senders};
use crate::read::frames::{Frame, TextLog};
use crate::vocabulary::Reject;

/// Frames, interface names, rejects with the break, and lines.
type Outcome = (Vec<Frame>, Vec<String>, Vec<Reject>, u64);

fn name() -> Arc<str> {
    "t.log".into()
}

/// A log of about 1.5 MB with two interfaces, errors, and here and there something that is no frame.
fn log(seed: u64) -> String {
    let (mut text, mut state) = (String::new(), seed);
    for n in 0..32_000u64 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1442);
        let (micros, bus) = (n * 600 + (state >> 58), state >> 63);
        let _ = write!(
            text,
            "({}.{:06}) can{bus} ",
            1_767_600_000 + micros / 1_000_000,
            micros % 1_000_000
        );
        let _ = match state >> 53 & 0x1FF {
            0 => writeln!(text, "1A0#0"),
            1 => writeln!(text, "20000008#0000040000000000"),
            2 => writeln!(text, "\n# a remark\n(cut"),
            3..60 => writeln!(text, "18FEF500##1{state:016X}{state:016X}"),
            kind => writeln!(text, "{:03X}#{state:016X}", 0x100 + kind % 60),
        };
    }
    text
}

fn by_hands(text: &[u8], size: usize, hands: usize, taking: Taking) -> Outcome {
    let hands = Hands::new(hands, 1);
    let _own = hands.begin_file();
    let (mut frames, mut names) = (Vec::new(), Vec::new());
    let (log, broken) =
        read_in_chunks(size, (text, taking), &name(), &hands, &mut |some, all, before| {
            frames.extend(some.iter().map(|frame| frame.behind(before)));
            names = all.to_vec();
        });
    let lines = log.lines();
    let mut rejects = log.rejects.into_entries();
    rejects.extend(broken);
    (frames, names, rejects, lines)
}

fn plainly(text: &[u8]) -> Outcome {
    let mut log = TextLog::new(&name());
    let mut frames = Vec::new();
    log.push(text, &mut frames);
    log.finish(&mut frames);
    let (lines, names) = (log.lines(), log.interfaces.clone());
    (frames, names, log.rejects.into_entries(), lines)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 12,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn hands_and_cuts_change_nothing(
        seed in any::<u64>(), size in 131_074usize..400_000, hands in 1usize..9, cut in 0usize..2000,
        slow in any::<bool>(),
    ) {
        let taking = if slow { Taking::Slow } else { Taking::Quick };
        let text = log(seed);
        let text = &text.as_bytes()[..text.len() - cut];
        let (read, expected) = (by_hands(text, size, hands, taking), plainly(text));
        prop_assert!(read == expected, "{hands} hands, {taking:?}, chunks of {size} bytes");
        prop_assert!(expected.2.len() > 50, "the log has rejects");
    }
}

#[test]
fn facts_are_the_same_from_any_number_of_hands() {
    let text = log(7);
    let mut observer = Observer::default();
    let (frames, names, ..) = plainly(text.as_bytes());
    observer.push(&frames, &names);
    let expected = observer.finish(&Senders::default(), None, &name(), 0);
    assert!(!expected.facts.disturbances.is_empty(), "there is something to see");
    for threads in [1, 2, 3, 8] {
        let hands = Hands::new(threads, 1);
        let _own = hands.begin_file();
        let read = watch(text.as_bytes(), &name(), &Senders::default(), None, 0, &hands);
        assert_eq!(read.frames, expected.frames);
        assert!(read.facts == expected.facts, "{threads} hands");
    }
}

const LINE: &[u8] = b"(1767600000.123456) can0 1A0#0011223344556677\n";

/// A stream of frames, so many bytes long; it says how many it has given.
struct Stream {
    given: Arc<AtomicUsize>,
    length: usize,
    /// Fails on purpose from this byte on.
    faulty_from: usize,
}

impl Stream {
    fn of(length: usize) -> Stream {
        Stream { given: Arc::default(), length, faulty_from: usize::MAX }
    }
}

impl Read for Stream {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let at = self.given.load(SeqCst);
        assert!(at < self.faulty_from, "an inner fault, on purpose");
        let count = into.len().min(self.length - at).min(70_001);
        for (to, from) in into[..count].iter_mut().zip(LINE.iter().cycle().skip(at % LINE.len())) {
            *to = *from;
        }
        self.given.fetch_add(count, SeqCst);
        Ok(count)
    }
}

#[test]
fn a_stop_ends_reading() {
    for (threads, taking) in
        [(1, Taking::Quick), (4, Taking::Quick), (2, Taking::Slow), (4, Taking::Slow)]
    {
        let hands = Hands::new(threads, 1);
        let _own = hands.begin_file();
        let mut batches = 0;
        let endless = Stream::of(usize::MAX);
        read_in_chunks(200_000, (endless, taking), &name(), &hands, &mut |_, _, _| {
            batches += 1;
            if batches == 30 {
                hands.stop();
            }
        });
        assert!((30..60).contains(&batches), "{batches} batches");
    }
}

#[test]
fn a_fault_in_one_hand_is_told_and_nobody_waits_for_ever() {
    for (threads, taking) in
        [(1, Taking::Quick), (3, Taking::Quick), (2, Taking::Slow), (3, Taking::Slow)]
    {
        let hands = Hands::new(threads, 1);
        let _own = hands.begin_file();
        let faulty = Stream { faulty_from: 5_000_000, ..Stream::of(usize::MAX) };
        let (_, broken) =
            read_in_chunks(200_000, (faulty, taking), &name(), &hands, &mut |_, _, _| {});
        assert!(broken.is_some_and(|r| r.reason.contains("inner fault")), "{threads} hands");
    }
}

#[test]
fn a_reader_does_not_run_ahead_of_the_watcher() {
    for taking in [Taking::Quick, Taking::Slow] {
        does_not_run_ahead(taking);
    }
}

fn does_not_run_ahead(taking: Taking) {
    let stream = Stream::of(500_000 * LINE.len());
    let given = Arc::clone(&stream.given);
    let hands = Hands::new(4, 1);
    let _own = hands.begin_file();
    let mut watched = 0usize;
    read_in_chunks(200_000, (stream, taking), &name(), &hands, &mut |some, _, _| {
        watched += some.len();
        // Slow: the others would read it all meanwhile if they could.
        std::thread::sleep(std::time::Duration::from_millis(1));
        let ahead = given.load(SeqCst).saturating_sub(watched * LINE.len());
        assert!(ahead <= 10 * 200_000, "{ahead} bytes are held");
    });
    assert_eq!(watched, 500_000);
}

/// A stream that says which threads have read from it.
struct Readers<'a>(&'a [u8], Arc<Mutex<HashMap<ThreadId, usize>>>);

impl Read for Readers<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let mut readers = self.1.lock().unwrap_or_else(PoisonError::into_inner);
        *readers.entry(std::thread::current().id()).or_default() += 1;
        let count = into.len().min(70_001);
        self.0.read(&mut into[..count])
    }
}

#[test]
fn one_hand_keeps_a_packed_source() {
    let text = log(3);
    let readers = Arc::default();
    let hands = Hands::new(6, 1);
    let _own = hands.begin_file();
    let source = Readers(text.as_bytes(), Arc::clone(&readers));
    read_in_chunks(140_000, (source, Taking::Slow), &name(), &hands, &mut |_, _, _| {});
    let readers = readers.lock().unwrap_or_else(PoisonError::into_inner);
    // The first chunk is read by the hand that watches, all others by one.
    assert_eq!(readers.len(), 2, "{readers:?}");
    assert_eq!(readers[&std::thread::current().id()], 2, "{readers:?}");
}
