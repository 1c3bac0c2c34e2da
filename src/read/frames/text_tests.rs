//! The text log's forms, its edge cases, and "in pieces = whole".

use std::sync::Arc;

use super::{Frame, FrameKind, TextLog};
use crate::vocabulary::{Identifier, Instant};

fn read(text: &[u8]) -> (Vec<Frame>, TextLog) {
    read_in_pieces(text, text.len().max(1))
}

fn read_in_pieces(text: &[u8], size: usize) -> (Vec<Frame>, TextLog) {
    let file: Arc<str> = "t.log".into();
    let mut log = TextLog::new(&file);
    let mut out = Vec::new();
    for piece in text.chunks(size) {
        log.push(piece, &mut out);
    }
    log.finish(&mut out);
    (out, log)
}

fn one(line: &str) -> Frame {
    let (frames, log) = read(line.as_bytes());
    assert_eq!(log.rejects.count(), 0, "{line} was rejected");
    assert_eq!(frames.len(), 1, "{line}");
    frames[0]
}

/// EX-5a to EX-5j (FACTS 5.1), expected values as printed there.
#[test]
fn forms_of_the_log_line() {
    let a = one("(1436509052.249713) vcan0 044#2A366C2BBA");
    assert_eq!((a.id, a.length), (Identifier::base(0x44), 5));
    assert_eq!(a.data, 0x2A36_6C2B_BA00_0000);
    assert_eq!(a.time, Instant(1_436_509_052_249_713_000));
    let b = one("(1436509053.249713) can0 123#R");
    assert_eq!((b.kind, b.length), (FrameKind::Remote, 0));
    let c = one("(1436509053.349713) can0 123#R8");
    assert_eq!((c.kind, c.length), (FrameKind::Remote, 8));
    let d = one("(1436509053.650713) can1 1F334455#1122334455667788");
    assert_eq!((d.id, d.data), (Identifier::extended(0x1F33_4455), 0x1122_3344_5566_7788));
    let e = one("(1436509053.850870) can0 12345678##1112233445566778899AABBCCDDEEFF00");
    assert_eq!((e.length, e.data), (16, 0x1122_3344_5566_7788));
    let f = one("(1436509054.450870) can0 20000040#0000000000000000");
    assert_eq!((f.kind, f.id.value()), (FrameKind::Error, 0x40));
    let g = one("(1436509054.550870) can0 20000088#0000000200000000");
    assert_eq!((g.kind, g.id.value(), g.data), (FrameKind::Error, 0x88, 0x0000_0002_0000_0000));
    let h = one("(1436509055.000001) can0 7E8#037F1978 R");
    assert_eq!((h.id, h.length), (Identifier::base(0x7E8), 4));
    let i = one("(1436509056.000001) can0 00000123#01");
    assert_eq!(i.id, Identifier::extended(0x123));
    let j = one("(1700000001.000000) can0 20000288#0000040800008803");
    assert_eq!((j.id.value(), j.data & 0xFFFF), (0x288, 0x8803));
}

#[test]
fn console_form() {
    let a = one(" (000.005001)  can0  18FEDF00   [8]  8A A0 28 7D 7D FF FF F5");
    assert_eq!((a.id, a.length), (Identifier::extended(0x18FE_DF00), 8));
    assert_eq!((a.data, a.time), (0x8AA0_287D_7DFF_FFF5, Instant(5_001_000)));
    let b = one(" (000.1)  can0  123   [4]  remote request");
    assert_eq!((b.kind, b.length), (FrameKind::Remote, 4));
}

/// EX-5k, half a line at the end; blank lines and comments below.
#[test]
fn a_cut_last_line_is_rejected_with_its_place() {
    let (frames, log) = read(b"(1.000000) can0 123#11\n(2.000000) can0 12");
    assert_eq!(frames.len(), 1);
    let rejects = log.rejects.into_entries();
    assert_eq!(rejects[0].place.to_string(), "t.log:2");
    assert!(rejects[0].reason.contains("cut short") || rejects[0].reason.contains("digits"));
}

#[test]
fn line_ends_blank_lines_and_comments() {
    let (frames, log) =
        read(b"# made by hand\r\n(1.000000) can0 123#11\r\n\r\n(1.010000) can0 123#12\r\n");
    assert_eq!((frames.len(), log.rejects.count(), log.blank_lines), (2, 0, 2));
    assert_eq!(frames[1].line, 4);
}

#[test]
fn a_decimal_comma_is_read_and_counted() {
    let (frames, log) = read(b"(1700000000,250000) can0 123#11\n");
    assert_eq!(frames[0].time, Instant(1_700_000_000_250_000_000));
    assert_eq!(log.decimal_commas, 1);
}

