//! Descriptions that are right, and every way in which one can be wrong.

use super::*;

const GOOD: &str = r#"network = "HT4"
[[bus]]
name = "chassis"
bitrate = 500000
interface = "can0"
[[node]]
name = "steering-angle"
title = "Steering angle sensor module"
aliases = ["SASM"]
bus = "chassis"
sends = [{id = "0x1A0", period_ms = 20}, {id = 0x18FEF100, period_ms = 100.5}, {id = "000005B0"}]
lost_codes = ["U0126"]
request = "0x760"
branch = ["front-splice"]
[[branch]]
name = "front-splice"
bus = "chassis"
upstream = "main-splice"
[[branch]]
name = "main-splice"
"#;

fn faults(text: &str) -> Vec<String> {
    let read = read_network(text.as_bytes(), &"n.toml".into());
    read.account.rejects.iter().map(|r| format!("{}: {}", r.place, r.reason)).collect()
}

#[test]
fn a_whole_description() {
    assert_eq!(faults(GOOD), [""; 0]);
    let network = read_network(GOOD.as_bytes(), &"n".into()).records.unwrap();
    let node = &network.nodes[0];
    assert_eq!(node.buses, ["chassis"]);
    assert_eq!(node.branches, ["front-splice"]);
    assert_eq!(node.lost_codes, [0xC126]);
    assert_eq!(node.request, Some(Identifier::base(0x760)));
    let ids: Vec<Identifier> = node.sends.iter().map(|sent| sent.id).collect();
    let wanted =
        [Identifier::base(0x1A0), Identifier::extended(0x18FE_F100), Identifier::extended(0x5B0)];
    assert_eq!(ids, wanted);
    assert_eq!(node.sends[2].period_ms, None);
    assert_eq!(network.branches[0].upstream.as_deref(), Some("main-splice"));
}

#[test]
fn every_semantic_fault_has_its_line() {
    for (from, to, expected) in [
        (
            "bus = \"chassis\"\nsends",
            "bus = \"chasis\"\nsends",
            "n.toml:10: unknown bus `chasis`; did you mean `chassis`?",
        ),
        (
            "branch = [\"front-splice\"]",
            "branch = \"rear-plug\"",
            "n.toml:14: unknown branch `rear-plug`",
        ),
        (
            "id = \"0x1A0\"",
            "id = \"0x2FFFFFFF\"",
            "n.toml:11: identifier 0x2FFFFFFF in `id` is over",
        ),
        ("id = \"0x1A0\"", "id = \"hello\"", "n.toml:11: `id` should be an identifier"),
        ("period_ms = 20", "period_ms = 0", "n.toml:11: period_ms 0 is not above 0"),
        ("period_ms = 20", "period_ms = -5", "n.toml:11: period_ms -5 is not above 0"),
        ("\"U0126\"", "\"X0126\"", "n.toml:12: lost_codes: trouble code `X0126` begins with"),
        ("aliases", "alias", "n.toml:9: unknown key `alias` in [[node]]; did you mean `aliases`?"),
        ("bitrate = 500000", "bitrate = 5", "n.toml:4: bitrate 5 is outside"),
        ("network = \"HT4\"", "", "n.toml: no `network = \"NAME\"`"),
        (
            "name = \"main-splice\"",
            "name = \"main-splice\"\nupstream = \"front-splice\"",
            "n.toml:18: branches hang on each other in a ring",
        ),
        (
            "id = 0x18FEF100",
            "id = \"1A0\"",
            "n.toml:11: node `steering-angle` lists identifier 1A0 twice",
        ),
        (
            "name = \"main-splice\"",
            "name = \"front-splice\"",
            "n.toml:20: branch `front-splice` stands twice (first in line 16)",
        ),
    ] {
        assert!(GOOD.contains(from), "{from}");
        let found = faults(&GOOD.replacen(from, to, 1));
        assert!(found.iter().any(|fault| fault.starts_with(expected)), "{expected}: {found:?}");
    }
}

#[test]
fn two_nodes_cannot_send_one_identifier_on_one_bus() {
    let second = |bus: &str| {
        format!(
            "{GOOD}[[bus]]\nname = \"body\"\n[[node]]\nname = \"x\"\nbus = \"{bus}\"\nsends = [{{id = \"0x1A0\"}}]\n"
        )
    };
    let found = faults(&second("chassis"));
    assert_eq!(
        found,
        ["n.toml:26: identifier 1A0 of node `x` is already sent by `steering-angle`"]
    );
    assert_eq!(faults(&second("body")), [""; 0]);
}

#[test]
fn a_fault_costs_only_what_it_spoils() {
    let text = GOOD.replace("period_ms = 20", "period_ms = 0").replace("\"U0126\"", "\"X\"");
    let read = read_network(text.as_bytes(), &"n".into());
    assert_eq!(read.account.rejects.len(), 2);
    assert_eq!(read.records.unwrap().nodes[0].sends.len(), 3);
}

#[test]
fn latin_1_and_other_things_are_refused() {
    let read = read_network(b"network = \"Gr\xFCn\"", &"n".into());
    assert_eq!(read.account.rejects[0].place.to_string(), "n:byte 13");
    assert!(read.records.is_none());
    assert!(!faults("{\"a\": 1}").is_empty());
}
