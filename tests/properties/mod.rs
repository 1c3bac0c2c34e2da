//! Laws that hold for any input: nothing makes a reader panic, a log in pieces is the log, names are
//! only names, and the ledger of every suspect adds up.

use std::collections::BTreeMap;
use std::io::Cursor;
use std::sync::Arc;

use proptest::prelude::*;
use serde_json::Value;

use buswitness::pipeline::plan::Plan;
use buswitness::pipeline::{Quiet, Settings, run};
use buswitness::protocol::trouble_codes::parse_code;
use buswitness::read::finding::Pattern;
use buswitness::read::frames::{Frame, TextLog};
use buswitness::read::networks::read_network;
use buswitness::read::opening::unpack;
use buswitness::read::scan_reports::{read_scan_json, read_scan_table};
use buswitness::read::tables::{
    ColumnChoices, read_modules, read_service, read_vehicles, read_weather,
};
use buswitness::read::times::{parse_day, parse_path_time, parse_time};
use chrono_tz::Tz;

use crate::program::{done, folder, items, json, number, sample, word, write};

const NAME: &str = "any";

fn name() -> Arc<str> {
    NAME.into()
}

/// Beginnings that lead the readers into their depths.
const LINES: [&str; 18] = [
    "(1767600000.123456) can0 1A0#0011223344556677",
    "(1767600000,123456) can0 1A0#R8",
    "(1767600000.2) can1 18FEDF00##3AABBCC T",
    "(1767600001.2) can0 20000004#0001000000000000",
    " (000.005001)  can0  18FEDF00   [8]  8A A0 28 7D 7D FF FF F5",
    " (000.006001)  can0  7FF   [0]  remote request",
    "taken_at,vehicle,node,answered,code,failure_type,status,occurrences,ambient_c",
    "2026-01-12T06:41:00Z,V1,body,true,U0126,00,0x2F,3,-3.5",
    "site;time;temperature_c;humidity_pct;precipitation_mm",
    "quay;2026-01-12T06:00:00;-3,5;96;0,2",
    "vehicle,node,part_number,batch,built_on,installed_on,removed_on,removal_reason",
    "{\"vehicle\": \"V1\", \"taken_at\": \"2026-01-12T06:41:00Z\", \"nodes\": [",
    "{\"node\": \"body\", \"answered\": true, \"codes\": [{\"code\": \"U0126\", \"status\": \"0x2F\"}]}]}",
    "network = \"N\"",
    "[[node]]\nname = \"a\"\nsends = [{id = \"0x1A0\", period_ms = 20}, {id = 0x9FFFFFFF}]",
    "[[branch]]\nname = \"b\"\nupstream = \"b\"",
    "[inputs]\nbus_logs = [\"bus/{vehicle}/{start}*.log\"]",
    "[columns.weather]\ntemperature_c = {column = \"t\", unit = \"°F\", zone = \"UTC\"}",
];

/// Any bytes, or lines of the formats with pieces cut out and bytes changed.
fn any_input() -> impl Strategy<Value = Vec<u8>> {
    let line = prop::sample::select(LINES.to_vec());
    let damaged = (
        prop::collection::vec(line, 1..8),
        prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        any::<prop::sample::Index>(),
        prop::sample::select(vec!["\n", "\r\n", "\r", ""]),
    );
    let damaged = damaged.prop_map(|(lines, changes, cut, end)| {
        let mut bytes = lines.join(end).into_bytes();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        // Half of the inputs stay whole.
        let keep = cut.index(2 * bytes.len());
        bytes.truncate(keep.max(1));
        bytes
    });
    prop_oneof![1 => prop::collection::vec(any::<u8>(), 0..400), 3 => damaged]
}

