//! Rehearsals as a whole: same bytes at any thread count, forms of the contract, truth that
//! holds together, and sample logs that stay small.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use buswitness::rehearse::{big_fleet, load_log, rehearse};

use crate::program::{done, files, items, json, number};

const FLEET: &str = r#"
title = "Random fleet for tests"
seed = 77
period = {from = "2026-01-05", to = "2026-01-12"}
[fleet]
random = 12
profile = "mixed"
with_logs = 0.5
"#;

fn made(scenario: &str, threads: usize) -> BTreeMap<PathBuf, Vec<u8>> {
    let folder = tempfile::tempdir().expect("folder");
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("pool");
    pool.install(|| rehearse(scenario, folder.path())).expect("the rehearsal runs");
    files(folder.path())
}

fn unpacked(path: &Path, bytes: &[u8]) -> String {
    use std::io::Read as _;
    let mut text = String::new();
    match path.extension().and_then(|ending| ending.to_str()) {
        Some("gz") => {
            flate2::read::GzDecoder::new(bytes).read_to_string(&mut text).expect("gzip");
        }
        Some("zst") => {
            let plain = zstd::decode_all(bytes).expect("zstd");
            text = String::from_utf8(plain).expect("text");
        }
        _ => text = String::from_utf8(bytes.to_vec()).expect("text"),
    }
    text
}

#[test]
fn same_seed_same_bytes_at_one_and_two_threads() {
    let one = made(FLEET, 1);
    let two = made(FLEET, 2);
    assert!(one.keys().any(|path| path.starts_with("bus")), "there are logs");
    assert!(one == two, "bytes differ");
    let other = made(&FLEET.replace("seed = 77", "seed = 78"), 2);
    assert!(one != other, "another seed makes other bytes");
}

#[test]
fn lines_have_the_form_of_the_contract_and_never_overlap() {
    let made = made(FLEET, 2);
    let logs = made.iter().filter(|(path, _)| path.starts_with("bus"));
    for (path, bytes) in logs {
        let text = unpacked(path, bytes);
        let mut last = 0.0;
        let mut busy = 0.0;
        let mut first = None;
        for line in text.lines() {
            let parts: Vec<&str> = line.split(' ').collect();
            assert_eq!(parts.len(), 3, "{line}");
            let stamp = parts[0].strip_prefix('(').and_then(|t| t.strip_suffix(')'));
            let (whole, micros) = stamp.and_then(|t| t.split_once('.')).expect("stamp");
            assert_eq!((whole.len(), micros.len()), (10, 6), "{line}");
            assert_eq!(parts[1], "can0");
            let (id, data) = parts[2].split_once('#').expect("identifier and data");
            assert!(id.len() == 3 || id.len() == 8, "{line}");
            assert!(data.len() <= 16 && data.len() % 2 == 0, "{line}");
            let at: f64 = whole[5..].parse::<f64>().expect("number")
                + micros.parse::<f64>().expect("number") / 1e6;
            first.get_or_insert(at);
            if id.len() == 3 {
                // No frame is shorter than its bits without any stuff bit, 2 us each.
                let least = (44 + 4 * data.len()) as f64 * 2e-6;
                assert!(at - last >= least - 1.5e-6, "{} {line}", path.display());
                busy += (49 + 4 * data.len()) as f64 * 2e-6;
            }
            // A logger's own overrun is a remark, not something on the wire.
            if id != "20000004" {
                last = at;
            }
        }
        let length = last - first.unwrap_or(last);
        assert!(busy < 0.95 * length + 0.1, "{}: load {}", path.display(), busy / length);
    }
}

