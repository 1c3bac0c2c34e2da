//! What a pipeline has written into its output folder, so that pages it no longer writes can go.
//!
//! ```text
//! buswitness wrote these files
//! <pipeline> <content hash> <name>       a hash of title and view, of the bytes, the plain name
//! ```
//!
//! The list stands in the output folder as `.buswitness-written`. Before files take their names the list
//! names them; when all are written, files that the list of the same pipeline names besides are removed,
//! if their bytes still are what was written, and the list is cut to what is there. So a run that is
//! killed leaves files that the next run knows, and nothing that anybody else made or changed is touched.
//! The list holds no time: the same outputs give the same list.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::whole_file::{is_plain, put};
use crate::facts::content_hash;
use crate::reports::Heading;

const LIST: &str = ".buswitness-written";
const TITLE: &str = "buswitness wrote these files";
/// No list and no page is read beyond this.
const LONGEST: u64 = 256 << 20;

/// Files with the hashes they may have, by pipeline and name.
type Files = BTreeMap<(String, String), BTreeSet<u128>>;

/// The hashes of files by name.
type Hashes = BTreeMap<String, u128>;

/// The list of one output folder, for one pipeline.
pub(super) struct Written<'a> {
    folder: &'a Path,
    pipeline: String,
}

impl<'a> Written<'a> {
    pub(super) fn of(folder: &'a Path, heading: &Heading) -> Written<'a> {
        let told = format!("{:?} {}", heading.view, heading.title);
        let pipeline = format!("{:016x}", content_hash(told.as_bytes()) >> 64);
        Written { folder, pipeline }
    }

    /// Where the list stands.
    pub(super) fn path(&self) -> PathBuf {
        self.folder.join(LIST)
    }

    /// Names files that are about to be written, beside those named already.
    pub(super) fn announce(&self, hashes: &Hashes) -> std::io::Result<()> {
        let mut files = read(self.folder);
        for (name, hash) in hashes {
            files.entry((self.pipeline.clone(), name.clone())).or_default().insert(*hash);
        }
        put(&self.path(), text(&files).as_bytes())
    }

    /// Removes what this pipeline wrote once, does not write any more, and nobody has changed; then cuts the
    /// list to `now`, what it has written. Returns how many files went.
    pub(super) fn retire(&self, now: &Hashes) -> std::io::Result<usize> {
        let mut files = read(self.folder);
        let others: BTreeSet<String> = files
            .keys()
            .filter(|(pipeline, _)| *pipeline != self.pipeline)
            .map(|(_, name)| name.clone())
            .collect();
        let own = |key: &(String, String)| key.0 == self.pipeline;
        let mut gone = 0;
        for ((_, name), hashes) in files.iter().filter(|(key, _)| own(key)) {
            let wanted = now.contains_key(name.as_str()) || others.contains(name);
            let path = self.folder.join(name);
            if !wanted && bytes(&path).is_some_and(|b| hashes.contains(&content_hash(&b))) {
                gone += usize::from(fs::remove_file(&path).is_ok());
            }
        }
        files.retain(|key, _| !own(key));
        for (name, hash) in now {
            files.insert((self.pipeline.clone(), name.clone()), BTreeSet::from([*hash]));
        }
        put(&self.path(), text(&files).as_bytes())?;
        Ok(gone)
    }
}

/// The list as it is; what is damaged in it is not known.
fn read(folder: &Path) -> Files {
    let mut files = Files::new();
    let text = bytes(&folder.join(LIST)).and_then(|b| String::from_utf8(b).ok());
    for line in text.unwrap_or_default().lines() {
        let mut words = line.split(' ');
        let (Some(pipeline), Some(hash), Some(name), None) =
            (words.next(), words.next(), words.next(), words.next())
        else {
            continue; // the title is no such line either
        };
        // Nothing outside the folder, whatever the list says.
        if let (Ok(hash), true) = (u128::from_str_radix(hash, 16), is_plain(name)) {
            files.entry((pipeline.to_owned(), name.to_owned())).or_default().insert(hash);
        }
    }
    files
}

fn text(files: &Files) -> String {
    let mut text = format!("{TITLE}\n");
    for ((pipeline, name), hashes) in files {
        for hash in hashes {
            text.push_str(&format!("{pipeline} {hash:032x} {name}\n"));
        }
    }
    text
}

/// The bytes of a file of ours; `None` for what is no plain file.
fn bytes(path: &Path) -> Option<Vec<u8>> {
    fs::symlink_metadata(path).ok().filter(fs::Metadata::is_file)?;
    let file = File::open(path).ok()?;
    let mut bytes = Vec::new();
    file.take(LONGEST).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reports::View;
    use crate::reports::tests::fixture::heading;
    use crate::reports::whole_file::{Output, Staged};

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("list").flatten();
        let mut names: Vec<String> =
            entries.map(|e| e.file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    fn run(folder: &Path, title: &str, outputs: &[(&str, &str)]) -> usize {
        let heading = Heading { title: title.to_owned(), ..heading(View::Fleet) };
        let outputs: Vec<Output<'_>> = outputs.iter().map(|(n, b)| Output::new(*n, *b)).collect();
        let list = Written::of(folder, &heading);
        let staged = Staged::of(folder, &outputs).expect("staged");
        let hashes = staged.hashes();
        list.announce(&hashes).expect("announced");
        staged.place().expect("written");
        list.retire(&hashes).expect("retired")
    }

    #[test]
    fn only_what_the_pipeline_wrote_and_nobody_changed_goes() {
        let root = tempfile::tempdir().expect("a folder");
        let folder = root.path();
        let first = [("a.html", "a"), ("b.html", "b"), ("c.html", "c"), ("d.html", "d")];
        assert_eq!(run(folder, "weekly", &first), 0);
        fs::write(folder.join("b.html"), "a note of the user").expect("changed");
        fs::write(folder.join("own.html"), "the user's").expect("own");
        assert_eq!(run(folder, "other", &[("c.html", "c")]), 0);
        // `d` goes; `b` was changed, `c` is another pipeline's too, `own` is nobody's business.
        assert_eq!(run(folder, "weekly", &[("a.html", "a2")]), 1);
        assert_eq!(names(folder), [LIST, "a.html", "b.html", "c.html", "own.html"]);
        let list = fs::read(folder.join(LIST)).expect("the list");
        assert_eq!(run(folder, "weekly", &[("a.html", "a2")]), 0);
        assert_eq!(fs::read(folder.join(LIST)).expect("the list"), list);
    }

    #[test]
    fn a_run_killed_half_way_is_known_to_the_next() {
        let root = tempfile::tempdir().expect("a folder");
        let folder = root.path();
        run(folder, "weekly", &[("a.html", "old"), ("b.html", "old")]);
        // Killed after one of two renames: `a` is new, `b` old, `c` not there.
        let killed = ["a.html", "c.html"].map(|name| (name.to_owned(), content_hash(b"new")));
        let heading = Heading { title: "weekly".to_owned(), ..heading(View::Fleet) };
        Written::of(folder, &heading).announce(&Hashes::from(killed)).expect("announced");
        fs::write(folder.join("a.html"), "new").expect("renamed");
        assert_eq!(run(folder, "weekly", &[("d.html", "x")]), 2);
        assert_eq!(names(folder), [LIST, "d.html"]);
    }

    #[test]
    fn a_list_that_lies_removes_nothing_outside() {
        let root = tempfile::tempdir().expect("a folder");
        let folder = root.path().join("out");
        fs::create_dir(&folder).expect("folder");
        fs::write(root.path().join("x"), "x").expect("outside");
        let heading = Heading { title: "weekly".to_owned(), ..heading(View::Fleet) };
        let pipeline = Written::of(&folder, &heading).pipeline;
        let hash = content_hash(b"x");
        let lies = format!("{TITLE}\n{pipeline} {hash:032x} ../x\n{pipeline} zz a\nnonsense\n");
        fs::write(folder.join(LIST), lies).expect("a list");
        assert_eq!(run(&folder, "weekly", &[]), 0);
        assert!(root.path().join("x").exists());
    }
}
