//! What is said about the program holds: schemas, columns, help, manual, README and walk-throughs.

mod help;
mod picture;
mod readme;
mod schemas;
mod shop_schemas;
mod validator;
mod words;

use std::fs;
use std::path::{Path, PathBuf};

use crate::program::{project, said};

/// Where documents for readers of the reports stand.
const GUIDE: &str = "reports/guide";

/// What a call prints; it must succeed.
fn printed(arguments: &[&str]) -> String {
    said(project(), arguments)
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The folders of committed reports: those of the pipelines and the calibration.
fn report_folders() -> Vec<PathBuf> {
    let entries = fs::read_dir(project().join("reports")).expect("reports/");
    let mut folders: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    folders.retain(|folder| folder.is_dir() && !folder.ends_with("guide"));
    folders.sort();
    folders
}

/// The files of a folder with an ending, by name.
fn with_ending(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut files: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|found| found == ending));
    files.sort();
    files
}

fn name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}