#[test]
fn truth_holds_together_with_what_was_written() {
    let made = made(FLEET, 2);
    let truth: serde_json::Value =
        serde_json::from_slice(&made[Path::new("truth.json")]).expect("truth");
    let truth = truth.as_object().expect("an object by vehicle");
    assert_eq!(truth.len(), 12);
    for (vehicle, told) in truth {
        let suspect = told["suspect"].as_str().expect("a suspect");
        let known = suspect == "quiet" || buswitness::vocabulary::Suspect::parse(suspect).is_some();
        assert!(known, "{vehicle}: {suspect}");
        let incidents = told["incidents"].as_array().expect("incidents");
        let blank = suspect == "quiet" || suspect == "none";
        assert_eq!(blank, incidents.is_empty(), "{vehicle}: {suspect}");
        for incident in incidents {
            assert!(incident["seconds"].as_f64().expect("seconds") > 0.0);
            if let Some(log) = incident["log"].as_str() {
                assert!(made.contains_key(Path::new(log)), "{log}");
            }
        }
    }
}

#[test]
fn reports_say_what_the_contract_says() {
    let made = made(FLEET, 2);
    let mut seen = 0;
    for (path, bytes) in made.iter().filter(|(path, _)| path.starts_with("scans")) {
        seen += 1;
        if path.extension().is_some_and(|ending| ending == "csv") {
            let mut rows = csv::Reader::from_reader(bytes.as_slice());
            assert_eq!(rows.headers().expect("header").len(), 12);
            assert!(rows.records().all(|row| row.is_ok()), "{}", path.display());
            continue;
        }
        let report: serde_json::Value = serde_json::from_slice(bytes).expect("json");
        assert_eq!(report["schema"], "buswitness/scan-report/1");
        for node in report["nodes"].as_array().expect("nodes") {
            assert!(node["answered"].is_boolean());
            for code in node["codes"].as_array().into_iter().flatten() {
                let text = code["code"].as_str().expect("code");
                assert!(text.len() == 5 && text.starts_with(['U', 'P', 'B', 'C']), "{text}");
            }
        }
    }
    assert!(seen > 10, "{seen} reports");
}

#[test]
fn a_load_log_has_as_many_lines_as_asked() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("load.log");
    load_log(3, 20_000, &path).expect("written");
    let text = fs::read_to_string(&path).expect("text");
    assert_eq!(text.lines().count(), 20_000);
    let again = folder.path().join("again.log");
    load_log(3, 20_000, &again).expect("written");
    assert_eq!(text, fs::read_to_string(&again).expect("text"));
}

#[test]
fn a_slip_in_a_scenario_is_refused() {
    let folder = tempfile::tempdir().expect("folder");
    let slip = FLEET.replace("random = 12", "randon = 12");
    assert!(rehearse(&slip, folder.path()).is_err());
    assert!(fs::read_dir(folder.path()).expect("folder").next().is_none(), "nothing written");
}

#[test]
fn sample_logs_stay_under_eight_megabytes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let bytes: usize = files(&folder).values().map(Vec::len).sum();
    assert!(bytes < 8_000_000, "{bytes} bytes");
    assert!(bytes > 1_000_000, "{bytes} bytes: the samples are missing");
}

#[test]
fn healthy_sample_buses_carry_less_than_sixty_percent() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let made = files(&folder);
    let truth: BTreeMap<String, serde_json::Value> =
        serde_json::from_slice(&made[Path::new("truth.json")]).expect("truth");
    let papers = String::from_utf8(made[Path::new("vehicles.csv")].clone()).expect("text");
    for (vehicle, _) in truth.iter().filter(|(_, told)| told["suspect"] == "quiet") {
        let large = papers.lines().any(|row| row.starts_with(&format!("{vehicle},HT6,")));
        let logs = made.iter().filter(|(path, _)| path.starts_with(Path::new("bus").join(vehicle)));
        for (path, bytes) in logs {
            let text = unpacked(path, bytes);
            for (bus, rate) in [("can0", if large { 5e5 } else { 2.5e5 }), ("can1", 2.5e5)] {
                let lines = text.lines().filter(|line| line.contains(bus));
                // The longest a frame can be: 55 + 10 bits a byte, 80 + 10 when extended.
                let bits: usize = lines
                    .filter_map(|line| line.split(' ').nth(2)?.split_once('#'))
                    .map(|(id, data)| if id.len() == 3 { 55 } else { 80 } + 5 * data.len())
                    .sum();
                let stamp = |line: &str| line[6..18].parse::<f64>().expect("stamp");
                let ends = text.lines().next().zip(text.lines().last()).expect("a log has lines");
                let length = stamp(ends.1) - stamp(ends.0);
                let load = bits as f64 / rate / length;
                assert!(load < 0.6, "{} {bus}: load {load:.2}", path.display());
            }
        }
    }
}

