//! The two roles of a cluster as commands.

use std::ffi::OsString;
use std::net::IpAddr;
use std::path::PathBuf;
use std::process::ExitCode;

use buswitness::command_line::Address;
use clap::{Args, Parser, Subcommand};

use crate::{executor, scheduler, told};

/// buswitness on several machines. All other commands are those of buswitness: `buswitness-cluster help`.
#[derive(Debug, Parser)]
#[command(name = "buswitness-cluster", version)]
struct Flags {
    #[command(subcommand)]
    role: Role,
}

/// A role.
#[derive(Debug, Subcommand)]
pub(crate) enum Role {
    /// Share out logs among executors; one in a cluster
    #[command(after_help = "Example: buswitness-cluster scheduler --bind 127.0.0.1:50050")]
    Scheduler(Scheduler),
    /// Read logs for a scheduler; as many as there are machines
    #[command(
        after_help = "Example: buswitness-cluster executor --on df://127.0.0.1:50050 --logs FOLDER --work FOLDER"
    )]
    Executor(Executor),
}

/// Arguments of `scheduler`.
#[derive(Debug, Args)]
pub(crate) struct Scheduler {
    /// Address and port to listen on
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:50050")]
    pub bind: std::net::SocketAddr,
    /// Seconds without a word after which an executor counts as lost; it gives word every 5 s
    #[arg(long, value_name = "SECONDS", default_value_t = 60,
          value_parser = clap::value_parser!(u64).range(11..=3600))]
    pub patience: u64,
    /// Print all that the engine does, not only warnings
    #[arg(long)]
    pub verbose: bool,
}

/// Arguments of `executor`.
#[derive(Debug, Args)]
pub(crate) struct Executor {
    /// The scheduler, df://HOST:PORT
    #[arg(long, value_name = "ADDRESS")]
    pub on: Address,
    /// A folder with logs; nothing outside of the folders given is read
    #[arg(long, value_name = "DIR", required_unless_present = "objects")]
    pub logs: Vec<PathBuf>,
    /// Where in an object store logs are fetched from: s3://BUCKET/NAMES, file:///FOLDER
    #[arg(long, value_name = "URL")]
    pub objects: Vec<String>,
    /// The largest object that is fetched, in MiB
    #[arg(long, value_name = "MIB", default_value_t = 16_384,
          value_parser = clap::value_parser!(u64).range(1..=1 << 24))]
    pub largest_object: u64,
    /// Folder for results until they are fetched, and for objects while they are read
    #[arg(long, value_name = "DIR")]
    pub work: PathBuf,
    /// Address to listen on; results are fetched from there
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1")]
    pub bind: IpAddr,
    /// Port to listen on
    #[arg(long, value_name = "PORT", default_value_t = 50051,
          value_parser = clap::value_parser!(u16).range(1..))]
    pub port: u16,
    /// The name or address under which others reach this machine (default: the address it listens on)
    #[arg(long, value_name = "HOST")]
    pub host: Option<String>,
    /// Logs read at the same time (default: one a core)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub cores: Option<u16>,
    /// Seconds for which counts and facts of other executors are waited for
    #[arg(long, value_name = "SECONDS", default_value_t = 30,
          value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub patience: u64,
    /// Print all that the engine does, not only warnings
    #[arg(long)]
    pub verbose: bool,
}

/// The role that the arguments name; `None` when they are for buswitness itself.
pub(crate) fn asked() -> Option<Role> {
    let first: Option<OsString> = std::env::args_os().nth(1);
    let is_role = first.is_some_and(|word| word == "scheduler" || word == "executor");
    is_role.then(|| Flags::parse().role)
}

/// Plays a role until the process is told to end.
pub(crate) fn play(role: Role) -> ExitCode {
    let (who, outcome) = match role {
        Role::Scheduler(asked) => {
            told::listen(asked.verbose);
            ("scheduler", scheduler::play(&asked))
        }
        Role::Executor(asked) => {
            told::listen(asked.verbose);
            ("executor", executor::play(&asked))
        }
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            told::say(who, &why);
            ExitCode::from(2)
        }
    }
}

/// An address as it stands in a URL.
pub(crate) fn in_url(address: IpAddr) -> String {
    match address {
        IpAddr::V4(four) => four.to_string(),
        IpAddr::V6(six) => format!("[{six}]"),
    }
}

/// The warning that belongs to hosts of which one is not this machine alone; `None` when all are.
pub(crate) fn open_network(hosts: &[&str]) -> Option<String> {
    let alone = |host: &&&str| {
        let address = host.trim_start_matches('[').trim_end_matches(']').parse::<IpAddr>();
        **host == "localhost" || address.is_ok_and(|address| address.is_loopback())
    };
    hosts.iter().find(|host| !alone(host)).map(|host| {
        format!(
            "warning: {host} is plain network: no encryption, and whoever reaches it can have logs read and \
             fetch results; keep it in a network of its own"
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_but_this_machine_is_warned_of() {
        for alone in ["localhost", "127.0.0.1", "127.1.2.3", "[::1]"] {
            assert_eq!(open_network(&[alone]), None, "{alone}");
        }
        for open in ["0.0.0.0", "[::]", "192.0.2.7", "[2001:db8::1]", "depot.example"] {
            let warning = open_network(&["127.0.0.1", open]).expect(open);
            assert!(warning.contains(&format!("{open} is plain network")), "{warning}");
        }
    }
}
