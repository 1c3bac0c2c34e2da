//! What a cluster costs and gives, measured: a figure, not a promise. Ignored; by hand, on a machine that does
//! nothing else: `cargo test --release --locked -- --ignored --nocapture figures`.

use std::time::Instant;

use crate::harness::{Cluster, large_logs, sample_fleet};

/// Bytes of all that the run has kept of logs, and of the logs themselves.
fn sizes(cluster: &Cluster, logs: &str) -> (u64, u64) {
    let facts = cluster.left();
    let facts = facts.iter().filter(|(name, _)| name.starts_with("facts/"));
    (facts.map(|(_, bytes)| bytes.len() as u64).sum(), cluster.bytes_below(logs))
}

fn measured(what: &str, cluster: &Cluster, logs: usize, folder: &str) {
    let begun = Instant::now();
    cluster.run_here();
    let here = begun.elapsed().as_secs_f64();
    let (facts, bytes) = sizes(cluster, folder);
    println!("{what}: {logs} logs, {bytes} bytes, facts {facts} bytes");
    println!("  here, all cores: {here:.2} s");
    let mut executors = Vec::new();
    for number in 1..=2 {
        cluster.forget();
        executors.push(cluster.executor(1));
        std::thread::sleep(std::time::Duration::from_secs(1));
        let begun = Instant::now();
        let run = cluster.run(&[]);
        let there = begun.elapsed().as_secs_f64();
        println!("  {number} executors of one core: {there:.2} s");
        assert!(run.said().is_empty(), "nothing went another way: {}", run.said());
    }
    let peak = |name: &str, running: &crate::harness::Running| {
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
    let cluster = Cluster::new(20);
    let logs = sample_fleet(&cluster);
    measured("samples", &cluster, logs, "sample-logs/bus");
    drop(cluster);
    let cluster = Cluster::new(20);
    large_logs(&cluster, 24, 1_500_000);
    measured("large logs", &cluster, 24, "logs");
}
