//! The verdict table for a terminal, and what was read, skipped and rejected.
//!
//! Returns text; printing it is the command line's business. Nothing from an input can steer the
//! terminal: control characters and characters that turn the writing direction are replaced.

use comfy_table::{CellAlignment, ContentArrangement, Table};

use crate::read::Tally;
use crate::reports::standing::{Standing, leader, listing_order, standing};
use crate::reports::wording::{count, counted, grouped, percent, shown};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Suspect;

/// Narrowest table that is still readable.
const NARROWEST: usize = 40;
/// Most rejected places and skipped files listed here; the files have all.
const MOST_LISTED: usize = 5;
/// Most vehicles in the table, and with their next test; the files have all.
const MOST_ROWS: usize = 40;
const MOST_TESTS: usize = 5;

/// The verdicts, one row per vehicle that is not quiet, then what was read, and remarks on the run as
/// a whole. Fits `width` columns.
#[must_use]
pub fn terminal_table(
    findings: &[VehicleFinding],
    tally: &Tally,
    remarks: &[String],
    width: usize,
    colour: bool,
) -> String {
    let width = width.max(NARROWEST);
    let mut sorted: Vec<&VehicleFinding> = findings.iter().collect();
    sorted.sort_by(|a, b| listing_order(a, b));
    let mut out = String::new();
    let listed: Vec<&VehicleFinding> =
        sorted.iter().copied().filter(|f| standing(f) <= Standing::Undecided).collect();
    if !listed.is_empty() {
        push_table(&mut out, &listed, width, colour);
    }
    let of = |wanted| sorted.iter().filter(move |f| standing(f) == wanted);
    let quiet = of(Standing::Quiet).count();
    if quiet > 0 {
        let starts: usize = of(Standing::Quiet).map(|f| f.exposures.len()).sum();
        push_line(
            &mut out,
            &format!("quiet: {} in {}", count(quiet, "vehicle"), count(starts, "start")),
            width,
        );
    }
    let blind = of(Standing::NoData).count();
    if blind > 0 {
        push_line(&mut out, &format!("no data: {}", count(blind, "vehicle")), width);
    }
    if findings.is_empty() {
        push_line(&mut out, "no vehicle was found in the inputs", width);
    }
    push_intake(&mut out, tally, width, colour);
    if !remarks.is_empty() {
        out.push('\n');
    }
    for remark in remarks.iter().take(MOST_LISTED) {
        push_line(&mut out, &format!("note: {}", shown(remark, 600)), width);
    }
    if remarks.len() > MOST_LISTED {
        push_line(
            &mut out,
            &format!("and {} more notes in the report", remarks.len() - MOST_LISTED),
            width,
        );
    }
    out
}

