//! Frames a second with all detectors on, bytes a second, and peak memory, for logs of several shapes.
//!
//! `cargo bench --bench ingest` makes logs of ten million frames (0.46 to 0.8 GB, one at a time, in the
//! system's temporary folder), watches each a few times with one hand, with two and with all, and
//! prints the best of each, beside a loop that only counts line ends; then a packed log beside its
//! bare unpacker. On a machine that others use, the figure per second of processor time is the
//! steadier one. It is a measurement, never a test.
//!
//! `FRAMES=20000000` sets the size, `SHAPE=Thousand` takes one shape only, `REPEATS=9` more tries;
//! `LOG=file` measures a log that is there instead (and leaves it there).

mod loads;

use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use buswitness::observe::Senders;
use buswitness::pipeline::{Hands, watch_opened};
use buswitness::read::frames::{LogTables, TextLog};
use buswitness::read::opening::open;
use loads::Shape;

fn setting(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

#[expect(clippy::print_stdout, reason = "a measurement is printed")]
fn main() {
    let frames = setting("FRAMES", 10_000_000);
    let only = std::env::var("SHAPE").ok();
    let folder = std::env::temp_dir();
    println!("{:12} {:28} {:>10} {:>8} {:>12}", "log", "what", "M frames/s", "GB/s", "M/s of CPU");
    if let Ok(path) = std::env::var("LOG") {
        return plain("the log", Path::new(&path));
    }
    for shape in Shape::ALL {
        if only.as_ref().is_some_and(|only| *only != format!("{shape:?}")) {
            continue;
        }
        let path = folder.join(format!("buswitness-load-{frames}-{shape:?}.log"));
        loads::write(shape, frames, &path).expect("the load log can be written");
        plain(shape.name(), &path);
        if shape == Shape::Base {
            packed(&path, frames);
        }
        std::fs::remove_file(&path).expect("the load log can be removed");
    }
}

/// A log as it stands, in several ways.
#[expect(clippy::print_stdout, reason = "a measurement is printed")]
fn plain(name: &str, path: &Path) {
    let size = path.metadata().expect("the load log is there").len();
    let frames = parsed(path);
    let show = |what: &str, took: Took| {
        println!(
            "{name:12} {what:28} {:10.1} {:8.2} {:12.1}",
            frames as f64 / took.seconds / 1e6,
            size as f64 / took.seconds / 1e9,
            frames as f64 / took.cpu / 1e6
        );
    };
    show("line ends only", best(|| count_lines(path)));
    show("parsing only", best(|| assert_eq!(parsed(path), frames)));
    for hands in steps() {
        forget_peak();
        show(&format!("{hands} hand(s)"), best(|| watched(path, frames, hands)));
        println!("{name:12} {:28} {:>10}", "  peak memory", peak_memory());
    }
}

/// Parses with one hand and counts the frames.
fn parsed(path: &Path) -> u64 {
    let mut file = File::open(path).expect("the load log can be read");
    let mut log = TextLog::new(&"load.log".into());
    let (mut block, mut frames, mut count) = (vec![0u8; 1 << 18], Vec::new(), 0);
    while let Ok(n @ 1..) = file.read(&mut block) {
        log.push(&block[..n], &mut frames);
        count += frames.len() as u64;
        frames.clear();
    }
    log.finish(&mut frames);
    count + frames.len() as u64
}

/// One, two, and all there are.
fn steps() -> Vec<usize> {
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    let mut steps = vec![1, 2, all];
    steps.dedup();
    steps
}

/// A packed log beside its bare unpacker, for both packings.
#[expect(clippy::print_stdout, reason = "a measurement is printed")]
fn packed(plain: &Path, frames: u64) {
    for packing in ["gzip", "zstd"] {
        let path = plain.with_extension(packing);
        pack(packing, plain, &path).expect("the load log can be packed");
        let bare = best(|| unpacked(packing, &path));
        println!(
            "{packing:12} {:28} {:10.1}",
            "unpacking only",
            frames as f64 / bare.seconds / 1e6
        );
        for hands in steps() {
            let whole = best(|| watched(&path, frames, hands));
            println!(
                "{packing:12} {:28} {:10.1} {:7.0} % of the bare unpacker",
                format!("{hands} hand(s)"),
                frames as f64 / whole.seconds / 1e6,
                100.0 * bare.seconds / whole.seconds
            );
        }
        std::fs::remove_file(&path).expect("the packed log can be removed");
    }
}

fn pack(packing: &str, plain: &Path, path: &Path) -> std::io::Result<()> {
    let (mut from, to) = (File::open(plain)?, File::create(path)?);
    if packing == "gzip" {
        let mut packer = flate2::write::GzEncoder::new(to, flate2::Compression::new(6));
        std::io::copy(&mut from, &mut packer)?;
        packer.finish()?.flush()
    } else {
        zstd::stream::copy_encode(from, to, 3)
    }
}

/// Unpacks by the library itself, into a buffer that is used again.
fn unpacked(packing: &str, path: &Path) {
    let file =
        std::io::BufReader::with_capacity(1 << 16, File::open(path).expect("the packed log"));
    let mut bytes: Box<dyn Read> = if packing == "gzip" {
        Box::new(flate2::read::MultiGzDecoder::new(file))
    } else {
        Box::new(zstd::stream::read::Decoder::with_buffer(file).expect("a decoder"))
    };
    let mut block = vec![0u8; 1 << 18];
    while bytes.read(&mut block).expect("sound data") > 0 {}
}

fn watched(path: &Path, frames: u64, hands: usize) {
    let name: Arc<str> = "load.log".into();
    let hands = Hands::new(hands, 1);
    let _own = hands.begin_file();
    let opened = open(path, &name).expect("the load log can be read");
    let (tables, senders) = (LogTables::default(), Senders::default());
    let log = watch_opened(opened, &tables, &senders, None, &hands);
    assert_eq!(log.frames, frames);
}

/// Seconds of the clock and of all processors.
#[derive(Clone, Copy)]
struct Took {
    seconds: f64,
    cpu: f64,
}

/// The best of a few tries, clock and processors each by itself.
fn best(mut work: impl FnMut()) -> Took {
    let mut took = Took { seconds: f64::INFINITY, cpu: f64::INFINITY };
    for _ in 0..setting("REPEATS", 5) {
        let (begin, cpu) = (Instant::now(), cpu_seconds());
        work();
        took.seconds = took.seconds.min(begin.elapsed().as_secs_f64());
        took.cpu = took.cpu.min(cpu_seconds() - cpu);
    }
    took
}

/// Processor seconds of this process, in hundredths; not a number where the kernel does not tell.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<&str> = stat.rsplit(") ").next().unwrap_or_default().split(' ').collect();
    let ticks = |at: usize| fields.get(at).and_then(|f| f.parse::<f64>().ok()).unwrap_or(f64::NAN);
    (ticks(11) + ticks(12)) / 100.0
}

fn count_lines(path: &Path) {
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

/// Begins the peak of memory anew, where the kernel lets us.
fn forget_peak() {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}

/// Peak resident memory as the kernel tells it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |l| l.trim().to_owned())
}
