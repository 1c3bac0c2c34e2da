//! buswitness on several machines: `scheduler` and `executor` are the two roles of a cluster; every other word
//! is a command of buswitness itself, and `run … --on df://HOST:PORT` sends the logs to a cluster.
//!
//! Sharing out work, starting it again when an executor is lost, and carrying results is Apache Ballista's.
//! Here stand only: the one plan node that watches logs, counts stored facts and weighs vehicles (`node`, `recount`,
//! `weighing`, `codec`), who may read what (`folders`, `objects`, `guard`), the two roles, and the client that sends jobs and
//! counts what comes back (`client`, `job`, `counting`).

mod bounded;
mod client;
mod codec;
mod connection;
mod counting;
mod executor;
mod folders;
mod guard;
mod job;
mod node;
mod objects;
mod recount;
mod roles;
mod scheduler;
mod told;
mod weighing;

use std::process::ExitCode;

fn main() -> ExitCode {
    match roles::asked() {
        Some(role) => roles::play(role),
        None => buswitness::command_line::main_with(Some(&client::Clusters)),
    }
}
