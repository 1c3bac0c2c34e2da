//! Trouble codes: their text and bytes (SAE J2012, ISO 15031-6), the status byte of ISO 14229-1,
//! and whom a generic network code accuses.
//!
//! In: text or bytes as a tester gives them. Out: [`TroubleCode`], [`StatusReading`] and
//! [`NetworkCode`]. A maker's own code (U1xxx, U2xxx) has no meaning here and none is guessed.

mod bytes;
mod meaning;
mod status;
mod text;

pub use bytes::{code_from_three_bytes, code_from_two_bytes};
pub use meaning::{NetworkCode, NetworkCodeKind, is_maker_defined, network_code};
pub use status::{StatusReading, status_bits};
pub use text::{CodeTextError, parse_code, parse_failure_type};

#[cfg(doc)]
use crate::vocabulary::TroubleCode;
