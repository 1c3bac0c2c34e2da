//! Arguments, help, progress, and what is printed on the terminal.
//!
//! One `match` names the commands. Standard output bears results, standard error what went wrong.

mod calibrate;
mod documents;
mod elsewhere;
pub mod exit_codes;
mod flags;
mod input_schemas;
mod interrupt;
mod manual;
mod progress;
mod shop_schemas;
mod template;

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use clap::Parser;

use crate::pipeline::plan::Plan;
use crate::pipeline::{Progress, Quiet, Settings, check, look, run_on};
use crate::read::Account;
use crate::read::nearest::nearest;
use crate::read::opening::{open, read_whole};
use crate::rehearse::{big_fleet, load_log, rehearse};
use crate::reports::{
    batch_lines, check_json, check_text, plan_json, plan_text, run_json, shown, terminal_table,
    week_lines,
};

pub use elsewhere::{Address, Connect, Terms};
use flags::{Command, Flags};

/// Widest table on the terminal, in columns.
const WIDTH: usize = 80;

/// Reads the arguments, does what they ask, returns the exit code.
#[must_use]
pub fn main() -> ExitCode {
    main_with(None)
}

/// As [`main`], of a program that can have logs read elsewhere.
#[must_use]
pub fn main_with(engines: Option<&dyn Connect>) -> ExitCode {
    interrupt::watch();
    let outcome = match Flags::parse().command {
        Command::Run(asked) => run_command(&asked, engines),
        Command::Check(asked) => check_command(&asked),
        Command::Plan(asked) => plan_command(&asked),
        Command::Template(asked) => template::command(&asked),
        Command::Schema(asked) => documents::schema(&asked),
        Command::Columns(asked) => documents::columns(&asked),
        Command::Rehearse(asked) => rehearse_command(&asked),
        Command::Completions(asked) => manual::completions(&asked),
        Command::Manual(asked) => manual::manual(&asked),
    };
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(message) => {
            // Nobody is left to tell when standard error is closed.
            let _ = writeln!(std::io::stderr(), "buswitness: {message}");
            ExitCode::from(exit_codes::FAILED)
        }
    }
}

fn say(text: &str) {
    // A closed pipe (`| head`) is no fault of the run.
    let _ = writeln!(std::io::stdout(), "{text}");
}

fn print(bytes: &[u8]) {
    // As with `say`.
    let _ = std::io::stdout().write_all(bytes);
}

/// Whether results are shown to a person: then they may have colour, and lines are broken.
fn on_terminal() -> bool {
    std::io::stdout().is_terminal()
}

/// Colour only on a terminal, and not where `NO_COLOR` is set to anything.
fn in_colour() -> bool {
    on_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

fn plan(path: &Path) -> Result<Plan, String> {
    if path.is_dir() {
        let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        return Ok(Plan::for_folder(&whole));
    }
    Plan::read(path).map_err(|faults| format!("cannot use the pipeline\n{faults}"))
}

fn run_command(asked: &flags::Run, engines: Option<&dyn Connect>) -> Result<u8, String> {
    let plan = plan(&asked.pipeline)?;
    let engine = elsewhere::engine(asked, engines)?;
    if let Some(threads) = asked.threads {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build_global()
            .map_err(|e| format!("cannot use {threads} threads: {e}"))?;
    }
    let settings = Settings { fresh: asked.fresh, strict: asked.strict };
    let bar;
    let progress: &dyn Progress = if asked.quiet {
        &Quiet
    } else {
        bar = progress::Bar::new();
        &bar
    };
    let outcome =
        run_on(&plan, engine.as_deref(), settings, progress).map_err(|e| e.to_string())?;
    if asked.json {
        let (findings, tally) = (&outcome.findings, &outcome.tally);
        say(&run_json(findings, tally, &outcome.written, &outcome.remarks));
    } else if !asked.quiet {
        if let Some(week) = &outcome.week {
            say(&week_lines(week, WIDTH));
        }
        if let Some(view) = &outcome.batches {
            say(&batch_lines(view, WIDTH));
        }
        let (findings, tally) = (&outcome.findings, &outcome.tally);
        say(&terminal_table(findings, tally, &outcome.remarks, WIDTH, in_colour()));
        if let Some(report) = outcome.written.first() {
            say(&format!("report: {}", report.display()));
        }
    }
    let rejected = outcome.tally.rejected() > 0;
    Ok(if asked.strict && rejected { exit_codes::REJECTED } else { exit_codes::DONE })
}

fn check_command(asked: &flags::Check) -> Result<u8, String> {
    let plan = plan(&asked.pipeline)?;
    let (taken, tally, remarks) = check(&plan);
    let readable = taken.iter().any(|(_, what)| !what.starts_with("refused"));
    let sound = tally.rejects.is_empty() && readable;
    if asked.json {
        say(&check_json(&taken, &tally, &remarks, sound));
    } else {
        let width = on_terminal().then_some(WIDTH);
        print(check_text(&taken, &tally, &remarks, width, asked.quiet).as_bytes());
    }
    Ok(if sound { exit_codes::DONE } else { exit_codes::REJECTED })
}

/// The vehicles that there are, in words; of many the first few.
fn named<'a>(vehicles: impl ExactSizeIterator<Item = &'a str>) -> String {
    const MOST: usize = 8;
    let more = vehicles.len().saturating_sub(MOST);
    let first: Vec<String> = vehicles.take(MOST).map(|name| shown(name, 40)).collect();
    match (first.is_empty(), more) {
        (true, _) => "the inputs name none".to_owned(),
        (false, 0) => format!("the inputs name {}", first.join(", ")),
        (false, _) => format!("the inputs name {} and {more} more", first.join(", ")),
    }
}

