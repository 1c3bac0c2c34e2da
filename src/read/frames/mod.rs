//! CAN logs: bytes in, frames out.
//!
//! In: blocks of decompressed bytes of any size. Out: [`Frame`]s in file order, each with the line
//! it stood on. Nothing is kept of the log beyond an unfinished line; rejects are bounded.

mod fields;
mod frame;
mod hexadecimal;
mod rejects;
mod text;
#[cfg(test)]
mod text_tests;

pub use frame::{Frame, FrameKind};
pub use rejects::RejectList;
pub use text::TextLog;
