//! A diagnostic trouble code as a value; its text and bytes are read in `protocol`.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A trouble code: the 16-bit word of SAE J2012, and the failure type byte when one was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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

/// A trouble code of SAE J1939: which parameter, and how it fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ParameterCode {
    /// Suspect parameter number, 19 bits.
    pub spn: u32,
    /// Failure mode identifier, 5 bits.
    pub fmi: u8,
    /// False: the message does not tell in which order its bytes stand, so the number may be another.
    pub certain: bool,
}

impl fmt::Display for ParameterCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let doubt = if self.certain { "" } else { " (byte order not known)" };
        write!(f, "SPN {} FMI {}{doubt}", self.spn, self.fmi)
    }
}

/// A code as a node holds it, by whichever standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Code {
    /// Of SAE J2012.
    Trouble(TroubleCode),
    /// Of SAE J1939.
    Parameter(ParameterCode),
}

impl Code {
    /// The failure type byte; `None` when there is none, or the standard knows none.
    #[must_use]
    pub fn failure_type(self) -> Option<u8> {
        match self {
            Code::Trouble(code) => code.failure_type,
            Code::Parameter(_) => None,
        }
    }

    /// The code without its failure type byte.
    #[must_use]
    pub fn bare(self) -> Code {
        match self {
            Code::Trouble(code) => Code::Trouble(TroubleCode { failure_type: None, ..code }),
            other @ Code::Parameter(_) => other,
        }
    }
}

impl From<TroubleCode> for Code {
    fn from(code: TroubleCode) -> Code {
        Code::Trouble(code)
    }
}

impl From<ParameterCode> for Code {
    fn from(code: ParameterCode) -> Code {
        Code::Parameter(code)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Code::Trouble(code) => code.fmt(f),
            Code::Parameter(code) => code.fmt(f),
        }
    }
}

/// How far a code has matured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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

impl CodeStatus {
    /// Reads back what [`fmt::Display`] writes; `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<CodeStatus> {
        Some(match text {
            "pending" => CodeStatus::Pending,
            "confirmed" => CodeStatus::Confirmed,
            "stored" => CodeStatus::Stored,
            "" => CodeStatus::Unknown,
            raw => CodeStatus::Raw(u8::from_str_radix(raw.strip_prefix("0x")?, 16).ok()?),
        })
    }
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
