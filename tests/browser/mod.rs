//! The pages in a real browser: what a unit test cannot see.
//!
//! `BUSWITNESS_BROWSER` names a Chromium; without it these tests say so and pass, since whoever runs
//! `cargo test` may have none. `.ci/run` always names one, and fails where it can neither find nor install
//! it. `BUSWITNESS_LOOK` names a folder for pictures of the pages, for a person to look at.

mod checks;
mod control;
mod hostile;

use std::fs;
use std::path::{Path, PathBuf};

use checks::{KINDS, faults};
use control::Browser;

use crate::program::{done, folder, sample, write};

/// The browser; `None`, and a line that says so, when none is named.
#[expect(clippy::print_stdout, reason = "a skipped test says so in the test's own output")]
fn browser() -> Option<Browser> {
    match std::env::var_os("BUSWITNESS_BROWSER").map(PathBuf::from) {
        Some(program) => Some(Browser::start(&program)),
        None => {
            println!("skipped: BUSWITNESS_BROWSER does not name a Chromium");
            None
        }
    }
}

/// The pages in a folder, by name.
fn pages(folder: &Path) -> Vec<PathBuf> {
    let mut pages: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap_or_else(|e| panic!("no {}: {e}", folder.display()))
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "html"))
        .collect();
    pages.sort();
    assert!(!pages.is_empty(), "no page in {}", folder.display());
    pages
}

/// Looks at all pages of a folder and tells all faults at once.
fn assert_sound(browser: &mut Browser, folder: &Path) {
    let mut all = Vec::new();
    for page in pages(folder) {
        look(browser, &page);
        let name = page.file_name().expect("a name").to_string_lossy().into_owned();
        all.extend(faults(browser, &page).into_iter().map(|fault| format!("{name}: {fault}")));
    }
    assert!(all.is_empty(), "{} faults\n{}", all.len(), all.join("\n"));
}

/// Pictures of a page, when a person wants to look.
fn look(browser: &mut Browser, page: &Path) {
    let Some(folder) = std::env::var_os("BUSWITNESS_LOOK").map(PathBuf::from) else { return };
    let name = page.with_extension("");
    let name = name.file_name().expect("a name").to_string_lossy().into_owned();
    let above = page.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
    for (view, width, scheme) in
        [("wide", 1280, "light"), ("dark", 1280, "dark"), ("phone", 390, "light")]
    {
        browser.show_as("screen", scheme);
        browser.resize(width, 900);
        browser.open(page);
        let height = browser.ask("document.documentElement.scrollHeight").as_u64().unwrap_or(900);
        browser.resize(width, u32::try_from(height.min(16_000)).unwrap_or(900));
        write(&folder.join(format!("{above}-{name}-{view}.png")), &browser.picture());
    }
    browser.show_as("print", "light");
    write(&folder.join(format!("{above}-{name}.pdf")), &browser.print(8.268, 11.693));
}

#[test]
fn pages_of_the_weekly_sample_are_sound() {
    let Some(mut browser) = browser() else { return };
    let room = sample();
    done(room.path(), &["run", "--quiet", "pipelines/weekly.toml"]);
    assert_sound(&mut browser, &room.path().join("reports/weekly"));
}

#[test]
fn pages_of_a_session_of_batches_and_of_the_calibration_are_sound() {
    let Some(mut browser) = browser() else { return };
    let room = sample();
    for pipeline in ["session", "batches"] {
        done(room.path(), &["run", "--quiet", &format!("pipelines/{pipeline}.toml")]);
    }
    assert_sound(&mut browser, &room.path().join("reports/session"));
    let out = room.path().join("reports/batches");
    // The vehicles are those of the weekly sample.
    for page in pages(&out).iter().filter(|page| !page.ends_with("report.html")) {
        fs::remove_file(page).expect("a page that can be removed");
    }
    assert_sound(&mut browser, &out);
    done(room.path(), &["rehearse", "--calibrate", "2", "--seed", "7", "--out", "calibration"]);
    assert_sound(&mut browser, &room.path().join("calibration"));
}

#[test]
fn hostile_texts_stay_text() {
    let Some(mut browser) = browser() else { return };
    let room = folder();
    hostile::inputs(room.path());
    done(room.path(), &["run", "--quiet", "p.toml"]);
    let out = room.path().join("out");
    let mut words = String::new();
    for page in pages(&out) {
        browser.open(&page);
        words.push_str(browser.ask("document.body.textContent").as_str().expect("text"));
        let made = browser.ask("document.querySelectorAll('script, img, b, x').length");
        assert_eq!(made, 1, "{}: only the page's own script", page.display());
        assert_ne!(browser.ask("document.title"), "owned", "{}", page.display());
    }
    for said in hostile::SAID {
        assert!(words.contains(said), "no page says {said:?} as text");
    }
    for hidden in ['\u{202e}', '\u{200f}', '\u{2066}'] {
        assert!(!words.contains(hidden), "{hidden:?} turns the text round");
    }
    assert_sound(&mut browser, &out);
}

/// A page with a fault of every kind: each check must see its own.
#[test]
fn every_check_can_fail() {
    let Some(mut browser) = browser() else { return };
    let room = folder();
    let page = room.path().join("broken.html");
    write(&page, hostile::broken_page().as_bytes());
    let found = faults(&mut browser, &page);
    for kind in KINDS {
        assert!(
            found.iter().any(|fault| fault.starts_with(&format!("{kind}:"))),
            "no check saw the fault of kind {kind}; seen: {found:#?}"
        );
    }
}
