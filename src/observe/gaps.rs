//! Gaps: spans in which one identifier, or a whole bus, was not seen. Bounded by facts, not by length.

use crate::vocabulary::Instant;

/// How many gaps one identifier (or one bus) may hold before only the larger ones are kept.
const MOST: usize = 4096;

/// A span between two neighbouring frames of one identifier (or of one bus).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gap {
    /// The frame before.
    pub from: Instant,
    /// The frame after.
    pub to: Instant,
    /// Line of the frame before.
    pub line: u64,
    /// How many frames had been seen up to and including the one before.
    pub seen: u64,
    /// Data of the frame before and after (for alive counters).
    pub before: u64,
    /// Data of the frame after.
    pub after: u64,
    /// Frames that followed the one after at once, each well within a period of the one before it: what had
    /// been held up.
    pub late: u32,
}

impl Gap {
    /// Length in nanoseconds.
    pub(super) fn nanos(&self) -> i64 {
        self.to.0 - self.from.0
    }
}

/// Gaps above a limit, in time order. When there are too many, the limit doubles and small ones go.
#[derive(Debug, Clone)]
pub(super) struct GapList {
    /// Only gaps longer than this (nanoseconds) are kept.
    pub limit: i64,
    /// The gaps.
    pub gaps: Vec<Gap>,
    /// How many were dropped for room.
    pub dropped: u64,
}

impl GapList {
    pub(super) fn new(limit: i64) -> GapList {
        GapList { limit, gaps: Vec::new(), dropped: 0 }
    }

    #[cold]
    pub(super) fn push(&mut self, gap: Gap) {
        if gap.nanos() <= self.limit {
            return;
        }
        self.gaps.push(gap);
        while self.gaps.len() > MOST {
            self.limit = self.limit.saturating_mul(2).max(1);
            let before = self.gaps.len();
            let limit = self.limit;
            self.gaps.retain(|g| g.nanos() > limit);
            self.dropped += (before - self.gaps.len()) as u64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_stays_small_and_keeps_the_largest() {
        let mut list = GapList::new(1);
        for n in 0..100_000i64 {
            let from = Instant(n * 1_000_000);
            let to = Instant(from.0 + 1 + n % 1000);
            list.push(Gap { from, to, line: 0, seen: 0, before: 0, after: 0, late: 0 });
        }
        assert!(list.gaps.len() <= MOST);
        assert!(list.gaps.iter().all(|g| g.nanos() > list.limit));
        assert!(list.dropped > 0);
    }
}
