//! What may be typed: the help, the manual pages and the shell completions are all made from here.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;

use super::elsewhere::Address;
use super::exit_codes;

/// Which module brings the bus down? Reads scan reports and CAN logs, ranks the culprits with the evidence.
#[derive(Debug, Parser)]
#[command(name = "buswitness", version, after_help = exit_codes::help())]
pub(super) struct Flags {
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Run a pipeline file, or a folder as one vehicle's session
    #[command(
        after_help = "Example: buswitness run pipelines/weekly.toml\nExample: buswitness run --json ~/van-7 > van-7.json"
    )]
    Run(Run),
    /// Say what would be read, as what, and what is wrong with it
    #[command(after_help = "Example: buswitness check pipelines/weekly.toml")]
    Check(Check),
    /// How to make one vehicle's fault happen, whether its repair held, and what comes after
    #[command(
        after_help = "Example: buswitness plan LH-07 pipelines/weekly.toml\nExample: buswitness plan LH-07 pipelines/weekly.toml --json"
    )]
    Plan(Plan),
    /// Begin with own data: write a pipeline file and the other inputs, empty, with comments
    #[command(after_help = "Example: buswitness template my-fleet")]
    Template(Template),
    /// Print the JSON Schema of an input or output; without a name, list them
    #[command(after_help = "Example: buswitness schema evidence.csv > evidence.schema.json")]
    Schema(Schema),
    /// Say what the columns of the outputs mean
    #[command(after_help = "Example: buswitness columns evidence.csv")]
    Columns(Columns),
    /// Make invented vehicles, their logs and reports, with known truth
    #[command(
        after_help = "Example: buswitness rehearse sample-logs/larkmoor.toml --out larkmoor\nExample: buswitness rehearse --calibrate 400 --seed 7 --out calibration"
    )]
    Rehearse(Rehearse),
    /// Print the completions for a shell
    #[command(
        after_help = "Example: buswitness completions bash > ~/.local/share/bash-completion/completions/buswitness"
    )]
    Completions(Completions),
    /// Print the manual page, of the program or of one command
    #[command(
        after_help = "Example: buswitness manual > buswitness.1\nExample: buswitness manual run | man -l -"
    )]
    Manual(Manual),
}

/// Arguments of `run`.
#[derive(Debug, Args)]
pub(super) struct Run {
    /// Pipeline file (TOML), or a folder with logs and reports
    pub pipeline: PathBuf,
    /// Do not use stored facts; make them anew
    #[arg(long)]
    pub fresh: bool,
    /// Exit with 1 when any line or record was rejected
    #[arg(long)]
    pub strict: bool,
    /// Print only errors
    #[arg(long, short)]
    pub quiet: bool,
    /// Print what came of it as JSON, for scripts
    #[arg(long, conflicts_with = "quiet")]
    pub json: bool,
    /// Use so many threads (default: one a core)
    #[arg(long, value_name = "N")]
    pub threads: Option<usize>,
    /// Have logs read and vehicles weighed by this scheduler's executors, df://HOST:PORT (needs the distributed part)
    #[arg(long, value_name = "ADDRESS")]
    pub on: Option<Address>,
    /// Seconds after which a job of logs is cancelled and sent again
    #[arg(long, value_name = "SECONDS", requires = "on", default_value_t = 600,
          value_parser = clap::value_parser!(u64).range(1..=604_800))]
    pub deadline: u64,
    /// How often a job of logs is sent before the run gives up
    #[arg(long, value_name = "N", requires = "on", default_value_t = 3,
          value_parser = clap::value_parser!(u32).range(1..=100))]
    pub attempts: u32,
    /// Jobs (of up to 16 logs) under way at once; some more than executors
    #[arg(long, value_name = "N", requires = "on", default_value_t = 8,
          value_parser = clap::value_parser!(u32).range(1..=1024))]
    pub jobs: u32,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub(super) struct Check {
    /// Pipeline file (TOML), or a folder with logs and reports
    pub pipeline: PathBuf,
    /// Print only what is wrong
    #[arg(long, short)]
    pub quiet: bool,
    /// Print what was found as JSON, for scripts
    #[arg(long, conflicts_with = "quiet")]
    pub json: bool,
}

/// Arguments of `plan`.
#[derive(Debug, Args)]
pub(super) struct Plan {
    /// The vehicle, as the inputs name it
    pub vehicle: String,
    /// Pipeline file (TOML), or a folder with logs and reports
    pub pipeline: PathBuf,
    /// Print JSON for programs instead of text
    #[arg(long)]
    pub json: bool,
    /// Do not use stored facts; make them anew
    #[arg(long)]
    pub fresh: bool,
}

/// Arguments of `template`.
#[derive(Debug, Args)]
pub(super) struct Template {
    /// Folder to write into; what stands there already is left as it is
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub(super) struct Schema {
    /// Which, as the list without a name gives it
    pub name: Option<String>,
}

/// Arguments of `columns`.
#[derive(Debug, Args)]
pub(super) struct Columns {
    /// One output only, such as `evidence.csv`; else all of them, as Markdown
    pub file: Option<String>,
}

/// Arguments of `rehearse`.
#[derive(Debug, Args)]
pub(super) struct Rehearse {
    /// Scenario file (TOML); with --load its seed is taken from --seed
    #[arg(required_unless_present_any = ["load", "calibrate", "fleet"])]
    pub scenario: Option<PathBuf>,
    /// Folder (or, with --load, file) to write
    #[arg(long, value_name = "PATH")]
    pub out: PathBuf,
    /// Write one healthy log of so many frames instead: a load for measuring
    #[arg(long, value_name = "FRAMES", conflicts_with = "scenario")]
    pub load: Option<u64>,
    /// Rank so many rehearsed vehicles of each profile and write how right the ranking is
    #[arg(long, value_name = "VEHICLES", conflicts_with_all = ["scenario", "load"])]
    pub calibrate: Option<u32>,
    /// Write the facts of so many vehicles over two years instead: a load for the batch view
    #[arg(long, value_name = "VEHICLES", conflicts_with_all = ["scenario", "load", "calibrate"])]
    pub fleet: Option<u32>,
    /// Seed of the load, of the calibration or of the fleet
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell
    pub shell: Shell,
}

/// Arguments of `manual`.
#[derive(Debug, Args)]
pub(super) struct Manual {
    /// One command's page, such as `run`
    pub command: Option<String>,
}
