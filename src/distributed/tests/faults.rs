//! Executors and schedulers that are lost, late, slow or blind. What comes out is what one machine finds, or a
//! clear error and nothing half-written.

use std::fs;

use crate::harness::{Cluster, large_logs, scheduler, slowly, until};

/// Three jobs. Whoever must be in the middle of something is made to stand still there, so that nothing depends on
/// how quick the machine is.
const LOGS: usize = 40;
const FRAMES: u64 = 3_000;

#[test]
fn an_executor_killed_while_it_reads() {
    let cluster = Cluster::new(11);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let mut lost = cluster.executor(1);
    let mut run = cluster.begin(&[]);
    until("the first log", || lost.logs_read() > 0);
    lost.signal("STOP");
    let stays = cluster.executor(1);
    until("a log by the other", || stays.logs_read() > 0);
    lost.kill();
    assert!(lost.logs_read() < LOGS, "it was killed in the middle");
    assert!(run.ended_well(), "{}", run.said());
    assert!(lost.logs_read() + stays.logs_read() >= LOGS);
    cluster.same_as(&expected);
}

#[test]
fn an_executor_that_comes_later() {
    // Patient enough for the first one to stand still until the second one works.
    let cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let first = cluster.executor(1);
    let mut run = cluster.begin(&[]);
    until("the first log", || first.logs_read() > 0);
    first.signal("STOP");
    let second = cluster.executor(1);
    until("a log by the second", || second.logs_read() > 0);
    first.signal("CONT");
    assert!(run.ended_well(), "{}", run.said());
    assert_eq!(first.logs_read() + second.logs_read(), LOGS, "no log was read twice");
    cluster.same_as(&expected);
}

#[test]
fn an_executor_that_is_slow() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let (slow, quick) = (cluster.executor(1), cluster.executor(1));
    let mut run = cluster.begin(&[]);
    until("the first log", || slow.logs_read() > 0);
    let well = slowly(&[&slow], 270, || run.ended_well());
    assert!(well, "{}", run.said());
    assert!(quick.logs_read() > slow.logs_read(), "the quick one does the most");
    cluster.same_as(&expected);
}

#[test]
fn a_hang_becomes_another_try_and_then_an_error() {
    // So patient a scheduler never notices: only the deadline helps.
    let cluster = Cluster::new(600);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let hangs = cluster.executor(1);
    let mut run = cluster.begin(&["--jobs", "1", "--deadline", "30", "--attempts", "5"]);
    until("the first log", || hangs.logs_read() > 0);
    hangs.signal("STOP");
    let works = cluster.executor(1);
    assert!(run.ended_well(), "{}", run.said());
    assert!(run.said().contains("it is sent again"), "{}", run.said());
    assert!(works.logs_read() > 0);
    cluster.same_as(&expected);

    cluster.forget();
    works.signal("STOP");
    let mut run = cluster.begin(&["--deadline", "2", "--attempts", "2"]);
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("(try 2 of 2, deadline 2 s): its deadline passed"), "{said}");
    assert!(said.contains("no report was written; run again to go on"), "{said}");
    let reports = cluster.left().into_keys().filter(|name| !name.starts_with("facts")).count();
    assert_eq!(reports, 0);
    works.signal("CONT");
    hangs.signal("CONT");
    cluster.run(&[]);
    cluster.same_as(&expected);
}

#[test]
fn a_log_that_one_executor_cannot_open() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, 4, FRAMES);
    // A file that is only there for processes that run in one folder.
    let (sees, blind) = (cluster.at("sees"), cluster.at("blind"));
    for home in [&sees, &blind] {
        fs::create_dir(home).expect("a folder");
    }
    fs::rename(cluster.at("logs/V02/a.log"), cluster.at("a.log")).expect("moved");
    fs::copy(cluster.at("a.log"), sees.join("a.log")).expect("copied");
    let link = cluster.at("logs/V02/a.log");
    std::os::unix::fs::symlink("/proc/self/cwd/a.log", link).expect("a link");
    let expected = cluster.expected();

    // Alone, the blind one cannot: it is read here.
    let cannot = cluster.executor_in(cluster.folder.path(), &blind, 1);
    let run = cluster.run(&[]);
    let said = run.said();
    assert!(said.contains("1 logs could not be opened elsewhere and are read here"), "{said}");
    assert!(said.contains("logs/V02/a.log") && said.contains("executor 127.0.0.1:"), "{said}");
    assert!(cannot.said().contains("cannot open"), "{}", cannot.said());
    cluster.same_as(&expected);

    // Beside one that can.
    let can = cluster.executor_in(cluster.folder.path(), &sees, 1);
    until("the second executor to join in", || {
        cluster.forget();
        cluster.run(&[]);
        can.logs_read() > 0
    });
    cluster.forget();
    let before = can.logs_read();
    let run = cluster.run(&["--attempts", "50"]);
    assert!(!run.said().contains("read here"), "{}", run.said());
    assert!(can.logs_read() > before);
    cluster.same_as(&expected);
}

#[test]
fn a_scheduler_that_is_gone() {
    let mut cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let executor = cluster.executor(1);
    let mut run = cluster.begin(&["--jobs", "2"]);
    let some_kept = || {
        let facts = fs::read_dir(cluster.at("out/facts")).into_iter().flatten().flatten();
        facts.filter(|entry| entry.file_name().to_string_lossy().starts_with("vehicle=")).count()
            > 0
    };
    until("the first facts", some_kept);
    executor.signal("STOP");
    cluster.scheduler.kill();
    executor.signal("CONT");
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("does not answer"), "{said}");
    assert!(said.contains("logs are read and kept, no report was written"), "{said}");
    let kept = said.split(" of 40 logs are read and kept").next().and_then(|text| {
        text.rsplit(|c: char| !c.is_ascii_digit())
            .find(|word| !word.is_empty())?
            .parse::<usize>()
            .ok()
    });
    let kept = kept.expect("how many were kept");
    assert!(kept > 0 && kept < LOGS, "{said}");
    let reports = cluster.left().into_keys().filter(|name| !name.starts_with("facts")).count();
    assert_eq!(reports, 0);

    // The executor waits for a scheduler; the next run takes up what is there.
    cluster.scheduler = scheduler(cluster.port, 240);
    let before = executor.logs_read();
    cluster.run(&[]);
    assert_eq!(executor.logs_read() - before, LOGS - kept, "what was kept is not read again");
    cluster.same_as(&expected);
}
