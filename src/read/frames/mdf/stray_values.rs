//! Data bytes that stand among the records of an unsorted file, waiting for the record that points to
//! them. What nobody asked for goes, oldest first, when there are too many.

use std::collections::BTreeMap;

use super::values::Value;

/// The most values kept (each 40 bytes or so).
const MOST: usize = 1 << 20;

/// Values by the channel group they belong to and their offset in it.
#[derive(Debug, Default)]
pub(super) struct StrayValues {
    kept: BTreeMap<(u64, u64), Value>,
    /// Where the next value of each channel group stands.
    ends: BTreeMap<u64, u64>,
    /// Values that nobody asked for in time.
    pub lost: u64,
}

impl StrayValues {
    /// Adds the next value of a group; `size` is how far it reaches, its length field included.
    pub(super) fn add(&mut self, group: u64, size: u64, value: Option<Value>) {
        let end = self.ends.entry(group).or_default();
        let offset = *end;
        *end = end.saturating_add(size);
        if let Some(value) = value {
            if self.kept.len() == MOST && self.kept.pop_first().is_some() {
                self.lost += 1;
            }
            self.kept.insert((group, offset), value);
        }
    }

    /// Takes a value that is there.
    pub(super) fn take(&mut self, group: u64, offset: u64) -> Option<Value> {
        self.kept.remove(&(group, offset))
    }
}
