//! What a run keeps for the next: only new logs are read; kills and two runs at once change no byte.

use std::fs;
use std::path::Path;
use std::process::Child;
use std::time::{Duration, Instant};

use super::{out, small_fleet};
use crate::program::{begun, differences, done, files, in_one_line, said};

/// What the run says of its logs: all, from kept facts, unopened.
fn account(work: &Path, more: &[&str]) -> [u64; 3] {
    let mut arguments = vec!["run", "week.toml"];
    arguments.extend(more);
    // "read: 9 bus logs (7 of them from kept facts, 7 unopened), …", wherever the line is broken.
    let text = in_one_line(&said(work, &arguments));
    let told = text.split("read: ").nth(1).unwrap_or_else(|| panic!("no account in {text}"));
    let numbers: Vec<u64> = told
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|word| word.parse().ok())
        .take(3)
        .collect();
    numbers.try_into().unwrap_or_else(|_| panic!("no numbers in {told}"))
}

/// Files changed in the last seconds are opened again, since they could change once more unseen.
fn settle() {
    std::thread::sleep(Duration::from_millis(2_300));
}

fn logs(work: &Path) -> usize {
    files(&work.join("bus")).len()
}

#[test]
fn a_second_run_with_one_new_day_reads_only_that_day() {
    let work = small_fleet(&["LH-13", "LH-21", "LH-06"]);
    // The last day is held back.
    let held: Vec<_> = files(&work.path().join("bus"))
        .into_iter()
        .filter(|(name, _)| name.to_string_lossy().contains("20260128"))
        .collect();
    assert!(!held.is_empty(), "the sample has logs of that day");
    for (name, _) in &held {
        fs::remove_file(work.path().join("bus").join(name)).expect("held back");
    }
    let old = logs(work.path());
    settle();
    assert_eq!(account(work.path(), &[]), [old as u64, 0, 0]);
    assert_eq!(account(work.path(), &[]), [old as u64, old as u64, old as u64]);
    for (name, bytes) in &held {
        fs::write(work.path().join("bus").join(name), bytes).expect("the new day");
    }
    let all = logs(work.path()) as u64;
    assert_eq!(account(work.path(), &[]), [all, old as u64, old as u64]);
    let kept = out(work.path());
    // What was read in two runs is what is read in one, without a store and with a list that is damaged.
    fs::remove_dir_all(work.path().join("out")).expect("removed");
    assert_eq!(account(work.path(), &[]), [all, 0, 0]);
    let fresh = out(work.path());
    let told = differences(("in two runs", &kept), ("in one", &fresh));
    assert!(told.is_empty(), "{}", told.join("\n"));
    fs::write(work.path().join("out/facts/known-files.txt"), "nonsense").expect("damage");
    assert_eq!(account(work.path(), &[])[..2], [all, all]);
    assert!(differences(("fresh", &fresh), ("damaged list", &out(work.path()))).is_empty());
}

#[test]
fn a_log_that_is_changed_is_read_again_and_one_that_goes_is_counted() {
    let work = small_fleet(&["LH-21"]);
    let all = logs(work.path()) as u64;
    settle();
    assert_eq!(account(work.path(), &[]), [all, 0, 0]);
    let bus = work.path().join("bus/LH-21");
    let mut names: Vec<_> = fs::read_dir(&bus).expect("logs").flatten().map(|e| e.path()).collect();
    names.sort();
    // The bytes of one log under the name of another: same time of change as before or not, it is told.
    fs::copy(&names[1], &names[0]).expect("changed");
    let told = account(work.path(), &[]);
    assert_eq!(told, [all, all, all - 1], "its facts are known by its content, but it was opened");
    fs::remove_file(&names[0]).expect("gone");
    let text = in_one_line(&said(work.path(), &["run", "week.toml"]));
    assert!(text.contains("kept facts without a log in this run: 1 "), "{text}");
}

fn begin(work: &Path) -> Child {
    begun(work, &["run", "--quiet", "week.toml"])
}

