//! Facts counted again after they are stored: executors that are lost or hang in the middle of it, and a store
//! that is not what came.

use crate::harness::{Cluster, Running, large_logs, slowly, until};

/// One small log each: reading is quick, counting has as many tasks.
const LOGS: usize = 32;
const FRAMES: u64 = 3_000;

/// Tasks of an executor that counted, and that brought counts together.
fn counted(executor: &Running) -> usize {
    executor.said().lines().filter(|line| line.contains(": counted the facts of ")).count()
}

fn brought(executor: &Running) -> usize {
    executor.said().lines().filter(|line| line.ends_with(": brings counts together")).count()
}

/// A run in the middle of bringing counts together: both executors have counted and stand still, each with its
/// part of the sums.
fn in_the_middle(cluster: &Cluster, one: &Running, other: &Running, more: &[&str]) -> Running {
    let mut run = cluster.begin(more);
    until("the first count", || counted(one) + counted(other) > 0);
    slowly(&[one, other], 70, || {
        until("counts to be brought together", || brought(one) + brought(other) > 0);
    });
    assert!(!run.has_ended(), "stopped in the middle");
    assert!(counted(one) > 0 && counted(other) > 0);
    run
}

#[test]
fn an_executor_killed_while_counts_are_brought_together() {
    let cluster = Cluster::new(11);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let (stays, mut lost) = (cluster.executor(1), cluster.executor(1));
    let mut run = in_the_middle(&cluster, &stays, &lost, &["--deadline", "90", "--attempts", "5"]);
    lost.kill();
    stays.signal("CONT");
    assert!(run.ended_well(), "{}\nscheduler: {}", run.said(), cluster.scheduler.said());
    assert!(brought(&stays) > 0);
    cluster.same_as(&expected);
}

#[test]
fn an_executor_that_hangs_while_counts_are_brought_together() {
    // So patient a scheduler never notices: only the deadline helps.
    let cluster = Cluster::new(3000);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let (stays, hangs) = (cluster.executor(1), cluster.executor(1));
    let more = ["--deadline", "90", "--attempts", "10"];
    let mut run = in_the_middle(&cluster, &stays, &hangs, &more);
    stays.signal("CONT");
    assert!(run.ended_well(), "{}\nscheduler: {}", run.said(), cluster.scheduler.said());
    let said = run.said();
    assert!(said.contains("counting the facts of 32 logs did not end (try 1 of 10"), "{said}");
    assert!(said.contains("it is sent again"), "{said}");
    cluster.same_as(&expected);
}

#[test]
fn when_nobody_is_left_to_count_there_is_an_error_and_facts_are_kept() {
    let cluster = Cluster::new(3000);
    let logs = 8;
    large_logs(&cluster, logs, FRAMES);
    let expected = cluster.expected();
    let (one, other) = (cluster.executor(1), cluster.executor(1));
    let mut run = cluster.begin(&["--deadline", "10", "--attempts", "2"]);
    until("the first count", || counted(&one) + counted(&other) > 0);
    one.signal("STOP");
    other.signal("STOP");
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("(try 2 of 2, deadline 10 s): its deadline passed"), "{said}");
    assert!(said.contains("8 of 8 logs are read and kept, no report was written"), "{said}");
    let reports = cluster.left().into_keys().filter(|name| !name.starts_with("facts")).count();
    assert_eq!(reports, 0);
    let before = one.logs_read() + other.logs_read();
    one.signal("CONT");
    other.signal("CONT");
    cluster.run(&[]);
    cluster.same_as(&expected);
    assert_eq!(one.logs_read() + other.logs_read(), before, "what was kept is not read again");
}

#[test]
fn a_store_that_executors_cannot_read_is_told() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, 4, FRAMES);
    let expected = cluster.expected();
    let executor = cluster.executor_in(&cluster.at("logs"), cluster.folder.path(), 1);
    let run = cluster.run(&[]);
    let said = run.said();
    assert!(said.contains("stored facts are not counted again elsewhere: "), "{said}");
    assert!(said.contains("is not below the folders"), "{said}");
    assert!(said.contains("vehicles are not weighed elsewhere: "), "{said}");
    assert_eq!((counted(&executor), executor.vehicles_weighed()), (0, 0));
    cluster.same_as(&expected);
}
