//! Scenario tables of a vehicle model: its buses, branches and nodes.
//!
//! Most keys go into the network description as they are; `hears`, `boot_s`, `min_v` and the
//! like stay in the scenario, because an analyst would not know them.

use serde::Deserialize;

/// A vehicle model.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NetworkPlan {
    /// The name that `vehicles.csv` uses.
    pub(crate) name: String,
    /// The model's name in words.
    #[serde(default)]
    pub(crate) model: String,
    /// Its buses.
    pub(crate) bus: Vec<BusPlan>,
    /// Its wiring branches.
    #[serde(default)]
    pub(crate) branch: Vec<BranchPlan>,
    /// Its nodes.
    pub(crate) node: Vec<NodePlan>,
}

/// A bus.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BusPlan {
    /// Its name.
    pub(crate) name: String,
    /// Bits a second.
    pub(crate) bitrate: u32,
    /// The interface that logs use for it.
    pub(crate) interface: String,
}

/// A wiring branch.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BranchPlan {
    /// Its name.
    pub(crate) name: String,
    /// Its bus.
    pub(crate) bus: String,
    /// The branch it hangs on.
    pub(crate) upstream: Option<String>,
}

/// A node.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NodePlan {
    /// Short name.
    pub(crate) name: String,
    /// Long name.
    pub(crate) title: String,
    /// Other names in reports.
    #[serde(default)]
    pub(crate) aliases: Vec<String>,
    /// The buses it hangs on.
    pub(crate) bus: Vec<String>,
    /// What it sends.
    pub(crate) sends: Vec<SendPlan>,
    /// The codes that others set when they no longer hear it.
    #[serde(default)]
    pub(crate) lost_codes: Vec<String>,
    /// The identifier on which a tester asks it.
    pub(crate) request: Option<String>,
    /// The identifier on which it answers.
    pub(crate) response: Option<String>,
    /// The fuse it hangs on.
    pub(crate) feed: Option<String>,
    /// Its ground point.
    pub(crate) ground: Option<String>,
    /// The branches it hangs on.
    #[serde(default)]
    pub(crate) branch: Vec<String>,
    /// The nodes it listens to; none given: a share of its bus, drawn once per model.
    pub(crate) hears: Option<Vec<String>>,
    /// Seconds from supply to first frame; none given: 0.05 to 0.3.
    pub(crate) boot_s: Option<f64>,
    /// The supply below which it resets, in volts; none given: 5.5 to 6.8.
    pub(crate) min_v: Option<f64>,
}

/// An identifier that a node sends.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SendPlan {
    /// The identifier, as `0x1A0` or `0x18FEF100`.
    pub(crate) id: String,
    /// The period in milliseconds; none: event driven.
    pub(crate) period_ms: Option<f64>,
    /// Mean seconds between two events.
    #[serde(default = "eight_seconds")]
    pub(crate) event_mean_s: f64,
    /// Payload length in bytes, 1 to 8.
    #[serde(default = "eight_bytes")]
    pub(crate) bytes: u8,
    /// The bus of a gateway's identifier; none: the node's first bus.
    pub(crate) bus: Option<String>,
}

fn eight_seconds() -> f64 {
    8.0
}

fn eight_bytes() -> u8 {
    8
}
