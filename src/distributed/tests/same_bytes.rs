//! Whatever the number of executors, the output is that of a run on one machine, to the byte; and no log is
//! read twice.

use std::fs;

use crate::harness::{Cluster, Running, sample_fleet};

fn read_by(executors: &[Running]) -> usize {
    executors.iter().map(Running::logs_read).sum()
}

/// How many logs were looked into whose facts were there.
fn known_to(executors: &[Running]) -> usize {
    let of = |one: &Running| one.said().lines().filter(|line| line.ends_with(" is known")).count();
    executors.iter().map(of).sum()
}

#[test]
fn the_sample_week_at_one_two_and_three_executors() {
    let cluster = Cluster::new(240);
    let logs = sample_fleet(&cluster, 5);
    let expected = cluster.expected();
    let mut executors = Vec::new();
    for number in 1..=3 {
        executors.push(cluster.executor(1));
        let before = read_by(&executors);
        cluster.run(&[]);
        cluster.same_as(&expected);
        assert_eq!(read_by(&executors) - before, logs, "logs read by {number} executors");
        let counted = executors.iter().map(Running::logs_counted).sum::<usize>();
        assert_eq!(counted, number * logs, "facts are counted once in each run");
        if number < 3 {
            cluster.forget();
        }
    }
    let before = read_by(&executors);

    // Nothing is new.
    cluster.run(&[]);
    assert_eq!(read_by(&executors), before, "no log was to be read again");

    let known = known_to(&executors);
    // A log that was moved is looked into, and its facts are those that are there.
    let folder = cluster.at("sample-logs/bus/LH-03");
    let log = fs::read_dir(&folder).expect("logs").flatten().next().expect("a log").path();
    let moved = folder.join(format!("x-{}", log.file_name().expect("a name").display()));
    fs::rename(&log, moved).expect("moved");
    cluster.run(&[]);
    let by_cluster = cluster.left();
    assert_eq!(read_by(&executors), before, "no log was to be read again");
    assert!(known_to(&executors) > known, "the moved log was looked into");
    cluster.forget();
    cluster.run_here();
    let (here, there) = (cluster.left(), by_cluster);
    let facts = |name: &&std::path::PathBuf| name.starts_with("facts");
    let (ours, theirs): (Vec<_>, Vec<_>) =
        (here.keys().filter(facts).collect(), there.keys().filter(facts).collect());
    assert_eq!(ours, theirs, "the same facts are kept");

    // Facts on demand: all logs are read again, and come to the same.
    let before = read_by(&executors);
    cluster.run(&["--fresh"]);
    assert_eq!(read_by(&executors) - before, logs);
    assert_eq!(cluster.left().len(), here.len());
}
