//! The stages look back, never forward; files are opened behind one door and written behind few;
//! rooms stay small and say what they are for.
//!
//! The order of the stages is read from `src/lib.rs` itself.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::program::{files, project};

/// What `rehearse` may use besides itself: it makes what the analysis reads, and knows nothing of it.
const REHEARSE_MAY_USE: [&str; 2] = ["vocabulary", "protocol"];
/// The folders that may touch the file system; all others get bytes and give bytes.
const MAY_READ: [&str; 2] = ["read", "facts"];
/// The files that read back what the program itself has written, and nothing else.
const READ_OWN_OUTPUT: [&str; 2] = ["reports/whole_file.rs", "reports/written.rs"];
const MAY_WRITE: [&str; 3] = ["reports", "facts", "rehearse"];
const READING: [&str; 4] = ["File::open", "fs::read", "WalkDir::", "fs::metadata"];
const WRITING: [&str; 9] = [
    "File::create",
    "fs::write",
    "fs::create_dir",
    "fs::rename",
    "fs::remove",
    "fs::copy",
    "fs::hard_link",
    "OpenOptions::",
    "fs::set_permissions",
];
/// Most lines of a file.
const LONGEST: usize = 400;

/// A source file: its path below `src/`, its text without comments, and where its tests begin.
struct Source {
    path: PathBuf,
    text: String,
    code: String,
    is_test: bool,
}

impl Source {
    /// The stage it belongs to; empty for `lib.rs` and `main.rs`.
    fn stage(&self) -> &str {
        let mut parts = self.path.components();
        let first = parts.next().and_then(|part| part.as_os_str().to_str()).unwrap_or_default();
        if parts.next().is_some() { first } else { "" }
    }

    /// How many `super` lead from its top to the root of the crate.
    fn depth(&self) -> usize {
        let parts = self.path.components().count();
        if self.path.ends_with("mod.rs") { parts - 1 } else { parts }
    }

    fn place(&self, byte: usize) -> String {
        let line = self.code[..byte].matches('\n').count() + 1;
        format!("src/{}:{line}", self.path.display())
    }

    /// The code outside its own `#[cfg(test)] mod … {`, which stands last by custom.
    fn shipped(&self) -> &str {
        if self.is_test {
            return "";
        }
        let tests = self.code.find("#[cfg(test)]\nmod tests {");
        &self.code[..tests.unwrap_or(self.code.len())]
    }
}

/// The folder of a package of its own, which uses the library from outside.
const APART: &str = "distributed";

fn sources() -> Vec<Source> {
    let all = files(&project().join("src"));
    let mut sources: Vec<Source> = all
        .into_iter()
        .filter(|(path, _)| path.extension().is_some_and(|ending| ending == "rs"))
        .filter(|(path, _)| !path.starts_with(APART))
        .map(|(path, bytes)| {
            let text = String::from_utf8(bytes).expect("source files are UTF-8");
            let code = without_comments(&text);
            Source { path, text, code, is_test: false }
        })
        .collect();
    assert!(sources.len() > 100, "only {} source files were found", sources.len());
    let tests = test_modules(&sources);
    for source in &mut sources {
        let bare = source.path.with_extension("");
        source.is_test = tests.iter().any(|module| bare.starts_with(module));
    }
    sources
}

/// Lines keep their numbers; what follows `//` goes. A `//` inside a text only hides the rest of its
/// line, and no import stands there.
fn without_comments(text: &str) -> String {
    let bare = |line: &str| line.split("//").next().unwrap_or_default().to_owned() + "\n";
    text.lines().map(bare).collect()
}

