//! File names of vehicle pages. A vehicle's name is input and may be anything; its page's name
//! holds only lower-case letters, digits, `-` and `_`.

use std::collections::{BTreeMap, BTreeSet};

use xxhash_rust::xxh3::xxh3_64;

/// Longest part of a vehicle's name that goes into its page's name.
const KEPT: usize = 48;

/// The page name of every vehicle, unique even where file names ignore case.
///
/// A name that had to be changed carries a digest of the original, so that the page keeps its name
/// whatever other vehicles the run covers.
pub(super) fn page_names<'a>(vehicles: impl Iterator<Item = &'a str>) -> BTreeMap<String, String> {
    let all: BTreeSet<&str> = vehicles.collect();
    let mut taken = BTreeSet::new();
    let mut names = BTreeMap::new();
    for vehicle in all {
        let plain = safe(vehicle);
        let mut name = format!("vehicle-{plain}.html");
        let mut copy = 2_u32;
        while !taken.insert(name.clone()) {
            name = format!("vehicle-{plain}-{copy}.html");
            copy += 1;
        }
        names.insert(vehicle.to_owned(), name);
    }
    names
}

fn safe(vehicle: &str) -> String {
    let mut plain = String::new();
    let mut changed = vehicle.is_empty();
    for c in vehicle.chars() {
        if plain.len() == KEPT {
            changed = true;
            break;
        }
        match c {
            'a'..='z' | '0'..='9' | '-' | '_' => plain.push(c),
            'A'..='Z' => plain.push(c.to_ascii_lowercase()),
            _ => {
                changed = true;
                if !plain.ends_with('-') && !plain.is_empty() {
                    plain.push('-');
                }
            }
        }
    }
    if changed {
        let digest = xxh3_64(vehicle.as_bytes()) & 0xFFFF_FFFF;
        let plain = plain.trim_matches('-');
        let joint = if plain.is_empty() { "" } else { "-" };
        return format!("{plain}{joint}{digest:08x}");
    }
    plain
}
