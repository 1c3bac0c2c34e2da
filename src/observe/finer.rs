//! Gathers the finer facts of one bus: clocks here, and of each start what disturbed and who fell silent.

use std::sync::Arc;

use super::channel::Channel;
use super::clock_groups;
use super::finer_rows::{ClockGroupRow, ClockStepRow, FinerFacts};
use super::period::Period;
use crate::vocabulary::{Instant, Place, seconds};

/// What belongs to the whole log: steps of its clock, and identifiers by clock.
pub(super) fn of_log(
    channel: &Channel,
    periods: &[Option<Period>],
    bus: &str,
    file: &Arc<str>,
    facts: &mut FinerFacts,
) {
    let repair = channel.steps.repair();
    facts.clock_steps.extend(channel.steps.found.iter().map(|step| ClockStepRow {
        bus: bus.to_owned(),
        at: repair.time(Instant(step.at.0)),
        step_s: seconds(step.by.saturating_sub(step.back)),
        agreed: step.agreed,
        place: Place::line(file, step.line),
    }));
    facts.clock_groups.extend(clock_groups::find(channel, periods).into_iter().map(|m| {
        ClockGroupRow {
            bus: bus.to_owned(),
            id: m.id,
            group: m.group,
            skew: m.skew,
            confidence: m.confidence,
        }
    }));
}
