//! Captures: the examples of the team's notes (FACTS 5.2), both byte orders, all clocks, and damage.

use std::cell::RefCell;
use std::io::Read;
use std::sync::Arc;

use super::interface::Clock;
use super::read_capture;
use crate::read::Account;
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant, Spot};

/// Frames with interface names, and the account.
fn read(bytes: impl Read) -> (Vec<(Frame, String)>, Account) {
    let file: Arc<str> = "t.pcap".into();
    let found = RefCell::new(Vec::new());
    let account = read_capture(bytes, &file, &|frames: Vec<Frame>, interfaces: &[String]| {
        found
            .borrow_mut()
            .extend(frames.iter().map(|f| (*f, interfaces[usize::from(f.channel)].clone())));
        frames
    });
    (found.into_inner(), account)
}

fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text.bytes().filter(u8::is_ascii_hexdigit).collect();
    let byte = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap();
    digits.chunks(2).map(byte).collect()
}

/// EX-5l to EX-5p.
const PCAP: &str = "4d3cb2a1 0200 0400 00000000 00000000 ffff0000 e3000000
    00f15365 15cd5b07 10000000 10000000 98feca0b 08 00 00 00 04ffd3070900ffff
    00f15365 00176407 0c000000 0c000000 000007e8 04 00 00 00 037f1978
    01f15365 06000000 10000000 10000000 20000288 08 00 00 00 0000040800008803
    01f15365 07000000 14000000 14000000 00000123 0c 05 00 00 000102030405060708090a0b";

/// EX-5q.
const PCAPNG: &str = "0a0d0d0a1c0000004d3c2b1a01000000ffffffffffffffff1c000000
    0100000020000000e30000000000000009000100090000000000000020000000
    060000003000000000000000fe9c971715cd853d100000001000000098feca0b0800000004ffd3070900ffff
    30000000";

#[test]
fn the_notes_examples() {
    let (frames, account) = read(&hex(PCAP)[..]);
    assert_eq!(account.rejects, []);
    let [a, b, c, d] = frames.iter().map(|(f, _)| *f).collect::<Vec<_>>()[..] else { panic!() };
    assert_eq!(a.time, Instant(1_700_000_000_123_456_789));
    assert_eq!((a.id, a.length, a.line), (Identifier::extended(0x18FE_CA0B), 8, 1));
    assert_eq!(a.data, 0x04FF_D307_0900_FFFF);
    assert_eq!((b.time, b.id), (Instant(1_700_000_000_124_000_000), Identifier::base(0x7E8)));
    assert_eq!((b.length, b.data), (4, 0x037F_1978_0000_0000));
    assert_eq!((c.kind, c.id, c.data & 0xFFFF), (FrameKind::Error, Identifier(0x288), 0x8803));
    assert_eq!((d.length, d.data, d.line), (12, 0x0001_0203_0405_0607, 4));
    let (frames, account) = read(&hex(PCAPNG)[..]);
    assert_eq!(account.rejects, []);
    assert_eq!(frames.iter().map(|(f, _)| *f).collect::<Vec<_>>(), [a]);
}

#[test]
fn clocks_of_any_unit() {
    let at = |resolution, offset, stamp| Clock { resolution, offset }.instant(stamp);
    // EX-5r and EX-5s.
    assert_eq!(at(0x8A, 0, 1024 + 512), Some(Instant(1_500_000_000)));
    assert_eq!(at(6, 3600, 5_000_000), Some(Instant(3_605_000_000_000)));
    assert_eq!(at(0, -10, 3), Some(Instant(-7_000_000_000)));
    assert_eq!(at(12, 0, 1999), Some(Instant(1)));
    assert_eq!(at(0x7F, 0, u64::MAX), Some(Instant(0)));
    assert_eq!(at(0xFF, 0, u64::MAX), Some(Instant(0)));
    assert_eq!(at(0, 0, u64::MAX), None);
    assert_eq!(at(9, i64::MAX, 0), None);
}

