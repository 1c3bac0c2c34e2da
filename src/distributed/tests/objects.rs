//! Logs in an object store: what comes out is what the same logs give as files, and what must not or cannot be
//! fetched is told.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use crate::bucket::{Bucket, Then};
use crate::harness::{Cluster, Running, files_below, large_logs, sample_fleet};

const LOGS: usize = 5;
const FRAMES: u64 = 3_000;

/// Puts the files below a folder of the cluster's into a bucket, and makes the pipeline read them there.
fn to_bucket(cluster: &mut Cluster, folder: &str) -> Bucket {
    let bucket = Bucket::new();
    for (name, bytes) in files_below(&cluster.at(folder)) {
        bucket.put(&format!("{folder}/{}", name.display()), bytes);
    }
    fs::remove_dir_all(cluster.at(folder)).expect("removed");
    point_at(cluster, folder, "s3://logs/");
    cluster.client_environment = bucket.environment("client");
    bucket
}

fn point_at(cluster: &Cluster, folder: &str, store: &str) {
    let pipeline = fs::read_to_string(cluster.at("pipeline.toml")).expect("a pipeline");
    let from = format!("bus_logs = [\"{folder}");
    let pipeline = pipeline.replace("bus_logs     =", "bus_logs =");
    assert!(pipeline.contains(&from), "{pipeline}");
    let pipeline = pipeline.replace(&from, &format!("bus_logs = [\"{store}{folder}"));
    fs::write(cluster.at("pipeline.toml"), pipeline).expect("written");
}

/// An executor that fetches below a URL and has this environment; it reads the store of facts as a folder.
fn fetching(cluster: &Cluster, url: &str, environment: &[(String, String)]) -> Running {
    fs::create_dir_all(cluster.at("out")).expect("a folder");
    cluster.executor_with(&["--logs", "out", "--objects", url], environment)
}

/// Insists on the same output, but for the store's URL before each log's name.
fn same_but_for(store: &str, left: &Files, expected: &Files) {
    let compared = |name: &&PathBuf| {
        !name.ends_with("known-files.txt") && !name.ends_with(".buswitness-written")
    };
    let names = |files: &Files| files.keys().filter(compared).cloned().collect::<Vec<_>>();
    assert_eq!(names(left), names(expected), "other files");
    for (name, bytes) in expected.iter().filter(|(name, _)| compared(name)) {
        // As it stands, and as pages write it.
        let marked = store.replace('/', "&#x2f;");
        let without = |text: String| text.replace(store, "").replace(&marked, "");
        let plain = String::from_utf8(left[name].clone()).map(without);
        let plain = plain.map_or_else(|e| e.into_bytes(), String::into_bytes);
        if let Some(at) =
            (0..plain.len().max(bytes.len())).find(|at| plain.get(*at) != bytes.get(*at))
        {
            let around = |bytes: &[u8]| {
                let some = at.saturating_sub(80).min(bytes.len())..(at + 80).min(bytes.len());
                String::from_utf8_lossy(&bytes[some]).into_owned()
            };
            let (here, there) = (around(bytes), around(&plain));
            panic!("{} differs at byte {at}:\n{here}\n{there}", name.display());
        }
    }
}

type Files = BTreeMap<PathBuf, Vec<u8>>;

fn rejects(files: &Files) -> String {
    String::from_utf8(files[&PathBuf::from("rejects.csv")].clone()).expect("text")
}

#[test]
fn a_bucket_gives_what_files_give() {
    let mut cluster = Cluster::new(240);
    // Their incidents are drawn with frames, which the client fetches.
    let logs = sample_fleet(&cluster, 4);
    let text = fs::read_to_string(cluster.at("pipeline.toml")).expect("a pipeline");
    let text = text.replace(", \"parquet\"", "");
    fs::write(cluster.at("pipeline.toml"), text).expect("written");
    let expected = cluster.expected();
    let bucket = to_bucket(&mut cluster, "sample-logs/bus");

    let environment = bucket.environment("executor");
    let executor = fetching(&cluster, "s3://logs/sample-logs/", &environment);
    let other = fetching(&cluster, "s3://logs/sample-logs/bus", &environment);
    cluster.run(&[]);
    same_but_for("s3://logs/", &cluster.left(), &expected);
    assert_eq!(executor.logs_read() + other.logs_read(), logs);
    let asked = bucket.asked();
    assert!(asked.iter().any(|a| a == "client list") && asked.iter().all(|a| a != "executor list"));
    let fetched = asked.iter().filter(|a| a.starts_with("executor get ")).count();
    assert_eq!(fetched, logs, "each log was fetched once, with the executor's own key");
    let fetched = files_below(&cluster.at("work")).into_keys();
    assert_eq!(fetched.filter(|name| name.to_string_lossy().contains("object-")).count(), 0);

    // What is known is not fetched again; what has changed is, and nothing else.
    cluster.run(&[]);
    same_but_for("s3://logs/", &cluster.left(), &expected);
    assert!(bucket.asked().iter().all(|a| !a.starts_with("executor")));
    let changed = "sample-logs/bus/LH-01/20260105T060924Z.log.zst";
    let another = bucket.get("sample-logs/bus/LH-01/20260121T072904Z.log.zst");
    bucket.put(changed, another);
    cluster.run(&[]);
    let fetched: Vec<String> =
        bucket.asked().into_iter().filter(|a| a.starts_with("executor")).collect();
    assert_eq!(fetched, [format!("executor get {changed}")]);
}

