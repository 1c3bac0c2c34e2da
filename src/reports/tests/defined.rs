//! Every column, count and label of the pages is defined on the page "how to read". Test builds only.

use std::collections::BTreeSet;

use super::fixture::{decided, fleet, heading, tally};
use super::fixture_closer::telling;
use crate::reports::View;
use crate::reports::pages;

/// What stands between two texts, everywhere in a page.
fn between<'a>(page: &'a str, begin: &'a str, end: &'a str) -> impl Iterator<Item = &'a str> {
    page.split(begin).skip(1).filter_map(move |rest| rest.split(end).next())
}

/// The texts of elements, by the beginning of their tag.
fn texts(page: &str, tag: &str) -> Vec<String> {
    let end = format!("</{}>", tag.split(' ').next().unwrap_or(tag));
    between(page, &format!("<{tag}"), &end)
        .filter_map(|rest| rest.split_once('>').map(|(_, text)| plain(text)))
        .collect()
}

/// A text without tags, in small letters.
fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in text.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out.trim().to_lowercase()
}

/// The page that defines.
fn reading() -> String {
    let all = telling(&[], &tally(), |told| pages::pages(&heading(View::Fleet), told));
    let page = all.expect("pages").into_iter().find(|o| o.name == "how-to-read.html");
    String::from_utf8(page.expect("the page").bytes().expect("bytes")).expect("text")
}

/// The names that the page defines: terms, and the first column of its tables.
fn names(reading: &str) -> BTreeSet<String> {
    let terms = texts(reading, "dt").into_iter().chain(texts(reading, "th scope=\"row\""));
    terms
        .flat_map(|term| term.split(';').map(|t| t.trim().to_owned()).collect::<Vec<_>>())
        .collect()
}

/// The labels of a page that nobody defines: headings of columns, and names of counts.
pub(super) fn undefined(page: &str) -> Vec<String> {
    let reading = reading();
    let names = names(&reading);
    let known = |label: &str| {
        names.contains(label) || label.split([',', '/']).all(|part| names.contains(part.trim()))
    };
    let counts = between(page, "<dl class=\"facts\">", "</dl>")
        .chain(between(page, "<dl class=\"tallies\">", "</dl>"))
        .flat_map(|list| texts(list, "dt"));
    let mut labels: Vec<String> = texts(page, "th scope=\"col\"");
    labels.extend(counts);
    labels.retain(|label| !label.is_empty() && label != "bar" && !known(label));
    labels.sort();
    labels.dedup();
    labels
}

/// The pictures, by their text, that do not say on how many observations they rest.
pub(super) fn baseless(page: &str) -> Vec<String> {
    let mut pictures = texts(page, "figure");
    pictures.retain(|picture| {
        let told = picture.split("rests on").nth(1);
        told.is_none_or(|rest| !rest.chars().take(60).any(|c| c.is_ascii_digit()))
    });
    pictures
}

#[test]
fn the_page_of_a_vehicle_and_the_overview_use_defined_words_only() {
    for (view, findings) in [(View::Session, vec![decided("LH-07")]), (View::Fleet, fleet())] {
        let all = telling(&findings, &tally(), |told| pages::pages(&heading(view), told));
        for output in all.expect("pages").into_iter().filter(|o| o.name != "how-to-read.html") {
            let page = String::from_utf8(output.bytes().expect("bytes")).expect("text");
            // The matrix of accusations has nodes for columns.
            let parts = page.split("class=\"matrix").enumerate().map(|(n, part)| match n {
                0 => part,
                _ => part.split_once("</thead>").map_or("", |(_, rest)| rest),
            });
            let open = undefined(&parts.collect::<String>());
            assert!(open.is_empty(), "{}: {open:?}", output.name);
            assert_eq!(baseless(&page), [] as [String; 0], "{}", output.name);
        }
    }
}

#[test]
fn a_word_that_nobody_defines_is_found() {
    assert_eq!(
        undefined("<th scope=\"col\" class=\"n\">Zeal</th><th scope=\"col\">Node</th>"),
        ["zeal"]
    );
    assert_eq!(undefined("<dl class=\"facts\"><div><dt>cubits</dt></div></dl>"), ["cubits"]);
}
