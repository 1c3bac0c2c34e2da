//! Logs in object stores: the client lists them and looks at their first bytes, an executor fetches those below
//! the URLs it was started with, each into a file of its own that goes when the log is read.
//!
//! Credentials are those of each process's own environment (`AWS_…`); no plan and no order holds any.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::ops::Range;
use std::path::{Path as FilePath, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use buswitness::read::objects::{FIRST, Missing, Object, Objects, store_and_name};
use futures::{StreamExt, TryStreamExt};
use object_store::aws::AmazonS3Builder;
use object_store::local::LocalFileSystem;
use object_store::path::Path;
use object_store::{Error, GetOptions, ObjectStore, RetryConfig};
use tempfile::NamedTempFile;
use tokio::runtime::Handle;

use crate::folders::{Folders, Found};

/// How many bytes are fetched with one request.
const PIECE: u64 = 8 << 20;
/// How many objects are looked into at the same time.
const AT_ONCE: usize = 32;
/// How often, and how long, a store is asked again that does not answer.
const RETRIES: usize = 5;
const RETRIED: Duration = Duration::from_secs(60);

/// The stores that were asked for so far.
#[derive(Debug)]
pub(crate) struct Stores {
    /// Where requests are carried.
    threads: Handle,
    open: Mutex<BTreeMap<String, Arc<dyn ObjectStore>>>,
}

impl Stores {
    /// With requests carried by these threads.
    pub(crate) fn new(threads: Handle) -> Stores {
        Stores { threads, open: Mutex::default() }
    }

    /// The store of a URL, and the name in it.
    fn of(&self, url: &str) -> Result<(Arc<dyn ObjectStore>, Path), String> {
        let (place, name) = store_and_name(url)?;
        let name = Path::parse(name).map_err(|e| format!("`{url}`: {e}"))?;
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(store) = open.get(place) {
            return Ok((Arc::clone(store), name));
        }
        let store: Arc<dyn ObjectStore> = match place.strip_prefix("s3://") {
            None => Arc::new(LocalFileSystem::new()),
            Some(bucket) => {
                let retry = RetryConfig {
                    max_retries: RETRIES,
                    retry_timeout: RETRIED,
                    ..RetryConfig::default()
                };
                let s3 = AmazonS3Builder::from_env().with_bucket_name(bucket).with_retry(retry);
                Arc::new(s3.build().map_err(|e| format!("`{place}`: {}", chain(&e)))?)
            }
        };
        open.insert(place.to_owned(), Arc::clone(&store));
        Ok((store, name))
    }

    /// Waits for a request. The thread that waits may be one of the engine's own, so others carry it.
    fn wait<T: Send + 'static>(
        &self,
        request: impl Future<Output = T> + Send + 'static,
    ) -> Option<T> {
        let (done, come) = std::sync::mpsc::sync_channel(1);
        self.threads.spawn(async move {
            // Whoever asked waits for it.
            let _ = done.send(request.await);
        });
        come.recv().ok()
    }
}

impl Objects for Stores {
    fn list(&self, below: &str) -> Result<Vec<Object>, String> {
        let (store, name) = self.of(below)?;
        let listed =
            self.wait(async move { store.list(Some(&name)).try_collect::<Vec<_>>().await });
        let failed = |why: &str| format!("cannot list `{below}`: {why}");
        let listed = listed.ok_or_else(|| failed("it broke off"))?;
        let (place, _) = store_and_name(below)?;
        let object = |meta: object_store::ObjectMeta| {
            let url = format!("{place}/{}", meta.location);
            match meta.e_tag {
                Some(mark) => Ok(Object { url, size: meta.size, mark }),
                None => Err(failed(&format!(
                    "the store has no entity tag for `{url}`, by which a change would be seen"
                ))),
            }
        };
        listed.map_err(|e| failed(&chain(&e)))?.into_iter().map(object).collect()
    }

    fn piece(&self, object: &Object, range: Range<u64>) -> Result<Vec<u8>, Missing> {
        let (store, name) = self.of(&object.url).map_err(Missing::Object)?;
        let object = object.clone();
        let broke_off = || Missing::Store("a request broke off".to_owned());
        let piece = self.wait(async move { piece(&store, &name, &object, range).await });
        piece.ok_or_else(broke_off).flatten()
    }

    fn first(&self, objects: &[&Object]) -> Vec<Result<Vec<u8>, Missing>> {
        let request = |object: &&Object| {
            let (object, of) = ((*object).clone(), self.of(&object.url).map_err(Missing::Object));
            async move {
                let (store, name) = of?;
                piece(&store, &name, &object, 0..object.size.min(FIRST)).await
            }
        };
        let requests: Vec<_> = objects.iter().map(request).collect();
        let some = futures::stream::iter(requests).buffered(AT_ONCE).collect::<Vec<_>>();
        let broke_off =
            || vec![Err(Missing::Store("requests broke off".to_owned())); objects.len()];
        self.wait(some).unwrap_or_else(broke_off)
    }
}

