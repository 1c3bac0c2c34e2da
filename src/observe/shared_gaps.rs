//! Gaps that are not an identifier's own way: error frames or losses of the logger explain them, or
//! others share them.

use std::collections::BTreeMap;

use super::channel::Channel;
use super::gaps::Gap;
use super::period;
use super::senders::Senders;

/// Whether error frames stand near a gap, or the whole bus was without frames inside it.
pub(super) fn excused(channel: &Channel, gap: &Gap) -> bool {
    const NEAR: i64 = 1_000_000_000;
    let errors = &channel.error_runs;
    let next = errors.partition_point(|r| r.end.0 < gap.from.0 - NEAR);
    let bus = &channel.bus_gaps.gaps;
    let inside = bus.partition_point(|g| g.to <= gap.from);
    let blind = &channel.logger_blind;
    let lost = blind.partition_point(|(_, to, _)| to.0 < gap.from.0);
    blind.get(lost).is_some_and(|(from, _, _)| from.0 <= gap.to.0)
        || errors.get(next).is_some_and(|r| r.begin.0 <= gap.to.0 + NEAR)
        || bus
            .get(inside)
            .is_some_and(|g| g.from < gap.to && g.nanos().saturating_mul(2) > gap.nanos())
}

/// Where gaps of identifiers of different nodes coincide: then they are nobody's own way.
pub(super) struct SharedGaps {
    /// By tenth of a second: the first node with a gap there, and whether another one has one too.
    steps: BTreeMap<i64, (String, bool)>,
}

impl SharedGaps {
    const STEP: i64 = 100_000_000;
    /// Longer gaps are looked at for their first minute only.
    const STEPS: i64 = 600;

    fn steps(gap: &Gap) -> std::ops::RangeInclusive<i64> {
        let first = gap.from.0.div_euclid(Self::STEP);
        first..=gap.to.0.div_euclid(Self::STEP).min(first + Self::STEPS)
    }

    pub(super) fn new(channel: &Channel, senders: &Senders, bus: &str) -> SharedGaps {
        let mut steps: BTreeMap<i64, (String, bool)> = BTreeMap::new();
        for tracker in &channel.trackers {
            // An identifier that was never learned has no gaps worth the name.
            let Some(period) = period::judge(tracker, |_| true).filter(|p| p.cyclic) else {
                continue;
            };
            let node = senders.node(bus, tracker.id);
            for gap in tracker.gaps.gaps.iter().filter(|g| g.nanos() > period.silent_after) {
                for step in Self::steps(gap) {
                    let entry = steps.entry(step).or_insert_with(|| (node.clone(), false));
                    entry.1 |= entry.0 != node;
                }
            }
        }
        SharedGaps { steps }
    }

    pub(super) fn by_others(&self, node: &str, gap: &Gap) -> bool {
        Self::steps(gap)
            .any(|s| self.steps.get(&s).is_some_and(|(first, several)| *several || first != node))
    }
}
