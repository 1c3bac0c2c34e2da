//! Cases as data: each TOML file beside this one lays out input files, runs the program, and says what
//! must come of it. A case is added without a line of Rust.
//!
//! ```toml
//! about = "what the case is for, in one sentence"
//! arguments = ["run", "p.toml"]      # what is typed; run in a folder of its own
//! exit = 0
//! stdout = ["fragment"]              # each must stand there; likewise `stderr`
//! lacks = ["fragment"]               # what must stand in neither stream
//! absent = ["out"]                   # paths that must not be there afterwards
//!
//! [[file]]                           # an input
//! path = "bus/a.log"
//! text = "…"                         # or `hex = "1F 8B"`, or `frames = [ … ]`
//! frames = [{id = "1A0", every_ms = 20, from_ms = 0, to_ms = 9000, not_ms = [4000, 6000]}]
//! once = [{at_ms = 5, id = "7E8", data = "037F1978"}]      # single frames among those
//! crlf = true                        # line ends become CR LF
//! gzip = true                        # then packed
//! keep_bytes = 100                   # then cut short
//!
//! [[output]]
//! path = "out/culprits.json"
//! has = ["fragment"]
//! lacks = ["fragment"]
//! values = {"/inputs/rejected" = 1}  # JSON pointer = value
//! ```

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::Path;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde::Deserialize;

use crate::program::{buswitness, files, folder, project, write};

