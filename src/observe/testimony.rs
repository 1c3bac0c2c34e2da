//! Scan reports become facts: what each code says of whom, and who replied.
//!
//! Whom a code accuses is settled in this order: the network description's own `lost_codes`; else the
//! standard's meaning of the code, matched to a node of the vehicle by its name; else the standard's
//! name for the module itself. A maker's own code that no description names accuses nobody.

use std::collections::BTreeMap;

use super::logged_rows::AnswerReading;
use super::rows::{AnswerRow, CodeKind, CodeRow};
use super::senders::{UNNAMED, address_name};
use crate::protocol::j1939::trouble::{self, Says};
use crate::protocol::j1939::{self, addresses};
use crate::protocol::trouble_codes::{NetworkCodeKind, StatusReading, network_code};
use crate::read::{CodeReport, ScanReport};
use crate::vocabulary::{Code, Network, TroubleCode};

/// Failure type bytes of SAE J2012-DA that matter here.
const INVALID: std::ops::RangeInclusive<u8> = 0x81..=0x86;
const BUS_OFF: u8 = 0x88;
/// P0560, P0562: system voltage, system voltage low.
const LOW_VOLTAGE: [u16; 2] = [0x0560, 0x0562];

/// The codes and answers of one vehicle's reports; `reports` are in order of time and place, and a
/// row's `report` is the position in it.
#[must_use]
pub fn testimony(
    reports: &[ScanReport],
    network: Option<&Network>,
) -> (Vec<CodeRow>, Vec<AnswerRow>) {
    let names = Names::new(reports, network);
    let mut codes = Vec::new();
    let mut answers = Vec::new();
    for (number, report) in (0u32..).zip(reports) {
        for node in &report.nodes {
            if let Some(answered) = node.answered {
                answers.push(AnswerRow {
                    vehicle: report.vehicle.clone(),
                    report: number,
                    taken_at: report.taken_at,
                    node: node.node.clone(),
                    answered,
                    reading: if answered {
                        AnswerReading::Answered
                    } else {
                        AnswerReading::NotAnswered
                    },
                    place: node.place.clone(),
                });
            }
            for code in &node.codes {
                if let Some((kind, accused)) = names.says(&node.node, code) {
                    codes.push(CodeRow {
                        vehicle: report.vehicle.clone(),
                        report: number,
                        taken_at: report.taken_at,
                        reporter: node.node.clone(),
                        code: code.code,
                        status: code.status,
                        occurrences: code.occurrences,
                        since_start_s: code.since_start_s,
                        kind,
                        accused,
                        place: code.place.clone(),
                    });
                }
            }
        }
    }
    (codes, answers)
}

/// The nodes of one vehicle, and how codes name them.
struct Names {
    /// Code word and the node that others miss when they set it.
    lost: Vec<(u16, String)>,
    /// Node names with the words of name, title and aliases.
    words: Vec<(String, Vec<Vec<String>>)>,
    /// Nodes by J1939 source address, as described.
    addresses: BTreeMap<u8, String>,
    described: bool,
}

impl Names {
    fn new(reports: &[ScanReport], network: Option<&Network>) -> Names {
        let mut lost = Vec::new();
        let mut words: Vec<(String, Vec<Vec<String>>)> = Vec::new();
        let mut addresses = BTreeMap::new();
        for node in network.map(|n| n.nodes.as_slice()).unwrap_or_default() {
            lost.extend(node.lost_codes.iter().map(|code| (*code, node.name.clone())));
            let mut names = vec![split(&node.name)];
            names.extend(node.title.iter().chain(&node.aliases).map(|t| split(t)));
            words.push((node.name.clone(), names));
            for header in node.sends.iter().filter_map(|sent| j1939::header(sent.id)) {
                addresses.entry(header.source).or_insert_with(|| node.name.clone());
            }
        }
        let reporters = reports.iter().flat_map(|r| &r.nodes);
        for reporter in reporters {
            if !words.iter().any(|(name, _)| *name == reporter.node) {
                words
                    .push((reporter.node.clone(), vec![split(without_identifier(&reporter.node))]));
            }
        }
        words.sort();
        Names { lost, words, addresses, described: network.is_some() }
    }

