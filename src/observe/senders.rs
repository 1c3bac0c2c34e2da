//! Which node sends an identifier, and which bus an interface is.
//!
//! A network description decides. Without one, a 29-bit identifier belongs to its source address, named
//! as SAE J1939 prefers where the log shows that network; an 11-bit identifier stands for itself until
//! `incidents` groups it with others. Who answers a tester on an identifier that nothing else names is
//! named by it: `engine-7e8`, `ecu-768`. The tester itself is [`TESTER`] and no node.

use std::collections::{BTreeMap, BTreeSet};

use crate::protocol::j1939::{self, addresses, claim, transport, trouble};
use crate::vocabulary::{Identifier, Network, Node};

/// Names given to senders that no description names begin with this.
pub const UNNAMED: &str = "sender-";

/// Whoever asks. Not a node of the vehicle, never a suspect.
pub const TESTER: &str = "tester";

/// What the source addresses of 29-bit identifiers mean on a bus.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Addresses {
    /// The last byte of an identifier, no more.
    #[default]
    Unknown,
    /// SAE J1939 on a road vehicle: the standard's preferred addresses.
    Preferred,
    /// Given out as nodes come up, as on vessels: a number only.
    Dynamic,
}

/// The senders on one vehicle's buses.
#[derive(Debug, Clone, Default)]
pub struct Senders {
    described: BTreeMap<(String, Identifier), String>,
    interfaces: BTreeMap<String, String>,
    bitrates: BTreeMap<String, u32>,
    buses: Vec<String>,
    /// Nodes by request and response identifier, on whichever bus the tester sits.
    diagnostic: BTreeMap<Identifier, String>,
    requests: BTreeSet<Identifier>,
    /// Nodes by bus and source address of what they send.
    by_address: BTreeMap<(String, u8), String>,
    /// Buses on which a node is described to send in a period.
    cyclic: BTreeMap<String, Vec<String>>,
    /// Nodes whose answer identifier is one of ISO 15765-4.
    legislated: Vec<String>,
    addresses: Addresses,
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
            senders.diagnostics_of(node);
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

    fn diagnostics_of(&mut self, node: &Node) {
        for id in node.request.iter().chain(&node.response) {
            self.diagnostic.entry(*id).or_insert_with(|| node.name.clone());
        }
        self.requests.extend(node.request);
        let standard = |id: &Identifier| !id.is_extended() && (0x7E8..=0x7EF).contains(&id.value());
        if node.response.as_ref().is_some_and(standard) {
            self.legislated.push(node.name.clone());
        }
        let headers = node.sends.iter().filter_map(|sent| j1939::header(sent.id));
        for address in headers.map(|h| h.source) {
            for bus in &node.buses {
                let key = (bus.clone(), address);
                self.by_address.entry(key).or_insert_with(|| node.name.clone());
            }
        }
        if node.sends.iter().any(|sent| sent.period_ms.is_some()) {
            self.cyclic.insert(node.name.clone(), node.buses.clone());
        }
    }

    /// These senders for a bus that carries `ids`: what its source addresses mean.
    pub(super) fn on_a_bus_with(&self, ids: impl Iterator<Item = Identifier>) -> Senders {
        let (mut known, mut paged, mut all) = (BTreeSet::new(), 0u32, 0u32);
        let mut certain = false;
        for header in ids.filter_map(j1939::header) {
            all += 1;
            // Groups 1F000 to 1FFFF: marine networks, whose addresses are given out.
            paged += u32::from(header.group >> 12 == 0x1F);
            certain |= header.group == trouble::ACTIVE || header.group == claim::CLAIM;
            if COMMON_GROUPS.contains(&header.group) {
                known.insert(header.group);
            }
        }
        let addresses = if paged > 0 && paged * 3 >= all {
            Addresses::Dynamic
        } else if certain || known.len() >= 2 {
            Addresses::Preferred
        } else {
            Addresses::Unknown
        };
        Senders { addresses, ..self.clone() }
    }

