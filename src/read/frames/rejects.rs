//! A bounded list of rejects: neighbours with the same reason are one entry, and past the bound only
//! counts grow, so that a damaged file of any size is accounted for in little memory.

use std::sync::Arc;

use crate::vocabulary::{Place, Reject, Spot};

/// How many entries a file may have of its own; the rest is summed into one entry a reason.
const OWN_ENTRIES: usize = 200;

/// Rejects of one file, in file order.
#[derive(Debug, Clone)]
pub struct RejectList {
    file: Arc<str>,
    entries: Vec<Reject>,
    overflow: Vec<Reject>,
    /// Number of the line or record rejected last.
    last_line: u64,
}

impl RejectList {
    /// An empty list for one file.
    #[must_use]
    pub fn new(file: &Arc<str>) -> RejectList {
        RejectList {
            file: Arc::clone(file),
            entries: Vec::new(),
            overflow: Vec::new(),
            last_line: 0,
        }
    }

    /// Counts one rejected line. A run of lines with one reason is one entry at its first line.
    pub fn line(&mut self, line: u64, reason: &str) {
        self.record(line, Spot::Line(line), reason);
    }

    /// Counts one rejected record by its number; a run of them with one reason is one entry at the
    /// first one's spot.
    pub fn record(&mut self, number: u64, spot: Spot, reason: &str) {
        let follows = number == self.last_line.saturating_add(1);
        self.last_line = number;
        if let Some(last) = self.entries.last_mut()
            && follows
            && last.reason == reason
        {
            last.records += 1;
            return;
        }
        let reject = Reject::one(Place { file: Arc::clone(&self.file), spot }, reason);
        if self.entries.len() < OWN_ENTRIES {
            self.entries.push(reject);
        } else if let Some(same) = self.overflow.iter_mut().find(|r| r.reason == reason) {
            same.records += 1;
        } else if self.overflow.len() < OWN_ENTRIES {
            self.overflow.push(reject);
        } else if let Some(last) = self.overflow.last_mut() {
            last.records += 1;
            last.reason = "further lines of many kinds that are not frames".to_owned();
        }
    }

    /// Whether every rejected line is told by its own entry or run: nothing was summed for room.
    pub(super) fn is_complete(&self) -> bool {
        self.overflow.is_empty()
    }

    /// Takes the lines of a complete list whose lines count from behind line `behind`.
    pub(super) fn append(&mut self, part: &RejectList, behind: u64) {
        for run in &part.entries {
            let Spot::Line(first) = run.place.spot else { continue };
            for line in first..first + run.records {
                self.line(behind + line, &run.reason);
            }
        }
    }

    /// How many lines were rejected.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.entries.iter().chain(&self.overflow).map(|r| r.records).sum()
    }

    /// The entries, in file order; sums of what went over the bound come last.
    #[must_use]
    pub fn into_entries(mut self) -> Vec<Reject> {
        for reject in &mut self.overflow {
            reject.reason.push_str(" (from here on, summed)");
        }
        self.entries.append(&mut self.overflow);
        self.entries
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_million_bad_lines_are_counted_in_few_entries() {
        let file: Arc<str> = "a.log".into();
        let mut list = RejectList::new(&file);
        for line in 1..=1_000_000u64 {
            list.line(line, if line % 2 == 0 { "even" } else { "odd" });
        }
        assert_eq!(list.count(), 1_000_000);
        assert!(list.into_entries().len() < 2 * OWN_ENTRIES);
    }

    #[test]
    fn a_run_is_one_entry_at_its_first_line() {
        let file: Arc<str> = "a.log".into();
        let mut list = RejectList::new(&file);
        for line in [4, 5, 6, 9] {
            list.line(line, "x");
        }
        let entries = list.into_entries();
        assert_eq!(entries.len(), 2);
        assert_eq!((entries[0].records, entries[1].records), (3, 1));
    }
}
