//! Which node sends an identifier, and which bus an interface is.
//!
//! A network description decides. Without one, a 29-bit identifier belongs to its J1939 source
//! address, and an 11-bit identifier stands for itself until `incidents` groups it with others.

use std::collections::BTreeMap;

use crate::protocol::j1939;
use crate::vocabulary::{Identifier, Network};

/// Names given to senders that no description names begin with this.
pub const UNNAMED: &str = "sender-";

/// The senders on one vehicle's buses.
#[derive(Debug, Clone, Default)]
pub struct Senders {
    described: BTreeMap<(String, Identifier), String>,
    interfaces: BTreeMap<String, String>,
    bitrates: BTreeMap<String, u32>,
    buses: Vec<String>,
}

impl Senders {
    /// The senders of a described network; an empty set without a description.
    #[must_use]
    pub fn new(network: Option<&Network>) -> Senders {
        let mut senders = Senders::default();
        let Some(network) = network else { return senders };
        for bus in &network.buses {
            senders.buses.push(bus.name.clone());
            if let Some(interface) = &bus.interface {
                senders.interfaces.insert(interface.clone(), bus.name.clone());
            }
            if let Some(bitrate) = bus.bitrate {
                senders.bitrates.insert(bus.name.clone(), bitrate);
            }
        }
        for node in &network.nodes {
            for bus in &node.buses {
                for sent in &node.sends {
                    senders
                        .described
                        .entry((bus.clone(), sent.id))
                        .or_insert_with(|| node.name.clone());
                }
                if let Some(response) = node.response {
                    senders
                        .described
                        .entry((bus.clone(), response))
                        .or_insert_with(|| node.name.clone());
                }
            }
        }
        senders
    }

    /// The bus of an interface: by the description, else by the path, else the only bus, else the
    /// interface's own name.
    #[must_use]
    pub fn bus(&self, interface: &str, from_path: Option<&str>) -> String {
        if let Some(bus) = self.interfaces.get(interface) {
            return bus.clone();
        }
        if self.buses.iter().any(|bus| bus == interface) {
            return interface.to_owned();
        }
        match (from_path, self.buses.as_slice()) {
            (Some(bus), _) => bus.to_owned(),
            (None, [only]) => only.clone(),
            _ => interface.to_owned(),
        }
    }

    /// Bits a second of a bus, when described.
    #[must_use]
    pub fn bitrate(&self, bus: &str) -> Option<u32> {
        self.bitrates.get(bus).copied()
    }

    /// Whether any sender is described on this bus.
    #[must_use]
    pub fn describes(&self, bus: &str) -> bool {
        self.described.keys().any(|(b, _)| b == bus)
    }

    /// Whether the description names the sender of this identifier.
    #[must_use]
    pub fn knows(&self, bus: &str, id: Identifier) -> bool {
        self.described.contains_key(&(bus.to_owned(), id))
    }

    /// The node that sends an identifier; a name that begins with [`UNNAMED`] where none is known.
    #[must_use]
    pub fn node(&self, bus: &str, id: Identifier) -> String {
        if let Some(node) = self.described.get(&(bus.to_owned(), id)) {
            return node.clone();
        }
        match j1939::header(id) {
            Some(header) => format!("{UNNAMED}{:02X}", header.source),
            None => format!("{UNNAMED}id-{id}"),
        }
    }
}

/// Whether an identifier belongs to tester traffic of ISO 15765-4: it comes and goes with the tester.
#[must_use]
pub fn is_tester_traffic(id: Identifier) -> bool {
    if id.is_extended() {
        matches!(id.value() >> 16 & 0xFF, 0xDA | 0xDB)
    } else {
        matches!(id.value(), 0x7DF..=0x7EF)
    }
}
