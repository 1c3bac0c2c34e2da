//! A vehicle model, ready to run: names become places in lists, and what the scenario leaves
//! open (time-outs, boot times, who listens to whom) is drawn once per model.

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::scenario::{NetworkPlan, NodePlan, Scenario, SendPlan};
use crate::rehearse::traffic::weakness;
use crate::vocabulary::{Identifier, Instant, Suspect};

/// A vehicle model.
pub(crate) struct Model {
    /// The plan it was made from.
    pub(crate) plan: NetworkPlan,
    /// Nanoseconds of one bit, by bus.
    pub(crate) bit_ns: Vec<i64>,
    /// The nodes, in the order of the plan.
    pub(crate) nodes: Vec<NodeModel>,
}

/// A node's fixed habits.
pub(crate) struct NodeModel {
    /// Short name.
    pub(crate) name: String,
    /// The buses it hangs on.
    pub(crate) buses: Vec<usize>,
    /// What it sends.
    pub(crate) sends: Vec<Sends>,
    /// Whether it listens to each other node.
    pub(crate) hears: Vec<bool>,
    /// Nanoseconds from supply to first frame.
    pub(crate) boot_ns: i64,
    /// The supply below which it resets, in volts.
    pub(crate) min_v: f64,
    /// Nanoseconds without a frame before it accuses the sender.
    pub(crate) timeout_ns: i64,
    /// Nanoseconds after waking before it watches at all.
    pub(crate) enable_ns: i64,
    /// The supply below which it does not watch, in volts; 0: it always watches.
    pub(crate) watch_v: f64,
    /// Nanoseconds its software waits before it leaves bus-off.
    pub(crate) recovery_ns: i64,
    /// Whether it stores network codes at all.
    pub(crate) stores: bool,
    /// Whether it stores accusations of a time in which it was itself off the bus.
    pub(crate) accuses_when_off: bool,
    /// The code it stores about the bus, if any.
    pub(crate) bus_code: Option<&'static str>,
    /// The code it stores about its own supply, if any.
    pub(crate) supply_code: Option<&'static str>,
    /// Whether a code is confirmed at once.
    pub(crate) confirms_at_once: bool,
    /// Whether its statuses are reported as raw bytes.
    pub(crate) raw_status: bool,
    /// The failure type of its accusations.
    pub(crate) failure_type: &'static str,
}

/// An identifier that a node sends.
#[derive(Clone, Copy)]
pub(crate) struct Sends {
    /// The identifier.
    pub(crate) id: Identifier,
    /// The period; none: event driven.
    pub(crate) period_ns: Option<i64>,
    /// Mean nanoseconds between events.
    pub(crate) event_ns: i64,
    /// Payload bytes.
    pub(crate) bytes: usize,
    /// The bus.
    pub(crate) bus: usize,
}

/// Seconds as nanoseconds.
pub(crate) fn ns(seconds: f64) -> i64 {
    Instant(0).plus_seconds(seconds).0
}

impl Model {
    /// Makes a model of a plan.
    pub(crate) fn build(scenario: &Scenario, plan: &NetworkPlan) -> Result<Model, RehearseError> {
        let place = format!("network {}", plan.name);
        let mut nodes = Vec::new();
        for node in &plan.node {
            nodes.push(node_model(scenario, plan, node, &place)?);
        }
        let bit_ns = plan.bus.iter().map(|bus| 1_000_000_000 / i64::from(bus.bitrate.max(1)));
        Ok(Model { plan: plan.clone(), bit_ns: bit_ns.collect(), nodes })
    }

    /// The place of a node.
    pub(crate) fn node(&self, name: &str) -> Option<usize> {
        self.nodes.iter().position(|node| node.name == name)
    }

    /// The identifier with which a node wins arbitration most often.
    pub(crate) fn strongest(&self, node: usize, bus: usize) -> Option<Identifier> {
        let own = self.nodes[node].sends.iter().filter(|sent| sent.bus == bus);
        own.map(|sent| sent.id).min_by_key(|id| weakness(*id))
    }

    /// The nodes that a suspect holds or carries, and its first bus; `None` for a name that the
    /// model does not have.
    pub(crate) fn held_by(&self, suspect: &Suspect) -> Option<(Vec<usize>, usize)> {
        let matching = |is: &dyn Fn(&NodePlan) -> bool| -> Vec<usize> {
            (0..self.nodes.len()).filter(|&at| is(&self.plan.node[at])).collect()
        };
        let nodes = match suspect {
            Suspect::Node(name) => vec![self.node(name)?],
            Suspect::Feed(name) => matching(&|node| node.feed.as_ref() == Some(name)),
            Suspect::Ground(name) => matching(&|node| node.ground.as_ref() == Some(name)),
            Suspect::Branch(name) => {
                let below = self.branches_below(name);
                matching(&|node| {
                    !node.branch.is_empty() && node.branch.iter().all(|b| below.contains(b))
                })
            }
            Suspect::Bus(name) => {
                let bus = self.plan.bus.iter().position(|bus| bus.name == *name)?;
                return Some(((0..self.nodes.len()).collect(), bus));
            }
            Suspect::Supply | Suspect::None => return Some(((0..self.nodes.len()).collect(), 0)),
        };
        let bus = *self.nodes[*nodes.first()?].buses.first()?;
        Some((nodes, bus))
    }

