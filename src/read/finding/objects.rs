//! Finding logs in an object store: the same patterns as for files, behind the URL of the store.

use std::path::PathBuf;
use std::sync::Arc;

use super::{Found, Pattern};
use crate::read::objects::{Objects, Stored, store_and_name};

/// A checked pattern of objects: `s3://BUCKET/PATTERN` or `file:///PATTERN`.
#[derive(Debug, Clone)]
pub struct ObjectPattern {
    store: String,
    names: Pattern,
}

impl ObjectPattern {
    /// Checks a pattern.
    ///
    /// # Errors
    /// A message fragment: no URL of a store, or what [`Pattern::parse`] refuses.
    pub fn parse(text: &str) -> Result<ObjectPattern, String> {
        let (store, names) = store_and_name(text.trim())?;
        if names.ends_with('/') {
            return Err(format!(
                "pattern `{text}` names a folder; name the objects in it, for example with `**`"
            ));
        }
        let names = Pattern::parse(names)?;
        Ok(ObjectPattern { store: store.to_owned(), names })
    }

    /// The URL below which all that it can find lies.
    fn below(&self) -> String {
        let fixed = match (&self.names.form, self.names.fixed.rsplit_once('/')) {
            (Some(_), _) => &self.names.fixed,
            (None, Some((folder, _))) => folder,
            (None, None) => "",
        };
        format!("{}/{fixed}", self.store)
    }

    /// Finds objects, by name.
    ///
    /// # Errors
    /// In words, when the store cannot be asked.
    pub fn find(&self, by: &Arc<dyn Objects>) -> Result<Vec<Found>, String> {
        let mut found = Vec::new();
        for object in by.list(&self.below())? {
            let (_, name) = store_and_name(&object.url)?;
            if let Some(captures) = self.names.whole(name) {
                let (path, name) = (PathBuf::from(&object.url), object.url.as_str().into());
                let object = Some(Stored { object, by: Arc::clone(by) });
                found.push(Found { path, name, captures, object });
            }
        }
        found.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::objects::tests::Shelf;

    fn found(pattern: &str, urls: &[&str]) -> Vec<(String, Option<String>)> {
        let shelf = Shelf(urls.iter().map(|url| ((*url).to_owned(), Vec::new())).collect());
        let by: Arc<dyn Objects> = Arc::new(shelf);
        let found = ObjectPattern::parse(pattern).expect("a pattern").find(&by).expect("found");
        found.into_iter().map(|found| (found.name.to_string(), found.captures.vehicle)).collect()
    }

    #[test]
    fn objects_are_found_as_files_are() {
        let urls = [
            "s3://b/logs/V2/b.log.gz",
            "s3://b/logs/V1/a.log",
            "s3://b/logs/V1/deep/a.log",
            "s3://b/logs/V1/.a.log",
            "s3://b/logs2/V1/a.log",
            "s3://b/logs/V1/a.txt",
            "s3://c/logs/V1/a.log",
        ];
        let of = |url: &str, vehicle: &str| (url.to_owned(), Some(vehicle.to_owned()));
        assert_eq!(
            found("s3://b/logs/{vehicle}/*.log*", &urls),
            [of(urls[1], "V1"), of(urls[0], "V2")]
        );
        let all = found("s3://b/logs/**/*.log", &urls);
        assert_eq!(all, [(urls[1].to_owned(), None), (urls[2].to_owned(), None)]);
        assert_eq!(found("s3://b/{vehicle}", &urls), []);
        // A plain name is that object and nothing below or beside it.
        assert_eq!(found("s3://b/logs/V1/a.log", &urls), [(urls[1].to_owned(), None)]);
        assert_eq!(found("s3://b/logs/V1", &urls), []);
        assert_eq!(found("file:///a.log", &["file:///a.log"]).len(), 1);
    }

    #[test]
    fn what_is_no_pattern_of_objects_is_told() {
        for (bad, why) in [
            ("s3://b/logs/", "names a folder"),
            ("s3://b/", "names no file"),
            ("s3://b/{bus", "without its `}`"),
            ("s3://b/{truck}/*", "unknown capture"),
            ("s3://b/../*", "`..` in it"),
            ("s3://b", "names nothing in its store"),
            ("gs://b/*", "no store that can be read"),
        ] {
            let error = ObjectPattern::parse(bad).expect_err(bad);
            assert!(error.contains(why), "{bad}: {error}");
        }
    }
}
