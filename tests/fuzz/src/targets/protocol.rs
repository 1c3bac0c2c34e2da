//! What frames mean: error frames, J1939 identifiers, live values; messages out of many frames, and what
//! diagnostic messages say.

use std::collections::BTreeMap;

use crate::protocol::j1939::{transport, trouble};
use crate::protocol::{error_frames, frame_timing, iso_tp, j1939, live_values, obd, uds};
use crate::vocabulary::{Identifier, Instant};

/// Four bytes of identifier, eight of data, one of length.
pub fn frames(data: &[u8]) {
    let Some((id, rest)) = data.split_first_chunk::<4>() else { return };
    let Some((bytes, rest)) = rest.split_first_chunk::<8>() else { return };
    let (id, bytes) = (u32::from_be_bytes(*id), u64::from_be_bytes(*bytes));
    let length = rest.first().copied().unwrap_or(8);
    let _ = error_frames::meaning(id, bytes);
    let _ = error_frames::wire_fault(id, bytes);
    assert!(error_frames::classes(id).len() < 1000);
    for id in [Identifier(id), Identifier::base(id), Identifier::extended(id)] {
        assert!(j1939::header(id).is_none() || id.is_extended());
        if let Some((quantity, value)) = live_values::value(id, bytes, length) {
            assert!(value.is_finite(), "{} of {id} is {value}", quantity.name());
        }
        let least = frame_timing::bits_without_stuffing(id.is_extended(), length);
        assert!(least <= frame_timing::bits_at_worst(id.is_extended(), length));
    }
}

/// Frames of ISO-TP: two bytes of identifier and pause, one of length, then as many bytes. Bytes are kept in
/// bounds whatever a first frame claims, and a message is as long as it said.
pub fn iso_tp_frames(mut data: &[u8]) {
    let mut reassembly = iso_tp::Reassembly::default();
    let mut time = Instant(0);
    let mut claimed: BTreeMap<u32, u64> = BTreeMap::new();
    let mut line = 0;
    while let Some((&[who, pause, length], rest)) = data.split_first_chunk::<3>() {
        let length = usize::from(length) % 65;
        let (bytes, behind) = rest.split_at(length.min(rest.len()));
        data = behind;
        line += 1;
        time = Instant(time.0 + i64::from(pause) * 10_000_000);
        let id = Identifier::base(0x700 + u32::from(who));
        // A log may keep fewer bytes than were sent.
        let kept = bytes.get(..8).unwrap_or(bytes);
        let Some(part) = iso_tp::part(kept, bytes.len()) else { continue };
        match part {
            iso_tp::Part::First { length, .. } | iso_tp::Part::Single { length, .. } => {
                claimed.insert(id.0, u64::from(length));
            }
            iso_tp::Part::FlowControl(word) => reassembly.flow(id, word),
            iso_tp::Part::Consecutive { .. } => {}
        }
        let step = reassembly.frame(id, part, time, line);
        if let Some(message) = step.message {
            let length = message.payload.len() as u64;
            let claim = claimed.get(&id.0).copied().unwrap_or(0);
            assert!(if message.cut { length < claim } else { length == claim });
            assert!(message.begin <= message.end && message.line <= line);
            payload(&message.payload);
        }
        if pause == 255 {
            reassembly.expire(time);
        }
        assert!(reassembly.under_way() <= 64);
        assert!(reassembly.bytes() <= 16 * (line as usize * 64 + 64), "more than was sent");
    }
    reassembly.expire(Instant(i64::MAX));
    assert_eq!(reassembly.under_way(), 0);
}

/// A payload of UDS or of the legislated services: no more codes than bytes, values that are numbers.
pub fn payload(data: &[u8]) {
    let most = data.len() / 2;
    if let Some(uds::Answer::Positive { body, .. }) = uds::answer(data) {
        for cut in [false, true] {
            if let Some(uds::CodesRead::List { codes, whole }) = uds::codes_read(body, cut) {
                assert!(codes.len() <= most && !(whole && cut));
            }
        }
    }
    assert!(uds::request(data).is_none_or(|r| Some(&r.service) == data.first()));
    assert!(obd::codes(data).is_none_or(|found| found.codes.len() <= most));
    let values = obd::live_values(data);
    assert!(values.len() <= most && values.iter().all(|(_, value)| value.is_finite()));
    if let Some(list) = trouble::trouble_list(data) {
        assert!(list.codes.len() <= data.len() / 4);
        assert!(list.codes.iter().all(|(c, n)| c.spn < 1 << 19 && n.is_none_or(|n| n < 127)));
    }
    if let Some(eight) = data.first_chunk::<8>() {
        let name = j1939::claim::name(*eight);
        assert_eq!(name.bits.to_le_bytes(), *eight);
    }
    assert!(j1939::claim::requested(data).is_none_or(|group| group < 1 << 18));
}

/// Frames of J1939's transport: source, destination, pause, kind, then eight bytes.
pub fn transport_frames(data: &[u8]) {
    let mut transport = transport::Transport::default();
    let mut time = Instant(0);
    for (line, frame) in (1u64..).zip(data.chunks_exact(12)) {
        let Some((&[source, destination, pause, kind], bytes)) = frame.split_first_chunk::<4>()
        else {
            continue;
        };
        time = Instant(time.0 + i64::from(pause) * 10_000_000);
        let step = transport.frame(kind & 1 == 1, source, destination, bytes, time, line);
        if let Some(message) = step.message {
            assert!((9..=1785).contains(&message.payload.len()) && message.line < line);
            payload(&message.payload);
        }
        if kind & 2 == 2 {
            transport.expire(time);
        }
        let (open, held) = transport.held();
        assert!(open <= 64 && held <= 64 * 1792);
    }
    transport.expire(Instant(i64::MAX));
    assert_eq!(transport.held(), (0, 0));
}
