//! The exit codes: what a script may rely on.

use crate::reports::push_hanging;

/// Done.
pub const DONE: u8 = 0;
/// Done, but `--strict` was given and something was rejected (or `check` found something wrong).
pub const REJECTED: u8 = 1;
/// Nothing was written: the pipeline, the input or the output cannot be used, or the call was wrong.
pub const FAILED: u8 = 2;
/// Interrupted (Ctrl-C, or a request to end): nothing stands half-written.
pub const INTERRUPTED: u8 = 130;

/// Every code with its meaning, for the help and the manual; the README has the same words.
pub const ALL: [(u8, &str); 4] = [
    (DONE, "done"),
    (
        REJECTED,
        "done, but `--strict` was given and something was rejected; or `check` found something",
    ),
    (
        FAILED,
        "nothing written: the call, the pipeline, the inputs or the output folder cannot be used",
    ),
    (INTERRUPTED, "interrupted: each output is whole, or as it was before"),
];

/// Columns of a terminal that the help fits.
const WIDTH: usize = 80;

/// The codes as they stand below the help.
#[must_use]
pub fn help() -> String {
    let mut text = String::from("Exit codes:\n");
    for (code, meaning) in ALL {
        push_hanging(&mut text, &format!("  {code:<4} "), meaning, WIDTH);
    }
    text + "\nExample: buswitness run pipelines/weekly.toml"
}
