//! CAN logs: bytes in, frames out.
//!
//! In: blocks of decompressed bytes of any size. Out: [`Frame`]s in file order, each with the line
//! it stood on. Nothing is kept of the log beyond an unfinished line; rejects are bounded. A large log
//! can be read by several hands: [`Chunks`] cuts it at line ends, each chunk becomes a [`Part`] by
//! itself, and the log takes the parts in order as if it had read them.

mod fields;
mod frame;
mod hexadecimal;
mod quick;
mod rejects;
mod split;
#[cfg(test)]
mod split_tests;
mod text;
#[cfg(test)]
mod text_tests;

pub use frame::{Frame, FrameKind};
pub use rejects::RejectList;
pub use split::{Chunks, Part};
pub use text::TextLog;
