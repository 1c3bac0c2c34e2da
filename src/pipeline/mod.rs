//! A pipeline file becomes a checked plan; the stages are run in order.
//!
//! `plan` checks what is asked, `sources` finds and reads the small files, `watch` takes one bus log
//! through `read` and `observe`, `run` is the stages in order, `outputs` hands findings to `reports`.

mod logs;
mod outputs;
pub mod plan;
mod progress;
mod run;
mod sources;
mod watch;

pub use progress::{Progress, Quiet};
pub use run::{Outcome, RunError, Settings, check, look, run};
pub use watch::watch;
