//! The published examples of ISO-TP, and its limits.

use proptest::prelude::*;

use super::iso_tp::{Abort, FlowControl, FlowState, Message, Part, Reassembly, part};
use crate::vocabulary::{Identifier, Instant};

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
}

const MS: i64 = 1_000_000;

/// Frames of one sender 10 ms apart, the receiver letting it go; the last message and abort.
fn sent(frames: &[&str]) -> (Option<Message>, Option<Abort>) {
    let id = Identifier::base(0x7E8);
    let mut all = Reassembly::default();
    let (mut message, mut aborted) = (None, None);
    for (n, frame) in (0i64..).zip(frames) {
        let bytes = hex(frame);
        let Some(part) = part(&bytes, bytes.len()) else { continue };
        let step = all.frame(id, part, Instant(n * 10 * MS), 1);
        all.flow(id, FlowControl { state: FlowState::Go, block: 0, separation_us: Some(0) });
        message = step.message.or(message);
        aborted = step.aborted.map(|a| a.reason).or(aborted);
    }
    (message, aborted)
}

/// EX-6a and 6e: the team's notes, bytes read back with an independent library there.
#[test]
fn ex_6a_and_6e_messages_of_many_frames() {
    let (message, aborted) =
        sent(&["10 0F 59 02 FF C1 21 87", "21 2F C0 73 88 08 C1 40", "22 87 08 00 00 00 00 00"]);
    let message = message.unwrap();
    assert_eq!(message.payload, hex("59 02 FF C1 21 87 2F C0 73 88 08 C1 40 87 08"));
    assert_eq!((message.cut, aborted), (false, None));
    let (message, aborted) = sent(&["10 1F 59 02 FF C1 21 87", "21 2F C0 73 88 08 C1 40", "23 00"]);
    assert_eq!(message, None);
    assert_eq!(aborted, Some(Abort::Sequence { expected: 2, found: 3 }));
}

#[test]
fn ex_6b_to_6f_flow_control_and_what_is_not_iso_tp() {
    let flow = |text: &str| {
        let bytes = hex(text);
        match part(&bytes, bytes.len()) {
            Some(Part::FlowControl(f)) => Some((f.state, f.block, f.separation_us)),
            _ => None,
        }
    };
    for (text, expected) in [
        ("30 00 F5", Some((FlowState::Go, 0, Some(500)))),
        ("30 00 14", Some((FlowState::Go, 0, Some(20_000)))),
        ("31 FF 00", Some((FlowState::Wait, 255, Some(0)))),
        ("32 00 00", Some((FlowState::Overflow, 0, Some(0)))),
        ("30 00 80", Some((FlowState::Go, 0, None))),
        ("33 00 00", None),
        ("30 00", None),
    ] {
        assert_eq!(flow(text), expected, "{text}");
    }
    for first in 0x40..=0xFFu8 {
        assert_eq!(part(&[first, 0, 0, 0, 0, 0, 0, 0], 8), None, "{first:02X}");
    }
}

#[test]
fn lengths_and_their_escapes() {
    let single = |text: &str, length: usize| match part(&hex(text), length) {
        Some(Part::Single { length, data }) => Some((length, data.to_vec())),
        _ => None,
    };
    assert_eq!(single("03 19 02 FF", 4), Some((3, hex("19 02 FF"))));
    assert_eq!(single("03 7F 19 78 55 55 55 55", 8), Some((3, hex("7F 19 78"))));
    assert_eq!(single("00 03 19 02 FF 00 00 00", 8), None, "no escape in a classic frame");
    assert_eq!(single("08 01 02 03 04 05 06 07", 8), None);
    assert_eq!(single("05 19 02", 3), None, "more claimed than sent");
    // CAN FD: length in the second byte. The log keeps the first eight bytes of twelve.
    assert_eq!(single("00 0A 59 02 FF C1 21 87", 12), Some((10, hex("59 02 FF C1 21 87"))));
    let first = |text: &str, length: usize| match part(&hex(text), length) {
        Some(Part::First { length, data, carried }) => Some((length, data.to_vec(), carried)),
        _ => None,
    };
    assert_eq!(first("10 14 41 42 43 44 45 46", 8), Some((20, hex("41 42 43 44 45 46"), 6)));
    assert_eq!(first("1F FF 01 02 03 04 05 06", 8), Some((4095, hex("01 02 03 04 05 06"), 6)));
    assert_eq!(first("10 00 00 01 00 00 41 42", 8), Some((65_536, hex("41 42"), 2)));
    assert_eq!(first("10 00 00 00 0F FF 41 42", 8), None, "32 bits where 12 would do");
    assert_eq!(first("10 07 01 02 03 04 05 06", 8), None, "fits into a single frame");
}

