//! A diagnostic trouble code as a value; its text and bytes are read in `protocol`.

use std::fmt;

/// A trouble code: the 16-bit word of SAE J2012, and the failure type byte when one was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TroubleCode {
    /// Letter and four digits, packed as the standard packs them.
    pub word: u16,
    /// The failure type byte; `None` when the report gave none.
    pub failure_type: Option<u8>,
}

impl fmt::Display for TroubleCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = ['P', 'C', 'B', 'U'][usize::from(self.word >> 14)];
        write!(f, "{letter}{:X}{:03X}", (self.word >> 12) & 3, self.word & 0xFFF)?;
        match self.failure_type {
            Some(byte) if byte != 0 => write!(f, "-{byte:02X}"),
            _ => Ok(()),
        }
    }
}

/// How far a code has matured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CodeStatus {
    /// Seen, not yet confirmed.
    Pending,
    /// Confirmed, and failing now as far as the report tells.
    Confirmed,
    /// Confirmed, not failing now.
    Stored,
    /// The raw ISO 14229-1 status byte.
    Raw(u8),
    /// The report gave no status.
    Unknown,
}

impl fmt::Display for CodeStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CodeStatus::Pending => f.write_str("pending"),
            CodeStatus::Confirmed => f.write_str("confirmed"),
            CodeStatus::Stored => f.write_str("stored"),
            CodeStatus::Raw(byte) => write!(f, "0x{byte:02X}"),
            CodeStatus::Unknown => f.write_str(""),
        }
    }
}
