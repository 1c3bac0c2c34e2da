//! What is refused, and how clearly.

use std::fs;
use std::sync::Arc;
use std::time::Duration;

use ballista_core::serde::BallistaPhysicalExtensionCodec;
use ballista_core::serde::protobuf::execute_query_params::Query;
use ballista_core::serde::protobuf::scheduler_grpc_client::SchedulerGrpcClient;
use ballista_core::serde::protobuf::{
    ExecuteQueryParams, GetJobStatusParams, execute_query_result, job_status,
};
use ballista_core::version::insert_version_header;
use datafusion::arrow::datatypes::Schema;
use datafusion::logical_expr::LogicalPlanBuilder;
use datafusion::physical_plan::empty::EmptyExec;
use datafusion_proto::bytes::logical_plan_to_bytes;
use datafusion_proto::physical_plan::AsExecutionPlan;
use datafusion_proto::protobuf::PhysicalPlanNode;

use crate::harness::{Cluster, free_port, large_logs, started, until};

/// What becomes of a plan that somebody sends to the scheduler.
fn fate(port: u16, query: Query) -> String {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.expect("a runtime").block_on(async {
        let url = format!("http://127.0.0.1:{port}");
        let mut scheduler = SchedulerGrpcClient::connect(url).await.expect("the scheduler");
        let mut request = tonic::Request::new(ExecuteQueryParams {
            session_id: "somebody".to_owned(),
            query: Some(query),
            ..ExecuteQueryParams::default()
        });
        insert_version_header(request.metadata_mut());
        let answer = scheduler.execute_query(request).await.expect("an answer").into_inner();
        let job = match answer.result {
            Some(execute_query_result::Result::Success(job)) => job.job_id,
            other => return format!("{other:?}"),
        };
        for _ in 0..300 {
            let asked = GetJobStatusParams { job_id: job.clone() };
            let status = scheduler.get_job_status(asked).await.expect("a status").into_inner();
            match status.status.and_then(|status| status.status) {
                Some(job_status::Status::Failed(failed)) => return failed.error,
                Some(job_status::Status::Successful(_)) => return "done".to_owned(),
                _ => tokio::time::sleep(Duration::from_millis(100)).await,
            }
        }
        "nothing in 30 s".to_owned()
    })
}

#[test]
fn plans_that_are_not_ours_are_never_run() {
    let cluster = Cluster::new(240);
    let executor = cluster.executor(1);
    let empty = Arc::new(EmptyExec::new(Arc::new(Schema::empty())));
    let codec = BallistaPhysicalExtensionCodec::default();
    let mut bytes = Vec::new();
    PhysicalPlanNode::try_from_physical_plan(empty, &codec)
        .and_then(|plan| plan.try_encode(&mut bytes))
        .expect("a plan");
    let became = fate(cluster.port, Query::PhysicalPlan(bytes));
    assert!(became.contains("refused by an executor: a plan that does more"), "{became}");

    let query = LogicalPlanBuilder::empty(true).build().expect("a query");
    let bytes = logical_plan_to_bytes(&query).expect("bytes").to_vec();
    let became = fate(cluster.port, Query::LogicalPlan(bytes));
    assert!(became.contains("takes no queries"), "{became}");
    assert_eq!(executor.logs_read(), 0);

    let became = fate(cluster.port, Query::PhysicalPlan(b"no plan at all".to_vec()));
    assert!(became.contains("Could not parse plan"), "{became}");
}

#[test]
fn an_executor_reads_below_its_folders_only() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, 2, 1_000);
    let other = cluster.at("other");
    fs::create_dir(&other).expect("a folder");
    let executor = cluster.executor_in(&other, cluster.folder.path(), 1);
    let mut run = cluster.begin(&[]);
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("refused by an executor: ") && said.contains("is not below"), "{said}");
    assert!(said.contains("0 of 2 logs are read and kept, no report was written"), "{said}");
    assert_eq!(executor.logs_read(), 0);
    let reports = cluster.left().into_keys().filter(|name| !name.starts_with("facts")).count();
    assert_eq!(reports, 0, "nothing but the store's own list");
}

#[test]
fn every_role_warns_of_a_plain_network() {
    let cluster = Cluster::new(240);
    large_logs(&cluster, 1, 1_000);
    let home = cluster.folder.path();
    let executor = cluster.executor(1);
    let run = cluster.run(&[]);
    for alone in [&cluster.scheduler, &executor, &run] {
        assert!(!alone.said().contains("plain network"), "{}", alone.said());
    }
    cluster.forget();
    let (port, own) = (free_port().to_string(), free_port().to_string());
    // Every address of this machine, and by that this machine.
    let (bind, address) = (format!("0.0.0.0:{port}"), format!("df://0.0.0.0:{port}"));
    let scheduler = started(&["scheduler", "--bind", &bind], home);
    let words = ["executor", "--bind", "0.0.0.0", "--port", &own, "--on", &address, "--work", "w"];
    let executor = started(&[&words[..], &["--logs", "."]].concat(), home);
    until("the executor to listen", || {
        std::net::TcpStream::connect(format!("127.0.0.1:{own}")).is_ok()
    });
    let mut run = started(&["run", "pipeline.toml", "--on", &address], home);
    assert!(run.ended_well(), "{}", run.said());
    assert_eq!(executor.logs_read(), 1);
    for open in [&scheduler, &executor, &run] {
        assert!(open.said().contains("warning: 0.0.0.0 is plain network: no encryption"));
    }
    let own = free_port().to_string();
    let words = ["executor", "--port", &own, "--on", &address, "--work", "x", "--logs", "."];
    let beside = started(&words, home);
    until("a warning of the scheduler's address", || beside.said().contains("plain network"));
}

#[test]
fn a_scheduler_that_is_not_there_is_told_at_once() {
    let mut cluster = Cluster::new(240);
    large_logs(&cluster, 1, 1_000);
    cluster.port = free_port();
    let mut run = cluster.begin(&[]);
    assert!(!run.ended_well());
    let said = run.said();
    assert!(said.contains("does not answer"), "{said}");
    assert!(!cluster.at("out").exists(), "nothing was written");
}