/// A pcapng block in either byte order.
fn block(big: bool, kind: u32, body: &[u8]) -> Vec<u8> {
    let number = |n: u32| if big { n.to_be_bytes() } else { n.to_le_bytes() };
    let padded = body.len().next_multiple_of(4);
    let length = number(12 + u32::try_from(padded).unwrap());
    let mut block = [&number(kind)[..], &length, body].concat();
    block.resize(8 + padded, 0);
    block.extend(length);
    block
}

fn section(big: bool) -> Vec<u8> {
    let magic = 0x1A2B_3C4D_u32;
    let magic = if big { magic.to_be_bytes() } else { magic.to_le_bytes() };
    block(
        big,
        0x0A0D_0D0A,
        &[&magic[..], &[if big { 0 } else { 1 }; 1], &[0; 3], &[0xFF; 8]].concat(),
    )
}

#[test]
fn sections_orders_names_and_every_packet_block() {
    let frame = hex("00000123 02 00 00 00 aabb");
    let mut file = section(false);
    // An interface named can1, in microseconds; a statistics block and an unknown one are skipped.
    file.extend(block(false, 1, &hex("e300 0000 00000000 0200 0400 63616e31 0000 0000")));
    file.extend(block(false, 5, &[0; 16]));
    file.extend(block(false, 0x0BAD, &[7; 33]));
    let head = |id: &str| hex(&format!("{id} 00000000 40420f00 0a000000 0a000000"));
    let enhanced =
        [&head("00000000")[..], &frame, &hex("0000 0400 0800 0300000000000000")].concat();
    file.extend(block(false, 6, &enhanced));
    // The obsolete block: interface 0, two packets dropped.
    file.extend(block(false, 2, &[&head("0000 0200")[..], &frame].concat()));
    file.extend(block(false, 3, &[&hex("0a000000")[..], &frame].concat()));
    file.extend(block(false, 6, &[&head("05000000")[..], &frame].concat()));
    // A section in the other order forgets the interface; this one has no name.
    file.extend(section(true));
    file.extend(block(true, 1, &hex("00e3 0000 00000000")));
    let packet = hex("00000000 00000000 001e8480 0000000a 0000000a");
    file.extend(block(true, 6, &[&packet[..], &frame].concat()));
    let (frames, account) = read(&file[..]);
    // Losses stand before the packet that tells of them.
    let lost = |f: &Frame| f.kind == FrameKind::Lost;
    let losses: Vec<_> =
        frames.iter().filter(|(f, _)| lost(f)).map(|(f, _)| (f.line, f.data)).collect();
    assert_eq!(losses, [(1, 3), (2, 2)]);
    let told: Vec<_> = frames
        .iter()
        .filter(|(f, _)| !lost(f))
        .map(|(f, name)| (f.time.0, f.line, f.data >> 48, name.as_str()))
        .collect();
    let expected = [
        (1_000_000_000, 1, 0xAABB, "can1"),
        (1_000_000_000, 2, 0xAABB, "can1"),
        (2_000_000_000, 5, 0xAABB, "can"),
    ];
    assert_eq!(told, expected);
    let reasons: Vec<&str> = account.rejects.iter().map(|r| r.reason.as_str()).collect();
    assert!(reasons[0].contains("without a time stamp"), "{reasons:?}");
    assert!(reasons[1].contains("not described"), "{reasons:?}");
    assert_eq!(account.leniencies.values().copied().collect::<Vec<_>>(), [5]);
}

/// Statistics of an interface say how many packets were dropped in all; the last word counts.
#[test]
fn drops_that_only_statistics_tell_are_counted() {
    for big in [false, true] {
        let number = |n: u16| if big { n.to_be_bytes() } else { n.to_le_bytes() };
        let statistics = |dropped: u8| {
            let mut count = [0; 8];
            count[if big { 7 } else { 0 }] = dropped;
            let head = [&[0; 12][..], &number(5), &number(8), &count, &[0; 4]].concat();
            block(big, 5, &head)
        };
        let interface = [&number(227)[..], &[0; 6]].concat();
        let mut file = section(big);
        file.extend([block(big, 1, &interface), statistics(3), statistics(9)].concat());
        file.extend([section(big), block(big, 1, &interface), statistics(4)].concat());
        let (frames, account) = read(&file[..]);
        assert!(frames.is_empty() && account.rejects.is_empty());
        assert_eq!(account.leniencies.values().copied().collect::<Vec<_>>(), [13]);
    }
}