/// Modules declared as `#[cfg(test)] mod name;`.
fn test_modules(sources: &[Source]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for source in sources {
        let folder = match source.path.ends_with("mod.rs") || source.stage().is_empty() {
            true => source.path.parent().unwrap_or(Path::new("")).to_owned(),
            false => source.path.with_extension(""),
        };
        let mut rest = source.code.as_str();
        while let Some(at) = rest.find("#[cfg(test)]") {
            rest = rest[at + "#[cfg(test)]".len()..].trim_start();
            let declared = rest.split([';', '{', '(']).next().unwrap_or_default();
            let is_file = rest.as_bytes().get(declared.len()) == Some(&b';');
            if let (Some(at), true) = (declared.find("mod "), is_file) {
                found.push(folder.join(declared[at + 4..].trim()));
            }
        }
    }
    found
}

/// The stages as `src/lib.rs` lists them.
fn stages(sources: &[Source]) -> Vec<String> {
    let lib = sources.iter().find(|s| s.path == Path::new("lib.rs")).expect("src/lib.rs");
    let names = lib.code.lines().filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';'));
    names.map(str::to_owned).collect()
}

fn word_at(text: &str) -> &str {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(text.len());
    &text[..end]
}

/// What follows `crate::`: one name, or the names of a group.
fn named_after(text: &str) -> Vec<&str> {
    let Some(group) = text.trim_start().strip_prefix('{') else { return vec![word_at(text)] };
    let mut names = Vec::new();
    let mut deep = 0;
    let mut at_name = true;
    for (at, c) in group.char_indices() {
        match c {
            '{' => deep += 1,
            '}' if deep == 0 => break,
            '}' => deep -= 1,
            ',' if deep == 0 => at_name = true,
            c if at_name && deep == 0 && !c.is_whitespace() => {
                names.push(word_at(&group[at..]));
                at_name = false;
            }
            _ => {}
        }
    }
    names
}

/// Why `user` may not use `used`; `None` when it may.
fn forbidden(order: &[String], user: &str, used: &str) -> Option<String> {
    if user == used {
        return None;
    }
    let place = |stage: &str| order.iter().position(|s| s == stage);
    if user == "rehearse" {
        let may = REHEARSE_MAY_USE.contains(&used);
        return (!may).then(|| format!("rehearse uses only {}", REHEARSE_MAY_USE.join(", ")));
    }
    // Only the command line may call the rehearsal: the analysis never sees the truth.
    if used == "rehearse" && user != "command_line" {
        return Some("the analysis never sees the rehearsal".to_owned());
    }
    match (place(user), place(used)) {
        (Some(own), Some(other)) if other < own => None,
        (Some(_), Some(_)) => Some(format!("{used} comes after {user} in src/lib.rs")),
        _ => Some(format!("`{used}` is no stage in src/lib.rs")),
    }
}

#[test]
fn lib_rs_lists_every_stage_in_the_order_of_the_architecture() {
    let sources = sources();
    let order = stages(&sources);
    let known = [
        "vocabulary",
        "numerics",
        "protocol",
        "read",
        "observe",
        "facts",
        "incidents",
        "conditions",
        "suspects",
        "repairs",
        "batches",
        "weeks",
        "reports",
        "pipeline",
        "rehearse",
        "command_line",
    ];
    let listed: Vec<&str> = order.iter().map(String::as_str).collect();
    let expected: Vec<&str> = known.into_iter().filter(|s| listed.contains(s)).collect();
    assert_eq!(listed, expected, "src/lib.rs lists the stages in another order, or an unknown one");
    let folders: BTreeSet<&str> =
        sources.iter().map(Source::stage).filter(|stage| !stage.is_empty()).collect();
    let listed: BTreeSet<&str> = listed.into_iter().collect();
    assert_eq!(folders, listed, "each folder of src/ is one stage");
}