/// Names in the store and the output folder that only unfinished work has.
fn unfinished(work: &Path) -> Vec<String> {
    let entries = files(&work.join("out"));
    let names = entries.keys().map(|name| name.to_string_lossy().into_owned());
    names.filter(|name| name.contains(".part")).collect()
}

#[test]
fn two_runs_at_once_give_the_bytes_of_one() {
    let work = small_fleet(&["LH-13", "LH-21"]);
    done(work.path(), &["run", "--quiet", "week.toml"]);
    let alone = out(work.path());
    for round in 0..3 {
        if round < 2 {
            fs::remove_dir_all(work.path().join("out")).expect("removed");
        }
        let mut runs = [begin(work.path()), begin(work.path()), begin(work.path())];
        for run in &mut runs {
            assert!(run.wait().expect("ended").success());
        }
        let told = differences(("alone", &alone), ("together", &out(work.path())));
        assert!(told.is_empty(), "round {round}\n{}", told.join("\n"));
        assert_eq!(unfinished(work.path()), Vec::<String>::new());
    }
    let all = logs(work.path()) as u64;
    assert_eq!(account(work.path(), &[])[..2], [all, all], "every log's facts are there, once");
}

#[test]
fn a_kill_at_any_moment_leaves_it_usable() {
    let work = small_fleet(&["LH-13", "LH-21"]);
    let whole = (0..2)
        .map(|_| {
            let _ = fs::remove_dir_all(work.path().join("out"));
            let begun = Instant::now();
            done(work.path(), &["run", "--quiet", "week.toml"]);
            begun.elapsed()
        })
        .min()
        .expect("two runs");
    let reference = out(work.path());
    let moments = 16_u32;
    let mut cut_short = 0;
    for moment in 0..moments {
        // With no store, with a whole one, and with what the last kill left.
        if moment % 3 == 0 {
            fs::remove_dir_all(work.path().join("out")).expect("removed");
        }
        let mut run = begin(work.path());
        std::thread::sleep(whole * moment / moments);
        run.kill().expect("SIGKILL");
        cut_short += u32::from(!run.wait().expect("ended").success());
        if moment % 2 == 1 {
            // A second kill on top of the first.
            let mut run = begin(work.path());
            std::thread::sleep(whole * (moments - moment) / moments / 2);
            run.kill().expect("SIGKILL");
            run.wait().expect("ended");
        }
        done(work.path(), &["run", "--quiet", "week.toml"]);
        let told = differences(("unhurt", &reference), ("after a kill", &out(work.path())));
        assert!(told.is_empty(), "killed at {moment}/{moments}\n{}", told.join("\n"));
        assert_eq!(unfinished(work.path()), Vec::<String>::new(), "at {moment}/{moments}");
    }
    assert!(cut_short >= 3, "only {cut_short} runs were cut short: nothing is proved");
}

#[test]
fn pages_of_vehicles_no_longer_due_go_only_when_they_are_ours() {
    let work = small_fleet(&["LH-13", "LH-06", "LH-02"]);
    done(work.path(), &["run", "--quiet", "week.toml"]);
    let page = |name: &str| work.path().join("out").join(name);
    for name in ["vehicle-lh-13.html", "vehicle-lh-06.html", "vehicle-lh-02.html"] {
        assert!(page(name).exists(), "{name}");
    }
    fs::write(page("vehicle-lh-06.html"), "a note of the workshop").expect("changed by hand");
    fs::write(page("vehicle-xx-01.html"), "somebody else's").expect("a stranger");
    for van in ["LH-13", "LH-06"] {
        for part in ["bus", "scans"] {
            fs::remove_dir_all(work.path().join(part).join(van)).expect("no data any more");
        }
    }
    done(work.path(), &["run", "--quiet", "week.toml"]);
    assert!(!page("vehicle-lh-13.html").exists(), "written by the first run, not due any more");
    assert!(page("vehicle-lh-06.html").exists(), "changed since: not ours any more");
    assert!(page("vehicle-xx-01.html").exists() && page("vehicle-lh-02.html").exists());
}
