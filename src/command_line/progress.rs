//! The progress bar while logs are read: files, bytes, rate, time left. Silent when not a terminal.

use std::sync::atomic::{AtomicU64, Ordering};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::pipeline::Progress;

/// A bar on standard error.
pub(super) struct Bar {
    bar: ProgressBar,
    files: AtomicU64,
    all: AtomicU64,
}

impl Bar {
    pub(super) fn new() -> Bar {
        // Hidden by indicatif itself where standard error is no terminal.
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        let form = "reading {msg} [{bar:24}] {bytes}/{total_bytes} {bytes_per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style.progress_chars("=> "));
        }
        Bar { bar, files: AtomicU64::new(0), all: AtomicU64::new(0) }
    }

    fn say(&self) {
        let (files, all) = (self.files.load(Ordering::Relaxed), self.all.load(Ordering::Relaxed));
        self.bar.set_message(format!("{files} of {all} logs"));
    }
}

impl Progress for Bar {
    fn begin(&self, files: u64, bytes: u64) {
        self.all.store(files, Ordering::Relaxed);
        self.bar.set_length(bytes);
        self.say();
    }

    fn file_done(&self, bytes: u64) {
        self.files.fetch_add(1, Ordering::Relaxed);
        self.bar.inc(bytes);
        self.say();
    }

    fn end(&self) {
        self.bar.finish_and_clear();
    }
}
