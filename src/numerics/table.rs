//! Two groups of trials: the two-by-two table that tests and ratios share.
//!
//! In: how many trials each group had and how many of them were hits. Out: a table that is
//! known to be possible. Refuses more hits than trials.

/// `hits1` of `trials1` against `hits2` of `trials2`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TwoGroups {
    hits1: u64,
    trials1: u64,
    hits2: u64,
    trials2: u64,
}

impl TwoGroups {
    /// A table; `None` when a group has more hits than trials. A group may be empty.
    #[must_use]
    pub fn new(hits1: u64, trials1: u64, hits2: u64, trials2: u64) -> Option<TwoGroups> {
        let possible = hits1 <= trials1 && hits2 <= trials2;
        possible.then_some(TwoGroups { hits1, trials1, hits2, trials2 })
    }

    /// Hits of the first group.
    #[must_use]
    pub fn hits1(self) -> u64 {
        self.hits1
    }

    /// Trials of the first group.
    #[must_use]
    pub fn trials1(self) -> u64 {
        self.trials1
    }

    /// Hits of the second group.
    #[must_use]
    pub fn hits2(self) -> u64 {
        self.hits2
    }

    /// Trials of the second group.
    #[must_use]
    pub fn trials2(self) -> u64 {
        self.trials2
    }

    /// The same table with its groups exchanged.
    #[must_use]
    pub fn swapped(self) -> TwoGroups {
        TwoGroups {
            hits1: self.hits2,
            trials1: self.trials2,
            hits2: self.hits1,
            trials2: self.trials1,
        }
    }

    /// The same table with hits and misses exchanged.
    #[must_use]
    pub fn inverted(self) -> TwoGroups {
        TwoGroups { hits1: self.trials1 - self.hits1, hits2: self.trials2 - self.hits2, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_more_hits_than_trials() {
        assert_eq!(TwoGroups::new(3, 2, 0, 5), None);
        assert_eq!(TwoGroups::new(0, 2, 6, 5), None);
        assert!(TwoGroups::new(0, 0, 0, 0).is_some());
    }

    #[test]
    fn exchanges() {
        let table = TwoGroups::new(1, 4, 2, 9).expect("possible");
        assert_eq!(Some(table.swapped()), TwoGroups::new(2, 9, 1, 4));
        assert_eq!(Some(table.inverted()), TwoGroups::new(3, 4, 7, 9));
    }
}