    /// The node at a J1939 source address, as `Senders` names it too.
    fn at_address(&self, address: u8) -> String {
        match self.addresses.get(&address) {
            Some(node) => node.clone(),
            None if self.described => format!("{UNNAMED}{address:02X}"),
            None => address_name(address),
        }
    }

    /// What a code by parameter says.
    fn says_by_parameter(&self, reporter: &str, says: Says) -> (CodeKind, Option<String>) {
        let (kind, address) = match says {
            Says::NotHeard(address) => (CodeKind::NotHeard, address),
            Says::HeardInvalid(address) => (CodeKind::HeardInvalid, address),
            Says::NetworkFault => return (CodeKind::BusDown, None),
            Says::OwnSupply => return (CodeKind::OwnSupply, None),
            Says::Other => return (CodeKind::Other, None),
        };
        let accused = self.at_address(address);
        // Nobody is missed at the addresses of testers, of none and of all.
        if accused == reporter || addresses::is_outsider(address) || address >= 254 {
            return (CodeKind::Other, None);
        }
        (kind, Some(accused))
    }

    /// What a code says, and of whom; `None` when its status says that nothing was found.
    fn says(&self, reporter: &str, code: &CodeReport) -> Option<(CodeKind, Option<String>)> {
        match StatusReading::of(code.status) {
            StatusReading::Clean | StatusReading::NoInformation => return None,
            _ => {}
        }
        let TroubleCode { word, failure_type } = match code.code {
            Code::Trouble(code) => code,
            Code::Parameter(code) => {
                return Some(self.says_by_parameter(reporter, trouble::says(code)));
            }
        };
        let mut owners = self.lost.iter().filter(|(lost, _)| *lost == word).map(|(_, node)| node);
        let (owner, second) = (owners.next(), owners.next());
        let standard = network_code(word);
        let kind = match standard.map(|s| s.kind) {
            _ if owner.is_some() => CodeKind::NotHeard,
            Some(NetworkCodeKind::LostCommunication) => CodeKind::NotHeard,
            Some(NetworkCodeKind::InvalidData) => CodeKind::HeardInvalid,
            Some(NetworkCodeKind::BusFault | NetworkCodeKind::BusPerformance) => CodeKind::BusDown,
            Some(NetworkCodeKind::OwnSupply | NetworkCodeKind::OwnGround) => CodeKind::OwnSupply,
            _ if LOW_VOLTAGE.contains(&word) => CodeKind::OwnSupply,
            _ => return Some((CodeKind::Other, None)),
        };
        let accuses = matches!(kind, CodeKind::NotHeard | CodeKind::HeardInvalid);
        if !accuses {
            return Some((kind, None));
        }
        // The failure type corrects what the code says: see FTB 81–86 and 88 in `protocol`.
        let kind = match failure_type {
            Some(byte) if INVALID.contains(&byte) => CodeKind::HeardInvalid,
            Some(BUS_OFF) => return Some((CodeKind::BusDown, None)),
            _ => kind,
        };
        let accused = match (owner, second) {
            (Some(owner), None) => Some(owner.clone()),
            (Some(_), Some(_)) => None,
            _ => standard.map(|s| self.standard_name(s.accused_name, s.accused_class)),
        };
        if accused.as_deref() == Some(reporter) {
            return Some((CodeKind::Other, None));
        }
        Some((kind, accused))
    }

    /// The node that the standard's name means; the standard's own name when none or several fit.
    fn standard_name(&self, name: &str, class: &str) -> String {
        let mut wanted = split(name);
        wanted.extend(split(class));
        let mut best: Vec<(usize, &str)> = Vec::new();
        for (node, names) in &self.words {
            let fit = names
                .iter()
                .filter(|words| !words.is_empty() && words.iter().all(|w| wanted.contains(w)))
                .map(Vec::len)
                .max();
            if let Some(words) = fit {
                best.push((words, node));
            }
        }
        best.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
        match best.as_slice() {
            [(_, only)] => (*only).to_owned(),
            [(most, first), (next, _), ..] if most > next => (*first).to_owned(),
            _ => split(name).join("-"),
        }
    }
}

