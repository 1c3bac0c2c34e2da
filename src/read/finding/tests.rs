//! Patterns against a small tree of files.

use super::*;

fn tree(files: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for file in files {
        let path = folder.path().join(file);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, "x").unwrap();
    }
    folder
}

fn names(base: &Path, pattern: &str) -> Vec<String> {
    find(base, &[pattern.to_owned()], Some("out"))
        .files
        .iter()
        .map(|f| f.name.to_string())
        .collect()
}

const FILES: [&str; 9] = [
    "p/x.toml",
    "p/out/a.csv",
    "bus/T-014/2026-01-12T06-41.log.gz",
    "bus/T-014/0113.log",
    "bus/T-015/0112.log",
    "bus/.hidden/0112.log",
    "scans/deep/er/a.json",
    "scans/b.json",
    "scans/.c.json",
];

#[test]
fn wildcards_and_captures() {
    let folder = tree(&FILES);
    let base = folder.path().join("p");
    assert_eq!(
        names(&base, "../bus/*/*.log*"),
        ["../bus/T-014/0113.log", "../bus/T-014/2026-01-12T06-41.log.gz", "../bus/T-015/0112.log"]
    );
    assert_eq!(names(&base, "../scans/**/*.json"), ["../scans/b.json", "../scans/deep/er/a.json"]);
    assert_eq!(names(&base, "../bus/T-01[!4]/011?.log"), ["../bus/T-015/0112.log"]);
    assert_eq!(names(&base, "../bus/T-01[4-5]/0113.log"), ["../bus/T-014/0113.log"]);
    assert_eq!(names(&base, "../bus/.hidden/*.log"), ["../bus/.hidden/0112.log"]);
    assert_eq!(names(&base, "x.toml"), ["x.toml"]);
    assert_eq!(names(&base, "./x.toml"), ["x.toml"]);
    let found = find(&base, &["../bus/{vehicle}/{start}.log*".to_owned()], None);
    assert_eq!(found.files.len(), 1);
    let captures = &found.files[0].captures;
    assert_eq!(captures.vehicle.as_deref(), Some("T-014"));
    assert_eq!(captures.start.as_deref(), Some("2026-01-12T06-41"));
}

#[test]
fn a_vehicle_with_hyphens_before_a_start() {
    let pattern = Pattern::parse("{vehicle}-{start}.log").unwrap();
    let captures = pattern.captures("T-014-2026-01-12.log").unwrap();
    assert_eq!(captures.vehicle.as_deref(), Some("T-014"));
    assert_eq!(captures.start.as_deref(), Some("2026-01-12"));
    let twice = Pattern::parse("{vehicle}/{vehicle}.log").unwrap();
    assert!(twice.captures("a/a.log").is_some() && twice.captures("a/b.log").is_none());
}

#[test]
fn the_output_folder_is_never_input() {
    let folder = tree(&FILES);
    assert_eq!(names(&folder.path().join("p"), "**"), ["x.toml"]);
    assert_eq!(names(&folder.path().join("p"), "**/*.csv"), [""; 0]);
    assert_eq!(names(&folder.path().join("p"), "../p/**/*.csv"), [""; 0]);
    assert_eq!(names(&folder.path().join("p"), "out/*.csv"), [""; 0]);
    // An output folder beside everything else cannot be left out.
    for output in [".", ".."] {
        let finding = find(&folder.path().join("p"), &["../p/*.toml".to_owned()], Some(output));
        assert_eq!(finding.files.len(), 1);
    }
}

#[test]
fn a_pattern_that_finds_nothing_is_told_and_each_file_comes_once() {
    let folder = tree(&FILES);
    let patterns = [
        "scans/*.json".to_owned(),
        "scans/b.*".to_owned(),
        "none/*.x".to_owned(),
        "no.csv".to_owned(),
    ];
    let finding = find(folder.path(), &patterns, None);
    assert_eq!(finding.files.len(), 1);
    assert_eq!(finding.empty_patterns, ["none/*.x", "no.csv"]);
}

#[test]
fn patterns_that_make_no_sense_say_why() {
    for (pattern, part) in [
        ("bus/{vehicel}/*.log", "did you mean `vehicle`?"),
        ("bus/[ab", "without its `]`"),
        ("bus/[b-a]", "odd"),
        ("bus/{vehicle", "without its `}`"),
        ("bus/[]/x", "without its set"),
        ("", "names no file"),
        ("bus/..", "names no file"),
        ("*/../x", "behind a wildcard"),
    ] {
        let reason = Pattern::parse(pattern).expect_err(pattern);
        assert!(reason.contains(part), "{pattern}: {reason}");
    }
}

#[cfg(unix)]
#[test]
fn rings_of_links_are_not_entered() {
    let folder = tree(&["a/b/x.log"]);
    std::os::unix::fs::symlink(folder.path().join("a"), folder.path().join("a/b/ring")).unwrap();
    let finding = find(folder.path(), &["**/*.log".to_owned()], None);
    assert_eq!(finding.files.len(), 1);
    assert!(finding.rejects.is_empty());
}

#[test]
fn an_empty_base_is_the_folder_one_is_in() {
    let finding = find(Path::new(""), &["Cargo.t*".to_owned(), "src/lib.rs".to_owned()], None);
    let names: Vec<&str> = finding.files.iter().map(|file| &*file.name).collect();
    assert_eq!(names, ["Cargo.toml", "src/lib.rs"]);
}
