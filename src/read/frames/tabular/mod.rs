//! Bus logs that are tables: CSV, Parquet and Arrow IPC, a row per frame, with the same columns.
//!
//! | column | holds | without it |
//! |---|---|---|
//! | `time` | seconds since 1970, RFC 3339, or as `[columns.bus_logs]` says | refused |
//! | `bus` | interface or bus | one bus without a name |
//! | `id` | identifier, hexadecimal in text; bits 29 to 31 as in `linux/can.h` | refused |
//! | `extended` | 29 bits or not | told by 8 digits, bit 31 or a value above 7FF |
//! | `dlc` | data length in bytes, or the length code | the data's own length |
//! | `data` | bytes, hexadecimal in text, joined or spaced | refused |
//! | `fd`, `remote`, `error` | yes or no | FD by length; remote and error by bits 30 and 29 of `id` |
//! | `direction` | not used | |
//!
//! Places are lines in CSV and row numbers, from 1, in the others.

mod arrow_ipc;
mod cells;
mod columns;
mod fence;
mod parquet;
mod row;
mod text;
mod thrift;
mod values;

pub use arrow_ipc::{read_arrow_file, read_arrow_stream};
pub(crate) use fence::fenced;
pub(crate) use parquet::check_parquet;
pub use parquet::read_parquet;
pub use text::{check_table_header, read_table};
