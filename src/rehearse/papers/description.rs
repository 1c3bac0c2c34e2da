//! The network description of a model, as an analyst would have it.

use std::fmt::Write as _;

use crate::rehearse::scenario::{NetworkPlan, NodePlan};

/// Writes the description of a model.
pub(crate) fn description(plan: &NetworkPlan) -> String {
    let mut text = String::from("# Invented for a rehearsal: no real vehicle has this network.\n");
    // Writing to a String cannot fail.
    let _ = writeln!(text, "network = {}", quoted(&plan.name));
    for bus in &plan.bus {
        let _ = writeln!(text, "\n[[bus]]\nname = {}", quoted(&bus.name));
        let _ = writeln!(text, "bitrate = {}", bus.bitrate);
        let _ = writeln!(text, "interface = {}", quoted(&bus.interface));
    }
    for branch in &plan.branch {
        let _ = writeln!(text, "\n[[branch]]\nname = {}", quoted(&branch.name));
        let _ = writeln!(text, "bus = {}", quoted(&branch.bus));
        if let Some(upstream) = &branch.upstream {
            let _ = writeln!(text, "upstream = {}", quoted(upstream));
        }
    }
    for node in &plan.node {
        node_table(&mut text, node);
    }
    text
}

fn node_table(text: &mut String, node: &NodePlan) {
    let _ = writeln!(text, "\n[[node]]\nname = {}", quoted(&node.name));
    let _ = writeln!(text, "title = {}", quoted(&node.title));
    let _ = writeln!(text, "aliases = {}", list(&node.aliases));
    let _ = writeln!(text, "bus = {}", list(&node.bus));
    let sends: Vec<String> = node
        .sends
        .iter()
        .map(|sent| match sent.period_ms {
            Some(period) => format!("{{id = {}, period_ms = {period}}}", quoted(&sent.id)),
            None => format!("{{id = {}}}", quoted(&sent.id)),
        })
        .collect();
    let _ = writeln!(text, "sends = [{}]", sends.join(", "));
    let _ = writeln!(text, "lost_codes = {}", list(&node.lost_codes));
    let texts = [
        ("request", &node.request),
        ("response", &node.response),
        ("feed", &node.feed),
        ("ground", &node.ground),
    ];
    for (key, value) in texts {
        if let Some(value) = value {
            let _ = writeln!(text, "{key} = {}", quoted(value));
        }
    }
    match node.branch.as_slice() {
        [] => {}
        [one] => {
            let _ = writeln!(text, "branch = {}", quoted(one));
        }
        many => {
            let _ = writeln!(text, "branch = {}", list(many));
        }
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn list(texts: &[String]) -> String {
    let quoted: Vec<String> = texts.iter().map(|text| quoted(text)).collect();
    format!("[{}]", quoted.join(", "))
}
