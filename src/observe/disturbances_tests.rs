//! Strangers on a bus: garbage is told, a tester that tries one identifier after the other is not.

use std::sync::Arc;

use super::{DisturbanceRow, Observer, Senders};
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant};

/// Two identifiers of 10 ms for 12 s, and from 7 s on forty strangers, one each 100 ms.
fn disturbed(stranger: impl Fn(u32) -> (u32, u64)) -> Vec<DisturbanceRow> {
    let mut observer = Observer::default();
    let frame = |millis: i64, id: u32, data: u64| Frame {
        time: Instant(1_700_000_000_000_000_000 + millis * 1_000_000),
        data,
        line: u64::try_from(millis).expect("positive"),
        id: Identifier::base(id),
        channel: 0,
        length: 8,
        kind: FrameKind::Data,
    };
    let mut number = 0;
    for millis in 0..12_000 {
        let mut frames = Vec::new();
        match millis % 10 {
            1 => frames.push(frame(millis, 0x100, 0)),
            5 => frames.push(frame(millis, 0x200, 0)),
            7 if millis >= 7000 && millis % 100 == 7 && number < 40 => {
                let (id, data) = stranger(number);
                frames.push(frame(millis, id, data));
                number += 1;
            }
            _ => {}
        }
        observer.push(&frames, &["can0".to_owned()]);
    }
    let file: Arc<str> = "log".into();
    observer.finish(&Senders::default(), None, &file, 0).facts.disturbances
}

#[test]
fn a_tester_that_tries_all_identifiers_is_no_garbage() {
    // A first frame that claims 100 bytes, to see who sends flow control.
    assert_eq!(disturbed(|n| (0x600 + n, 0x1064_0000_0000_0000)), []);
}

#[test]
fn strangers_with_anything_in_them_are_garbage() {
    let noise = |n: u32| u64::from(n + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    assert_eq!(disturbed(|n| (0x600 + n, noise(n))).len(), 1);
    // The same first frame, but on identifiers without order.
    assert_eq!(disturbed(|n| (0x600 + n * 101 % 256, 0x1064_0000_0000_0000)).len(), 1);
    // One order, one content, and no frame of ISO-TP.
    assert_eq!(disturbed(|n| (0x600 + n, 0xFFFF_0000_0000_0000)).len(), 1);
}
