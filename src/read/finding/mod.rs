//! Finding input files by the patterns of a pipeline.
//!
//! Grammar of a pattern, relative to the pipeline file's folder: segments parted by `/`. `*` is any run
//! of characters inside a segment, `?` one of them, `[ab]` and `[a-z]` one of a set (`[!…]` none of
//! it), `**` as a whole segment any number of folders. `{vehicle}`, `{bus}` and `{start}` take what
//! they stand for out of the path: the first two any run of characters (as long as possible), `{start}`
//! a time (see [`crate::read::times::parse_path_time`]). Leading `../` may stand. A pattern without any
//! of these is a plain path. Names that begin with `.` are only found when the pattern says so.
//! Folders that are links are entered, rings of links are not. A backslash is never special.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use regex::Regex;
use walkdir::{DirEntry, WalkDir};

use crate::read::objects::Stored;
use crate::read::opening::{Opened, open};
use crate::read::{Stamp, stamp};
use crate::vocabulary::{Place, Reject};

mod objects;
pub use objects::ObjectPattern;

/// What a pattern took out of a path.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Captures {
    /// The vehicle.
    pub vehicle: Option<String>,
    /// The bus.
    pub bus: Option<String>,
    /// The start of the log, as it stands in the path.
    pub start: Option<String>,
}

/// A file, or an object like one, that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Where to open it.
    pub path: PathBuf,
    /// How it is shown: relative to the pipeline file's folder, with `/`; an object by its URL.
    pub name: Arc<str>,
    /// What the pattern took out of its path.
    pub captures: Captures,
    /// The object, where it is one; then there is no such path.
    pub object: Option<Stored>,
}

impl Found {
    /// Opens it.
    ///
    /// # Errors
    /// As [`open`].
    pub fn open(&self) -> Result<Opened, Reject> {
        match &self.object {
            Some(stored) => stored.open(Vec::new(), &self.name),
            None => open(&self.path, &self.name),
        }
    }

    /// What tells a later run that it is unchanged; `None` when that cannot be told.
    #[must_use]
    pub fn stamp(&self) -> Option<Stamp> {
        match &self.object {
            Some(stored) => Some(stored.object.stamp()),
            None => stamp(&self.path),
        }
    }
}

/// What the patterns of one input found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Finding {
    /// The files, sorted by name; each once, with the captures of the first pattern that found it.
    pub files: Vec<Found>,
    /// The patterns that found nothing.
    pub empty_patterns: Vec<String>,
    /// Folders and names that could not be read.
    pub rejects: Vec<Reject>,
}

/// A checked pattern.
#[derive(Debug, Clone)]
pub struct Pattern {
    text: String,
    /// The leading segments without any wildcard.
    fixed: String,
    /// The whole pattern; `None` for a plain path.
    form: Option<Regex>,
    /// How deep below the fixed part files may lie.
    depth: Option<usize>,
}

const CAPTURES: [&str; 3] = ["vehicle", "bus", "start"];

/// What `{start}` matches: a date with or without a time, or 10 to 19 digits since 1970.
const START: &str = r"[0-9]{4}[-_]?[0-9]{2}[-_]?[0-9]{2}(?:[T_ -]?[0-9]{2}[-:_.h]?[0-9]{2}(?:[-:_.]?[0-9]{2})?Z?)?|[0-9]{10}|[0-9]{13}|[0-9]{16}|[0-9]{19}";

