//! The progress bar while logs are read: files, bytes, rate, time left. Silent when not a terminal.

use std::io::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::pipeline::Progress;

/// How often the bar follows the readers.
const FOLLOWS: Duration = Duration::from_millis(100);

/// A bar on standard error.
pub(super) struct Bar {
    bar: ProgressBar,
    files: AtomicU64,
    all: AtomicU64,
    taken: Arc<AtomicU64>,
    ended: Arc<AtomicBool>,
}

impl Bar {
    pub(super) fn new() -> Bar {
        // Hidden by indicatif itself where standard error is no terminal.
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        let form = "reading {msg} [{bar:20}] {bytes}/{total_bytes} {bytes_per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style.progress_chars("=> "));
        }
        Bar {
            bar,
            files: AtomicU64::new(0),
            all: AtomicU64::new(0),
            taken: Arc::default(),
            ended: Arc::default(),
        }
    }

    fn say(&self) {
        let (files, all) = (self.files.load(Ordering::Relaxed), self.all.load(Ordering::Relaxed));
        self.bar.set_message(format!("{files} of {all} logs"));
        self.bar.set_position(self.taken.load(Ordering::Relaxed));
    }
}

impl Progress for Bar {
    fn begin(&self, files: u64, bytes: u64) {
        self.all.store(files, Ordering::Relaxed);
        self.bar.set_length(bytes);
        self.say();
        if self.bar.is_hidden() {
            return;
        }
        // One large log is minutes without a file done: the bar follows its bytes. Without the thread it
        // follows the files.
        let (bar, taken, ended) = (self.bar.clone(), self.taken.clone(), self.ended.clone());
        let _ = std::thread::Builder::new().name("progress".to_owned()).spawn(move || {
            while !ended.load(Ordering::Relaxed) {
                bar.set_position(taken.load(Ordering::Relaxed));
                std::thread::sleep(FOLLOWS);
            }
        });
    }

    fn counter(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.taken)
    }

    fn file_done(&self, uncounted: u64) {
        self.files.fetch_add(1, Ordering::Relaxed);
        self.taken.fetch_add(uncounted, Ordering::Relaxed);
        self.say();
    }

    fn tell(&self, what: &str) {
        // Nobody is left to tell when standard error is closed.
        self.bar.suspend(|| {
            let _ = writeln!(std::io::stderr(), "buswitness: {what}");
        });
    }

    fn end(&self) {
        self.ended.store(true, Ordering::Relaxed);
        self.bar.finish_and_clear();
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
    }
}
