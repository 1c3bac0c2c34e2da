//! `completions` and `manual`: made from the same definitions as the help.

use clap::CommandFactory as _;

use super::flags::{Completions, Flags, Manual};
use super::{exit_codes, print};
use crate::read::nearest::suggestion;

/// Prints the completions of a shell.
pub(super) fn completions(asked: &Completions) -> Result<u8, String> {
    let mut bytes = Vec::new();
    let mut command = Flags::command();
    clap_complete::generate(asked.shell, &mut command, "buswitness", &mut bytes);
    print(&bytes);
    Ok(exit_codes::DONE)
}

/// Prints the manual page, of the program or of one command.
pub(super) fn manual(asked: &Manual) -> Result<u8, String> {
    let mut whole = Flags::command();
    whole.build();
    let command = match &asked.command {
        None => whole,
        Some(name) => {
            let Some(found) = whole.find_subcommand(name) else {
                let known: Vec<&str> =
                    whole.get_subcommands().map(clap::Command::get_name).collect();
                return Err(format!("no command `{name}`; {}", suggestion(name, &known)));
            };
            // The page of a command bears both names, as in `buswitness-run`.
            found.clone().name(format!("buswitness-{name}").leak() as &'static str)
        }
    };
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command)
        .render(&mut bytes)
        .map_err(|e| format!("cannot make the manual page: {e}"))?;
    print(&bytes);
    Ok(exit_codes::DONE)
}
