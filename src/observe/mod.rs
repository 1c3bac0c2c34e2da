//! A stream of frames becomes facts.
mod rows;
pub use rows::*;