fn push_table(out: &mut String, listed: &[&VehicleFinding], width: usize, colour: bool) {
    let mut table = Table::new();
    table.load_style(comfy_table::presets::NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(u16::try_from(width).unwrap_or(u16::MAX));
    table.set_header(["vehicle", "verdict", "prob.", "incidents", "starts"]);
    for finding in listed.iter().take(MOST_ROWS) {
        let first = leader(finding);
        let verdict = match (standing(finding), first) {
            // As a verdict it is said shorter than as a suspect.
            (Standing::Undecided, Some(first)) if first.suspect == Suspect::None => {
                "undecided (no bus fault leads)".to_owned()
            }
            (Standing::Decided, Some(first)) if first.suspect == Suspect::None => {
                "no bus fault".to_owned()
            }
            (Standing::Undecided, Some(first)) => {
                format!("undecided ({} leads)", shown(&first.suspect.in_words(), 40))
            }
            (Standing::Decided, Some(first)) => shown(&first.suspect.in_words(), 60),
            _ => finding.verdict.to_string(),
        };
        table.add_row([
            shown(&finding.vehicle, 24),
            verdict,
            first.map_or_else(String::new, |s| percent(s.probability)),
            finding.incidents.len().to_string(),
            finding.exposures.len().to_string(),
        ]);
    }
    for column in 2..=4 {
        if let Some(column) = table.column_mut(column) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    for (i, line) in table.lines().enumerate() {
        let line = line.trim_end();
        if colour && i == 0 {
            out.push_str(&format!("\u{1b}[1m{line}\u{1b}[0m\n"));
        } else {
            out.push_str(line);
            out.push('\n');
        }
    }
    if listed.len() > MOST_ROWS {
        push_line(out, &format!("and {} more in the report", listed.len() - MOST_ROWS), width);
    }
    out.push('\n');
    let tests = listed.iter().filter_map(|f| f.next_tests.first().map(|test| (f, test)));
    let mut any = false;
    for (finding, test) in tests.take(MOST_TESTS) {
        let vehicle = shown(&finding.vehicle, 24);
        let what = shown(&test.test, 160);
        // What more tests in a row would bring is worth a word only where it is more.
        let row = finding.sequence.last().map_or_else(String::new, |last| {
            let many = count(finding.sequence.len(), "test");
            format!("; decided after {many}: {}", percent(last.decided))
        });
        let line = format!("next for {vehicle}: {what} ({:.0} min{row})", test.minutes);
        push_line(out, &line, width);
        any = true;
    }
    if any {
        out.push('\n');
    }
}

fn push_intake(out: &mut String, tally: &Tally, width: usize, colour: bool) {
    push_line(
        out,
        &format!(
            "read: {} ({} of them from kept facts, {} unopened), {} frames, {}, {} table rows",
            counted(tally.bus_logs, "bus log"),
            tally.logs_reused,
            tally.logs_unopened,
            grouped(tally.frames),
            counted(tally.scan_reports, "scan report"),
            grouped(tally.table_rows),
        ),
        width,
    );
    let (kept, cleared) = tally.facts_unused;
    if kept + cleared > 0 {
        let line = format!(
            "kept facts without a log in this run: {} (cleared away when unused for five weeks: {})",
            grouped(kept),
            grouped(cleared)
        );
        push_line(out, &line, width);
    }
    if tally.outside_period > 0 {
        push_line(
            out,
            &format!("outside the period: {} records", grouped(tally.outside_period)),
            width,
        );
    }
    push_line(out, &format!("skipped: {}", count(tally.skipped.len(), "file")), width);
    for (file, reason) in tally.skipped.iter().take(MOST_LISTED) {
        push_line(out, &format!("  {}: {}", shown(file, 200), shown(reason, 200)), width);
    }
    for (what, times) in &tally.leniencies {
        push_line(out, &format!("  {} ({} times)", shown(what, 200), grouped(*times)), width);
    }
    let rejected = tally.rejected();
    let line = format!("rejected: {} records, see rejects.csv", grouped(rejected));
    if rejected == 0 {
        push_line(out, "rejected: nothing", width);
    } else if colour {
        out.push_str(&format!("\u{1b}[33m{line}\u{1b}[0m\n"));
    } else {
        push_line(out, &line, width);
    }
    for reject in tally.rejects.iter().take(MOST_LISTED) {
        let place = shown(&reject.place.to_string(), 200);
        push_line(out, &format!("  {place}: {}", shown(&reject.reason, 200)), width);
    }
}

/// Adds text, broken into lines that fit; spaces before it are kept and follow-on lines are set in.
pub(super) fn push_line(out: &mut String, text: &str, width: usize) {
    let words = text.trim_start_matches(' ');
    let margin = " ".repeat(text.len() - words.len());
    let follow = format!("{margin}  ");
    push_broken(out, &margin, &follow, words, width);
}

/// Adds text after a label, which is not broken; follow-on lines stand under the text.
pub(crate) fn push_hanging(out: &mut String, label: &str, text: &str, width: usize) {
    let follow = " ".repeat(label.chars().count());
    push_broken(out, label, &follow, text, width);
}

fn push_broken(out: &mut String, first: &str, follow: &str, words: &str, width: usize) {
    let width = width.saturating_sub(follow.chars().count()).max(1);
    let mut table = Table::new();
    table.load_style(comfy_table::presets::NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(u16::try_from(width).unwrap_or(u16::MAX));
    table.add_row([words]);
    if let Some(column) = table.column_mut(0) {
        column.set_padding((0, 0));
    }
    for (i, line) in table.lines().enumerate() {
        let margin = if i == 0 { first } else { follow };
        out.push_str(format!("{margin}{line}").trim_end());
        out.push('\n');
    }
}
