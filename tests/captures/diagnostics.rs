//! What testers and nodes say in captures: codes that trucks broadcast, who answers a scanner, and that
//! a vessel's addresses are not taken for a truck's.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;

use buswitness::observe::{LogFacts, Senders};
use buswitness::pipeline::watch;

use super::unpacked;

fn facts(text: &[u8]) -> LogFacts {
    let name: Arc<str> = "capture.log".into();
    watch(text, &name, &Senders::new(None), None, 0, &buswitness::pipeline::Hands::new(1, 1)).facts
}

/// A little-endian pcap of link type 227 with stamps in microseconds, as lines of text.
/// `big` says whether identifiers stand in network order, as they should.
fn lines(pcap: &[u8], big: bool) -> Vec<u8> {
    let word = |at: usize| u32::from_le_bytes(pcap[at..at + 4].try_into().expect("four bytes"));
    assert_eq!((word(0), word(20) & 0xFFFF), (0xA1B2_C3D4, 227), "the file header");
    let (mut text, mut at) = (String::new(), 24);
    while at + 16 <= pcap.len() {
        let (seconds, micros, length) = (word(at), word(at + 4), word(at + 8) as usize);
        let packet = &pcap[at + 16..at + 16 + length];
        let id: [u8; 4] = packet[..4].try_into().expect("four bytes");
        let id = if big { u32::from_be_bytes(id) } else { u32::from_le_bytes(id) };
        let _ = match id >> 31 {
            0 => write!(text, "({seconds}.{micros:06}) can0 {:03X}#", id & 0x7FF),
            _ => write!(text, "({seconds}.{micros:06}) can0 {:08X}#", id & 0x1FFF_FFFF),
        };
        for byte in &packet[8..8 + usize::from(packet[4])] {
            let _ = write!(text, "{byte:02X}");
        }
        text.push('\n');
        at += 16 + length;
    }
    text.into_bytes()
}

/// Codes by reporter, each once.
fn codes(facts: &LogFacts) -> BTreeSet<(String, String)> {
    facts.logged_codes.iter().map(|c| (c.reporter.clone(), c.code.to_string())).collect()
}

/// Reporter and codes as pairs.
fn told(of: &[(&str, &[&str])]) -> BTreeSet<(String, String)> {
    let pairs = of.iter().flat_map(|(who, codes)| codes.iter().map(|c| (*who, *c)));
    pairs.map(|(who, code)| (who.to_owned(), code.to_owned())).collect()
}

#[test]
fn captures_of_a_truck_tell_its_codes_on_either_clock() {
    for capture in super::WAKING {
        let Some(text) = unpacked(capture) else { return };
        let facts = facts(&text);
        let brakes = [
            "SPN 627 FMI 4",
            "SPN 811 FMI 2",
            "SPN 789 FMI 2",
            "SPN 790 FMI 2",
            "SPN 791 FMI 2",
            "SPN 792 FMI 2",
            "SPN 611 FMI 14",
        ];
        let expected = told(&[("engine-1", &["SPN 102 FMI 3"]), ("brakes", &brakes)]);
        assert_eq!(codes(&facts), expected, "{capture}");
        assert!(facts.logged_codes.len() < 20, "{capture}: a fact a change, not a message");
    }
}

#[test]
fn captures_of_a_flooded_truck_tell_the_codes_that_came_of_it() {
    let Some(normal) = unpacked("truck-b/normal.log.gz") else { return };
    let normal = codes(&facts(&normal));
    let Some(text) = unpacked("truck-b/dos_full.log.gz") else { return };
    let facts = facts(&text);
    let came: BTreeSet<&str> = facts
        .logged_codes
        .iter()
        .filter(|c| c.dated && c.code.to_string().ends_with("FMI 9"))
        .filter(|c| !normal.contains(&(c.reporter.clone(), c.code.to_string())))
        .map(|c| c.reporter.as_str())
        .collect();
    let expected = ["cab-controller-primary", "engine-1", "transmission-1"];
    assert!(came.iter().all(|who| expected.contains(who)), "{came:?}");
    assert!(came.contains("cab-controller-primary"), "{came:?}");
}

#[test]
fn captures_of_a_scan_tell_who_answers() {
    let Some(pcap) = unpacked("uds/uds.pcap.gz") else { return };
    let Some(log) = super::as_it_stands("uds/uds.pcap.gz") else { return };
    for facts in [facts(&lines(&pcap, false)), log.facts] {
        let nodes: BTreeSet<&str> = facts.logged_answers.iter().map(|a| a.node.as_str()).collect();
        assert_eq!(
            nodes,
            BTreeSet::from(["ecu-651"]),
            "641 is answered by 651, and no other request is"
        );
        let of_tester = facts.identifiers.iter().filter(|r| r.node == "tester");
        let tester: BTreeSet<String> = of_tester.map(|r| r.id.to_string()).collect();
        assert!(tester.contains("641"), "{tester:?}");
        assert!(!facts.presences.iter().any(|p| p.node == "tester"));
        assert_eq!(facts.disturbances, [], "a scan of all identifiers is no garbage");
    }
}

#[test]
fn captures_of_a_vessel_tell_no_codes_and_are_named_by_number() {
    let Some(pcap) = unpacked("vessel/can0-2.pcap.gz") else { return };
    let text = lines(&pcap, true);
    let facts = facts(&text);
    assert_eq!(codes(&facts), BTreeSet::new());
    assert_eq!((facts.logged_answers.len(), facts.bus_events.len()), (0, 0));
    let nodes: BTreeSet<&str> = facts.presences.iter().map(|p| p.node.as_str()).collect();
    assert!(nodes.iter().all(|n| n.starts_with("sender-address-")), "{nodes:?}");
}