#[test]
fn no_stage_uses_a_later_one() {
    let sources = sources();
    let order = stages(&sources);
    let mut wrong = Vec::new();
    let mut seen = 0;
    for source in sources.iter().filter(|s| !s.stage().is_empty()) {
        for (at, path) in source.code.match_indices("crate::") {
            for used in named_after(&source.code[at + path.len()..]) {
                seen += 1;
                if let Some(why) = forbidden(&order, source.stage(), used) {
                    wrong.push(format!("{}: `crate::{used}`: {why}", source.place(at)));
                }
            }
        }
        for (at, _) in source.code.match_indices("buswitness::") {
            wrong.push(format!("{}: say `crate::`, not `buswitness::`", source.place(at)));
        }
    }
    assert!(seen > 300, "only {seen} imports were seen: the scan has gone blind");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_chain_of_super_leaves_its_stage() {
    let mut wrong = Vec::new();
    for source in sources().iter().filter(|s| !s.stage().is_empty()) {
        let shipped = source.shipped().len();
        let mut at = 0;
        while let Some(next) = source.code[at..].find("super::") {
            let begin = at + next;
            let mut chain = 0;
            at = begin;
            while source.code[at..].starts_with("super::") {
                chain += 1;
                at += "super::".len();
            }
            // A module of tests inside the file lies one deeper.
            let inside = usize::from(begin > shipped && !source.is_test);
            if chain >= source.depth() + inside {
                wrong.push(format!("{}: leaves {}", source.place(begin), source.stage()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn one_door_for_reading_few_for_writing() {
    let mut wrong = Vec::new();
    let mut met = [0, 0];
    for source in &sources() {
        for (doing, words, may) in
            [(0, &READING[..], &MAY_READ[..]), (1, &WRITING[..], &MAY_WRITE[..])]
        {
            for word in words {
                for (at, _) in source.shipped().match_indices(word) {
                    met[doing] += 1;
                    let own =
                        doing == 0 && READ_OWN_OUTPUT.iter().any(|f| source.path.ends_with(f));
                    if !may.contains(&source.stage()) && !own {
                        wrong.push(format!("{}: `{word}` outside {may:?}", source.place(at)));
                    }
                }
            }
        }
        let may_touch = MAY_READ.contains(&source.stage()) || MAY_WRITE.contains(&source.stage());
        for (at, _) in source.shipped().match_indices("std::fs").filter(|_| !may_touch) {
            wrong.push(format!("{}: `std::fs` outside the doors", source.place(at)));
        }
    }
    assert!(met[0] > 1 && met[1] > 3, "the scan has gone blind: {met:?}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_says_what_it_is_for_and_is_short() {
    let mut wrong = Vec::new();
    for source in &sources() {
        let path = source.path.display();
        if !source.text.starts_with("//!") {
            wrong.push(format!("src/{path}: does not begin with a `//!` note"));
        }
        let lines = source.text.lines().count();
        if lines > LONGEST {
            wrong.push(format!("src/{path}: {lines} lines, at most {LONGEST}"));
        }
    }
    let apart = project().join("src").join(APART);
    let (code, tests) = (files(&apart.join("src")), files(&apart.join("tests")));
    assert!(code.len() > 5 && tests.len() > 2, "the package apart is not seen");
    for (path, bytes) in code.iter().chain(&tests) {
        let text = String::from_utf8_lossy(bytes);
        if !text.starts_with("//!") || text.lines().count() > LONGEST {
            wrong.push(format!("{APART}: {}: no `//!` note, or too long", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_scan_itself_sees_what_it_should() {
    let order: Vec<String> =
        ["read", "reports", "rehearse", "command_line"].map(str::to_owned).to_vec();
    assert!(forbidden(&order, "read", "reports").is_some(), "forward");
    assert!(forbidden(&order, "reports", "read").is_none(), "back");
    assert!(forbidden(&order, "rehearse", "read").is_some(), "rehearse is apart");
    assert!(forbidden(&order, "reports", "rehearse").is_some(), "the truth is out of reach");
    assert!(forbidden(&order, "command_line", "rehearse").is_none(), "the command line calls it");
    assert_eq!(named_after("{read::{a, b}, reports::c}; x"), ["read", "reports"]);
    assert_eq!(named_after("read::Tally"), ["read"]);
    assert_eq!(without_comments("a // crate::reports\nb\n"), "a \nb\n");
}
