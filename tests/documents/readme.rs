//! What the README and the guide show is run: commands in fences marked `sh`, in the order of the page, in a
//! copy of the samples. In the guide, a fence marked `text` behind them holds what they print.
//!
//! Renewed with the reports: `BUSWITNESS_RENEW=1 cargo test --locked committed`.

use std::fs;
use std::path::Path;

use super::{GUIDE, name, read, with_ending};
use crate::program::{RENEW, project, renewing, said, sample};

/// Commands that would build the program inside its own test, or go to the network.
const NOT_RUN: [&str; 4] = ["cargo test", "cargo build", "python3 -m venv", "target/"];

/// A fenced block: what stands behind the opening fence, and its lines.
struct Block<'p> {
    mark: &'p str,
    lines: Vec<&'p str>,
}

fn blocks(page: &str) -> Vec<Block<'_>> {
    let mut blocks = Vec::new();
    let mut open: Option<Block<'_>> = None;
    for line in page.lines() {
        match (&mut open, line.strip_prefix("```")) {
            (None, Some(mark)) => open = Some(Block { mark: mark.trim(), lines: Vec::new() }),
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (Some(block), None) => block.lines.push(line),
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a fence is not closed");
    blocks
}

/// The arguments of a line that calls the program; `None` for one that is not run.
fn arguments(line: &str) -> Option<Vec<&str>> {
    let bare = line.split(" #").next().unwrap_or(line).trim();
    if bare.is_empty() || NOT_RUN.iter().any(|start| bare.starts_with(start)) {
        return None;
    }
    let rest = bare.strip_prefix("buswitness ").or(bare.strip_prefix("cargo run --locked -- "));
    let rest = rest
        .unwrap_or_else(|| panic!("`{line}` is no call of the program: mark its fence otherwise"));
    // What is sent into a file or another program is printed all the same.
    Some(
        rest.split([' '])
            .take_while(|word| !["|", ">"].contains(word))
            .filter(|w| !w.is_empty())
            .collect(),
    )
}

/// Runs the lines of a block; what they print on standard output.
fn run(lines: &[&str], folder: &Path) -> String {
    let mut printed = String::new();
    for line in lines {
        let Some(arguments) = arguments(line) else { continue };
        printed.push_str(&said(folder, &arguments));
    }
    printed
}

#[test]
fn the_commands_of_the_readme_run() {
    let page = read(&project().join("README.md"));
    let work = sample();
    let mut seen = 0;
    for block in blocks(&page).iter().filter(|block| block.mark == "sh") {
        run(&block.lines, work.path());
        seen += block.lines.iter().filter(|line| arguments(line).is_some()).count();
    }
    assert!(seen >= 4, "only {seen} commands of the README were run");
}

/// What a fence shows of a text: all of it, or with `text 12` its first 12 lines.
fn shown(mark: &str, text: &str) -> String {
    let lines: Vec<&str> = text.trim_end().lines().map(str::trim_end).collect();
    let most = mark
        .split_whitespace()
        .nth(1)
        .map_or(lines.len(), |n| n.parse().expect("a number of lines"));
    let mut kept = lines[..most.min(lines.len())].join("\n") + "\n";
    if most < lines.len() {
        kept.push_str("…\n");
    }
    kept
}

/// The page with every `text` fence filled by what the commands before it print.
fn filled(page: &str) -> String {
    let work = sample();
    let mut out = String::new();
    let mut printed = String::new();
    let mut rest = page;
    for block in blocks(page) {
        let body: String = block.lines.iter().map(|line| format!("{line}\n")).collect();
        let opening = format!("```{}\n", block.mark);
        let (before, after) = rest.split_once(&opening).expect("the fence");
        out.push_str(before);
        out.push_str(&opening);
        match block.mark.split_whitespace().next() {
            Some("sh") => {
                printed = run(&block.lines, work.path());
                out.push_str(&body);
            }
            Some("text") => out.push_str(&shown(block.mark, &printed)),
            _ => out.push_str(&body),
        }
        rest = after.strip_prefix(&body).expect("the body of the fence");
    }
    out + rest
}

#[test]
fn committed_walk_throughs_show_what_the_program_prints() {
    let pages = with_ending(&project().join(GUIDE), "md");
    let pages: Vec<_> = pages.into_iter().filter(|page| name(page) != "columns.md").collect();
    assert!(pages.len() >= 3, "{pages:?}");
    for path in pages {
        let (page, title) = (read(&path), name(&path));
        let filled = filled(&page);
        if renewing() {
            fs::write(&path, filled).expect("a page");
            continue;
        }
        let first = page.lines().zip(filled.lines()).find(|(is, should)| is != should);
        assert!(page == filled, "{GUIDE}/{title}: first difference: {first:?}; {RENEW}");
    }
}

#[test]
fn every_link_between_the_documents_leads_somewhere() {
    let guide = project().join(GUIDE);
    let mut pages = vec![project().join("README.md"), project().join("DEVELOPERS.md")];
    pages.extend(with_ending(&guide, "md"));
    for path in pages {
        let page = read(&path);
        for link in page.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let target = link.split('#').next().unwrap_or_default();
            if target.is_empty() || target.starts_with("http") {
                continue;
            }
            let there = path.parent().expect("a folder").join(target);
            assert!(there.exists(), "{}: `{link}` leads nowhere", path.display());
        }
    }
}