fn plan_command(asked: &flags::Plan) -> Result<u8, String> {
    let plan = plan(&asked.pipeline)?;
    let settings = Settings { fresh: asked.fresh, strict: false };
    let outcome = look(&plan, settings, &progress::Bar::new()).map_err(|e| e.to_string())?;
    let pairs = outcome.findings.iter().zip(&outcome.outlooks);
    let Some((finding, outlook)) = pairs.into_iter().find(|(f, _)| f.vehicle == asked.vehicle)
    else {
        let names = outcome.findings.iter().map(|finding| finding.vehicle.as_str());
        let hint = nearest(&asked.vehicle, names).map_or_else(
            || named(outcome.findings.iter().map(|finding| finding.vehicle.as_str())),
            |name| format!("did you mean `{name}`?"),
        );
        return Err(format!("no vehicle `{}` in the inputs; {hint}", asked.vehicle));
    };
    if asked.json {
        let json = plan_json(finding, outlook);
        say(&json.map_err(|e| format!("{:#}", anyhow::Error::from(e)))?);
    } else {
        say(plan_text(finding, outlook, plan.timezone, WIDTH).trim_end());
    }
    Ok(exit_codes::DONE)
}

fn rehearse_command(asked: &flags::Rehearse) -> Result<u8, String> {
    if let Some(frames) = asked.load {
        load_log(asked.seed, frames, &asked.out)
            .map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
        say(&format!("load: {}", asked.out.display()));
        return Ok(exit_codes::DONE);
    }
    if let Some(vehicles) = asked.calibrate {
        return calibrate::command(vehicles, asked.seed, &asked.out);
    }
    if let Some(vehicles) = asked.fleet {
        let failed = big_fleet(asked.seed, vehicles, &asked.out)
            .map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
        say(&format!(
            "fleet of {vehicles} vehicles, {failed} failed modules: {}",
            asked.out.display()
        ));
        return Ok(exit_codes::DONE);
    }
    let Some(path) = &asked.scenario else { return Err("no scenario given".to_owned()) };
    let name: Arc<str> = path.display().to_string().into();
    let opened = open(path, &name).map_err(|r| format!("{}: {}", r.place, r.reason))?;
    let mut account = Account::default();
    let bytes = read_whole(opened.bytes, &name, &mut account);
    if let Some(reject) = account.rejects.first() {
        return Err(format!("{}: {}", reject.place, reject.reason));
    }
    let text = String::from_utf8(bytes).map_err(|_| format!("{name}: not UTF-8 text"))?;
    let summary =
        rehearse(&text, &asked.out).map_err(|e| format!("{name}: {:#}", anyhow::Error::from(e)))?;
    say(&format!(
        "{}: {} vehicles, {} logs with {} frames, {} scan reports, {} incidents",
        summary.title,
        summary.vehicles,
        summary.logs,
        summary.frames,
        summary.reports,
        summary.incidents
    ));
    say(&format!("rehearsed: {}", asked.out.display()));
    Ok(exit_codes::DONE)
}
