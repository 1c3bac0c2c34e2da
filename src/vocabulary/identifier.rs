//! A CAN identifier: 11 or 29 bits.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A CAN identifier. Bit 31 of the inner value tells a 29-bit identifier from an 11-bit one, so
/// that `0x123` as a base and as an extended identifier stay two different things.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Identifier(pub u32);

impl Identifier {
    /// The bit that marks an extended identifier.
    pub const EXTENDED: u32 = 0x8000_0000;

    /// An 11-bit identifier; higher bits are dropped.
    #[must_use]
    pub const fn base(id: u32) -> Identifier {
        Identifier(id & 0x7FF)
    }

    /// A 29-bit identifier; higher bits are dropped.
    #[must_use]
    pub const fn extended(id: u32) -> Identifier {
        Identifier((id & 0x1FFF_FFFF) | Self::EXTENDED)
    }

    /// Whether this is a 29-bit identifier.
    #[must_use]
    pub const fn is_extended(self) -> bool {
        self.0 & Self::EXTENDED != 0
    }

    /// The identifier's own bits.
    #[must_use]
    pub const fn value(self) -> u32 {
        self.0 & 0x1FFF_FFFF
    }

    /// Its place in arbitration: the lower wins, and a base identifier wins against an extended one with the
    /// same leading bits.
    #[must_use]
    pub const fn arbitration(self) -> u32 {
        if self.is_extended() { self.value() << 1 | 1 } else { self.value() << 19 }
    }
}

impl fmt::Display for Identifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_extended() {
            write!(f, "{:08X}", self.value())
        } else {
            write!(f, "{:03X}", self.value())
        }
    }
}