#[test]
fn who_stopped() {
    let id = Identifier::base(0x7E8);
    let begin = hex("10 14 59 02 FF C1 21 87");
    let go = |state, block| FlowControl { state, block, separation_us: Some(0) };
    for (word, pieces, expected) in [
        (None, 0, Abort::ReceiverStopped),
        (None, 1, Abort::SenderStopped),
        (Some(go(FlowState::Go, 0)), 0, Abort::SenderStopped),
        (Some(go(FlowState::Go, 0)), 1, Abort::SenderStopped),
        (Some(go(FlowState::Go, 1)), 1, Abort::ReceiverStopped),
        (Some(go(FlowState::Wait, 0)), 0, Abort::ReceiverStopped),
        (Some(go(FlowState::Overflow, 0)), 0, Abort::ReceiverStopped),
    ] {
        let mut all = Reassembly::default();
        all.frame(id, part(&begin, 8).unwrap(), Instant(0), 7);
        if let Some(word) = word {
            all.flow(id, word);
        }
        for n in 0..pieces {
            let piece = [0x21 + n, 1, 2, 3, 4, 5, 6, 7];
            all.frame(id, part(&piece, 8).unwrap(), Instant(10 * MS), 8);
        }
        assert!(all.expire(Instant(900 * MS)).is_empty());
        let lost = all.expire(Instant(1100 * MS));
        assert_eq!(lost.len(), 1);
        assert_eq!((lost[0].reason, lost[0].line), (expected, 7), "{word:?} {pieces}");
    }
}

#[test]
fn a_claimed_length_costs_nothing_and_memory_is_bounded() {
    let mut all = Reassembly::default();
    for n in 0..1000 {
        let claim = hex("10 00 FF FF FF FF 41 42");
        all.frame(Identifier::base(n), part(&claim, 8).unwrap(), Instant(i64::from(n)), 1);
    }
    assert_eq!(all.under_way(), 64);
    assert!(all.bytes() <= 64 * 64);
    let last = Identifier::base(999);
    let mut reason = None;
    for n in 1..20_000u32 {
        let piece = [0x20 | low_byte(n as usize & 0x0F), 0, 0, 0, 0, 0, 0, 0];
        let step = all.frame(last, part(&piece, 8).unwrap(), Instant(1000), 1);
        reason = reason.or(step.aborted.map(|a| a.reason));
    }
    assert_eq!(reason, Some(Abort::TooLong));
}

fn low_byte(n: usize) -> u8 {
    n.to_le_bytes()[0]
}

/// The frames of a message, cut as the standard says.
fn cut(payload: &[u8]) -> Vec<Vec<u8>> {
    let Ok(length) = u16::try_from(payload.len()) else { return Vec::new() };
    if length <= 7 {
        let mut frame = vec![low_byte(payload.len())];
        frame.extend(payload);
        return vec![frame];
    }
    let [high, low] = length.to_be_bytes();
    let mut frames = vec![[&[0x10 | high, low], &payload[..6]].concat()];
    for (n, piece) in payload[6..].chunks(7).enumerate() {
        let mut frame = vec![0x20 | low_byte((n + 1) & 0x0F)];
        frame.extend(piece);
        frame.resize(8, 0xCC);
        frames.push(frame);
    }
    frames
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_bytes_make_it_panic(
        frames in prop::collection::vec((0u32..8, prop::collection::vec(any::<u8>(), 0..12), 0usize..70, any::<i64>()), 0..200)
    ) {
        let mut all = Reassembly::default();
        for (id, bytes, length, time) in frames {
            let id = Identifier::base(id);
            if let Some(part) = part(&bytes, length) {
                if let Part::FlowControl(word) = part {
                    all.flow(id, word);
                }
                all.frame(id, part, Instant(time), 1);
            }
            all.expire(Instant(time));
            prop_assert!(all.bytes() <= 8 * 200 * 12);
        }
    }

    #[test]
    fn messages_survive_any_interleaving(
        payloads in prop::collection::vec(prop::collection::vec(any::<u8>(), 1..300), 1..6),
        order in prop::collection::vec(any::<prop::sample::Index>(), 400),
    ) {
        let mut queues: Vec<Vec<Vec<u8>>> = payloads.iter().map(|p| cut(p)).collect();
        let mut all = Reassembly::default();
        let mut got = vec![None; payloads.len()];
        let mut order = order.into_iter().cycle();
        while queues.iter().any(|q| !q.is_empty()) {
            let Some(pick) = order.next() else { break };
            let busy: Vec<usize> = (0..queues.len()).filter(|n| !queues[*n].is_empty()).collect();
            let n = busy[pick.index(busy.len())];
            let frame = queues[n].remove(0);
            let part = part(&frame, frame.len()).expect("a frame of ISO-TP");
            let id = Identifier::base(u32::from(low_byte(n)));
            if let Some(message) = all.frame(id, part, Instant(0), 1).message {
                got[n] = Some(message.payload);
            }
        }
        let expected: Vec<_> = payloads.into_iter().map(Some).collect();
        prop_assert_eq!(got, expected);
        prop_assert_eq!(all.under_way(), 0);
    }
}
