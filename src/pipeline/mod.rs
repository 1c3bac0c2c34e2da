//! A pipeline file becomes a checked plan; the stages are run in order.
//!
//! `plan` checks what is asked, `sources` finds and reads the small files, `text_reports`
//! reads reports of unknown layout once the networks are known, `watch` takes one bus log
//! through `read` and `observe` with as many `hands` as are free (`split`), `run` is the stages in
//! order (logs may be watched `elsewhere`, which `sending` and `recount` see to, and then lie in a store of `objects`), `weighing` has each vehicle put on
//! its `scales`, here or (`loads`, `pieces`) elsewhere, `lacking` says what one more input would have decided, `outputs` hands findings to `reports`.

mod closer;
mod elsewhere;
mod facts_input;
mod given;
mod hands;
mod lacking;
mod loads;
mod logs;
mod objects;
mod outputs;
mod pieces;
pub mod plan;
mod progress;
mod recount;
mod run;
mod scales;
mod sealed;
mod sending;
mod sources;
mod split;
#[cfg(test)]
mod split_tests;
mod text_reports;
mod vehicle_rows;
mod wanted;
mod watch;
mod week;
mod weighing;

pub use elsewhere::{Answer, Desk, Engine, Order};
pub use hands::{Hand, Hands};
pub use loads::Load;
pub use pieces::{Amiss, Basis, Piece};
pub use progress::{Progress, Quiet};
pub use recount::{Counts, Entry, add_counts};
pub use run::{Outcome, RunError, Settings, check, look, run, run_on};
pub use watch::{watch, watch_opened};