/// The frames of a log pushed in pieces, and how many lines were refused.
fn frames_of(bytes: &[u8], piece: usize) -> (Vec<Frame>, Vec<String>, u64) {
    let mut log = TextLog::new(&name());
    let mut frames = Vec::new();
    for block in bytes.chunks(piece) {
        log.push(block, &mut frames);
    }
    log.finish(&mut frames);
    (frames, log.interfaces, log.rejects.count())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in any_input()) {
        let choices = ColumnChoices::new();
        let source = || Cursor::new(bytes.clone());
        let rows = read_scan_table(source(), &name(), Some("V"), &choices, Tz::UTC).records.len()
            + read_scan_json(source(), &name(), None, Tz::UTC).records.len()
            + read_vehicles(source(), &name(), &choices, Tz::UTC).records.len()
            + read_modules(source(), &name(), &choices, Tz::UTC).records.len()
            + read_weather(source(), &name(), &choices, Tz::UTC).records.len()
            + read_service(source(), &name(), &choices, Tz::UTC).records.len();
        prop_assert!(rows <= bytes.len() * 6, "{rows} records in {} bytes", bytes.len());
        let network = read_network(&bytes, &name());
        prop_assert!(network.records.is_some() || !network.account.rejects.is_empty(),
            "a description that gives no network gives a reason");
        if let Err(faults) = Plan::check(&bytes, &name(), std::path::Path::new("")) {
            prop_assert!(!faults.0.is_empty(), "a pipeline that is refused has a fault");
        }
        if let Ok(opened) = unpack(Box::new(source()), bytes.len() as u64, &name()) {
            prop_assert!(!opened.refusal("a log").reason.is_empty());
        }
    }

    #[test]
    fn a_log_in_pieces_is_the_log(bytes in any_input(), piece in 1usize..64) {
        let whole = frames_of(&bytes, bytes.len().max(1));
        prop_assert_eq!(whole, frames_of(&bytes, piece));
    }

    #[test]
    fn every_line_of_a_log_is_a_frame_or_a_reject_or_blank(bytes in any_input()) {
        let mut log = TextLog::new(&name());
        let mut frames = Vec::new();
        log.push(&bytes, &mut frames);
        log.finish(&mut frames);
        let accounted = frames.len() as u64 + log.rejects.count() + log.blank_lines;
        prop_assert_eq!(accounted, log.lines());
    }

    #[test]
    fn no_text_makes_a_small_parser_panic(text in "\\PC{0,40}|[0-9:TZ+.,-]{0,30}|[UPCB][0-9A-F-]{0,9}") {
        for zone in [Tz::UTC, Tz::Europe__Helsinki] {
            let read = [parse_time(&text, zone), parse_day(&text, zone), parse_path_time(&text, zone)];
            for reason in read.into_iter().filter_map(Result::err) {
                prop_assert!(!reason.is_empty(), "a refused time has a reason");
            }
        }
        if let Ok(code) = parse_code(&text) {
            prop_assert!(text.len() >= 5, "{text} gave {code:?}");
        }
        if let Ok(pattern) = Pattern::parse(&text) {
            let shown = pattern.to_string();
            prop_assert_eq!(shown.trim(), text.trim());
        }
    }
}

/// A vehicle of four nodes; `tail` is silent for a while, and `body` says so.
const NETWORK: &str = r#"
network = "N"
[[bus]]
name = "chassis"
interface = "can0"
bitrate = 500000
[[branch]]
name = "front"
bus = "chassis"
[[node]]
name = "engine"
bus = ["chassis"]
branch = "front"
feed = "F1"
sends = [{id = "0x100", period_ms = 20}]
[[node]]
name = "brake"
bus = ["chassis"]
branch = "front"
feed = "F2"
sends = [{id = "0x200", period_ms = 40}]
[[node]]
name = "body"
bus = ["chassis"]
feed = "F1"
sends = [{id = "0x300", period_ms = 100}]
[[node]]
name = "tail"
bus = ["chassis"]
feed = "F3"
lost_codes = ["U1234"]
sends = [{id = "0x400", period_ms = 50}]
"#;

const SCAN: &str = r#"
{"vehicle": "V", "taken_at": "2026-01-12T06:00:30Z", "conditions": {"since_start_s": 30},
 "nodes": [{"node": "body", "answered": true,
            "codes": [{"code": "U1234", "status": "confirmed", "occurrences": 1}]},
           {"node": "tail", "answered": true, "codes": []}]}
"#;

const PIPELINE: &str = r#"
[inputs]
bus_logs = ["*.log"]
scan_reports = ["*.json"]
networks = ["network.toml"]
[output]
folder = "out"
formats = ["json"]
"#;

fn small_log() -> String {
    let mut lines: Vec<(u32, &str)> = Vec::new();
    for (id, every) in [("100", 20), ("200", 40), ("300", 100), ("400", 50)] {
        for at in (0..20_000).step_by(every) {
            if id != "400" || !(8_000..12_000).contains(&at) {
                lines.push((at, id));
            }
        }
    }
    lines.sort_unstable();
    let line = |(at, id): (u32, &str)| {
        format!("({}.{:03}000) can0 {id}#0000\n", 1_768_197_600 + at / 1000, at % 1000)
    };
    lines.into_iter().map(line).collect()
}

