//! From what nodes conclude to the codes they store.

use crate::rehearse::chance::Chance;
use crate::rehearse::course::{Course, Why};
use crate::rehearse::life::Vehicle;
use crate::rehearse::memory::Memory;
use crate::rehearse::scenario::How;
use crate::rehearse::traffic::Accusation;
use crate::vocabulary::seconds;

impl Vehicle<'_> {
    /// What nodes conclude goes into the memories of those that store it.
    pub(crate) fn store(&self, memory: &mut Memory, turn: usize, sets: &[Accusation]) {
        for set in sets {
            let habits = &self.model.nodes[set.reporter];
            if !habits.stores {
                continue;
            }
            let since = (seconds(set.at) * 10.0).round() / 10.0;
            let Some(accused) = set.accused else {
                if let Some(code) = habits.bus_code {
                    memory.set(set.reporter, code, turn, since, habits.confirms_at_once);
                }
                continue;
            };
            for code in &self.model.plan.node[accused].lost_codes {
                let dash = if habits.failure_type.is_empty() { "" } else { "-" };
                let code = format!("{code}{dash}{}", habits.failure_type);
                memory.set(set.reporter, &code, turn, since, habits.confirms_at_once);
            }
        }
    }

    /// Deep sags leave codes in nodes that watch their supply; resets wipe what was pending.
    pub(crate) fn supply_codes(&self, memory: &mut Memory, turn: usize, course: &Course) {
        let deep = course.sags.iter().filter(|sag| sag.volts < 8.0).count();
        for block in &course.blocks {
            if block.why == Why::Unpowered {
                memory.reset(block.node);
            }
        }
        for (node, habits) in self.model.nodes.iter().enumerate() {
            if let (true, Some(code)) = (deep > 0, habits.supply_code) {
                let at = course.sags.iter().find(|sag| sag.volts < 8.0);
                let since = at.map_or(1.0, |sag| (seconds(sag.span.from) * 10.0).round() / 10.0);
                memory.set(node, code, turn, since, habits.confirms_at_once);
            }
        }
    }

    /// The codes of a fault that was mended before the period.
    pub(crate) fn old_codes(&self, chance: &mut Chance) -> Memory {
        let mut memory = Memory::default();
        for fault in self.plan.fault.iter().filter(|fault| fault.how == How::StaleCodes) {
            let accused = chance.index(self.model.nodes.len());
            let named = fault.suspect.strip_prefix("node:").and_then(|name| self.model.node(name));
            let accused = named.unwrap_or(accused);
            for (node, habits) in self.model.nodes.iter().enumerate() {
                if !habits.stores || !habits.hears[accused] {
                    continue;
                }
                for code in &self.model.plan.node[accused].lost_codes {
                    let since = (chance.within([4.0, 60.0]) * 10.0).round() / 10.0;
                    memory.old(node, &format!("{code}-00"), chance.whole(1, 6), since);
                }
            }
        }
        memory
    }
}
