//! What a cluster costs and gives, measured: a figure, not a promise. Ignored; by hand, best on a machine that does
//! nothing else: `cargo test --release --locked -- --ignored --nocapture figures`. Processor time also means
//! something where others use the machine.

#![expect(clippy::print_stdout, reason = "a measurement is there to be read")]

use std::time::Instant;

use crate::harness::{Cluster, Running, large_logs, processor_time_of_ended, sample_fleet};

/// Bytes of all that the run has kept of logs, and of the logs themselves.
fn sizes(cluster: &Cluster, logs: &str) -> (u64, u64) {
    let facts = cluster.left();
    let facts = facts.iter().filter(|(name, _)| name.starts_with("facts/"));
    (facts.map(|(_, bytes)| bytes.len() as u64).sum(), cluster.bytes_below(logs))
}

fn measured(what: &str, cluster: &Cluster, logs: usize, folder: &str) {
    let (begun, spent) = (Instant::now(), processor_time_of_ended());
    cluster.run_here();
    let here = begun.elapsed().as_secs_f64();
    let worked = processor_time_of_ended() - spent;
    let (facts, bytes) = sizes(cluster, folder);
    println!("{what}: {logs} logs, {bytes} bytes, facts {facts} bytes");
    println!("  here, all cores: {here:.2} s, processor time {worked:.2} s");
    let mut executors = Vec::new();
    for number in 1..=2 {
        cluster.forget();
        executors.push(cluster.executor(1));
        std::thread::sleep(std::time::Duration::from_secs(1));
        let of_executors = || executors.iter().map(Running::processor_time).sum::<f64>();
        let spent = [processor_time_of_ended(), of_executors(), cluster.scheduler.processor_time()];
        let begun = Instant::now();
        let run = cluster.run(&[]);
        let there = begun.elapsed().as_secs_f64();
        let now = [processor_time_of_ended(), of_executors(), cluster.scheduler.processor_time()];
        let [client, reading, scheduling] = [0, 1, 2].map(|at| now[at] - spent[at]);
        println!(
            "  {number} executors of one core: {there:.2} s, processor time: executors {reading:.2} s, \
             client {client:.2} s, scheduler {scheduling:.2} s"
        );
        println!("  said: {:?}", run.said());
    }
    let peak = |name: &str, running: &Running| {
        println!("  peak memory, {name}: {} kB", running.peak_memory());
    };
    peak("scheduler", &cluster.scheduler);
    for executor in &executors {
        peak("executor", executor);
    }
    cluster.forget();
    let mut run = cluster.begin(&[]);
    let mut most = 0;
    crate::harness::until("the run", || {
        most = most.max(run.peak_memory());
        run.has_ended()
    });
    println!("  peak memory, client: {most} kB");
    assert!(run.ended_well());
}

#[test]
#[ignore = "a measurement"]
fn figures() {
    let cluster = Cluster::new(600);
    let logs = sample_fleet(&cluster, 24);
    measured("samples", &cluster, logs, "sample-logs/bus");
    drop(cluster);
    let cluster = Cluster::new(600);
    large_logs(&cluster, 24, 500_000);
    measured("large logs", &cluster, 24, "logs");
}
