//! The exit codes: what a script may rely on.

/// Done.
pub const DONE: u8 = 0;
/// Done, but `--strict` was given and something was rejected (or `check` found something wrong).
pub const REJECTED: u8 = 1;
/// Nothing was written: the pipeline, the input or the output cannot be used, or the call was wrong.
pub const FAILED: u8 = 2;