/// What each suspect came to: probability, prior, and the weights of its evidence.
fn ranking(renamed: &[(&str, &str)]) -> BTreeMap<String, Vec<f64>> {
    let work = folder();
    let rename = |text: &str| {
        let swap = |text: String, (old, new): &(&str, &str)| {
            text.replace(&format!("\"{old}\""), &format!("\"{new}\""))
        };
        renamed.iter().fold(text.to_owned(), swap)
    };
    write(&work.path().join("network.toml"), rename(NETWORK).as_bytes());
    write(&work.path().join("scan.json"), rename(SCAN).as_bytes());
    write(&work.path().join("drive.log"), small_log().as_bytes());
    write(&work.path().join("p.toml"), PIPELINE.as_bytes());
    done(work.path(), &["run", "--quiet", "--strict", "p.toml"]);
    let culprits = json(&work.path().join("out/culprits.json"));
    let suspects = items(&culprits["vehicles"][0], "suspects");
    assert!(!suspects.is_empty(), "the small vehicle has no incident");
    let numbers = |suspect: &Value| {
        let mut all = vec![number(suspect, "probability"), number(suspect, "prior")];
        for side in ["for", "against"] {
            let mut weights: Vec<f64> =
                items(suspect, side).iter().map(|e| number(e, "weight_db")).collect();
            weights.sort_by(f64::total_cmp);
            all.extend(weights);
        }
        all
    };
    suspects.iter().map(|s| (word(s, "suspect").to_owned(), numbers(s))).collect()
}

#[test]
fn names_of_nodes_are_only_names() {
    let plain = ranking(&[]);
    // The order of the alphabet is turned round, so that every tie-break by name is.
    let names = [("engine", "a9"), ("brake", "zz"), ("body", "b1"), ("tail", "a0")];
    let renamed = ranking(&names);
    let leader = plain.iter().max_by(|a, b| a.1[0].total_cmp(&b.1[0])).expect("a suspect").0;
    assert!(leader == "node:tail" || leader == "feed:F3", "{leader} leads");
    assert_eq!(plain.len(), renamed.len(), "as many suspects under other names");
    for (suspect, numbers) in &plain {
        let new = names.iter().find(|(old, _)| *suspect == format!("node:{old}"));
        let new = new.map_or_else(|| suspect.clone(), |(_, new)| format!("node:{new}"));
        let other = renamed.get(&new).unwrap_or_else(|| panic!("{suspect} is not there as {new}"));
        assert_eq!(numbers.len(), other.len(), "{suspect}: as many pieces of evidence");
        for (one, two) in numbers.iter().zip(other) {
            // Weights stand to three decimals; sums in another order differ in their last bits.
            assert!((one - two).abs() <= 0.0011, "{suspect} {numbers:?}, as {new} {other:?}");
        }
        assert!((numbers[0] - other[0]).abs() < 1e-9, "{suspect}: probability changes with names");
    }
}

#[test]
fn the_ledger_of_every_suspect_adds_up() {
    let work = sample();
    let plan = Plan::read(&work.path().join("pipelines/weekly.toml")).expect("the sample pipeline");
    let outcome = run(&plan, Settings { fresh: true, strict: false }, &Quiet).expect("a run");
    let mut suspects = 0;
    for finding in outcome.findings.iter().filter(|f| !f.suspects.is_empty()) {
        let vehicle = &finding.vehicle;
        let sum = |pick: fn(&buswitness::suspects::SuspectFinding) -> f64| {
            finding.suspects.iter().map(pick).sum::<f64>()
        };
        let (probabilities, priors) = (sum(|s| s.probability), sum(|s| s.prior));
        assert!((probabilities - 1.0).abs() < 1e-9, "{vehicle}: probabilities sum {probabilities}");
        assert!((priors - 1.0).abs() < 1e-9, "{vehicle}: priors add up to {priors}");
        for suspect in &finding.suspects {
            suspects += 1;
            let who = format!("{vehicle} {}", suspect.suspect);
            let shares: f64 = suspect.mechanisms.iter().map(|(_, share)| share).sum();
            assert!(
                shares <= suspect.probability + 1e-9,
                "{who}: mechanisms {shares}, probability {}",
                suspect.probability
            );
            let weights: f64 = suspect.evidence.iter().map(|e| e.weight_db).sum();
            let stated = 10.0 * suspect.probability.log10();
            let told = 10.0 * suspect.prior.log10() + weights;
            // Pieces under 0.005 decibans are left out of the evidence; there are under ten of them.
            assert!(
                (stated - told).abs() < 0.05,
                "{who}: prior and evidence {told}, stated {stated}"
            );
        }
    }
    assert!(suspects > 50, "only {suspects} suspects were weighed");
}