/// A name without the identifier that it ends with, as in `engine-7e8`.
fn without_identifier(name: &str) -> &str {
    match name.rsplit_once('-') {
        Some((what, id)) if id.len() == 3 && u16::from_str_radix(id, 16).is_ok() => what,
        _ => name,
    }
}

/// Lower-case words, without filler that every module bears.
fn split(text: &str) -> Vec<String> {
    const FILLER: [&str; 8] =
        ["module", "control", "controller", "unit", "system", "the", "a", "of"];
    let words: Vec<String> = text
        .split(|c: char| !c.is_alphanumeric())
        .map(str::to_lowercase)
        .filter(|w| !w.is_empty())
        .collect();
    let kept: Vec<String> =
        words.iter().filter(|w| !FILLER.contains(&w.as_str())).cloned().collect();
    if kept.is_empty() { words } else { kept }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::read::NodeReport;
    use crate::vocabulary::{CodeStatus, Instant, Node, Place};

    type Said = (u16, Option<u8>, CodeStatus);

    fn report(nodes: &[(&str, &[Said])]) -> ScanReport {
        let place = Place::whole(&Arc::from("r.json"));
        ScanReport {
            vehicle: "V".into(),
            taken_at: Instant(0),
            odometer_km: None,
            ambient_c: None,
            humidity_pct: None,
            battery_v: None,
            since_start_s: None,
            nodes: nodes
                .iter()
                .map(|(node, codes)| NodeReport {
                    node: (*node).to_owned(),
                    answered: Some(true),
                    codes: codes
                        .iter()
                        .map(|(word, failure_type, status)| CodeReport {
                            code: TroubleCode { word: *word, failure_type: *failure_type }.into(),
                            status: *status,
                            occurrences: None,
                            since_start_s: None,
                            place: place.clone(),
                        })
                        .collect(),
                    place: place.clone(),
                })
                .collect(),
            place,
        }
    }

    fn said(word: u16, failure_type: Option<u8>) -> (CodeKind, Option<String>) {
        let codes = [(word, failure_type, CodeStatus::Confirmed)];
        let all = report(&[("body", &codes), ("steering-angle", &[])]);
        let (rows, _) = testimony(&[all], None);
        (rows[0].kind, rows[0].accused.clone())
    }

    #[test]
    fn without_a_description_the_standard_names_the_accused() {
        assert_eq!(said(0xC126, None), (CodeKind::NotHeard, Some("steering-angle".into())));
        assert_eq!(said(0xC428, None), (CodeKind::HeardInvalid, Some("steering-angle".into())));
        assert_eq!(said(0xC126, Some(0x86)).0, CodeKind::HeardInvalid);
        assert_eq!(said(0xC126, Some(0x88)), (CodeKind::BusDown, None));
        assert_eq!(said(0xC073, None), (CodeKind::BusDown, None));
        assert_eq!(said(0x0562, None), (CodeKind::OwnSupply, None));
        assert_eq!(said(0xD900, None), (CodeKind::Other, None));
    }

    #[test]
    fn the_description_overrides_and_a_clean_status_says_nothing() {
        let node = |name: &str, lost: &[u16]| Node {
            name: name.into(),
            lost_codes: lost.to_vec(),
            ..Node::default()
        };
        let network = Network {
            nodes: vec![node("lift", &[0xD111]), node("body", &[])],
            ..Network::default()
        };
        let codes = [(0xD111, None, CodeStatus::Stored), (0xC126, None, CodeStatus::Raw(0x50))];
        let (rows, _) = testimony(&[report(&[("body", &codes)])], Some(&network));
        assert_eq!(rows.len(), 1);
        assert_eq!((rows[0].kind, rows[0].accused.as_deref()), (CodeKind::NotHeard, Some("lift")));
    }
}
