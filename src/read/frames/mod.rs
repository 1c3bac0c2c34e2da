//! CAN logs: bytes in, frames out.
//!
//! In: decompressed bytes. Out: [`Frame`]s in order, each with the line, packet or row it stood on.
//! Nothing is kept of the log beyond an unfinished record; rejects are bounded. SocketCAN text is
//! pushed block by block ([`TextLog`]); a large one can be read by several hands: [`Chunks`] cuts it at
//! line ends, each chunk becomes a [`Part`] by itself, and the log takes the parts in order as if it had
//! read them. Every other format is read from an opened file by [`read_log`], and from plain bytes by the
//! format's own function.

mod again;
mod captures;
mod content;
mod fields;
mod frame;
mod handing;
mod hexadecimal;
mod log;
mod mdf;
mod quick;
mod rejects;
mod source;
mod split;
#[cfg(test)]
mod split_tests;
mod tabular;
mod text;
#[cfg(test)]
mod text_tests;

pub use again::{Take, read_again};
pub use captures::read_capture;
pub use frame::{Frame, FrameKind};
pub use handing::{Give, NO_INTERFACE};
pub use log::{EXPECTED, LogTables, log_format, read_log};
pub use mdf::read_mdf;
pub use rejects::RejectList;
pub use split::{Chunks, Part};
pub(crate) use tabular::{check_parquet, fenced};
pub use tabular::{
    check_table_header, read_arrow_file, read_arrow_stream, read_parquet, read_table,
};
pub use text::TextLog;
