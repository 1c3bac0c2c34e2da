//! Invented logs for tests of this stage. Test builds only.

use std::sync::Arc;

use crate::observe::{LogFacts, StartRow};
use crate::vocabulary::{Instant, Place};

/// A log of one bus with one judged start in it, without sleep around it.
pub(super) fn log(name: &str, bus: &str, begin: Instant, end: Instant) -> (Arc<str>, LogFacts) {
    let mut facts = LogFacts::default();
    facts.starts.push(StartRow {
        bus: bus.into(),
        begin,
        end,
        woke: false,
        slept: false,
        frames: 1,
        error_frames: 0,
        load: None,
        judged: true,
        why: String::new(),
        place: Place::whole(&name.into()),
    });
    (name.into(), facts)
}
