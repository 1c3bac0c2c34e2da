//! The scheduler: the engine's own, told to wait until executors ask for work, and to refuse whatever is no plan
//! of ours.

use std::sync::Arc;

use ballista_core::config::TaskSchedulingPolicy;
use ballista_core::utils::default_session_builder;
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;
use datafusion::common::config::ConfigOptions;
use datafusion::error::{DataFusionError, Result as Outcome};
use datafusion::execution::session_state::SessionStateBuilder;
use datafusion::logical_expr::LogicalPlan;
use datafusion::optimizer::AnalyzerRule;
use datafusion::prelude::SessionConfig;

use crate::codec::Codec;
use crate::node::REFUSED;
use crate::roles::{Scheduler, in_url, open_network};
use crate::told::say;

/// How often executors that gave no word are looked for, in seconds.
const LOOKED: u64 = 3;
/// The largest message: a load of vehicles on the way in, their basis with each of an executor's tasks on the
/// way out.
pub(crate) const LARGEST_MESSAGE: u32 = 256 << 20;
/// How long the results and the state of a job are kept after its end, in seconds.
const RESULTS_KEPT: u64 = 600;
const STATE_KEPT: u64 = 1800;

/// Shares out work until the process is told to end.
pub(crate) fn play(asked: &Scheduler) -> Result<(), String> {
    if let Some(warning) = open_network(&[&in_url(asked.bind.ip())]) {
        say("scheduler", &warning);
    }
    say("scheduler", &format!("at df://{}", asked.bind));
    let config = SchedulerConfig {
        bind_host: asked.bind.ip().to_string(),
        bind_port: asked.bind.port(),
        // An executor that is reading only gives word when it asks for work, which it then does every 5 s.
        scheduling_policy: TaskSchedulingPolicy::PullStaged,
        executor_timeout_seconds: asked.patience,
        no_executors_grace_period_seconds: asked.patience,
        expire_dead_executor_interval_seconds: LOOKED,
        finished_job_data_clean_up_interval_seconds: RESULTS_KEPT,
        finished_job_state_clean_up_interval_seconds: STATE_KEPT,
        grpc_server_max_decoding_message_size: LARGEST_MESSAGE,
        grpc_server_max_encoding_message_size: LARGEST_MESSAGE,
        override_physical_codec: Some(Arc::new(Codec::default())),
        override_session_builder: Some(Arc::new(|config: SessionConfig| {
            let state = default_session_builder(config)?;
            let refusing = SessionStateBuilder::from(state);
            Ok(refusing.with_analyzer_rules(vec![Arc::new(NoQueries)]).build())
        })),
        ..SchedulerConfig::default()
    };
    runtime()?
        .block_on(async {
            let cluster = BallistaCluster::new_from_config(&config).await?;
            start_server(cluster, asked.bind, Arc::new(config)).await
        })
        .map_err(|e| e.to_string())
}

/// The threads on which the engine's messages go.
pub(crate) fn runtime() -> Result<tokio::runtime::Runtime, String> {
    let mut threads = tokio::runtime::Builder::new_multi_thread();
    threads.enable_all().build().map_err(|e| format!("cannot start threads: {e}"))
}

/// Ends every query before it is planned: a query could name any file.
#[derive(Debug)]
struct NoQueries;

impl AnalyzerRule for NoQueries {
    fn analyze(&self, _: LogicalPlan, _: &ConfigOptions) -> Outcome<LogicalPlan> {
        Err(DataFusionError::Plan(format!("{REFUSED}this scheduler takes no queries")))
    }

    fn name(&self) -> &'static str {
        "no_queries"
    }
}