/// Remakes `sample-logs/` from its scenario: `cargo test --test main -- --ignored remake`.
#[test]
#[ignore = "writes into the source tree"]
fn remake_the_sample_logs() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
    let scenario = fs::read_to_string(folder.join("larkmoor.toml")).expect("scenario");
    for old in ["bus", "scans", "networks"] {
        if folder.join(old).exists() {
            fs::remove_dir_all(folder.join(old)).expect("old files go");
        }
    }
    let summary = rehearse(&scenario, &folder).expect("the rehearsal runs");
    println!("{summary:#?}");
}

/// How long large rehearsals take: `cargo test --test main -- --ignored pace --nocapture`.
#[test]
#[ignore = "takes long and fills a disk"]
fn pace_of_large_rehearsals() {
    let folder = tempfile::tempdir().expect("folder");
    let begun = std::time::Instant::now();
    load_log(1, 10_000_000, &folder.path().join("load.log")).expect("written");
    println!("10 million frames: {:.1} s", begun.elapsed().as_secs_f64());
    for profile in ["clear", "mixed", "murky"] {
        let fleet = FLEET.replace("mixed", profile).replace("random = 12", "random = 300");
        let fleet = fleet.replace("with_logs = 0.5\n", "").replace("2026-01-12", "2026-01-19");
        let begun = std::time::Instant::now();
        let summary = rehearse(&fleet, &folder.path().join(profile)).expect("runs");
        println!("{profile}: {:.1} s, {summary:?}", begun.elapsed().as_secs_f64());
        let made = files(&folder.path().join(profile));
        let truth: BTreeMap<String, serde_json::Value> =
            serde_json::from_slice(&made[Path::new("truth.json")]).expect("truth");
        let mut kinds: BTreeMap<String, u32> = BTreeMap::new();
        for told in truth.values() {
            let suspect = told["suspect"].as_str().expect("suspect");
            let kind = suspect.split(':').next().unwrap_or(suspect);
            *kinds.entry(format!("{kind} {}", told["mechanism"])).or_default() += 1;
        }
        println!("{kinds:?}");
    }
}

/// The tables of a large fleet are the ones that the pipeline reads; the same seed gives the same bytes.
#[test]
fn a_large_fleet_reads_back_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let failed = big_fleet(5, 1_200, folder.path()).expect("the fleet is written");
    assert!((15..=120).contains(&failed), "{failed} of some 13,000 modules");
    // Two parts; a refused table or row fails a strict run.
    done(folder.path(), &["run", "--quiet", "--strict", "batches.toml"]);
    let out = folder.path().join("out-batches");
    let culprits = json(&out.join("culprits.json"));
    let vehicles = items(&culprits, "vehicles");
    assert_eq!(vehicles.len(), 1_200);
    assert!(vehicles.iter().all(|v| v["no_data"] == false || number(v, "starts") < 1.0));
    let batches = json(&out.join("batches.json"));
    let found: f64 = items(&batches, "nodes").iter().map(|n| number(n, "failures")).sum();
    let truth = json(&folder.path().join("truth.json"));
    let truth = number(&truth, "failed_modules");
    // Seen by their symptoms alone, counted by probability.
    assert!((0.5 * truth..=1.6 * truth).contains(&found), "{found} found, {truth} true");
    let again = tempfile::tempdir().expect("folder");
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("pool");
    pool.install(|| big_fleet(5, 1_200, again.path())).expect("the fleet is written");
    let facts = |folder: &Path| files(&folder.join("facts"));
    assert!(facts(folder.path()) == facts(again.path()), "the same seed gave other bytes");
}
