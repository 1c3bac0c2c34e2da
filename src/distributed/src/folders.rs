//! The folders below which an executor reads, and nothing else.

use std::path::{Component, Path, PathBuf};

/// Folders that were named at the start.
#[derive(Debug, Clone)]
pub(crate) struct Folders {
    /// As they were named, absolute.
    named: Vec<PathBuf>,
    /// What they are, links followed.
    real: Vec<PathBuf>,
}

/// Where an order's file is.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Found {
    /// Here, links followed; below one of the folders.
    At(PathBuf),
    /// Below one of the folders by its name, but it cannot be reached.
    Unreachable(String),
}

impl Folders {
    /// The folders must be there.
    pub(crate) fn new(named: &[PathBuf]) -> Result<Folders, String> {
        let whole = |path: &PathBuf| {
            std::path::absolute(path).map_err(|e| format!("{}: {e}", path.display()))
        };
        let real = |path: &PathBuf| match path.canonicalize() {
            Ok(real) if real.is_dir() => Ok(real),
            Ok(_) => Err(format!("{} is no folder", path.display())),
            Err(e) => Err(format!("cannot open the folder {}: {e}", path.display())),
        };
        Ok(Folders {
            named: named.iter().map(whole).collect::<Result<_, _>>()?,
            real: named.iter().map(real).collect::<Result<_, _>>()?,
        })
    }

    /// Finds a file; an error when it is not below one of the folders. A link that leads out of them is
    /// outside.
    pub(crate) fn find(&self, path: &Path) -> Result<Found, String> {
        let outside = || {
            let folders: Vec<String> = self.named.iter().map(|f| f.display().to_string()).collect();
            format!(
                "{} is not below the folders that this executor reads: {}",
                path.display(),
                folders.join(", ")
            )
        };
        if !path.is_absolute() {
            return Err(outside());
        }
        match path.canonicalize() {
            Ok(real) if self.real.iter().any(|folder| real.starts_with(folder)) => {
                Ok(Found::At(real))
            }
            Ok(_) => Err(outside()),
            Err(why) => {
                let climbs = path.components().any(|part| part == Component::ParentDir);
                let below =
                    self.named.iter().chain(&self.real).any(|folder| path.starts_with(folder));
                match below && !climbs {
                    true => Ok(Found::Unreachable(why.to_string())),
                    false => Err(outside()),
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_lies_below_is_found() {
        let base = tempfile::tempdir().expect("a folder");
        let (inside, outside) = (base.path().join("logs"), base.path().join("other"));
        for folder in [&inside, &outside] {
            std::fs::create_dir(folder).expect("a folder");
            std::fs::write(folder.join("a.log"), "x").expect("a file");
        }
        let folders = Folders::new(std::slice::from_ref(&inside)).expect("folders");
        let real = inside.canonicalize().expect("real").join("a.log");
        assert_eq!(folders.find(&inside.join("a.log")), Ok(Found::At(real.clone())));
        assert_eq!(folders.find(&outside.join("../logs/a.log")), Ok(Found::At(real)));
        for bad in [
            outside.join("a.log"),
            inside.join("../other/a.log"),
            inside.join("../gone/a.log"),
            outside.join("gone.log"),
            base.path().join("logs2/a.log"),
            PathBuf::from("a.log"),
        ] {
            let error = folders.find(&bad).expect_err("outside");
            assert!(error.contains("is not below the folders"), "{error}");
        }
        let gone = folders.find(&inside.join("gone.log"));
        assert!(matches!(&gone, Ok(Found::Unreachable(_))), "{gone:?}");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_leads_out_is_outside() {
        let base = tempfile::tempdir().expect("a folder");
        let inside = base.path().join("logs");
        std::fs::create_dir(&inside).expect("a folder");
        std::fs::write(base.path().join("secret"), "x").expect("a file");
        std::os::unix::fs::symlink(base.path().join("secret"), inside.join("a.log"))
            .expect("a link");
        let folders = Folders::new(std::slice::from_ref(&inside)).expect("folders");
        assert!(folders.find(&inside.join("a.log")).is_err());
    }

    #[test]
    fn a_folder_must_be_there() {
        assert!(Folders::new(&[PathBuf::from("/nowhere/at/all")]).is_err());
    }
}
