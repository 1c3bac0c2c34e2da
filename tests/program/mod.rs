//! Running the program in a folder of its own, and looking at what it leaves there.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// The folder of the project.
pub(crate) fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A new folder that goes away with the test.
pub(crate) fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// What to do when something committed is not what the program writes.
pub(crate) const RENEW: &str = "renew with `BUSWITNESS_RENEW=1 cargo test --locked committed`";

/// Whether this call of the tests renews what is committed.
pub(crate) fn renewing() -> bool {
    std::env::var_os("BUSWITNESS_RENEW").is_some_and(|value| value == "1")
}

/// A call of the program in `folder` with `arguments`; where it has no terminal it prints for 80 columns.
fn call(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_buswitness"));
    command.args(arguments).current_dir(folder).env("NO_COLOR", "1").env("COLUMNS", "80");
    command
}

/// Runs the program in `folder` with `arguments`.
pub(crate) fn buswitness(folder: &Path, arguments: &[&str]) -> Output {
    call(folder, arguments).output().expect("the program starts")
}

/// Starts the program and does not wait for it; what it says on standard error is kept.
pub(crate) fn begun(folder: &Path, arguments: &[&str]) -> Child {
    let mut command = call(folder, arguments);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    command.spawn().expect("the program starts")
}

/// Runs the program and insists on exit code 0.
pub(crate) fn done(folder: &Path, arguments: &[&str]) {
    said(folder, arguments);
}

/// What the program prints on standard output; it must end with exit code 0.
pub(crate) fn said(folder: &Path, arguments: &[&str]) -> String {
    let output = buswitness(folder, arguments);
    assert!(
        output.status.code() == Some(0),
        "`buswitness {}` ended with {:?}\n{}{}",
        arguments.join(" "),
        output.status.code(),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// A text in one line, wherever its lines were broken.
pub(crate) fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The sample logs and their pipelines, copied, so that a run writes nothing into the project.
pub(crate) fn sample() -> TempDir {
    let copy = folder();
    for part in ["pipelines", "sample-logs"] {
        for (name, bytes) in files(&project().join(part)) {
            write(&copy.path().join(part).join(name), &bytes);
        }
    }
    copy
}

/// Writes a file and the folders above it.
pub(crate) fn write(path: &Path, bytes: &[u8]) {
    fs::create_dir_all(path.parent().expect("a folder above")).expect("folders");
    fs::write(path, bytes).unwrap_or_else(|e| panic!("cannot write {}: {e}", path.display()));
}

/// All files below a folder by their names in it; none when there is no such folder.
pub(crate) fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        let Ok(entries) = fs::read_dir(&next) else { continue };
        for entry in entries {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below").to_owned();
                found.insert(name, fs::read(&path).expect("a file that can be read"));
            }
        }
    }
    found
}

/// The reports in an output folder: all but the stored facts.
pub(crate) fn reports(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = files(folder);
    all.retain(|name, _| !name.starts_with("facts"));
    all
}

/// What differs between two folders of files, a line each; empty when nothing does.
pub(crate) fn differences(
    left: (&str, &BTreeMap<PathBuf, Vec<u8>>),
    right: (&str, &BTreeMap<PathBuf, Vec<u8>>),
) -> Vec<String> {
    let mut told = Vec::new();
    for (name, bytes) in left.1 {
        match right.1.get(name) {
            None => told.push(format!("{}: only in {}", name.display(), left.0)),
            Some(other) if other != bytes => {
                let spot = first_difference((left.0, bytes), (right.0, other));
                told.push(format!("{}: {spot}", name.display()));
            }
            Some(_) => {}
        }
    }
    for name in right.1.keys().filter(|name| !left.1.contains_key(*name)) {
        told.push(format!("{}: only in {}", name.display(), right.0));
    }
    told
}

/// The first line that differs in text, the first byte otherwise.
fn first_difference(left: (&str, &[u8]), right: (&str, &[u8])) -> String {
    let (Ok(one), Ok(two)) = (std::str::from_utf8(left.1), std::str::from_utf8(right.1)) else {
        let at = left.1.iter().zip(right.1).take_while(|(a, b)| a == b).count();
        return format!("differs from byte {at} ({} and {} bytes)", left.1.len(), right.1.len());
    };
    let same = one.lines().zip(two.lines()).take_while(|(a, b)| a == b).count();
    let line = |text: &str| {
        let line = text.lines().nth(same).unwrap_or("(no such line)");
        line.chars().take(300).collect::<String>()
    };
    format!("line {} differs\n  {}: {}\n  {}: {}", same + 1, left.0, line(one), right.0, line(two))
}

/// A JSON file.
pub(crate) fn json(path: &Path) -> Value {
    let bytes = fs::read(path).unwrap_or_else(|e| panic!("no {}: {e}", path.display()));
    serde_json::from_slice(&bytes).unwrap_or_else(|e| panic!("{} is no JSON: {e}", path.display()))
}

/// The items of a JSON list.
pub(crate) fn items<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().map(Vec::as_slice).unwrap_or_else(|| panic!("no list `{key}` in {value}"))
}

/// A text in a JSON object.
pub(crate) fn word<'v>(value: &'v Value, key: &str) -> &'v str {
    value[key].as_str().unwrap_or_else(|| panic!("no text `{key}` in {value}"))
}

/// A number in a JSON object.
pub(crate) fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("no number `{key}` in {value}"))
}