impl Pattern {
    /// Checks a pattern.
    ///
    /// # Errors
    /// A message fragment: an unknown capture, an open bracket, an empty segment.
    pub fn parse(text: &str) -> Result<Pattern, String> {
        let text = text.trim();
        let mut segments: Vec<&str> = text
            .split('/')
            .enumerate()
            .filter(|(at, s)| *s != "." && (*at == 0 || !s.is_empty()))
            .map(|(_, s)| s)
            .collect();
        if text.is_empty() || segments.last().is_none_or(|s| matches!(*s, "" | "..")) {
            return Err(format!("pattern `{text}` names no file"));
        }
        let special = |s: &&str| s.contains(['*', '?', '[', '{']);
        let first = segments.iter().position(special).unwrap_or(segments.len() - 1);
        let plain = !segments.iter().any(special);
        let rest = segments.split_off(first);
        let fixed = segments.join("/");
        if plain {
            let form = None;
            return Ok(Pattern {
                text: text.to_owned(),
                fixed: join(&fixed, rest[0]),
                form,
                depth: None,
            });
        }
        if rest.contains(&"..") {
            return Err(format!("pattern `{text}` has `..` behind a wildcard; put it in front"));
        }
        let mut form = String::from("^");
        let mut seen = Vec::new();
        for (at, segment) in rest.iter().enumerate() {
            let last = at + 1 == rest.len();
            if *segment == "**" {
                form.push_str(if last { "(?:[^/.][^/]*/)*[^/.][^/]*" } else { "(?:[^/.][^/]*/)*" });
            } else {
                form.push_str(&segment_form(text, segment, &mut seen)?);
                form.push_str(if last { "" } else { "/" });
            }
        }
        form.push('$');
        let form = Regex::new(&form).map_err(|_| format!("pattern `{text}` has an odd `[…]`"))?;
        let depth = (!rest.contains(&"**")).then_some(rest.len());
        Ok(Pattern { text: text.to_owned(), fixed, form: Some(form), depth })
    }

    /// The captures when the part of a path behind the fixed one matches.
    fn captures(&self, rest: &str) -> Option<Captures> {
        let taken = self.form.as_ref()?.captures(rest)?;
        let get = |name: &str| taken.name(name).map(|m| m.as_str().to_owned());
        for name in CAPTURES {
            if let (Some(first), Some(second)) = (get(name), get(&format!("{name}_2")))
                && first != second
            {
                return None;
            }
        }
        Some(Captures { vehicle: get("vehicle"), bus: get("bus"), start: get("start") })
    }

    /// The captures when a whole path matches.
    fn whole(&self, path: &str) -> Option<Captures> {
        if self.form.is_none() {
            return (path == self.fixed).then(Captures::default);
        }
        let rest = path.strip_prefix(self.fixed.as_str())?;
        let rest = if self.fixed.is_empty() { rest } else { rest.strip_prefix('/')? };
        self.captures(rest)
    }
}

/// One segment as a regular expression.
fn segment_form(pattern: &str, segment: &str, seen: &mut Vec<String>) -> Result<String, String> {
    let mut form = String::new();
    let mut rest = segment.chars();
    let mut first = true;
    while let Some(c) = rest.next() {
        // A wildcard at the head of a name does not stand for hidden files.
        let (one, run) = if first { ("[^/.]", "(?:[^/.][^/]*)?") } else { ("[^/]", "[^/]*") };
        match c {
            '*' => form.push_str(run),
            '?' => form.push_str(one),
            '[' => {
                let Some((set, behind)) = rest.as_str().split_once(']') else {
                    return Err(format!("pattern `{pattern}` has a `[` without its `]`"));
                };
                rest = behind.chars();
                let (not, set) = set.strip_prefix('!').map_or(("", set), |s| ("^/", s));
                if set.is_empty() {
                    return Err(format!("pattern `{pattern}` has a `[` without its set and `]`"));
                }
                let escaped = set
                    .replace('\\', r"\\")
                    .replace('[', r"\[")
                    .replace('^', r"\^")
                    .replace('&', r"\&")
                    .replace('~', r"\~");
                form.push_str(&format!("[{not}{escaped}]"));
            }
            '{' => {
                let Some((name, behind)) = rest.as_str().split_once('}') else {
                    return Err(format!("pattern `{pattern}` has a `{{` without its `}}`"));
                };
                rest = behind.chars();
                if !CAPTURES.contains(&name) {
                    return Err(format!(
                        "pattern `{pattern}` has an unknown capture `{{{name}}}`; {}",
                        crate::read::nearest::suggestion(name, &CAPTURES)
                    ));
                }
                let times = seen.iter().filter(|s| **s == name).count() + 1;
                let group = match times {
                    1 => name.to_owned(),
                    2 => format!("{name}_2"),
                    _ => {
                        return Err(format!(
                            "pattern `{pattern}` has `{{{name}}}` more than twice"
                        ));
                    }
                };
                let what = match (name, first) {
                    ("start", _) => START,
                    (_, true) => "[^/.][^/]*",
                    (_, false) => "[^/]+",
                };
                form.push_str(&format!("(?P<{group}>{what})"));
                seen.push(name.to_owned());
            }
            _ => form.push_str(&regex::escape(&c.to_string())),
        }
        first = false;
    }
    Ok(form)
}

