//! `rehearse --calibrate`: rehearsed fleets of every profile go through the pipeline, and the ranking is
//! held against the truth.
//!
//! The rehearsal writes files and the pipeline reads them, as a user would: the truth is joined only to
//! the finished findings.

use std::collections::BTreeMap;
use std::path::Path;

use super::{exit_codes, say};
use crate::pipeline::plan::Plan;
use crate::pipeline::{Quiet, Settings, run};
use crate::rehearse::{VehicleSecret, discard, rehearse, scratch};
use crate::reports::{Rehearsed, calibration_lines, write_calibration};
use crate::suspects::calibration::{Trial, Truth, calibrate};

/// The profiles of a rehearsed fleet, from clear to murky.
const PROFILES: [&str; 3] = ["clear", "mixed", "murky"];
/// The pipeline that every rehearsed folder is run with.
const PIPELINE: &str = r#"
title = "Calibration"
view = "fleet"
[inputs]
bus_logs = ["bus/{vehicle}/*.log*"]
scan_reports = ["scans/**/*.json", "scans/**/*.csv"]
weather = ["weather.csv"]
vehicles = "vehicles.csv"
modules = "modules.csv"
service = "service.csv"
networks = ["networks/*.toml"]
[output]
folder = "out"
formats = ["json"]
"#;

/// Calibrates on `vehicles` of each profile, prints the scores and writes the page into `out`.
pub(super) fn command(vehicles: u32, seed: u64, out: &Path) -> Result<u8, String> {
    if vehicles == 0 {
        return Err("--calibrate needs at least one vehicle".to_owned());
    }
    let mut trials = Vec::new();
    for profile in PROFILES {
        let folder = std::env::temp_dir()
            .join(format!("buswitness-calibration-{}-{seed}-{profile}", std::process::id()));
        scratch(&folder);
        let outcome = fleet(profile, vehicles, seed, &folder);
        let cleared = discard(&folder);
        trials.extend(outcome?);
        cleared.map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
    }
    let calibration = calibrate(&trials);
    let profiles = PROFILES.map(str::to_owned).to_vec();
    let rehearsed = Rehearsed { seed, profiles, vehicles_each: vehicles };
    let written = write_calibration(out, &rehearsed, &calibration).map_err(|e| e.to_string())?;
    say(&calibration_lines(&calibration));
    if let Some(page) = written.first() {
        say(&format!("report: {}", page.display()));
    }
    Ok(exit_codes::DONE)
}

/// One rehearsed fleet, ranked.
fn fleet(profile: &str, vehicles: u32, seed: u64, folder: &Path) -> Result<Vec<Trial>, String> {
    let scenario = format!(
        "title = \"Calibration, {profile} (invented)\"\nseed = {seed}\n[period]\nfrom = \"2026-01-05\"\n\
         to = \"2026-01-19\"\n[fleet]\nrandom = {vehicles}\nprofile = \"{profile}\"\n"
    );
    let summary =
        rehearse(&scenario, folder).map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
    let plan = Plan::check(PIPELINE.as_bytes(), &"calibration pipeline".into(), folder)
        .map_err(|faults| faults.to_string())?;
    let settings = Settings { fresh: true, strict: false };
    let outcome = run(&plan, settings, &Quiet).map_err(|e| e.to_string())?;
    let mut secrets: BTreeMap<String, VehicleSecret> =
        summary.truth.into_iter().map(|s| (s.vehicle.clone(), s)).collect();
    Ok(outcome
        .findings
        .iter()
        .filter_map(|finding| {
            let secret = secrets.remove(&finding.vehicle)?;
            let truth = Truth {
                suspect: secret.suspect,
                kind: secret.kind.to_owned(),
                profile: profile.to_owned(),
                logged: secret.logged,
            };
            Some(Trial::new(truth, finding))
        })
        .collect())
}
