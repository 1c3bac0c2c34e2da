//! Error message frames of SocketCAN: what the logger's own controller says of the bus.
//!
//! Constants as in the kernel's `linux/can/error.h`. A message may speak of the bus (a disturbance),
//! of the logger itself (it lost frames or restarted: a blind spot), or only of a state.

/// What one error message frame means for the watching of a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorMeaning {
    /// The bus was disturbed.
    Bus,
    /// The logger lost frames or restarted: it was blind.
    LoggerBlind,
    /// A change of the controller's state for the better, or a counter reading.
    State,
}

/// Class bits, in the order of the kernel's header.
const CLASSES: [(u32, &str); 9] = [
    (0x001, "transmit time-out"),
    (0x002, "lost arbitration"),
    (0x004, "controller status"),
    (0x008, "protocol violation"),
    (0x010, "transceiver"),
    (0x020, "no acknowledge"),
    (0x040, "bus off"),
    (0x080, "bus error"),
    (0x100, "restarted"),
];
const RESTARTED: u32 = 0x100;
const CONTROLLER: u32 = 0x004;
const LOST_ARBITRATION: u32 = 0x002;

/// Byte `n` of the eight data bytes (first byte most significant).
fn byte(data: u64, n: u32) -> u8 {
    data.to_be_bytes()[n as usize]
}

/// What a message with these class bits and data bytes means.
#[must_use]
pub fn meaning(class: u32, data: u64) -> ErrorMeaning {
    if class & RESTARTED != 0 {
        return ErrorMeaning::LoggerBlind;
    }
    let others = class & 0x1FF & !(CONTROLLER | LOST_ARBITRATION);
    if others != 0 {
        return ErrorMeaning::Bus;
    }
    if class & CONTROLLER != 0 {
        let status = byte(data, 1);
        if status & 0x03 != 0 {
            return ErrorMeaning::LoggerBlind;
        }
        if status & 0x3C != 0 {
            return ErrorMeaning::Bus;
        }
    }
    ErrorMeaning::State
}

/// The classes in words, in the order of the header, joined by commas.
#[must_use]
pub fn classes(class: u32) -> String {
    let names: Vec<&str> =
        CLASSES.iter().filter(|(bit, _)| class & bit != 0).map(|(_, name)| *name).collect();
    if names.is_empty() { "unspecified".to_owned() } else { names.join(", ") }
}

/// A wire fault that a fault-tolerant transceiver names, from data byte 4; `None` when it names none.
#[must_use]
pub fn wire_fault(class: u32, data: u64) -> Option<&'static str> {
    if class & 0x010 == 0 {
        return None;
    }
    Some(match byte(data, 4) {
        0x04 => "CANH has no wire",
        0x05 => "CANH shorted to battery",
        0x06 => "CANH shorted to supply",
        0x07 => "CANH shorted to ground",
        0x40 => "CANL has no wire",
        0x50 => "CANL shorted to battery",
        0x60 => "CANL shorted to supply",
        0x70 => "CANL shorted to ground",
        0x80 => "CANL shorted to CANH",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EX-5t to EX-5x and EX-5f, EX-5g, EX-5j (FACTS 5.3); constants of `linux/can/error.h` 6.1.
    #[test]
    fn published_examples() {
        assert_eq!(meaning(0x004, 0x0008_0000_0000_0000), ErrorMeaning::Bus); // TX warning
        assert_eq!(meaning(0x004, 0x0040_0000_0000_0000), ErrorMeaning::State); // active again
        assert_eq!(meaning(0x020, 0), ErrorMeaning::Bus);
        assert_eq!(classes(0x020), "no acknowledge");
        assert_eq!(wire_fault(0x010, 0x0000_0000_7000_0000), Some("CANL shorted to ground"));
        assert_eq!(meaning(0x100, 0), ErrorMeaning::LoggerBlind);
        assert_eq!(meaning(0x004, 0x0001_0000_0000_0000), ErrorMeaning::LoggerBlind);
        assert_eq!(classes(0x040), "bus off");
        assert_eq!(classes(0x088), "protocol violation, bus error");
        assert_eq!(meaning(0x288, 0x0000_0408_0000_8803), ErrorMeaning::Bus);
        assert_eq!(meaning(0x200, 0), ErrorMeaning::State);
    }
}