/// A piece of an object, if that still is what was listed.
async fn piece(
    store: &Arc<dyn ObjectStore>,
    name: &Path,
    object: &Object,
    range: Range<u64>,
) -> Result<Vec<u8>, Missing> {
    let wanted = range.end.saturating_sub(range.start);
    if wanted == 0 {
        return Ok(Vec::new());
    }
    let options = GetOptions {
        if_match: Some(object.mark.clone()),
        range: Some(range.into()),
        ..GetOptions::default()
    };
    let changed = || Missing::Object(format!("{} has changed since it was listed", object.url));
    let missing = |error: Error| match error {
        Error::NotFound { .. } => Missing::Object(format!("{} is gone", object.url)),
        Error::Precondition { .. } => changed(),
        other => Missing::Store(format!("cannot fetch {}: {}", object.url, chain(&other))),
    };
    let come = store.get_opts(name, options).await.map_err(missing)?;
    let other_mark = come.meta.e_tag.as_ref().is_some_and(|mark| *mark != object.mark);
    if other_mark || come.meta.size != object.size {
        return Err(changed());
    }
    let bytes = come.bytes().await.map_err(missing)?;
    match bytes.len() as u64 == wanted {
        true => Ok(bytes.into()),
        false => Err(Missing::Store(format!(
            "{}: {} bytes came where {wanted} were asked for",
            object.url,
            bytes.len()
        ))),
    }
}

/// An error with what caused it.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        // Some of the library's errors say their cause already.
        let more = error.to_string();
        if !text.ends_with(&more) {
            text = format!("{text}: {more}");
        }
        cause = error.source();
    }
    text
}

/// What an executor may fetch, and where to.
#[derive(Debug)]
pub(crate) struct Fetching {
    stores: Stores,
    /// As they were given.
    urls: Vec<String>,
    /// Of each, the store and what the names begin with.
    below: Vec<(String, Path)>,
    /// The folders among them, for links that lead out.
    folders: Folders,
    largest: u64,
    into: PathBuf,
}

/// Why an object was not fetched.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Unfetched {
    /// It must not be.
    Forbidden(String),
    /// It cannot be.
    Missing(Missing),
}

impl Fetching {
    /// Of objects below these URLs that are no larger than so many bytes, into this folder, which is made anew.
    pub(crate) fn new(
        stores: Stores,
        urls: &[String],
        largest: u64,
        into: &FilePath,
    ) -> Result<Fetching, String> {
        let (mut below, mut folders) = (Vec::new(), Vec::new());
        for url in urls {
            let (_, name) = stores.of(url)?;
            let (place, _) = store_and_name(url)?;
            if place == "file://" {
                folders.push(FilePath::new("/").join(name.as_ref()));
            }
            below.push((place.to_owned(), name));
        }
        let failed = |e| format!("cannot make the folder for objects {}: {e}", into.display());
        if into.exists() {
            std::fs::remove_dir_all(into).map_err(failed)?;
        }
        if !urls.is_empty() {
            std::fs::create_dir_all(into).map_err(failed)?;
        }
        let folders = Folders::new(&folders)?;
        let (urls, into) = (urls.to_vec(), into.to_owned());
        Ok(Fetching { stores, urls, below, folders, largest, into })
    }

    /// Fetches an object into a file, which goes with what is returned.
    pub(crate) fn fetch(&self, object: &Object) -> Result<NamedTempFile, Unfetched> {
        self.allow(&object.url).map_err(Unfetched::Forbidden)?;
        if object.size > self.largest {
            return Err(Unfetched::Missing(Missing::Object(format!(
                "{} has {} bytes, and an executor fetches {} at most (--largest-object)",
                object.url, object.size, self.largest
            ))));
        }
        let failed = |e: std::io::Error| {
            let into = self.into.display();
            Unfetched::Missing(Missing::Store(format!("cannot write an object to {into}: {e}")))
        };
        let mut file =
            tempfile::Builder::new().prefix("object-").tempfile_in(&self.into).map_err(failed)?;
        let mut at = 0;
        while at < object.size {
            let end = object.size.min(at + PIECE);
            let piece = self.stores.piece(object, at..end).map_err(Unfetched::Missing)?;
            file.write_all(&piece).map_err(failed)?;
            at = end;
        }
        Ok(file)
    }