#[test]
fn a_folder_as_a_store_gives_what_files_give() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    fs::rename(cluster.at("logs/V03"), cluster.at("logs/V 3 %20ü")).expect("renamed");
    let pipeline = fs::read_to_string(cluster.at("pipeline.toml")).expect("a pipeline");
    let pipeline = pipeline.replace(", \"parquet\"", "");
    fs::write(cluster.at("pipeline.toml"), pipeline).expect("written");
    let expected = cluster.expected();
    let store = format!("file://{}/", cluster.folder.path().display());
    point_at(&cluster, "logs", &store);
    let executor = fetching(&cluster, &format!("{store}logs"), &[]);
    cluster.run(&[]);
    same_but_for(&store, &cluster.left(), &expected);
    assert_eq!(executor.logs_read(), LOGS);
}

#[test]
fn an_object_that_is_not_what_was_listed_is_a_reject() {
    let mut cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let bucket = to_bucket(&mut cluster, "logs");
    let (gone, changed) = ("logs/V01/a.log", "logs/V02/a.log");
    let (was_gone, was_changed) = (bucket.get(gone), bucket.get(changed));
    let longer = [&was_changed[..], &was_changed].concat();
    bucket.after_the_first_look(gone, Then::Gone);
    bucket.after_the_first_look(changed, Then::Changed(longer));
    let executor = fetching(&cluster, "s3://logs/", &bucket.environment("executor"));
    cluster.run(&[]);
    let told = rejects(&cluster.left());
    assert!(told.contains(&format!("s3://logs/{gone} is gone")), "{told}");
    let told_changed = format!("s3://logs/{changed} has changed since it was listed");
    assert!(told.contains(&told_changed), "{told}");
    assert_eq!(executor.logs_read(), LOGS - 2);
    // The next run takes both up, and no other.
    bucket.put(gone, was_gone);
    bucket.put(changed, was_changed);
    cluster.run(&[]);
    assert_eq!(executor.logs_read(), LOGS);
    let facts =
        |files: Files| -> Files { files.into_iter().filter(|(name, _)| is_facts(name)).collect() };
    assert!(facts(cluster.left()) == facts(expected), "other facts are kept");
}

fn is_facts(name: &std::path::Path) -> bool {
    name.starts_with("facts") && !name.ends_with("known-files.txt")
}

#[test]
fn an_executor_fetches_below_its_urls_only() {
    let mut cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let bucket = to_bucket(&mut cluster, "logs");
    let executor = fetching(&cluster, "s3://logs/logs2", &bucket.environment("executor"));
    let mut run = cluster.begin(&[]);
    assert!(!run.ended_well());
    let said = run.said();
    let refused = "refused by an executor: s3://logs/logs/V0";
    assert!(said.contains(refused), "{said}");
    assert!(said.contains("is not below the URLs that this executor fetches from"), "{said}");
    assert_eq!(executor.logs_read(), 0);
    assert!(bucket.asked().iter().all(|a| !a.starts_with("executor")));
}

#[test]
fn a_store_that_does_not_let_in_is_an_error() {
    let mut cluster = Cluster::new(240);
    large_logs(&cluster, LOGS, FRAMES);
    let expected = cluster.expected();
    let bucket = to_bucket(&mut cluster, "logs");
    let mut out = fetching(&cluster, "s3://logs/logs", &bucket.environment("stranger"));
    let mut run = cluster.begin(&["--attempts", "2"]);
    assert!(!run.ended_well());
    let said = run.said();
    assert!(
        said.contains("(try 2 of 2") && said.contains("cannot fetch s3://logs/logs/"),
        "{said}"
    );
    assert!(said.contains("0 of 5 logs are read and kept, no report was written"), "{said}");
    out.kill();
    let executor = fetching(&cluster, "s3://logs/logs", &bucket.environment("executor"));
    cluster.run(&[]);
    assert_eq!(executor.logs_read(), LOGS);
    let facts = cluster.left().into_iter().filter(|(name, _)| is_facts(name));
    let wanted = expected.into_iter().filter(|(name, _)| is_facts(name));
    assert!(facts.eq(wanted), "other facts are kept");

    // Nor does a client without a key get as far as a job.
    cluster.client_environment = bucket.environment("stranger");
    let mut run = cluster.begin(&[]);
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("`bus_logs`: cannot list `s3://logs/logs`"), "{said}");
}
