//! SAE J1939: the 29-bit identifier here; addresses, claims, long messages and codes beside it.

pub mod addresses;
pub mod claim;
pub mod transport;
pub mod trouble;

use crate::vocabulary::Identifier;

/// The fields of a J1939 identifier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// 0 (highest) to 7.
    pub priority: u8,
    /// Parameter group number.
    pub group: u32,
    /// Destination address; 255 = all.
    pub destination: u8,
    /// Source address: the sender.
    pub source: u8,
}

/// Splits an extended identifier; `None` for an 11-bit one.
#[must_use]
pub fn header(id: Identifier) -> Option<Header> {
    if !id.is_extended() {
        return None;
    }
    let [top, format, specific, source] = id.value().to_be_bytes();
    let page = u32::from(top & 0x03) << 16;
    let to_one = format < 240;
    let low = if to_one { 0 } else { u32::from(specific) };
    Some(Header {
        priority: top >> 2 & 7,
        group: page | u32::from(format) << 8 | low,
        destination: if to_one { specific } else { 255 },
        source,
    })
}

/// Whether a group manages the network itself: acknowledgement, request, transport, claim of an address,
/// commanded address (SAE J1939-21 and -81; numbers from memory but for those in FACTS 3.1).
#[must_use]
pub fn is_management(group: u32) -> bool {
    const ACKNOWLEDGEMENT: u32 = 0xE800;
    const COMMANDED_ADDRESS: u32 = 0xFED8;
    matches!(
        group,
        ACKNOWLEDGEMENT
            | claim::REQUEST
            | transport::DATA
            | transport::MANAGEMENT
            | claim::CLAIM
            | COMMANDED_ADDRESS
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EX-3a to EX-3j (FACTS 3.1; kernel documentation of J1939 and the j1939 crate's tests).
    #[test]
    fn published_examples() {
        for (id, priority, group, destination, source) in [
            (0x0CF0_0400, 3, 61444, 255, 0),
            (0x18FE_F100, 6, 65265, 255, 0),
            (0x18FE_CA0B, 6, 65226, 255, 11),
            (0x18EA_00F9, 6, 59904, 0, 249),
            (0x18EE_FF0B, 6, 60928, 255, 11),
            (0x1CEC_FF0B, 7, 60416, 255, 11),
            (0x1CEB_FF0B, 7, 60160, 255, 11),
            (0x18DA_10F1, 6, 55808, 16, 241),
            (0x0C00_000B, 3, 0, 0, 11),
            (0x1DFF_1021, 7, 130_832, 255, 33),
        ] {
            let expected = Header { priority, group, destination, source };
            assert_eq!(header(Identifier::extended(id)), Some(expected), "{id:08X}");
        }
        assert_eq!(header(Identifier::base(0x123)), None);
    }
}
