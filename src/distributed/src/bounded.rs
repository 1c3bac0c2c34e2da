//! A stage that ends in time, one way or the other. The engine lets a task wait for another executor's results as
//! long as it takes, also when its job is cancelled; whoever waits has a core taken, and new jobs would wait too.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use ballista_core::serde::protobuf::{
    RuntimeStatsReport, ShuffleWritePartition, TaskColumnStats, WindowStateReport,
};
use ballista_executor::execution_engine::QueryStageExecutor;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::TaskContext;
use datafusion::physical_plan::metrics::MetricsSet;

/// A stage of the engine's, and how long a task of it may take.
#[derive(Debug)]
pub(crate) struct Bounded {
    pub stage: Arc<dyn QueryStageExecutor>,
    pub longest: Duration,
}

impl fmt::Display for Bounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.stage.fmt(f)
    }
}

#[async_trait]
impl QueryStageExecutor for Bounded {
    async fn execute_query_stage(
        &self,
        task: usize,
        context: Arc<TaskContext>,
    ) -> Result<Vec<ShuffleWritePartition>> {
        let done = self.stage.execute_query_stage(task, context);
        match tokio::time::timeout(self.longest, done).await {
            Ok(done) => done,
            Err(_) => Err(DataFusionError::Execution(format!(
                "results of other executors did not come in {} s",
                self.longest.as_secs()
            ))),
        }
    }

    fn collect_plan_metrics(&self) -> Vec<MetricsSet> {
        self.stage.collect_plan_metrics()
    }

    fn collect_runtime_stats_reports(&self) -> Vec<RuntimeStatsReport> {
        self.stage.collect_runtime_stats_reports()
    }

    fn collect_window_state_reports(&self) -> Result<Vec<WindowStateReport>> {
        self.stage.collect_window_state_reports()
    }

    fn collect_column_stats(&self) -> Vec<TaskColumnStats> {
        self.stage.collect_column_stats()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stage that never ends.
    #[derive(Debug)]
    struct Endless;

    impl fmt::Display for Endless {
        fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("endless")
        }
    }

    #[async_trait]
    impl QueryStageExecutor for Endless {
        async fn execute_query_stage(
            &self,
            _: usize,
            _: Arc<TaskContext>,
        ) -> Result<Vec<ShuffleWritePartition>> {
            futures::future::pending().await
        }

        fn collect_plan_metrics(&self) -> Vec<MetricsSet> {
            Vec::new()
        }
    }

    #[test]
    fn a_stage_without_end_fails() {
        let bounded = Bounded { stage: Arc::new(Endless), longest: Duration::from_millis(1) };
        let runtime = crate::scheduler::runtime().expect("a runtime");
        let outcome = runtime.block_on(bounded.execute_query_stage(0, Arc::default()));
        let error = outcome.expect_err("it has no end").to_string();
        assert!(error.contains("did not come in"), "{error}");
    }
}