/// The begin of all laid-out frames: 2026-01-12T06:00:00Z.
const BEGIN_MS: u64 = 1_768_197_600_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    about: String,
    arguments: Vec<String>,
    exit: i32,
    #[serde(default)]
    stdout: Vec<String>,
    #[serde(default)]
    stderr: Vec<String>,
    #[serde(default)]
    lacks: Vec<String>,
    #[serde(default)]
    absent: Vec<String>,
    #[serde(default)]
    file: Vec<Laid>,
    #[serde(default)]
    output: Vec<Expected>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Laid {
    path: String,
    text: Option<String>,
    hex: Option<String>,
    #[serde(default)]
    frames: Vec<Cyclic>,
    #[serde(default)]
    once: Vec<Once>,
    #[serde(default)]
    crlf: bool,
    #[serde(default)]
    gzip: bool,
    keep_bytes: Option<usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cyclic {
    id: String,
    every_ms: usize,
    from_ms: u64,
    to_ms: u64,
    not_ms: Option<(u64, u64)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Once {
    at_ms: u64,
    id: String,
    data: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    path: String,
    #[serde(default)]
    has: Vec<String>,
    #[serde(default)]
    lacks: Vec<String>,
    #[serde(default)]
    values: BTreeMap<String, serde_json::Value>,
}

#[test]
fn every_case_comes_out_as_written() {
    let mut cases = files(&project().join("tests/whole_program"));
    cases.retain(|name, _| name.extension().is_some_and(|ending| ending == "toml"));
    assert!(cases.len() >= 17, "only {} cases were found", cases.len());
    let mut wrong = Vec::new();
    for (name, bytes) in cases {
        let text = String::from_utf8(bytes).expect("a case is UTF-8");
        let case: Case =
            toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", name.display()));
        for fault in faults(&case) {
            wrong.push(format!("{} ({}): {fault}", name.display(), case.about));
        }
    }
    assert!(wrong.is_empty(), "{} faults\n{}", wrong.len(), wrong.join("\n"));
}

/// Runs a case; what did not come out as written, a line each.
fn faults(case: &Case) -> Vec<String> {
    let room = folder();
    // A folder below, so that a path which escapes upwards is seen and does no harm.
    let work = room.path().join("work/below");
    fs::create_dir_all(&work).expect("folders");
    for laid in &case.file {
        write(&work.join(&laid.path), &bytes_of(laid));
    }
    let arguments: Vec<&str> = case.arguments.iter().map(String::as_str).collect();
    let output = buswitness(&work, &arguments);
    let stdout = String::from_utf8_lossy(&output.stdout);
    let stderr = String::from_utf8_lossy(&output.stderr);
    let mut told = Vec::new();
    if output.status.code() != Some(case.exit) {
        told.push(format!(
            "exit code {:?}, expected {}\n{stdout}{stderr}",
            output.status.code(),
            case.exit
        ));
    }
    for (stream, text, fragments) in
        [("stdout", &stdout, &case.stdout), ("stderr", &stderr, &case.stderr)]
    {
        for fragment in fragments.iter().filter(|f| !text.contains(f.as_str())) {
            told.push(format!("{stream} lacks `{fragment}`:\n{text}"));
        }
    }
    for fragment in case.lacks.iter().filter(|f| stdout.contains(*f) || stderr.contains(*f)) {
        told.push(format!("`{fragment}` should not be said:\n{stdout}{stderr}"));
    }
    for path in case.absent.iter().filter(|path| work.join(path).exists()) {
        told.push(format!("`{path}` is there and should not be"));
    }
    for name in files(room.path()).keys() {
        let shown = name.display().to_string();
        let inside = name.strip_prefix("work/below").ok();
        let laid = inside.is_some_and(|n| case.file.iter().any(|l| Path::new(&l.path) == n));
        let out = shown.starts_with("work/below/out/") || shown.contains("/buswitness-report/");
        if !laid && (!out || shown.contains(['<', '>'])) {
            told.push(format!("`{shown}` was written, which is no place for an output"));
        }
    }
    for expected in &case.output {
        told.extend(output_faults(expected, &work));
    }
    told
}

fn output_faults(expected: &Expected, work: &Path) -> Vec<String> {
    let path = &expected.path;
    let Ok(text) = fs::read_to_string(work.join(path)) else {
        let there: Vec<String> = files(work).keys().map(|f| f.display().to_string()).collect();
        return vec![format!("no output `{path}`; there are {}", there.join(", "))];
    };
    let mut told = Vec::new();
    for fragment in expected.has.iter().filter(|f| !text.contains(f.as_str())) {
        told.push(format!("{path} lacks `{fragment}`:\n{}", beginning(&text)));
    }
    for fragment in expected.lacks.iter().filter(|f| text.contains(f.as_str())) {
        told.push(format!("{path} has `{fragment}`, which should not be there"));
    }
    if !expected.values.is_empty() {
        let json: serde_json::Value = serde_json::from_str(&text).unwrap_or_default();
        for (pointer, value) in &expected.values {
            let found = json.pointer(pointer);
            if found != Some(value) {
                let found = found.map_or("nothing".to_owned(), ToString::to_string);
                told.push(format!("{path} {pointer}: {found}, expected {value}"));
            }
        }
    }
    told
}

fn beginning(text: &str) -> String {
    text.chars().take(1500).collect()
}

fn bytes_of(laid: &Laid) -> Vec<u8> {
    let mut bytes = match (&laid.text, &laid.hex) {
        (Some(text), None) => text.clone().into_bytes(),
        (None, Some(hex)) => unhex(hex),
        (None, None) => log_of(&laid.frames, &laid.once).into_bytes(),
        (Some(_), Some(_)) => panic!("{}: text and hex", laid.path),
    };
    if laid.crlf {
        let text = String::from_utf8(bytes).expect("text");
        bytes = text.replace('\n', "\r\n").into_bytes();
    }
    if laid.gzip {
        let mut packer = GzEncoder::new(Vec::new(), Compression::default());
        packer.write_all(&bytes).expect("packed");
        bytes = packer.finish().expect("packed");
    }
    if let Some(keep) = laid.keep_bytes {
        assert!(keep < bytes.len(), "{}: nothing is cut off {} bytes", laid.path, bytes.len());
        bytes.truncate(keep);
    }
    bytes
}

fn unhex(text: &str) -> Vec<u8> {
    let pairs = text.split_whitespace();
    pairs.map(|pair| u8::from_str_radix(pair, 16).expect("two hexadecimal digits")).collect()
}

/// A log of frames that come in their periods, and of single ones.
fn log_of(frames: &[Cyclic], once: &[Once]) -> String {
    let mut lines: Vec<(u64, &String, String)> =
        once.iter().map(|o| (o.at_ms, &o.id, o.data.clone())).collect();
    for cyclic in frames {
        for (count, at) in (cyclic.from_ms..cyclic.to_ms).step_by(cyclic.every_ms).enumerate() {
            if cyclic.not_ms.is_none_or(|(from, to)| at < from || at >= to) {
                lines.push((at, &cyclic.id, format!("{:02X}00000000000000", count % 256)));
            }
        }
    }
    lines.sort();
    let line = |(at, id, data): (u64, &String, String)| {
        let at = BEGIN_MS + at;
        format!("({}.{:03}000) can0 {id}#{data}\n", at / 1000, at % 1000)
    };
    lines.into_iter().map(line).collect()
}
