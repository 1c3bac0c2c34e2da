//! Vehicles weighed on executors: the same bytes as here, also when one is lost in the middle of it.

use std::fs;

use crate::harness::{Cluster, Running, sample_fleet, slowly, until};

/// Vehicles of the sample that keep their logs; of the others only papers and reports are left, which are weighed
/// where the run is.
const VEHICLES: usize = 8;

/// A fleet whose facts are in the store, so that all that is left to do is to weigh it; what a run leaves.
fn stored(cluster: &Cluster) -> std::collections::BTreeMap<std::path::PathBuf, Vec<u8>> {
    sample_fleet(cluster, VEHICLES);
    // Younger files would be looked into again by the next run.
    std::thread::sleep(std::time::Duration::from_millis(2100));
    cluster.run_here();
    cluster.left()
}

/// Removes the reports of the last run, and keeps the facts.
fn forget_reports(cluster: &Cluster) {
    for entry in fs::read_dir(cluster.at("out")).expect("an output folder").flatten() {
        match entry.path() {
            path if path.ends_with("facts") => {}
            path if path.is_dir() => fs::remove_dir_all(path).expect("removed"),
            path => fs::remove_file(path).expect("removed"),
        }
    }
}

fn weighed(executors: &[&Running]) -> usize {
    executors.iter().map(|one| one.vehicles_weighed()).sum()
}

/// Shares of vehicles on which an executor has begun.
fn begun(executor: &Running) -> usize {
    executor.said().lines().filter(|line| line.contains(": weighs ")).count()
}

#[test]
fn vehicles_weighed_on_one_and_two_executors_come_out_the_same() {
    let cluster = Cluster::new(240);
    let expected = stored(&cluster);
    let one = cluster.executor(1);
    forget_reports(&cluster);
    cluster.run(&[]);
    cluster.same_as(&expected);
    let first = weighed(&[&one]);
    // All are put on the scales once, those with incidents once more when all is learned.
    assert!(first > VEHICLES && first <= 2 * VEHICLES, "{first}");
    assert_eq!(one.logs_read(), 0, "facts are in the store");
    let other = cluster.executor(1);
    forget_reports(&cluster);
    cluster.run(&[]);
    cluster.same_as(&expected);
    assert_eq!(weighed(&[&one, &other]), 2 * first);
}

#[test]
fn an_executor_killed_in_the_middle_of_weighing() {
    let cluster = Cluster::new(11);
    let expected = stored(&cluster);
    forget_reports(&cluster);
    let (stays, mut lost) = (cluster.executor(1), cluster.executor(1));
    let mut run = cluster.begin(&["--deadline", "90", "--attempts", "5"]);
    slowly(&[&stays, &lost], 70, || {
        until("an executor to weigh", || begun(&lost) > 0);
    });
    assert!(!run.has_ended(), "stopped in the middle");
    lost.kill();
    stays.signal("CONT");
    assert!(run.ended_well(), "{}\nscheduler: {}", run.said(), cluster.scheduler.said());
    assert!(stays.vehicles_weighed() > VEHICLES, "{}", stays.said());
    cluster.same_as(&expected);
}