    /// Whether an object lies below one of the URLs, in a folder with links followed.
    fn allow(&self, url: &str) -> Result<(), String> {
        let (_, name) = self.stores.of(url)?;
        let (place, _) = store_and_name(url)?;
        let below =
            self.below.iter().any(|(of, prefix)| of == place && name.prefix_matches(prefix));
        let inside = || match place == "file://" {
            true => match self.folders.find(&FilePath::new("/").join(name.as_ref())) {
                Ok(Found::At(_) | Found::Unreachable(_)) => true,
                Err(_) => false,
            },
            false => true,
        };
        match below && inside() {
            true => Ok(()),
            false => Err(format!(
                "{url} is not below the URLs that this executor fetches from: {}",
                if self.urls.is_empty() {
                    "none (--objects)".to_owned()
                } else {
                    self.urls.join(", ")
                }
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scheduler::runtime;

    #[test]
    fn a_folder_is_listed_and_fetched_as_a_store() {
        let base = tempfile::tempdir().expect("a folder");
        let logs = base.path().join("logs");
        let text = vec![b'x'; usize::try_from(PIECE).expect("a size") + 5];
        for (name, bytes) in [("a b%20ü.log", &text[..]), ("V1/empty.log", b"")] {
            std::fs::create_dir_all(logs.join("V1")).expect("a folder");
            std::fs::write(logs.join(name), bytes).expect("a file");
        }
        let threads = runtime().expect("threads");
        let stores = || Stores::new(threads.handle().clone());
        let url = format!("file://{}", logs.display());
        let mut listed = stores().list(&url).expect("a list");
        listed.sort_by(|a, b| a.url.cmp(&b.url));
        let names: Vec<&str> = listed.iter().filter_map(|o| o.url.strip_prefix(&url)).collect();
        assert_eq!(names, ["/V1/empty.log", "/a b%20ü.log"]);
        let first = stores().first(&[&listed[0], &listed[1]]);
        assert_eq!(first, [Ok(Vec::new()), Ok(vec![b'x'; 1 << 16])]);

        let into = base.path().join("work");
        let fetching = Fetching::new(stores(), std::slice::from_ref(&url), 1 << 30, &into);
        let fetching = fetching.expect("a start");
        let file = fetching.fetch(&listed[1]).expect("fetched");
        assert!(std::fs::read(file.path()).expect("a file") == text);
        let kept = || std::fs::read_dir(&into).expect("a folder").count();
        assert_eq!(kept(), 1);
        drop(file);
        assert_eq!(kept(), 0);

        let small = Fetching::new(stores(), &[url], 1 << 20, &into).expect("a start");
        let large = small.fetch(&listed[1]).expect_err("too large");
        assert!(format!("{large:?}").contains("an executor fetches 1048576 at most"), "{large:?}");
        std::fs::write(logs.join("a b%20ü.log"), "other").expect("a file");
        let changed = fetching.fetch(&listed[1]).expect_err("changed");
        assert!(format!("{changed:?}").contains("has changed since it was listed"), "{changed:?}");
        std::fs::remove_file(logs.join("a b%20ü.log")).expect("removed");
        let gone = fetching.fetch(&listed[1]).expect_err("gone");
        assert!(format!("{gone:?}").contains("is gone"), "{gone:?}");
        assert_eq!(kept(), 0);
    }

    #[test]
    fn only_what_lies_below_is_fetched() {
        let base = tempfile::tempdir().expect("a folder");
        let (inside, outside) = (base.path().join("logs"), base.path().join("logs2"));
        for folder in [&inside, &outside] {
            std::fs::create_dir(folder).expect("a folder");
            std::fs::write(folder.join("a.log"), "x").expect("a file");
        }
        #[cfg(unix)]
        std::os::unix::fs::symlink(outside.join("a.log"), inside.join("link")).expect("a link");
        let threads = runtime().expect("threads");
        let at = |path: &FilePath| format!("file://{}", path.display());
        let urls = [at(&inside), "s3://bucket/logs/2026".to_owned()];
        let stores = Stores::new(threads.handle().clone());
        let into = base.path().join("work");
        let fetching = Fetching::new(stores, &urls, 100, &into).expect("a start");
        for good in [at(&inside.join("a.log")), "s3://bucket/logs/2026/a.log".to_owned()] {
            assert_eq!(fetching.allow(&good), Ok(()));
        }
        for bad in [
            at(&outside.join("a.log")),
            at(&inside.join("link")),
            format!("{}/../logs2/a.log", at(&inside)),
            "s3://bucket/logs/2026b/a.log".to_owned(),
            "s3://bucket/logs/2026/../a.log".to_owned(),
            "s3://other/logs/2026/a.log".to_owned(),
            "/etc/hostname".to_owned(),
        ] {
            let object = Object { url: bad.clone(), size: 1, mark: String::new() };
            let error = fetching.fetch(&object).expect_err("outside");
            assert!(matches!(error, Unfetched::Forbidden(_)), "{bad}: {error:?}");
        }
        let stores = Stores::new(threads.handle().clone());
        let none = Fetching::new(stores, &[], 100, &base.path().join("none")).expect("a start");
        let error = none.allow("s3://bucket/a.log").expect_err("outside");
        assert!(error.contains("none (--objects)"), "{error}");
    }
}
