//! Network descriptions.
//!
//! Grammar: TOML with `network = "NAME"` and lists of `[[bus]]`, `[[node]]` and `[[branch]]`; only
//! the names are required. `bus` and `branch` of a node are a word or a list; an identifier is `"0x1A0"` or
//! `0x1A0`, 29 bits when it is written with 8 digits or is over 0x7FF. A fault costs the smallest thing
//! it spoils (a key, an identifier, a reference, a node) and is reported with its line; the rest
//! of the description stays in use. Only without a name or a list to read is there no network.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

use toml::de::{DeTable, DeValue};

use crate::protocol::trouble_codes::parse_code;
use crate::read::account::{Account, Reading};
use crate::read::nearest::suggestion;
use crate::read::toml_text::{TomlText, Word};
use crate::vocabulary::{Branch, Bus, Identifier, Network, Node, Place, Sent};

/// Reads a network description.
#[must_use]
pub fn read_network(bytes: &[u8], name: &Arc<str>) -> Reading<Option<Network>> {
    let mut account = Account::default();
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let place = Place::byte(name, error.valid_up_to() as u64);
            account.reject(place, "not UTF-8, expected a network description; save it as UTF-8");
            return Reading { records: None, account };
        }
    };
    let (mut file, table) = TomlText::parse(text, name);
    file.check_keys(&table, &["network", "bus", "node", "branch"], "the network description");
    let network = file.word(&table, "network").map(|word| word.text);
    if network.is_none() {
        file.fault_of_file("no `network = \"NAME\"`, the name that the vehicles table uses");
    }
    let buses = buses(&mut file, &table);
    let branches = branches(&mut file, &table, &buses);
    let nodes = nodes(&mut file, &table, &buses, &branches);
    account.rejects = file.faults;
    let records = network.map(|name| Network { name, buses, nodes, branches });
    Reading { records, account }
}

/// The name of an item; without one, or with one already taken, the item is left out.
fn own_name(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
    span: &Range<usize>,
    what: &str,
    taken: &mut BTreeMap<String, u64>,
) -> Option<String> {
    let Some(word) = file.word(table, "name") else {
        file.fault(span, format!("[[{what}]] without a `name`; it is left out"));
        return None;
    };
    let line = file.line(word.span.start);
    if let Some(first) = taken.get(&word.text) {
        let reason = format!("{what} `{}` stands twice (first in line {first})", word.text);
        file.fault(&word.span, reason);
        return None;
    }
    taken.insert(word.text.clone(), line);
    Some(word.text)
}

fn buses(file: &mut TomlText<'_>, table: &DeTable<'_>) -> Vec<Bus> {
    let mut taken = BTreeMap::new();
    let mut buses = Vec::new();
    for (item, span) in file.tables(table, "bus") {
        file.check_keys(item, &["name", "bitrate", "interface"], "[[bus]]");
        let Some(name) = own_name(file, item, &span, "bus", &mut taken) else { continue };
        let bitrate = file.whole(item, "bitrate").and_then(|(rate, span)| {
            let sound = (1_000..=20_000_000).contains(&rate);
            if !sound {
                file.fault(&span, format!("bitrate {rate} is outside 1000 to 20000000 bit/s"));
            }
            sound.then_some(rate)
        });
        let interface = file.word(item, "interface").map(|word| word.text);
        buses.push(Bus { name, bitrate, interface });
    }
    buses
}

/// A reference to something named elsewhere in the file; an unknown one is a fault.
fn known(file: &mut TomlText<'_>, word: Word, what: &str, names: &[&str]) -> Option<String> {
    if names.contains(&word.text.as_str()) {
        return Some(word.text);
    }
    let hint = if names.is_empty() {
        format!("there is no [[{what}]] in the file")
    } else {
        suggestion(&word.text, names)
    };
    file.fault(&word.span, format!("unknown {what} `{}`; {hint}", word.text));
    None
}

