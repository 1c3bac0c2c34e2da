//! Error message frames in detail: class, kind of violation, place in the frame, wire, counters.
//!
//! Constants as in the kernel's `linux/can/error.h`. The whole message is read: data byte 1 holds controller
//! states, 2 the kind of violation, 3 its place in the frame, 4 the transceiver (low half CANH, high half
//! CANL), 6 and 7 the error counters, which are to be trusted only with the class bit for them.

use super::error_frames;

const CONTROLLER: u32 = 0x004;
const PROTOCOL: u32 = 0x008;
const TRANSCEIVER: u32 = 0x010;
const COUNTERS: u32 = 0x200;

/// Controller states, byte 1.
const STATES: [(u8, &str); 7] = [
    (0x01, "receive overflow"),
    (0x02, "transmit overflow"),
    (0x04, "receive warning"),
    (0x08, "transmit warning"),
    (0x10, "receive passive"),
    (0x20, "transmit passive"),
    (0x40, "active again"),
];

/// Kinds of violation, byte 2.
const KINDS: [(u8, &str); 8] = [
    (0x01, "bit"),
    (0x02, "form"),
    (0x04, "stuff"),
    (0x08, "dominant not sent"),
    (0x10, "recessive not sent"),
    (0x20, "overload"),
    (0x40, "active error announced"),
    (0x80, "on transmission"),
];

/// Places in the frame, byte 3.
const SPOTS: [(u8, &str); 19] = [
    (0x03, "start of frame"),
    (0x02, "identifier bits 28 to 21"),
    (0x06, "identifier bits 20 to 18"),
    (0x04, "substitute remote bit"),
    (0x05, "identifier extension"),
    (0x07, "identifier bits 17 to 13"),
    (0x0F, "identifier bits 12 to 5"),
    (0x0E, "identifier bits 4 to 0"),
    (0x0C, "remote bit"),
    (0x0D, "reserved bit 1"),
    (0x09, "reserved bit 0"),
    (0x0B, "length code"),
    (0x0A, "data"),
    (0x08, "CRC sequence"),
    (0x18, "CRC delimiter"),
    (0x19, "acknowledge slot"),
    (0x1B, "acknowledge delimiter"),
    (0x1A, "end of frame"),
    (0x12, "intermission"),
];

/// One message in words.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Detail {
    /// Class and kind.
    pub class: String,
    /// Place in the frame, or wire.
    pub spot: Option<&'static str>,
    /// Whether it names a fault of the wires.
    pub wires: bool,
}

/// The bits and bytes of a message that its detail depends on: messages alike in these are counted as one.
#[must_use]
pub fn kept_bits(class: u32, data: u64) -> u64 {
    let [_, status, kind, spot, wire, ..] = data.to_be_bytes();
    let bytes = u64::from(u32::from_be_bytes([
        if class & CONTROLLER != 0 { status } else { 0 },
        if class & PROTOCOL != 0 { kind } else { 0 },
        if class & PROTOCOL != 0 { spot } else { 0 },
        if class & TRANSCEIVER != 0 { wire } else { 0 },
    ]));
    u64::from(class & 0x1FF) << 32 | bytes
}

/// What kept bits say.
#[must_use]
pub fn detail(kept: u64) -> Detail {
    let [_, _, high, low, status, kind, spot, wire] = kept.to_be_bytes();
    let class = u32::from(high) << 8 | u32::from(low);
    let names = |bits: u8, table: &[(u8, &'static str)]| {
        let named: Vec<&str> =
            table.iter().filter(|(bit, _)| bits & bit != 0).map(|(_, name)| *name).collect();
        named.join(", ")
    };
    let mut text = error_frames::classes(class);
    for more in [names(status, &STATES), names(kind, &KINDS)] {
        if !more.is_empty() {
            text.push_str(": ");
            text.push_str(&more);
        }
    }
    let fault = error_frames::wire_fault(class, u64::from(wire) << 24);
    let place = SPOTS.iter().find(|(code, _)| *code == spot).map(|(_, name)| *name);
    Detail { class: text, spot: fault.or(place), wires: fault.is_some() }
}

/// Transmit and receive error counters, where the message carries them.
#[must_use]
pub fn counters(class: u32, data: u64) -> Option<(u8, u8)> {
    let [.., transmit, receive] = data.to_be_bytes();
    (class & COUNTERS != 0).then_some((transmit, receive))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(class: u32, data: u64) -> (String, Option<&'static str>, bool) {
        let d = detail(kept_bits(class, data));
        (d.class, d.spot, d.wires)
    }

    /// EX-5f, EX-5g, EX-5j, EX-5t to EX-5x (FACTS 5.1, 5.3); constants of `linux/can/error.h` 6.1.
    #[test]
    fn published_examples() {
        assert_eq!(read(0x040, 0), ("bus off".to_owned(), None, false));
        let (class, spot, _) = read(0x088, 0x0000_0002_0000_0000);
        assert_eq!(class, "protocol violation, bus error");
        assert_eq!(spot, Some("identifier bits 28 to 21"));
        let (class, spot, _) = read(0x288, 0x0000_0408_0000_8803);
        assert_eq!(class, "protocol violation, bus error: stuff");
        assert_eq!(spot, Some("CRC sequence"));
        assert_eq!(counters(0x288, 0x0000_0408_0000_8803), Some((136, 3)));
        assert_eq!(counters(0x088, 0x0000_0408_0000_8803), None);
        assert_eq!(read(0x004, 0x0008_0000_0000_0000).0, "controller status: transmit warning");
        assert_eq!(read(0x004, 0x0040_0000_0000_0000).0, "controller status: active again");
        assert_eq!(read(0x020, 0).0, "no acknowledge");
        let (class, spot, wires) = read(0x010, 0x0000_0000_7000_0000);
        assert_eq!(
            (class.as_str(), spot, wires),
            ("transceiver", Some("CANL shorted to ground"), true)
        );
        assert_eq!(read(0x100, 0).0, "restarted");
    }

    #[test]
    fn bytes_of_other_classes_do_not_count() {
        assert_eq!(kept_bits(0x020, u64::MAX), kept_bits(0x020, 0));
        assert_eq!(read(0x010, 0).1, None);
    }
}
