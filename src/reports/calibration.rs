//! The page of results of a calibration: how far the stated probabilities can be trusted.

use serde::Serialize;

use super::ReportError;
use super::pages;
use super::whole_file::{Output, write_whole};
use crate::suspects::calibration::{Calibration, Score};
use std::path::{Path, PathBuf};

/// What was rehearsed.
#[derive(Debug, Clone, Serialize)]
pub struct Rehearsed {
    /// The seed of the first fleet; further fleets of a profile would take the next.
    pub seed: u64,
    /// The profiles, from clear to murky.
    pub profiles: Vec<String>,
    /// Vehicles of each profile.
    pub vehicles_each: u32,
}

#[derive(Serialize)]
struct Row {
    group: String,
    vehicles: u32,
    unseen: u32,
    top_1: String,
    top_3: String,
    log_score: String,
    brier: String,
    named: String,
    calibration_error: String,
    most_accused: String,
    most_mute: String,
}

#[derive(Serialize)]
struct BinRow {
    range: String,
    count: u32,
    stated: String,
    came_true: String,
    x: String,
    y: String,
    radius: String,
}

#[derive(Serialize)]
struct Page<'a> {
    rehearsed: &'a Rehearsed,
    all: Row,
    splits: Vec<(&'static str, Vec<Row>)>,
    bins: Vec<BinRow>,
    corp: [String; 3],
    healthy: u32,
    quiet: u32,
    false_verdicts: u32,
}

fn three(value: f64) -> String {
    format!("{value:.3}")
}

fn row(score: &Score) -> Row {
    Row {
        group: score.group.clone(),
        vehicles: score.vehicles,
        unseen: score.unseen,
        top_1: three(score.top_1),
        top_3: three(score.top_3),
        log_score: three(score.log_score),
        brier: three(score.brier),
        named: format!("{} of {}", score.named_right, score.named),
        calibration_error: three(score.calibration_error),
        most_accused: three(score.most_accused),
        most_mute: three(score.most_mute),
    }
}

fn bins(calibration: &Calibration) -> Vec<BinRow> {
    let width = 1.0 / calibration.bins.len().max(1) as f64;
    let most = calibration.bins.iter().map(|b| b.count).max().unwrap_or(1).max(1);
    calibration
        .bins
        .iter()
        .enumerate()
        .map(|(n, bin)| BinRow {
            range: format!("{:.1} to {:.1}", n as f64 * width, (n + 1) as f64 * width),
            count: bin.count,
            stated: if bin.count > 0 { three(bin.stated) } else { "—".to_owned() },
            came_true: if bin.count > 0 { three(bin.came_true) } else { "—".to_owned() },
            x: format!("{:.1}", 40.0 + 300.0 * bin.stated),
            y: format!("{:.1}", 320.0 - 300.0 * bin.came_true),
            radius: format!("{:.1}", 3.0 + 9.0 * (f64::from(bin.count) / f64::from(most)).sqrt()),
        })
        .collect()
}

/// Writes `report.html`, `calibration.json` and `calibration.csv` and returns their paths, the page first.
///
/// # Errors
/// When an output cannot be put together or written.
pub fn write_calibration(
    folder: &Path,
    rehearsed: &Rehearsed,
    calibration: &Calibration,
) -> Result<Vec<PathBuf>, ReportError> {
    let page = Page {
        rehearsed,
        all: row(&calibration.all),
        splits: calibration
            .splits
            .iter()
            .map(|(title, scores)| (*title, scores.iter().map(row).collect()))
            .collect(),
        bins: bins(calibration),
        corp: calibration.corp.map(three),
        healthy: calibration.healthy,
        quiet: calibration.quiet,
        false_verdicts: calibration.false_verdicts,
    };
    let mut csv = String::from(
        "split,group,vehicles,unseen,top_1,top_3,log_score,brier,named_right_of_named,\
         calibration_error,most_accused,most_mute\n",
    );
    let mut line = |split: &str, row: &Row| {
        let cells = [
            &row.group,
            &row.vehicles.to_string(),
            &row.unseen.to_string(),
            &row.top_1,
            &row.top_3,
            &row.log_score,
            &row.brier,
            &row.named,
            &row.calibration_error,
            &row.most_accused,
            &row.most_mute,
        ];
        // No cell comes from an input; groups hold commas.
        let quoted: Vec<String> = cells.iter().map(|c| format!("\"{c}\"")).collect();
        csv.push_str(&format!("\"{split}\",{}\n", quoted.join(",")));
    };
    line("all", &page.all);
    for (split, rows) in &page.splits {
        for row in rows {
            line(split, row);
        }
    }
    let json =
        serde_json::to_string_pretty(&page).map_err(|source| ReportError::Json { source })?;
    let html = pages::calibration_page(&page)?;
    write_whole(
        folder,
        &[
            Output::new("report.html", html),
            Output::new("calibration.json", format!("{json}\n")),
            Output::new("calibration.csv", csv),
        ],
    )
}

/// The results as lines for the terminal.
#[must_use]
pub fn calibration_lines(calibration: &Calibration) -> String {
    let head = format!(
        "{:<34}{:>6}{:>7}{:>7}{:>7}{:>9}{:>7}\n",
        "", "seen", "top 1", "top 3", "log", "named ok", "error"
    );
    let line = |score: &Score| {
        format!(
            "{:<34}{:>6}{:>7.3}{:>7.3}{:>7.3}{:>9}{:>7.3}\n",
            score.group.chars().take(33).collect::<String>(),
            score.vehicles,
            score.top_1,
            score.top_3,
            score.log_score,
            format!("{}/{}", score.named_right, score.named),
            score.calibration_error
        )
    };
    let mut out = head + &line(&calibration.all);
    for (title, scores) in &calibration.splits {
        out.push_str(&format!("{title}\n"));
        out.extend(scores.iter().map(|s| {
            let mut indented = s.clone();
            indented.group = format!("  {}", s.group);
            line(&indented)
        }));
    }
    out.push_str(&format!(
        "naive counts: most accused node {:.3}, most often mute node {:.3}\n",
        calibration.all.most_accused, calibration.all.most_mute
    ));
    out.push_str(&format!(
        "healthy vehicles: {} of {} quiet, {} with a false verdict",
        calibration.quiet, calibration.healthy, calibration.false_verdicts
    ));
    out
}
