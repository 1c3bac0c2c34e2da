//! The committed reports are, byte for byte, what the program writes today from the sample logs.
//!
//! After a change that is meant to show in them, renew them and look at the difference:
//!
//! ```text
//! BUSWITNESS_RENEW=1 cargo test --locked committed
//! git diff --stat reports
//! ```

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use crate::program::{RENEW, differences, done, project, renewing, reports, sample, write};

/// The sample pipelines; each writes the folder of its own name below `reports/`.
const PIPELINES: [&str; 3] = ["session", "weekly", "batches"];

fn renew(committed: &Path, old: &BTreeMap<PathBuf, Vec<u8>>, new: &BTreeMap<PathBuf, Vec<u8>>) {
    for name in old.keys().filter(|name| !new.contains_key(*name)) {
        fs::remove_file(committed.join(name)).expect("an old report goes");
    }
    for (name, bytes) in new {
        write(&committed.join(name), bytes);
    }
}

fn check(name: &str) {
    let committed = project().join("reports").join(name);
    let work = sample();
    done(work.path(), &["run", "--quiet", &format!("pipelines/{name}.toml")]);
    let new = reports(&work.path().join("reports").join(name));
    assert!(new.contains_key(Path::new("report.html")), "{name}: no report.html was written");
    let old = reports(&committed);
    if renewing() {
        renew(&committed, &old, &new);
        return;
    }
    assert!(!old.is_empty(), "reports/{name} is not there; {RENEW}");
    let told = differences(("committed", &old), ("written now", &new));
    assert!(
        told.is_empty(),
        "reports/{name}: {} files differ; {RENEW} if this is meant\n{}",
        told.len(),
        told.join("\n")
    );
}

#[test]
fn committed_session_report_is_up_to_date() {
    check("session");
}

#[test]
fn committed_weekly_report_is_up_to_date() {
    check("weekly");
}

#[test]
fn committed_batches_report_is_up_to_date() {
    check("batches");
}

#[test]
fn committed_reports_belong_to_a_pipeline_each() {
    let stems = |folder: &str| -> Vec<String> {
        let entries = fs::read_dir(project().join(folder));
        let mut names: Vec<String> = entries
            .map(|all| all.flatten().map(|entry| entry.path()).collect::<Vec<_>>())
            .unwrap_or_default()
            .iter()
            .filter_map(|path| Some(path.file_stem()?.to_string_lossy().into_owned()))
            .collect();
        names.sort();
        names
    };
    let mut known = PIPELINES.map(str::to_owned).to_vec();
    known.sort();
    assert_eq!(stems("pipelines"), known, "each pipeline is compared above");
    let strays: Vec<String> =
        stems("reports").into_iter().filter(|folder| !known.contains(folder)).collect();
    // The results of the calibration are made by `.ci/run`, which compares them too: it takes a minute.
    // `tests/documents` compares the guide.
    let others = ["calibration", "guide"];
    let strays: Vec<&String> =
        strays.iter().filter(|folder| !others.contains(&folder.as_str())).collect();
    assert!(strays.is_empty(), "reports/ has folders of no pipeline: {strays:?}");
}
