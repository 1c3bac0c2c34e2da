//! A start of one vehicle, all its buses, logs and reports brought together.

use crate::vocabulary::{Instant, Place};

/// One waking of one vehicle's network: the unit of exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// First frame after sleep on any bus; or, where no log covers it, the time of a report less
    /// its `since_start_s`.
    pub begin: Instant,
    /// Last frame on any bus, or the time of the last report in it.
    pub end: Instant,
    /// Whether a log covers it.
    pub logged: bool,
    /// Whether the log shows the vehicle asleep before `begin`.
    pub woke: bool,
    /// Whether silence could be judged, or a report tells of it.
    pub judged: bool,
    /// Positions of the vehicle's scan reports (by time, then place) that belong to it.
    pub reports: Vec<u32>,
    /// How many incidents happened in it.
    pub incidents: u32,
    /// Where it was read.
    pub place: Place,
}