#[test]
fn cooked_packets_in_the_hosts_order_and_other_link_types() {
    let pcap = |link: u32, packets: &[Vec<u8>]| {
        let mut file = hex("d4c3b2a1 0200 0400 00000000 00000000 ffff0000");
        file.extend(link.to_le_bytes());
        for packet in packets {
            let length = u32::try_from(packet.len()).unwrap().to_le_bytes();
            file.extend([&hex("01000000 02000000")[..], &length, &length, packet].concat());
        }
        file
    };
    let cooked = |protocol: &str, frame: &str| {
        hex(&format!("0001 0118 0000 0000000000000000 {protocol} {frame}"))
    };
    let packets = [
        cooked("000c", "23010000 02 00 00 00 aabb"),
        cooked("000d", "0bcafe98 0c 01 00 00 000102030405060708090a0b"),
        cooked("000e", "00000000 80"),
        cooked("0800", "45000000"),
    ];
    let (frames, account) = read(&pcap(113, &packets)[..]);
    assert_eq!(frames.len(), 2);
    assert_eq!(
        (frames[0].0.id, frames[0].0.time),
        (Identifier::base(0x123), Instant(1_000_002_000))
    );
    assert_eq!((frames[1].0.id, frames[1].0.length), (Identifier::extended(0x18FE_CA0B), 12));
    assert!(account.rejects[0].reason.contains("CAN XL"));
    assert!(account.rejects[1].reason.contains("protocol is not CAN"));
    let second = hex("000c 0000 00000003 0118 01 00 0000000000000000 23010000 02 00 00 00 aabb");
    let (frames, _) = read(&pcap(276, &[second])[..]);
    assert_eq!((frames[0].0.data >> 48, frames[0].1.as_str()), (0xAABB, "if3"));
    let (frames, account) = read(&pcap(1, &packets)[..]);
    assert!(frames.is_empty());
    assert_eq!((account.rejects.len(), account.rejects[0].records), (1, 4));
    assert!(account.rejects[0].reason.contains("link type 1;"), "{}", account.rejects[0].reason);
    assert_eq!(account.rejects[0].place.spot, Spot::Byte(24));
}

/// Files exist whose writer forgot that link type 227 is big endian.
#[test]
fn identifiers_in_the_wrong_order_are_read_and_counted() {
    let text = PCAP
        .replace("98feca0b", "0bcafe98")
        .replace("000007e8", "e8070000")
        .replace("20000288", "88020020")
        .replace("00000123", "23010000");
    let (frames, account) = read(&hex(&text)[..]);
    let (expected, _) = read(&hex(PCAP)[..]);
    assert_eq!(frames, expected);
    assert_eq!(account.rejects, []);
    assert_eq!(account.leniencies.values().copied().collect::<Vec<_>>(), [4]);
}

#[test]
fn cut_and_damaged_captures_keep_what_came() {
    let whole = hex(PCAP);
    let (frames, account) = read(&whole[..whole.len() - 5]);
    assert_eq!((frames.len(), account.rejects.len()), (3, 1));
    assert_eq!(account.rejects[0].place.spot, Spot::Byte(24 + 32 + 28 + 32));
    assert!(account.rejects[0].reason.contains("cut short"));
    let mut damaged = whole.clone();
    damaged[24 + 8..24 + 12].fill(0xFF);
    let (frames, account) = read(&damaged[..]);
    assert_eq!((frames.len(), account.rejects.len()), (0, 1));
    assert!(account.rejects[0].reason.contains("damaged"));
    for (bytes, part) in [(&whole[..10], "cut short: 10 bytes"), (b"nonsense", "magic")] {
        let (_, account) = read(bytes);
        assert!(account.rejects[0].reason.contains(part), "{}", account.rejects[0].reason);
    }
    let ng = hex(PCAPNG);
    for cut in 29..ng.len() {
        let (frames, account) = read(&ng[..cut]);
        let at_block = cut == 28 + 32;
        assert_eq!((frames.len(), account.rejects.len()), (0, usize::from(!at_block)), "at {cut}");
    }
}
