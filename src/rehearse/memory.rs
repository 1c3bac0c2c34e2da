//! The code memories of a vehicle's nodes: what was set, how often, and how far it matured.

use std::collections::BTreeMap;

use crate::rehearse::model::Model;

/// What is stored about one code.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stored {
    confirmed: bool,
    occurrences: u32,
    since_start_s: f64,
    last_start: usize,
}

/// A code as a tester is told it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Told {
    /// The code, as `U0126`.
    pub(crate) code: String,
    /// The failure type, or empty.
    pub(crate) failure_type: String,
    /// The status, in words or as a raw byte.
    pub(crate) status: String,
    /// How often it was set.
    pub(crate) occurrences: u32,
    /// Seconds from the start to its last setting.
    pub(crate) since_start_s: f64,
}

/// The memories of all nodes of a vehicle.
#[derive(Default)]
pub(crate) struct Memory {
    codes: BTreeMap<(usize, String), Stored>,
}

impl Memory {
    /// A node sets a code, written `U0126-00` or `U0126`.
    pub(crate) fn set(
        &mut self,
        node: usize,
        code: &str,
        start: usize,
        since_s: f64,
        at_once: bool,
    ) {
        let slot = self.codes.entry((node, code.to_owned())).or_insert(Stored {
            confirmed: at_once,
            occurrences: 0,
            since_start_s: since_s,
            last_start: start,
        });
        slot.confirmed |= slot.occurrences > 0;
        slot.occurrences += 1;
        slot.since_start_s = since_s;
        slot.last_start = start;
    }

    /// Puts in a code that was confirmed before the period.
    pub(crate) fn old(&mut self, node: usize, code: &str, occurrences: u32, since_s: f64) {
        let old =
            Stored { confirmed: true, occurrences, since_start_s: since_s, last_start: usize::MAX };
        self.codes.insert((node, code.to_owned()), old);
    }

    /// A reset wipes what was not confirmed.
    pub(crate) fn reset(&mut self, node: usize) {
        self.codes.retain(|(owner, _), stored| *owner != node || stored.confirmed);
    }

    /// Somebody erases all memories.
    pub(crate) fn erase(&mut self) {
        self.codes.clear();
    }

    /// What a node tells in a start.
    pub(crate) fn told(&self, model: &Model, node: usize, start: usize) -> Vec<Told> {
        let of_node = self.codes.iter().filter(|((owner, _), _)| *owner == node);
        let fresh =
            |stored: &Stored| stored.confirmed || start.saturating_sub(stored.last_start) <= 3;
        of_node
            .filter(|(_, stored)| fresh(stored))
            .map(|((_, code), stored)| {
                let (code, failure_type) = code.split_once('-').unwrap_or((code, ""));
                let now = stored.last_start == start;
                let raw = model.nodes[node].raw_status;
                let status = match (stored.confirmed, now) {
                    (false, _) => ["pending", "0x24"][usize::from(raw)],
                    (true, true) => ["confirmed", "0x2F"][usize::from(raw)],
                    (true, false) => ["stored", "0x28"][usize::from(raw)],
                };
                Told {
                    code: code.to_owned(),
                    failure_type: failure_type.to_owned(),
                    status: status.to_owned(),
                    occurrences: stored.occurrences,
                    since_start_s: stored.since_start_s,
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::Memory;
    use crate::rehearse::model::Model;
    use crate::rehearse::scenario::Scenario;

    #[test]
    fn a_code_matures_and_rests() {
        let text = include_str!("small.toml");
        let scenario = Scenario::read(text).expect("the small scenario reads");
        let model = Model::build(&scenario, &scenario.network[0]).expect("the model builds");
        let plain = model.nodes.iter().position(|node| !node.raw_status).expect("a plain node");
        let mut memory = Memory::default();
        memory.set(plain, "U0126-00", 4, 12.0, false);
        assert_eq!(memory.told(&model, plain, 4)[0].status, "pending");
        memory.set(plain, "U0126-00", 5, 9.0, false);
        let told = &memory.told(&model, plain, 5)[0];
        assert_eq!((told.status.as_str(), told.occurrences), ("confirmed", 2));
        assert_eq!(memory.told(&model, plain, 6)[0].status, "stored");
        memory.erase();
        assert!(memory.told(&model, plain, 6).is_empty());
    }
}
