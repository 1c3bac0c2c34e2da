//! Networks for random fleets: 8 to 15 nodes on one bus, hung on branches, feeds and grounds
//! by chance. Names and codes are generic.

use crate::rehearse::chance::Chance;
use crate::rehearse::scenario::{BranchPlan, BusPlan, NetworkPlan, NodePlan, SendPlan};

/// Short name, long name, code of lost communication, shortest period in milliseconds.
const NODES: [(&str, &str, &str, f64); 15] = [
    ("gateway", "Gateway", "U0146", 100.0),
    ("engine", "Engine controller", "U0100", 20.0),
    ("brake", "Brake controller", "U0121", 20.0),
    ("body", "Body controller", "U0140", 100.0),
    ("cluster", "Instrument cluster", "U0155", 100.0),
    ("steering-angle", "Steering angle sensor", "U0126", 20.0),
    ("power-steering", "Power steering", "U0131", 50.0),
    ("transmission", "Transmission controller", "U0101", 50.0),
    ("restraint", "Restraint controller", "U0151", 100.0),
    ("climate", "Climate controller", "U0164", 200.0),
    ("park-brake", "Parking brake", "U0128", 100.0),
    ("tyre-pressure", "Tyre pressure monitor", "U0127", 500.0),
    ("door-left", "Left door", "U0199", 200.0),
    ("camera", "Rear camera", "U0264", 200.0),
    ("telematics", "Telematics", "U0198", 500.0),
];

/// Draws a network.
pub(crate) fn invent(seed: u64, name: &str) -> NetworkPlan {
    let mut chance = Chance::of(seed, &["network", name]);
    let count = 8 + chance.index(8);
    let mut left: Vec<usize> = (1..NODES.len()).collect();
    let mut chosen = vec![0];
    while chosen.len() < count {
        chosen.push(left.remove(chance.index(left.len())));
    }
    chosen.sort_unstable();
    let branches = 2 + chance.index(3);
    let branch = (0..branches)
        .map(|at| BranchPlan {
            name: branch_name(at),
            bus: "main".to_owned(),
            upstream: (at == 2).then(|| branch_name(1)),
        })
        .collect();
    let node = chosen.iter().map(|&at| invented_node(at, branches, &mut chance)).collect();
    let bus = BusPlan { name: "main".to_owned(), bitrate: 500_000, interface: "can0".to_owned() };
    NetworkPlan {
        name: name.to_owned(),
        model: format!("Invented {name}"),
        bus: vec![bus],
        branch,
        node,
    }
}

fn branch_name(at: usize) -> String {
    format!("splice-{}", at + 1)
}

fn invented_node(at: usize, branches: usize, chance: &mut Chance) -> NodePlan {
    let (name, title, code, period_ms) = NODES[at];
    let id = 0x0C0 + 0x40 * u32::try_from(at).unwrap_or(0);
    let send = |id: u32, period_ms: Option<f64>| SendPlan {
        id: format!("0x{id:03X}"),
        period_ms,
        event_mean_s: 6.0,
        bytes: 8,
        bus: None,
    };
    let mut sends = vec![send(id, Some(period_ms))];
    if chance.happens(0.6) {
        sends.push(send(id + 0x13, Some(period_ms * 5.0)));
    }
    if chance.happens(0.3) {
        sends.push(send(id + 0x21, None));
    }
    NodePlan {
        name: name.to_owned(),
        title: title.to_owned(),
        aliases: Vec::new(),
        bus: vec!["main".to_owned()],
        sends,
        lost_codes: vec![code.to_owned()],
        request: None,
        response: None,
        feed: Some(format!("F{}", 1 + chance.index(4))),
        ground: Some(format!("G{}", 1 + chance.index(3))),
        branch: vec![branch_name(chance.index(branches))],
        hears: None,
        boot_s: (at == 0).then_some(0.6),
        min_v: chance.happens(0.25).then_some(8.4),
    }
}
