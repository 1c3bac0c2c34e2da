//! What people read says `the tail-lift module`, never `node:tail-lift`: the machine's words stay in data files.

use regex::Regex;

use super::{read, with_ending};
use crate::program::{said, sample};

#[test]
fn no_page_and_no_line_on_the_terminal_has_a_machine_word() {
    let word = Regex::new(r"\b(node|branch|feed|ground|bus):\w").expect("a pattern");
    let tag = Regex::new(r"(?s)<(style|script)\b.*?</(style|script)>|<[^>]*>").expect("a pattern");
    assert!(word.is_match("node:tail-lift leads") && !word.is_match("feed and ground: dry"));
    let room = sample();
    let mut found = Vec::new();
    let mut look = |name: &str, text: &str| {
        let hits = word.find_iter(text).take(3).map(|hit| {
            let from = text[..hit.start()].char_indices().rev().nth(40).map_or(0, |(at, _)| at);
            format!("{name}: {}", text[from..hit.end()].replace('\n', " "))
        });
        found.extend(hits);
    };
    look("the terminal", &said(room.path(), &["run", "pipelines/weekly.toml"]));
    look("a plan", &said(room.path(), &["plan", "LH-14", "pipelines/weekly.toml"]));
    let pages = with_ending(&room.path().join("reports/weekly"), "html");
    assert!(pages.len() > 10, "only {} pages", pages.len());
    for page in pages {
        look(&page.display().to_string(), &tag.replace_all(&read(&page), " "));
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}
