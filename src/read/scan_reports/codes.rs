//! One code of a scan report: its text, its failure type byte, its status.
//!
//! Status: `pending`, `confirmed`, `stored`, or the raw byte as `0x2F`. The failure type may stand in
//! the code (`U0100-87`), in a field of its own, or in both when they agree.

use crate::protocol::trouble_codes::{parse_code, parse_failure_type};
use crate::read::account::Account;
use crate::read::nearest::suggestion;
use crate::vocabulary::{CodeStatus, TroubleCode};

/// Reads a code. Empty `failure` and `status` mean that the report gives none.
///
/// # Errors
/// A message fragment; the code alone is refused.
pub(super) fn read_code(
    code: &str,
    failure: &str,
    status: &str,
    account: &mut Account,
) -> Result<(TroubleCode, CodeStatus), String> {
    let mut read = parse_code(code).map_err(|error| error.to_string())?;
    if read.word == 0 {
        return Err("P0000 is padding, not a code".to_owned());
    }
    if !failure.is_empty() {
        let byte = parse_failure_type(failure).ok_or_else(|| {
            format!("code {code}: failure type `{failure}` is not two hex digits")
        })?;
        match read.failure_type {
            Some(own) if own != byte => {
                return Err(format!(
                    "code {code} names failure type {own:02X}, the field beside it {byte:02X}"
                ));
            }
            _ => read.failure_type = Some(byte),
        }
    }
    Ok((read, read_status(status, account)?))
}

fn read_status(text: &str, account: &mut Account) -> Result<CodeStatus, String> {
    let plain = text.trim().to_lowercase();
    let raw = plain.strip_prefix("0x").filter(|digits| digits.len() <= 2);
    if let Some(byte) = raw.and_then(|digits| u8::from_str_radix(digits, 16).ok()) {
        return Ok(CodeStatus::Raw(byte));
    }
    Ok(match plain.as_str() {
        "" => CodeStatus::Unknown,
        "pending" => CodeStatus::Pending,
        "confirmed" => CodeStatus::Confirmed,
        "stored" => CodeStatus::Stored,
        "active" | "current" => {
            account.lenient(&format!("status `{plain}` read as confirmed"));
            CodeStatus::Confirmed
        }
        "history" | "historic" | "intermittent" => {
            account.lenient(&format!("status `{plain}` read as stored"));
            CodeStatus::Stored
        }
        _ => {
            let hint = suggestion(&plain, &["pending", "confirmed", "stored", "0x2F"]);
            return Err(format!(
                "unknown status `{}`; {hint}",
                crate::read::times::shortened(text)
            ));
        }
    })
}