fn branches(file: &mut TomlText<'_>, table: &DeTable<'_>, buses: &[Bus]) -> Vec<Branch> {
    let bus_names: Vec<&str> = buses.iter().map(|bus| bus.name.as_str()).collect();
    let mut taken = BTreeMap::new();
    let mut found = Vec::new();
    for (item, span) in file.tables(table, "branch") {
        file.check_keys(item, &["name", "bus", "upstream"], "[[branch]]");
        let Some(name) = own_name(file, item, &span, "branch", &mut taken) else { continue };
        let bus = file.word(item, "bus").and_then(|word| known(file, word, "bus", &bus_names));
        let upstream = file.word(item, "upstream");
        found.push((name, bus, upstream));
    }
    let names: Vec<String> = found.iter().map(|(name, ..)| name.clone()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut branches: Vec<Branch> = Vec::new();
    let mut spans = Vec::new();
    for (name, bus, upstream) in found {
        spans.push(upstream.as_ref().map_or(0..0, |word| word.span.clone()));
        let upstream = upstream.and_then(|word| known(file, word, "branch", &names));
        branches.push(Branch { name, bus, upstream });
    }
    cut_cycles(file, &mut branches, &spans);
    branches
}

/// Follows every branch upstream; one that comes back to itself loses its `upstream`.
fn cut_cycles(file: &mut TomlText<'_>, branches: &mut [Branch], spans: &[Range<usize>]) {
    for at in 0..branches.len() {
        let start = branches[at].name.clone();
        let mut path = vec![start.clone()];
        let mut next = branches[at].upstream.clone();
        while let Some(name) = next {
            if name == start {
                path.push(name);
                let reason =
                    format!("branches hang on each other in a ring: {}", path.join(" on "));
                file.fault(&spans[at], reason);
                branches[at].upstream = None;
                break;
            }
            if path.contains(&name) {
                break;
            }
            next = branches.iter().find(|b| b.name == name).and_then(|b| b.upstream.clone());
            path.push(name);
        }
    }
}

const NODE_KEYS: [&str; 11] = [
    "name",
    "title",
    "aliases",
    "bus",
    "sends",
    "lost_codes",
    "request",
    "response",
    "feed",
    "ground",
    "branch",
];

fn nodes(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
    buses: &[Bus],
    branches: &[Branch],
) -> Vec<Node> {
    let bus_names: Vec<&str> = buses.iter().map(|bus| bus.name.as_str()).collect();
    let branch_names: Vec<&str> = branches.iter().map(|branch| branch.name.as_str()).collect();
    let mut taken = BTreeMap::new();
    let mut senders: BTreeMap<(String, Identifier), String> = BTreeMap::new();
    let mut nodes = Vec::new();
    for (item, span) in file.tables(table, "node") {
        file.check_keys(item, &NODE_KEYS, "[[node]]");
        let Some(name) = own_name(file, item, &span, "node", &mut taken) else { continue };
        let node_buses: Vec<String> = file
            .words(item, "bus")
            .into_iter()
            .filter_map(|word| known(file, word, "bus", &bus_names))
            .collect();
        let node_branches = file
            .words(item, "branch")
            .into_iter()
            .filter_map(|word| known(file, word, "branch", &branch_names))
            .collect();
        let sends = sends(file, item, &name, &node_buses, &mut senders);
        nodes.push(Node {
            title: file.word(item, "title").map(|word| word.text),
            aliases: file.words(item, "aliases").into_iter().map(|word| word.text).collect(),
            lost_codes: lost_codes(file, item),
            request: identifier(file, item, "request").map(|(id, _)| id),
            response: identifier(file, item, "response").map(|(id, _)| id),
            feed: file.word(item, "feed").map(|word| word.text),
            ground: file.word(item, "ground").map(|word| word.text),
            name,
            buses: node_buses,
            sends,
            branches: node_branches,
        });
    }
    nodes
}

/// What a node sends. On one bus an identifier has one sender; the second to claim it loses it.
fn sends(
    file: &mut TomlText<'_>,
    node: &DeTable<'_>,
    name: &str,
    buses: &[String],
    senders: &mut BTreeMap<(String, Identifier), String>,
) -> Vec<Sent> {
    let mut sent = Vec::new();
    let mut own = BTreeSet::new();
    for (item, span) in file.tables(node, "sends") {
        file.check_keys(item, &["id", "period_ms"], "`sends`");
        let Some((id, span)) = identifier(file, item, "id") else {
            if !item.contains_key("id") {
                file.fault(&span, "entry of `sends` without an `id`; it is left out");
            }
            continue;
        };
        if !own.insert(id) {
            file.fault(&span, format!("node `{name}` lists identifier {id} twice"));
            continue;
        }
        // A node without a bus may sit anywhere; it is checked against the others of its kind.
        let places: Vec<String> =
            if buses.is_empty() { vec![String::new()] } else { buses.to_vec() };
        let other = places.iter().find_map(|bus| senders.get(&(bus.clone(), id)));
        if let Some(other) = other {
            file.fault(
                &span,
                format!("identifier {id} of node `{name}` is already sent by `{other}`"),
            );
            continue;
        }
        for bus in places {
            senders.insert((bus, id), name.to_owned());
        }
        let period_ms = file.number(item, "period_ms").and_then(|(period, span)| {
            let sound = period > 0.0 && period <= 3_600_000.0;
            if !sound {
                let reason = format!(
                    "period_ms {period} is not above 0 and at most an hour; leave it out for a \
                     frame sent on events"
                );
                file.fault(&span, reason);
            }
            sound.then_some(period)
        });
        sent.push(Sent { id, period_ms });
    }
    sent
}

fn lost_codes(file: &mut TomlText<'_>, node: &DeTable<'_>) -> Vec<u16> {
    let mut codes = Vec::new();
    for word in file.words(node, "lost_codes") {
        match parse_code(&word.text) {
            Ok(code) => codes.push(code.word),
            Err(error) => file.fault(&word.span, format!("lost_codes: {error}")),
        }
    }
    codes
}

/// An identifier, written as a text or as a number.
fn identifier(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
    key: &str,
) -> Option<(Identifier, Range<usize>)> {
    let value = table.get(key)?;
    let (digits, radix) = match value.get_ref() {
        DeValue::String(text) => {
            let text = text.trim();
            let bare = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")).unwrap_or(text);
            (bare.to_owned(), 16)
        }
        DeValue::Integer(number) => (number.as_str().to_owned(), number.radix()),
        _ => {
            file.wrong(value, key, "an identifier like \"0x1A0\"");
            return None;
        }
    };
    let Ok(id) = u32::from_str_radix(&digits, radix) else {
        file.wrong(value, key, "an identifier like \"0x1A0\"");
        return None;
    };
    if id > 0x1FFF_FFFF {
        let reason =
            format!("identifier 0x{id:X} in `{key}` is over 0x1FFFFFFF, the last of 29 bits");
        file.fault(&value.span(), reason);
        return None;
    }
    let long = id > 0x7FF || (radix == 16 && digits.len() == 8);
    let id = if long { Identifier::extended(id) } else { Identifier::base(id) };
    Some((id, value.span()))
}

#[cfg(test)]
mod tests;
