//! Files whole or absent, and the same bytes whatever the order of the findings.

use std::fs;

use super::fixture;
use super::fixture_closer::write;
use crate::read::Tally;
use crate::reports::{Formats, Output, ReportError, write_whole};

fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("folder")
        .map(|e| e.expect("entry").file_name().to_string_lossy().into_owned())
        // The list of what was written, of which `written` has its own tests.
        .filter(|name| name != ".buswitness-written")
        .collect();
    names.sort();
    names
}

#[test]
fn the_main_report_comes_first_and_nothing_temporary_stays() {
    let folder = tempfile::tempdir().expect("folder");
    let tables = [("starts".to_owned(), b"PAR1".to_vec())];
    let findings = fixture::fleet();
    let written =
        write(folder.path(), Formats::ALL, &findings, &fixture::tally(), &tables).expect("written");
    assert!(written[0].ends_with("report.html"));
    let names = names(folder.path());
    assert_eq!(names.len(), written.len());
    assert!(names.iter().all(|n| !n.starts_with('.')));
    assert!(names.contains(&"starts.parquet".to_owned()));
}

#[test]
fn rejects_are_written_whatever_the_formats() {
    let folder = tempfile::tempdir().expect("folder");
    let none = Formats { html: false, json: false, csv: false, parquet: false };
    write(folder.path(), none, &[], &Tally::default(), &[]).expect("written");
    assert_eq!(names(folder.path()), ["rejects.csv"]);
    let text = fs::read_to_string(folder.path().join("rejects.csv")).expect("rejects");
    assert_eq!(text, "file,place,records,reason\n");
}

#[test]
fn the_same_findings_give_the_same_bytes() {
    let (a, b) = (tempfile::tempdir().expect("folder"), tempfile::tempdir().expect("folder"));
    let findings = fixture::fleet();
    let mut turned = findings.clone();
    turned.reverse();
    let mut reused = fixture::tally();
    reused.logs_reused = 612;
    let all = Formats::ALL;
    write(a.path(), all, &findings, &fixture::tally(), &[]).expect("a");
    write(b.path(), all, &turned, &reused, &[]).expect("b");
    assert_eq!(names(a.path()), names(b.path()));
    for name in names(a.path()) {
        let read = |folder: &std::path::Path| fs::read(folder.join(&name)).expect("file");
        assert_eq!(read(a.path()), read(b.path()), "{name} differs");
    }
}

#[test]
fn a_failure_leaves_older_files_as_they_were() {
    let folder = tempfile::tempdir().expect("folder");
    write_whole(folder.path(), &[Output::new("a.csv", "old")]).expect("first");
    // A folder in the place of the first temporary file's target makes the rename fail.
    fs::create_dir(folder.path().join("0.csv")).expect("obstacle");
    fs::write(folder.path().join("0.csv").join("x"), "x").expect("obstacle");
    let outputs = [Output::new("0.csv", "new"), Output::new("a.csv", "new")];
    let error = write_whole(folder.path(), &outputs).expect_err("a folder is in the way");
    assert!(matches!(error, ReportError::Write { .. }));
    assert_eq!(fs::read(folder.path().join("a.csv")).expect("old file"), b"old");
    assert_eq!(names(folder.path()), ["0.csv", "a.csv"]);
}

#[test]
fn names_that_are_paths_are_refused_before_anything_is_written() {
    let folder = tempfile::tempdir().expect("folder");
    for name in ["../x.csv", "a/b", "", ".hidden", "a b", "x\u{0}"] {
        let outputs = [Output::new("good.csv", "1"), Output::new(name, "2")];
        assert!(matches!(write_whole(folder.path(), &outputs), Err(ReportError::Name { .. })));
    }
    assert!(names(folder.path()).is_empty());
}
