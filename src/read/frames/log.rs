//! An opened bus log of any format but SocketCAN text: frames are handed on, the account comes back.

use chrono_tz::Tz;

use super::captures::read_capture;
use super::handing::Give;
use super::mdf::read_mdf;
use super::tabular::{read_arrow_file, read_arrow_stream, read_parquet, read_table};
use crate::read::account::Account;
use crate::read::anywhere::Anywhere;
use crate::read::opening::Opened;
use crate::read::recognising::Kind;
use crate::read::tables::ColumnChoices;

/// What the pipeline says of bus logs that are tables.
#[derive(Debug, Clone)]
pub struct LogTables {
    /// Which column holds which field, and in which unit.
    pub choices: ColumnChoices,
    /// The zone of times without an offset.
    pub zone: Tz,
}

impl Default for LogTables {
    fn default() -> LogTables {
        LogTables { choices: ColumnChoices::new(), zone: Tz::UTC }
    }
}

/// What the formats of bus logs are called together.
pub const EXPECTED: &str =
    "a bus log (SocketCAN text, pcap, pcapng, CSV, Parquet, Arrow IPC or ASAM MDF4)";

/// What a bus log of this kind is called; `None` when content of this kind cannot be one.
#[must_use]
pub fn log_format(kind: &Kind) -> Option<&'static str> {
    Some(match kind {
        Kind::BusLogText => "SocketCAN text",
        Kind::Pcap => "packet capture",
        Kind::Csv { .. } => "table",
        Kind::Parquet => "Parquet",
        Kind::ArrowFile => "Arrow IPC file",
        Kind::ArrowStream => "Arrow IPC stream",
        Kind::Mdf => "ASAM MDF4",
        _ => return None,
    })
}

/// Reads a log that is not SocketCAN text; `give` takes its frames in batches, in order. The account
/// is the reader's alone, without what the opening let pass.
pub fn read_log(opened: Opened, tables: &LogTables, give: &Give<'_>) -> Account {
    let name = std::sync::Arc::clone(&opened.name);
    match &opened.kind {
        Kind::Pcap => read_capture(opened.bytes, &name, give),
        Kind::Csv { .. } => read_table(opened.bytes, &name, tables, give),
        Kind::ArrowStream => read_arrow_stream(opened.bytes, &name, tables, give),
        Kind::ArrowFile => anywhere(opened, |there| read_arrow_file(there, &name, tables, give)),
        Kind::Mdf => anywhere(opened, |there| read_mdf(there, &name, tables, give)),
        Kind::Parquet => anywhere(opened, |there| read_parquet(there, &name, tables, give)),
        _ => Account { rejects: vec![opened.refusal(EXPECTED)], ..Account::default() },
    }
}

/// Reads at any offset; where packed data broke off comes after what could be read.
fn anywhere(opened: Opened, read: impl FnOnce(Anywhere) -> Account) -> Account {
    match opened.anywhere() {
        Ok((there, failure)) => {
            let mut account = read(there);
            account.rejects.extend(failure);
            account
        }
        Err(reject) => Account { rejects: vec![reject], ..Account::default() },
    }
}
