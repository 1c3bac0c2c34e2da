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
use buswitness::read::recognising::{Kind, recognise};
use buswitness::read::scan_reports::free_form::{
    Around, LONGEST_LINE, MOST_CELLS, MOST_LINES, Words, read_free_form, take_apart,
};
use buswitness::read::scan_reports::{read_scan_json, read_scan_table};
use buswitness::read::tables::{
    ColumnChoices, read_modules, read_service, read_vehicles, read_weather,
};
use buswitness::read::times::{parse_day, parse_path_time, parse_time};
use chrono_tz::Tz;

use crate::program::{done, files, folder, items, json, number, project, sample, word, write};

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

/// A report of unknown layout from the test folder, with bytes changed, doubled or cut out.
fn any_report() -> impl Strategy<Value = Vec<u8>> {
    let folder = project().join("tests/free_form/layouts");
    let mut whole: Vec<Vec<u8>> = files(&folder).into_values().collect();
    whole.push(b"<table><tr><td rowspan=9999 colspan=9999>U0126<td>".to_vec());
    whole.push(b"| U0126 | BCM |\n|||\n\x0c\r\r\nStatus: : = 0x2F\n".to_vec());
    let changes = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0u8..4), 0..12);
    (prop::sample::select(whole), changes, any::<prop::sample::Index>()).prop_map(
        |(mut bytes, changes, cut)| {
            for (at, byte, how) in changes {
                let at = at.index(bytes.len().max(1)).min(bytes.len().saturating_sub(1));
                match how {
                    0 => bytes.insert(at, byte),
                    1 if bytes.len() > 1 => drop(bytes.remove(at)),
                    2 => {
                        let piece: Vec<u8> = bytes.iter().skip(at).take(60).copied().collect();
                        bytes.splice(at..at, piece);
                    }
                    _ => bytes[at] = byte,
                }
            }
            let keep = cut.index(3 * bytes.len() + 1);
            bytes.truncate(keep.max(1));
            bytes
        },
    )
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
    fn no_bytes_make_the_free_form_reader_panic(bytes in any_report()) {
        let words = Words::english();
        let around = Around {
            words: &words,
            path_vehicle: Some("V"),
            path_start: None,
            zone: Tz::UTC,
            vehicles: &[],
            network_of: &|_| None,
        };
        // What the content says, and every other way to take it.
        for kind in [recognise(&bytes), Kind::UnknownText, Kind::Html] {
            let document = take_apart(Cursor::new(&bytes), &kind, &name());
            prop_assert!(document.lines.len() <= MOST_LINES);
            for line in &document.lines {
                prop_assert!(!line.cells.is_empty() && line.cells.len() <= MOST_CELLS);
                let length: usize = line.cells.iter().map(|c| c.text.chars().count()).sum();
                prop_assert!(length <= LONGEST_LINE, "{length} characters in a line");
            }
            let read = read_free_form(document, &name(), &around);
            prop_assert!(read.records.report.is_some() || !read.account.rejects.is_empty(),
                "a report that is refused has a reason");
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

/// A PDF of one page whose stream claims and unpacks to far more than it is.
fn swollen_pdf() -> Vec<u8> {
    use flate2::{Compression, write::ZlibEncoder};
    use std::io::Write as _;
    let mut packer = ZlibEncoder::new(Vec::new(), Compression::best());
    let blanks = vec![b' '; 1 << 20];
    for _ in 0..64 {
        packer.write_all(&blanks).expect("packed");
    }
    let packed = packer.finish().expect("packed");
    let mut pdf = b"%PDF-1.5\n".to_vec();
    let mut offsets = Vec::new();
    let mut object = |pdf: &mut Vec<u8>, body: &[u8]| {
        offsets.push(pdf.len());
        pdf.extend_from_slice(body);
    };
    object(&mut pdf, b"1 0 obj <</Type /Catalog /Pages 2 0 R>> endobj\n");
    object(&mut pdf, b"2 0 obj <</Type /Pages /Kids [3 0 R] /Count 2000000000>> endobj\n");
    object(&mut pdf, b"3 0 obj <</Type /Page /Parent 2 0 R /Contents 4 0 R>> endobj\n");
    let head = format!("4 0 obj <</Filter /FlateDecode /Length {}>> stream\n", packed.len());
    object(&mut pdf, &[head.as_bytes(), &packed, b"\nendstream endobj\n"].concat());
    let at = pdf.len();
    pdf.extend_from_slice(b"xref\n0 5\n0000000000 65535 f \n");
    for offset in offsets {
        pdf.extend_from_slice(format!("{offset:010} 00000 n \n").as_bytes());
    }
    pdf.extend_from_slice(
        format!("trailer <</Size 5 /Root 1 0 R>>\nstartxref\n{at}\n%%EOF\n").as_bytes(),
    );
    pdf
}

#[test]
fn a_small_file_that_claims_to_be_huge_is_refused() {
    let words = Words::english();
    let around = Around {
        words: &words,
        path_vehicle: Some("V"),
        path_start: None,
        zone: Tz::UTC,
        vehicles: &[],
        network_of: &|_| None,
    };
    let refused = |bytes: &[u8]| {
        let document = take_apart(bytes, &recognise(bytes), &name());
        assert!(document.lines.is_empty(), "nothing is read from it");
        let read = read_free_form(document, &name(), &around);
        assert!(read.records.report.is_none());
        read.account.rejects.first().map(|r| r.reason.clone()).expect("a reason")
    };
    let pdf = swollen_pdf();
    assert!(pdf.len() < 70_000);
    let reason = refused(&pdf);
    assert!(reason.contains("page 1") && reason.contains("limit"), "{reason}");
    // A length, a count and a table of objects far beyond the file.
    let claims = b"%PDF-1.4\n1 0 obj <</Length 99999999999>> stream\nx\nendstream endobj\nxref\n0 4294967295\ntrailer <</Size 4294967295 /Root 1 0 R>>\nstartxref\n60\n%%EOF\n";
    assert!(!refused(claims).is_empty());
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