    /// The node that sends an identifier; a name that begins with [`UNNAMED`] where none is known.
    #[must_use]
    pub fn node(&self, bus: &str, id: Identifier) -> String {
        if let Some(node) = self.described.get(&(bus.to_owned(), id)) {
            return node.clone();
        }
        if self.requests.contains(&id) {
            return TESTER.to_owned();
        }
        match j1939::header(id) {
            Some(header) => self.unnamed_address(bus, header.source),
            None if is_tester_traffic(id) && id.value() < 0x7E8 => TESTER.to_owned(),
            None if is_tester_traffic(id) => self.answering(bus, id),
            None => format!("{UNNAMED}id-{id}"),
        }
    }

    fn unnamed_address(&self, bus: &str, address: u8) -> String {
        if self.describes(bus) {
            return format!("{UNNAMED}{address:02X}");
        }
        match self.addresses {
            Addresses::Unknown => format!("{UNNAMED}{address:02X}"),
            Addresses::Dynamic => format!("{UNNAMED}address-{address}"),
            Addresses::Preferred if addresses::is_outsider(address) => TESTER.to_owned(),
            Addresses::Preferred => address_name(address),
        }
    }

    /// Whether the last byte of 29-bit identifiers is known to be the sender's address here.
    #[must_use]
    pub fn by_address(&self) -> bool {
        self.addresses != Addresses::Unknown
    }

    /// The node of a J1939 source address.
    #[must_use]
    pub fn at_address(&self, bus: &str, address: u8) -> String {
        let known = self.by_address.get(&(bus.to_owned(), address));
        known.cloned().unwrap_or_else(|| self.unnamed_address(bus, address))
    }

    /// The node that answers a tester on an identifier.
    #[must_use]
    pub fn answering(&self, bus: &str, id: Identifier) -> String {
        if let Some(node) = self.diagnostic.get(&id) {
            return node.clone();
        }
        if let Some(node) = self.described.get(&(bus.to_owned(), id)) {
            return node.clone();
        }
        match j1939::header(id) {
            Some(header) => self.at_address(bus, header.source),
            None => {
                // 7E8 is the engine and 7E9 the transmission by habit (FACTS 6.1).
                let what = match id.value() {
                    0x7E8 => "engine",
                    0x7E9 => "transmission",
                    _ => "ecu",
                };
                format!("{what}-{:03x}", id.value())
            }
        }
    }

    /// The node whose description names this identifier as its request or response.
    pub(super) fn described_diagnostic(&self, id: Identifier) -> Option<&str> {
        self.diagnostic.get(&id).map(String::as_str)
    }

    /// Buses on which a node is described to send in a period.
    pub(super) fn cyclic_buses(&self, node: &str) -> impl Iterator<Item = &str> {
        self.cyclic.get(node).into_iter().flatten().map(String::as_str)
    }

    /// Nodes described to answer on one of the identifiers of ISO 15765-4.
    pub(super) fn legislated(&self) -> &[String] {
        &self.legislated
    }
}

/// Groups that nearly every J1939 network carries: EEC1, EEC2, ETC1, EBC1, ET1, CCVS, VEP1, AMB, LFE,
/// DD, transport.
const COMMON_GROUPS: [u32; 12] =
    [61444, 61443, 61442, 61441, 65262, 65265, 65271, 65269, 65266, 65276, 0xEB00, 0xEC00];

/// The name of the node at a J1939 address that no description names.
#[must_use]
pub fn address_name(address: u8) -> String {
    match addresses::preferred(address) {
        Some(name) => name.to_owned(),
        None => format!("{UNNAMED}address-{address}"),
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

/// Whether an identifier is tester traffic, or a request or a packet of a long message (SAE J1939-21): it has a beat
/// of its own while it lasts, and ends.
pub(super) fn comes_and_goes(id: Identifier) -> bool {
    let ends = [claim::REQUEST, transport::DATA, transport::MANAGEMENT];
    is_tester_traffic(id) || j1939::header(id).is_some_and(|h| ends.contains(&h.group))
}
