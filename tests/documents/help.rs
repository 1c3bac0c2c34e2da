//! Help, manual and completions: all from one definition, all complete.

use super::{printed, read};
use crate::program::{buswitness, project};

/// The commands that the help lists.
fn commands() -> Vec<String> {
    let help = printed(&["--help"]);
    let listed = help.split("Commands:").nth(1).expect("a list of commands");
    let listed = listed.split("\n\n").next().unwrap_or_default();
    let names = listed.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    names
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_command_has_an_example_that_is_a_call_of_it() {
    let commands = commands();
    assert!(commands.len() >= 9, "{commands:?}");
    for command in &commands {
        let help = printed(&[command, "--help"]);
        let wanted = format!("Example: buswitness {command}");
        assert!(help.contains(&wanted), "`{wanted}` is not in\n{help}");
    }
}

#[test]
fn every_line_of_help_fits_eighty_columns() {
    let all = commands();
    for command in std::iter::once("").chain(all.iter().map(String::as_str)) {
        let arguments: Vec<&str> =
            [command, "--help"].into_iter().filter(|a| !a.is_empty()).collect();
        for line in printed(&arguments).lines() {
            let example = line.starts_with("Example:");
            assert!(example || line.chars().count() <= 80, "{command}: {line}");
        }
    }
}

#[test]
fn exit_codes_stand_in_help_manual_and_readme() {
    let help = printed(&["--help"]);
    let listed = help.split("Exit codes:\n").nth(1).expect("exit codes in the help");
    // A meaning goes on below itself.
    let mut codes: Vec<(String, String)> = Vec::new();
    for line in listed.lines().take_while(|line| line.starts_with("  ")) {
        match line.strip_prefix("       ") {
            Some(rest) => {
                let (_, meaning) = codes.last_mut().expect("a code in front of its meaning");
                meaning.push(' ');
                meaning.push_str(rest);
            }
            None => {
                let (code, meaning) = line.trim().split_once(' ').expect("a code and its meaning");
                codes.push((code.to_owned(), meaning.trim().to_owned()));
            }
        }
    }
    assert!(codes.len() >= 4, "{listed}");
    let readme = read(&project().join("README.md"));
    let manual = printed(&["manual"]);
    for (code, meaning) in codes {
        assert!(
            readme.contains(&format!("| {code} | {meaning} |")),
            "README lacks exit code {code}: {meaning}"
        );
        let first = meaning.split([',', ';', '`', ':']).next().unwrap_or(&meaning);
        assert!(manual.contains(first), "the manual lacks `{first}`");
    }
}

#[test]
fn completions_and_manual_know_every_command() {
    let commands = commands();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let text = printed(&["completions", shell]);
        for command in &commands {
            assert!(text.contains(command.as_str()), "{shell} does not complete `{command}`");
        }
    }
    let whole = printed(&["manual"]);
    assert!(whole.contains(".TH buswitness 1"), "{}", &whole[..200.min(whole.len())]);
    for command in &commands {
        assert!(whole.replace('\\', "").contains(command.as_str()), "the manual lacks {command}");
        let page = printed(&["manual", command]).replace('\\', "");
        assert!(page.contains(&format!("buswitness-{command}")), "{page}");
        assert!(page.contains("Example: "), "{page}");
    }
}

#[test]
fn a_wrong_word_names_the_nearest() {
    for (arguments, said) in [
        (["schema", "culprit.csv"], "did you mean `culprits.csv`?"),
        (["columns", "evidence"], "did you mean `evidence.csv`?"),
        (["manual", "rnu"], "did you mean `run`?"),
    ] {
        let output = buswitness(project(), &arguments);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(said), "{told}");
    }
}
