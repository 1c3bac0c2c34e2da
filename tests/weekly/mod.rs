//! The weekly run: it reads only what is new, survives kills and company, and says what the sample holds.

mod kept_facts;
mod parts;
mod sample_week;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::program::{files, folder, project, reports, write};

const PIPELINE: &str = r#"
title = "A small week"
view = "fleet"
[inputs]
bus_logs = ["bus/{vehicle}/*.log*"]
scan_reports = ["scans/{vehicle}/*"]
weather = "weather.csv"
vehicles = "vehicles.csv"
modules = "modules.csv"
service = "service.csv"
networks = ["networks/*.toml"]
[output]
folder = "out"
"#;

type Written = BTreeMap<PathBuf, Vec<u8>>;

/// A few vans of the sample with a pipeline of their own.
fn small_fleet(vans: &[&str]) -> TempDir {
    let work = folder();
    let samples = project().join("sample-logs");
    write(&work.path().join("week.toml"), PIPELINE.as_bytes());
    for name in ["weather.csv", "service.csv"] {
        let bytes = std::fs::read(samples.join(name)).expect("a sample table");
        write(&work.path().join(name), &bytes);
    }
    // Only the vans at hand, or all others would be without data.
    for name in ["vehicles.csv", "modules.csv"] {
        let text = std::fs::read_to_string(samples.join(name)).expect("a sample table");
        let ours = |line: &str| vans.iter().any(|van| line.starts_with(&format!("{van},")));
        let kept = text.lines().enumerate().filter(|(n, line)| *n == 0 || ours(line));
        let kept: String = kept.map(|(_, line)| format!("{line}\n")).collect();
        write(&work.path().join(name), kept.as_bytes());
    }
    let mut parts = vec!["networks".to_owned()];
    parts.extend(vans.iter().flat_map(|van| [format!("bus/{van}"), format!("scans/{van}")]));
    for part in parts {
        for (name, bytes) in files(&samples.join(&part)) {
            write(&work.path().join(&part).join(name), &bytes);
        }
    }
    work
}

fn out(work: &Path) -> Written {
    reports(&work.join("out"))
}
