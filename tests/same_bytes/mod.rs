//! The same inputs give the same bytes: at any number of threads, from stored facts or afresh, and
//! whatever the log files are called.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::program::{differences, done, files, folder, json, project, reports, sample, write};

const PIPELINES: [&str; 3] = ["session", "weekly", "batches"];

type Written = BTreeMap<PathBuf, Vec<u8>>;

fn written(work: &Path, name: &str, more: &[&str]) -> Written {
    let pipeline = format!("pipelines/{name}.toml");
    let mut arguments = vec!["run", "--quiet", pipeline.as_str()];
    arguments.extend(more);
    done(work, &arguments);
    let all = reports(&work.join("reports").join(name));
    assert!(all.contains_key(Path::new("culprits.json")), "{name}: no culprits.json was written");
    all
}

fn assert_same(name: &str, first: (&str, &Written), other: (&str, &Written)) {
    let told = differences(first, other);
    assert!(told.is_empty(), "{name}: {} against {}\n{}", first.0, other.0, told.join("\n"));
}

#[test]
fn threads_stored_facts_and_a_fresh_run_change_no_byte() {
    let (one, two, seven) = (sample(), sample(), sample());
    for name in PIPELINES {
        let first = written(one.path(), name, &["--threads", "1"]);
        let at_two = written(two.path(), name, &["--threads", "2"]);
        assert_same(name, ("1 thread", &first), ("2 threads", &at_two));
        let at_seven = written(seven.path(), name, &["--threads", "7"]);
        assert_same(name, ("1 thread", &first), ("7 threads", &at_seven));
        let facts = files(&one.path().join("reports").join(name).join("facts"));
        assert!(!facts.is_empty(), "{name}: no facts were stored, so the next run proves nothing");
        let again = written(one.path(), name, &[]);
        assert_same(name, ("first run", &first), ("run from stored facts", &again));
        let fresh = written(one.path(), name, &["--fresh"]);
        assert_same(name, ("first run", &first), ("run with --fresh", &fresh));
    }
}

/// A pipeline over one van's logs, with nothing that tells the logs' order but their times.
const ONE_VAN: &str = r#"
title = "One van"
[inputs]
bus_logs = ["logs/*"]
scan_reports = ["scans/*"]
vehicles = "vehicles.csv"
networks = ["networks/*.toml"]
[output]
folder = "out"
formats = ["json"]
"#;

/// Lays out van LH-09 with its logs renamed by `name`, runs, and gives what was found with the names
/// undone.
fn found_with(name: impl Fn(usize) -> String) -> Value {
    let work = folder();
    let samples = project().join("sample-logs");
    write(&work.path().join("p.toml"), ONE_VAN.as_bytes());
    // One van, so that logs without a van in their path are its own.
    let vehicles = "vehicle,network\nLH-09,HT6\n";
    let row = fs::read_to_string(samples.join("vehicles.csv")).expect("the vehicles table");
    let network = row
        .lines()
        .find_map(|line| line.strip_prefix("LH-09,"))
        .and_then(|rest| rest.split(',').next())
        .expect("LH-09 has a network");
    let vehicles = vehicles.replace("HT6", network);
    write(&work.path().join("vehicles.csv"), vehicles.as_bytes());
    let description = format!("networks/{network}.toml");
    let bytes = fs::read(samples.join(&description)).expect("the network description");
    write(&work.path().join(&description), &bytes);
    for (path, bytes) in files(&samples.join("scans/LH-09")) {
        write(&work.path().join("scans").join(path), &bytes);
    }
    let logs = files(&samples.join("bus/LH-09"));
    assert!(logs.len() > 3, "LH-09 has only {} logs", logs.len());
    for (position, bytes) in logs.values().enumerate() {
        write(&work.path().join("logs").join(name(position)), bytes);
    }
    done(work.path(), &["run", "--quiet", "p.toml"]);
    let mut found = json(&work.path().join("out/culprits.json"));
    let back = |text: &str| {
        let undo = |text: String, position| {
            text.replace(&format!("logs/{}:", name(position)), &format!("logs/#{position}:"))
        };
        (0..logs.len()).fold(text.to_owned(), undo)
    };
    undo_names(&mut found, &back);
    found
}

/// Gives every text its old names and puts the remarks, which stand in order of names, into one order.
/// Lists of places go: they keep the first dozen by name.
fn undo_names(value: &mut Value, back: &impl Fn(&str) -> String) {
    match value {
        Value::String(text) => *text = back(text),
        Value::Object(fields) => {
            fields.remove("where");
            for (key, field) in fields {
                undo_names(field, back);
                if let ("remarks", Value::Array(list)) = (key.as_str(), field) {
                    list.sort_by_key(ToString::to_string);
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|item| undo_names(item, back)),
        _ => {}
    }
}

#[test]
fn names_and_order_of_log_files_change_only_names() {
    let forward = found_with(|position| format!("{position:03}"));
    let backward = found_with(|position| format!("{:03}", 999 - position));
    let (one, two) = (format!("{forward:#}"), format!("{backward:#}"));
    let differing = one.lines().zip(two.lines()).find(|(a, b)| a != b);
    assert!(one.contains("logs/#"), "no log is named, so nothing was undone");
    assert!(one == two, "the order of the files changes what is found: {differing:?}");
    assert!(one.contains("branch:rear-splice"), "nothing was found in the renamed logs");
}