/// Finds the files of one input. `exclude` is the output folder relative to `base`: nothing in it is
/// ever input.
///
/// Patterns that do not parse are rejects; a checked plan has none.
#[must_use]
pub fn find(base: &Path, patterns: &[String], exclude: Option<&str>) -> Finding {
    let mut finding = Finding::default();
    let mut files: BTreeMap<String, Found> = BTreeMap::new();
    for text in patterns {
        let found = match Pattern::parse(text) {
            Ok(pattern) => expand(base, &pattern, exclude, &mut finding.rejects),
            Err(reason) => {
                finding.rejects.push(Reject::one(Place::whole(&text.as_str().into()), reason));
                continue;
            }
        };
        if found.is_empty() {
            finding.empty_patterns.push(text.clone());
        }
        for file in found {
            files.entry(file.name.to_string()).or_insert(file);
        }
    }
    finding.files = files.into_values().collect();
    finding
}

fn expand(
    base: &Path,
    pattern: &Pattern,
    exclude: Option<&str>,
    rejects: &mut Vec<Reject>,
) -> Vec<Found> {
    let base = if base.as_os_str().is_empty() { Path::new(".") } else { base };
    let root = if pattern.fixed.is_empty() { base.to_owned() } else { base.join(&pattern.fixed) };
    if pattern.form.is_none() {
        // Whether a plain path can be opened is told by the door; only a missing one is "nothing".
        let captures = Captures::default();
        let name = pattern.fixed.as_str().into();
        return root.exists().then(|| found(root, name, captures)).into_iter().collect();
    }
    if !root.is_dir() {
        return Vec::new();
    }
    let mut walk = WalkDir::new(&root).min_depth(1).follow_links(true).sort_by_file_name();
    if let Some(depth) = pattern.depth {
        walk = walk.max_depth(depth);
    }
    let mut files = Vec::new();
    let excluded = excluded_folder(base, exclude);
    let outside = |entry: &DirEntry| {
        excluded.as_ref().is_none_or(|folder| !plainly(entry.path()).starts_with(folder))
    };
    for entry in walk.into_iter().filter_entry(outside) {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) => {
                if error.loop_ancestor().is_none() {
                    let path = error.path().unwrap_or(&root);
                    let place = Place::whole(&shown(&pattern.fixed, &root, path).as_str().into());
                    rejects.push(Reject::one(place, "cannot look into it; check its rights"));
                }
                continue;
            }
        };
        if !entry.file_type().is_file() {
            continue;
        }
        let name = shown(&pattern.fixed, &root, entry.path());
        let rest = name.get(pattern.fixed.len()..).unwrap_or("");
        let rest = if pattern.fixed.is_empty() { rest } else { rest.trim_start_matches('/') };
        if let Some(captures) = pattern.captures(rest) {
            let name = name.as_str().into();
            files.push(found(entry.into_path(), name, captures));
        }
    }
    files
}

fn found(path: PathBuf, name: Arc<str>, captures: Captures) -> Found {
    Found { path, name, captures, object: None }
}

/// The output folder, when it is one that can be told from the inputs: not the base or above it.
fn excluded_folder(base: &Path, exclude: Option<&str>) -> Option<PathBuf> {
    let folder = plainly(&base.join(exclude?));
    (!plainly(base).starts_with(&folder)).then_some(folder)
}

/// A path without `.` and `name/..`, told from its text alone.
#[must_use]
pub fn plainly(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir
                if matches!(plain.components().next_back(), Some(Component::Normal(_))) =>
            {
                plain.pop();
            }
            part => plain.push(part),
        }
    }
    plain
}

/// The name shown: the pattern's own fixed part, then the path below it.
fn shown(fixed: &str, root: &Path, path: &Path) -> String {
    let below = path.strip_prefix(root).unwrap_or(path);
    let parts: Vec<String> = below.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    join(fixed, &parts.join("/"))
}

fn join(fixed: &str, rest: &str) -> String {
    match fixed {
        "" => rest.to_owned(),
        _ if fixed.ends_with('/') => format!("{fixed}{rest}"),
        _ => format!("{fixed}/{rest}"),
    }
}

impl std::fmt::Display for Pattern {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

#[cfg(test)]
mod tests;
