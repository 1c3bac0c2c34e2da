//! An interrupt leaves nothing half-written: every output is whole, or as it was before.
#![cfg(unix)]

use std::fs::OpenOptions;
use std::io::Write as _;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use crate::program::{begun, done, files, folder, reports, write};

const PIPELINE: &str = "[inputs]\nbus_logs = [\"bus/{vehicle}/*\"]\n[output]\nfolder = \"out\"\n";

/// The shell's own `kill` is everywhere.
fn kill(child: &Child, signal: &str) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("kill {signal} {}", child.id())]);
    command
}

fn interrupt(child: &Child, signal: &str) {
    let sent = kill(child, signal).status();
    assert!(sent.is_ok_and(|status| status.success()), "no signal could be sent");
}

/// Waits for the end; a program that goes on for ever is killed and fails the test.
fn ended(mut child: Child) -> (ExitStatus, String) {
    let begin = Instant::now();
    while child.try_wait().expect("a child").is_none() {
        if begin.elapsed() > Duration::from_secs(60) {
            child.kill().expect("an end");
            panic!("an interrupted program went on");
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let output = child.wait_with_output().expect("an end");
    (output.status, String::from_utf8_lossy(&output.stderr).into_owned())
}

/// A log of two identifiers in turn, ten milliseconds apart.
fn log(frames: u64) -> String {
    (0..frames)
        .map(|at| {
            let ms = at * 10;
            format!(
                "(17681976{:02}.{:03}000) can0 {}#00\n",
                ms / 1000 % 100,
                ms % 1000,
                if at % 2 == 0 { "1A0" } else { "1B0" }
            )
        })
        .collect()
}

/// The pipeline file is a pipe that stays open, so the program is certainly interrupted while it reads.
#[test]
fn a_run_that_is_interrupted_while_reading_writes_nothing_and_says_so() {
    for signal in ["-INT", "-TERM"] {
        let work = folder();
        write(&work.path().join("bus/V1/whole.log"), log(900).as_bytes());
        let pipe = work.path().join("p.toml");
        let made = Command::new("mkfifo").arg(&pipe).status();
        assert!(made.is_ok_and(|status| status.success()), "no pipe could be made");
        // Open for reading too, so that opening does not wait for the program.
        let mut held = OpenOptions::new().read(true).write(true).open(&pipe).expect("the pipe");
        held.write_all(PIPELINE.as_bytes()).expect("a pipeline without an end");
        let child = begun(work.path(), &["run", "p.toml"]);
        std::thread::sleep(Duration::from_millis(1500));
        interrupt(&child, signal);
        let (status, told) = ended(child);
        assert_eq!(status.code(), Some(130), "{signal}: {told}");
        assert!(told.contains("interrupted"), "{told}");
        assert!(!work.path().join("out").exists(), "{signal}");
    }
}

/// At any moment: either all outputs of the new run stand there, or all of the old one.
#[test]
fn at_any_moment_the_outputs_are_all_old_or_all_new() {
    let work = folder();
    write(&work.path().join("p.toml"), PIPELINE.as_bytes());
    for vehicle in 0..12 {
        write(&work.path().join(format!("bus/V{vehicle}/a.log")), log(400).as_bytes());
    }
    done(work.path(), &["run", "--quiet", "p.toml"]);
    let out = work.path().join("out");
    let old = reports(&out);
    // Another title changes every page.
    write(&work.path().join("p.toml"), format!("title = \"New\"\n{PIPELINE}").as_bytes());
    let mut whole = Duration::MAX;
    for _ in 0..2 {
        let begin = Instant::now();
        done(work.path(), &["run", "--quiet", "--fresh", "p.toml"]);
        whole = whole.min(begin.elapsed());
    }
    let new = reports(&out);
    assert_ne!(old, new);
    let moments = 16_u32;
    let mut interrupted = 0;
    for moment in 0..moments {
        std::fs::remove_dir_all(&out).expect("removed");
        old.iter().for_each(|(name, bytes)| write(&out.join(name), bytes));
        let child = begun(work.path(), &["run", "--quiet", "--fresh", "p.toml"]);
        std::thread::sleep(whole * moment / moments);
        // It may have ended by itself: then there is nobody to interrupt.
        let _ = kill(&child, "-INT").stderr(Stdio::null()).status();
        let (status, told) = ended(child);
        let found = reports(&out);
        assert!(
            found == old || found == new,
            "at {moment}/{moments}: neither old nor new: {:?}",
            found.keys()
        );
        let code = status.code();
        // Before the watch begins the system itself ends the program.
        assert!(code.is_none() || code == Some(0) || code == Some(130), "{code:?}: {told}");
        interrupted += u32::from(code == Some(130));
    }
    assert!(interrupted >= 3, "only {interrupted} runs were interrupted: nothing is proved");
}

#[test]
fn an_interrupted_rehearsal_leaves_no_unfinished_log() {
    let work = folder();
    let child = begun(work.path(), &["rehearse", "--load", "400000000", "--out", "load.log"]);
    std::thread::sleep(Duration::from_millis(300));
    interrupt(&child, "-INT");
    let (status, told) = ended(child);
    assert_eq!(status.code(), Some(130), "{told}");
    assert_eq!(files(work.path()).keys().collect::<Vec<_>>(), Vec::<&std::path::PathBuf>::new());
}
