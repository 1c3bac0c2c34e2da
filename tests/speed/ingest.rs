//! Frames a second with all detectors on, and peak memory.
//!
//! `cargo bench --bench ingest` makes a log of ten million frames with `rehearse` (0.46 GB in the
//! system's temporary folder; `FRAMES=…` for another size), watches it a few times on one and on two
//! threads, and prints the best of each, beside a plain loop that only counts line ends. It is a
//! measurement, never a test.

use std::fs::File;
use std::io::Read;
use std::sync::Arc;
use std::time::Instant;

use buswitness::observe::Senders;
use buswitness::pipeline::watch;
use buswitness::rehearse::load_log;

#[expect(clippy::print_stdout, reason = "a measurement is printed")]
fn main() {
    let frames: u64 =
        std::env::var("FRAMES").ok().and_then(|t| t.parse().ok()).unwrap_or(10_000_000);
    let folder = std::env::temp_dir();
    let path = folder.join(format!("buswitness-load-{frames}.log"));
    load_log(1, frames, &path).expect("the load log can be written");
    let lines = best(|| count_lines(&path));
    println!("line ends only   {:6.1} million frames/s", frames as f64 / lines / 1e6);
    for two_threads in [false, true] {
        let seconds = best(|| {
            let name: Arc<str> = "load.log".into();
            let file = File::open(&path).expect("the load log can be read");
            let log = watch(file, &name, &Senders::default(), None, 0, two_threads);
            assert_eq!(log.frames, frames);
        });
        let threads = 1 + u8::from(two_threads);
        println!("{threads} thread(s)      {:6.1} million frames/s", frames as f64 / seconds / 1e6);
    }
    if let Some(peak) = peak_memory() {
        println!("peak memory      {peak}");
    }
    std::fs::remove_file(&path).expect("the load log can be removed");
}

fn best(mut work: impl FnMut()) -> f64 {
    let run = |work: &mut dyn FnMut()| {
        let begin = Instant::now();
        work();
        begin.elapsed().as_secs_f64()
    };
    (0..5).map(|_| run(&mut work)).fold(f64::INFINITY, f64::min)
}

fn count_lines(path: &std::path::Path) {
    let mut file = File::open(path).expect("the load log can be read");
    let mut block = vec![0u8; 1 << 18];
    let mut lines = 0usize;
    while let Ok(n) = file.read(&mut block) {
        if n == 0 {
            break;
        }
        lines += memchr::memchr_iter(b'\n', &block[..n]).count();
    }
    assert!(lines > 0);
}

/// Peak resident memory as the kernel tells it; `None` where it does not.
fn peak_memory() -> Option<String> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM"))?;
    Some(line.split_once(':')?.1.trim().to_owned())
}
