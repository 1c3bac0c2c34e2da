//! The network description of a vehicle model: buses, nodes, branches.

use crate::vocabulary::Identifier;

/// A vehicle model's network, as its description file gives it. All but the names is optional.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Network {
    /// The name that `vehicles.csv` uses.
    pub name: String,
    /// The buses, in file order.
    pub buses: Vec<Bus>,
    /// The nodes, in file order.
    pub nodes: Vec<Node>,
    /// The wiring branches, in file order.
    pub branches: Vec<Branch>,
}

/// One bus.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bus {
    /// Its name.
    pub name: String,
    /// Bits a second.
    pub bitrate: Option<u32>,
    /// The interface name that logs use for it.
    pub interface: Option<String>,
}

/// One control module.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Node {
    /// Short name, used everywhere.
    pub name: String,
    /// Long name.
    pub title: Option<String>,
    /// How free-text reports may call it.
    pub aliases: Vec<String>,
    /// The buses it hangs on; two or more make it a gateway.
    pub buses: Vec<String>,
    /// What it sends.
    pub sends: Vec<Sent>,
    /// Codes that others set when they no longer hear it (16-bit words).
    pub lost_codes: Vec<u16>,
    /// The identifier on which a tester asks it.
    pub request: Option<Identifier>,
    /// The identifier on which it answers.
    pub response: Option<Identifier>,
    /// The fuse or supply it hangs on.
    pub feed: Option<String>,
    /// Its ground point.
    pub ground: Option<String>,
    /// The wiring branches it hangs on; more than one for a gateway.
    pub branches: Vec<String>,
}

/// An identifier that a node sends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sent {
    /// The identifier.
    pub id: Identifier,
    /// The stated period in milliseconds; `None` means event driven.
    pub period_ms: Option<f64>,
}

/// A wiring branch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Branch {
    /// Its name.
    pub name: String,
    /// The bus it belongs to.
    pub bus: Option<String>,
    /// The branch it hangs on.
    pub upstream: Option<String>,
}