    fn branches_below(&self, top: &str) -> Vec<String> {
        let mut below = vec![top.to_owned()];
        let mut at = 0;
        while at < below.len() {
            for branch in &self.plan.branch {
                if branch.upstream.as_ref() == Some(&below[at]) && !below.contains(&branch.name) {
                    below.push(branch.name.clone());
                }
            }
            at += 1;
        }
        below
    }

    /// The shortest period a node keeps on a bus, in nanoseconds.
    pub(crate) fn fastest(&self, node: usize, bus: usize) -> Option<i64> {
        let sends = self.nodes[node].sends.iter().filter(|sent| sent.bus == bus);
        sends.filter_map(|sent| sent.period_ns).min()
    }
}

fn node_model(
    scenario: &Scenario,
    plan: &NetworkPlan,
    node: &NodePlan,
    place: &str,
) -> Result<NodeModel, RehearseError> {
    let mut buses = Vec::new();
    for name in &node.bus {
        buses.push(bus_named(plan, name, place)?);
    }
    if buses.is_empty() {
        return Err(RehearseError::wrong(place, &format!("node `{}` has no bus", node.name)));
    }
    let mut sends = Vec::new();
    for sent in &node.sends {
        sends.push(sends_of(plan, sent, buses[0], place)?);
    }
    let mut chance = Chance::of(scenario.seed, &["habits", &plan.name, &node.name]);
    let boot_s = node.boot_s.unwrap_or_else(|| chance.within([0.05, 0.3]));
    let min_v = node.min_v.unwrap_or_else(|| chance.within([5.5, 6.8]));
    let timeout_s =
        [0.5, 0.8, 1.0, 2.0, 2.2, 3.0, 5.0][chance.index(7)] * chance.within([0.97, 1.03]);
    let watch_v = [0.0, 0.0, 9.0, 10.0][chance.index(4)];
    let stores = !chance.happens(scenario.evidence.never_store);
    let bus_code = [Some("U0073-88"), Some("U0073-00"), Some("U0001-88"), None, None];
    let supply_code = [Some("U3003-00"), Some("P0562-00"), Some("U3003-16"), None, None];
    let hears = plan.node.iter().map(|other| {
        let shared = other.name != node.name && other.bus.iter().any(|bus| node.bus.contains(bus));
        let drawn = chance.happens(if node.bus.len() > 1 { 0.95 } else { 0.6 });
        shared && node.hears.as_ref().map_or(drawn, |list| list.contains(&other.name))
    });
    let hears = hears.collect();
    Ok(NodeModel {
        name: node.name.clone(),
        buses,
        sends,
        hears,
        boot_ns: ns(boot_s),
        min_v,
        timeout_ns: ns(timeout_s),
        enable_ns: ns(chance.within([0.5, 3.0])),
        watch_v,
        recovery_ns: ns(chance.within([0.06, 0.9])),
        stores,
        accuses_when_off: chance.happens(0.5),
        bus_code: bus_code[chance.index(5)],
        supply_code: supply_code[chance.index(5)],
        confirms_at_once: chance.happens(0.4),
        raw_status: chance.happens(0.2),
        failure_type: ["00", "87", "00", ""][chance.index(4)],
    })
}

fn bus_named(plan: &NetworkPlan, name: &str, place: &str) -> Result<usize, RehearseError> {
    let found = plan.bus.iter().position(|bus| bus.name == name);
    found.ok_or_else(|| RehearseError::wrong(place, &format!("no [[network.bus]] named `{name}`")))
}

fn sends_of(
    plan: &NetworkPlan,
    sent: &SendPlan,
    first: usize,
    place: &str,
) -> Result<Sends, RehearseError> {
    let digits = sent.id.trim_start_matches("0x");
    let value = u32::from_str_radix(digits, 16)
        .map_err(|_| RehearseError::wrong(place, &format!("`{}` is not an identifier", sent.id)))?;
    let id = if digits.len() > 3 { Identifier::extended(value) } else { Identifier::base(value) };
    let bus = match &sent.bus {
        Some(name) => bus_named(plan, name, place)?,
        None => first,
    };
    let period_ns = sent.period_ms.map(|period| ns(period / 1000.0).max(1_000_000));
    let bytes = usize::from(sent.bytes.clamp(2, 8));
    Ok(Sends { id, period_ns, event_ns: ns(sent.event_mean_s), bytes, bus })
}