#[test]
fn what_is_not_a_frame_is_rejected_with_a_reason() {
    for (line, part) in [
        ("12:00:01.000 can0 123#11", "time stamp"),
        ("(12:00:01) can0 123#11", "seconds.fraction"),
        ("(1.0) can0 1234#11", "3 nor 8"),
        ("(1.0) can0 123#1", "half a data byte"),
        ("(1.0) can0 123#112233445566778899", "more than 8"),
        ("(1.0) can0 123#zz", "not hexadecimal"),
        ("(1.0) can0 FFFFFFFF#zz", "not hexadecimal"),
        ("(1.0) can0 DFFFFFFF#00", "above 1FFFFFFF"),
        ("(1.0) can0 800#00", "above 7FF"),
        ("(1.0) can0 123##0112233445566778899AA", "no CAN FD frame"),
        ("(99999999999.0) can0 123#00", "seconds.fraction"),
        ("(9223372035.999999) can0 123#00", "after the year 2116"),
        ("(1.0) can0", "before an identifier"),
        ("(1.0 can0 123#00", "closing bracket"),
        ("(1.0) can0 123 [4] 11 22", "fewer data bytes"),
        ("(1.0) can0 123#00 trailing", "neither `R` nor `T`"),
    ] {
        let (frames, log) = read(line.as_bytes());
        assert!(frames.is_empty(), "{line}");
        let rejects = log.rejects.into_entries();
        assert!(rejects[0].reason.contains(part), "{line}: {}", rejects[0].reason);
    }
}

#[test]
fn a_line_without_end_is_not_held() {
    let mut text = vec![b'x'; 300_000];
    text.extend_from_slice(b"\n(1.000000) can0 123#11\n");
    let (frames, log) = read_in_pieces(&text, 1000);
    assert_eq!((frames.len(), log.rejects.count()), (1, 1));
    assert_eq!(frames[0].line, 2);
}

#[test]
fn in_pieces_equals_whole_and_quick_equals_careful() {
    let mut text = String::new();
    for n in 0..400u32 {
        let data = "00112233445566".get(..(n as usize % 8) * 2).unwrap_or("");
        let id = if n % 3 == 0 { format!("{:08X}", n * 7919) } else { format!("{:03X}", n) };
        let iface = if n % 50 == 49 { "can1" } else { "can0" };
        text.push_str(&format!(
            "(17{:08}.{:06}) {iface} {id}#{data}\n",
            n / 9,
            n * 997 % 1_000_000
        ));
        if n % 41 == 0 {
            text.push_str("(garbage\n");
        }
    }
    let (whole, log) = read(text.as_bytes());
    assert_eq!(whole.len(), 400);
    for size in [1, 7, 64, 129, 4096] {
        let (pieces, other) = read_in_pieces(text.as_bytes(), size);
        assert_eq!(pieces, whole, "pieces of {size}");
        assert_eq!(other.rejects.count(), log.rejects.count());
    }
}

/// A byte at a time every line is read carefully; in one block nearly all are read the quick way.
#[test]
fn every_shape_read_quickly_is_read_carefully_too() {
    let mut text = String::new();
    let mut state = 1u64;
    for n in 0..6000u64 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963);
        let pick = |bits: u32, of: u64| (state >> bits) % of;
        let iface = ["can0", "can1", "vcan0", "a-long-name-x", "a-name-too-long-for-it"]
            [usize::try_from(pick(7, 5) * pick(9, 2)).unwrap()];
        let id = match pick(11, 8) {
            0..4 => format!("{:03X}", pick(13, 0x840)),
            4 | 5 => format!("{:08x}", pick(13, 0x2000_0000)),
            6 => format!("{:08X}", 0x2000_0000 | pick(13, 0x200)),
            _ => format!("{:08X}", pick(13, 0x1_0000_0000)),
        };
        let digits = format!("{state:016X}{:016x}", state.rotate_left(17)).repeat(4);
        let length = match pick(17, 6) {
            0 => pick(19, 70) * 2,
            1 => pick(19, 20),
            2 => [24, 32, 40, 48, 64, 96, 128][usize::try_from(pick(19, 7)).unwrap()],
            _ => 16,
        };
        let mark = ["#", "#", "#", "##1", "##", "#R"][usize::try_from(pick(23, 6)).unwrap()];
        let length = if mark == "#R" { length.min(1) } else { length.min(128) };
        let data = &digits[..usize::try_from(length).unwrap()];
        let tail = ["", "", "", " R", " T", "\r", " R\r", " X", "  ", "."]
            [usize::try_from(pick(29, 10)).unwrap()];
        let (second, micros) = (1_767_600_000 + n / 9, n * 997 % 1_000_000);
        text.push_str(&format!("({second}.{micros:06}) {iface} {id}{mark}{data}{tail}\n"));
    }
    let (quick, log) = read(text.as_bytes());
    let (careful, other) = read_in_pieces(text.as_bytes(), 1);
    assert_eq!(quick, careful);
    assert_eq!(log.rejects.into_entries(), other.rejects.into_entries());
    for (kind, fewest) in
        [(FrameKind::Error, 100), (FrameKind::Remote, 20), (FrameKind::Data, 1000)]
    {
        assert!(quick.iter().filter(|f| f.kind == kind).count() > fewest, "{kind:?}");
    }
    assert!(quick.iter().filter(|f| f.length > 8).count() > 100, "long frames");
}
