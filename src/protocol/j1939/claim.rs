//! Address claims (group 60928): who a node is, by its 64-bit NAME, and that it has just come up.
//!
//! A node claims its address when it starts, when it is asked to, and when another claims the same
//! one: the lower NAME keeps it. A node that finds no address says so from address 254.

/// The group of address claims.
pub const CLAIM: u32 = 0xEE00;
/// The group by which one node asks another for a group.
pub const REQUEST: u32 = 0xEA00;
/// The destination of what is meant for all.
pub const EVERYBODY: u8 = 255;
/// The address of a node that has none.
pub const NULL_ADDRESS: u8 = 254;

/// The fields of a NAME.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Name {
    /// All 64 bits; the lower one has priority.
    pub bits: u64,
    /// Serial number, 21 bits.
    pub identity: u32,
    /// The maker's number, 11 bits.
    pub maker: u16,
    /// Which of several controllers of one function.
    pub controller: u8,
    /// Which of several functions of one kind.
    pub instance: u8,
    /// The function's number.
    pub function: u8,
    /// The vehicle system's number.
    pub system: u8,
    /// 0 global, 1 on-highway, 2 agricultural, 3 construction, 4 marine, 5 industrial.
    pub industry: u8,
    /// Whether the node takes any free address.
    pub arbitrary: bool,
}

/// Reads a NAME as the eight bytes of a claim carry it, low byte first.
#[must_use]
pub fn name(bytes: [u8; 8]) -> Name {
    let bits = u64::from_le_bytes(bytes);
    let [b0, b1, b2, b3, b4, b5, b6, b7] = bytes;
    Name {
        bits,
        identity: u32::from_le_bytes([b0, b1, b2 & 0x1F, 0]),
        maker: u16::from(b3) << 3 | u16::from(b2 >> 5),
        controller: b4 & 7,
        instance: b4 >> 3,
        function: b5,
        system: b6 >> 1,
        industry: b7 >> 4 & 7,
        arbitrary: b7 & 0x80 != 0,
    }
}

/// The group that a request asks for; `None` when the frame is too short.
#[must_use]
pub fn requested(bytes: &[u8]) -> Option<u32> {
    let [a, b, c] = *bytes.get(..3)? else { return None };
    Some(u32::from_le_bytes([a, b, c, 0]) & 0x3_FFFF)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The layout is from memory of SAE J1939-81; the second NAME was sent by a truck's engine.
    #[test]
    fn fields_of_a_name() {
        let all = name([0x45, 0x23, 0xE1, 0xFF, 0x0A, 0x0B, 0x1A, 0xA4]);
        assert_eq!((all.identity, all.maker), (0x01_2345, 0x7FF));
        assert_eq!((all.controller, all.instance, all.function), (2, 1, 11));
        assert_eq!((all.system, all.industry, all.arbitrary), (13, 2, true));
        let engine = name([0, 0, 0, 0x40, 0x05, 0, 0, 0]);
        assert_eq!((engine.maker, engine.function, engine.industry), (512, 0, 0));
        assert_eq!(requested(&[0x00, 0xEE, 0x00]), Some(CLAIM));
        assert_eq!(requested(&[0x00, 0xEE]), None);
    }
}
