//! What an executor runs: plans of ours in the one form that the client sends, and no other. The engine could
//! read any file that a plan names; such plans end here, before anything of them is run.

use std::any::Any;
use std::sync::Arc;

use ballista_core::JobId;
use ballista_core::execution_plans::ShuffleWriterExec;
use ballista_executor::execution_engine::{
    DefaultExecutionEngine, ExecutionEngine, QueryStageExecutor,
};
use datafusion::datasource::memory::MemorySourceConfig;
use datafusion::datasource::source::DataSourceExec;
use datafusion::error::{DataFusionError, Result};
use datafusion::physical_plan::ExecutionPlan;
use datafusion::prelude::SessionConfig;

use crate::node::{REFUSED, Watch};

/// The engine's own way to run a stage, behind the check.
#[derive(Default)]
pub(crate) struct Guard(DefaultExecutionEngine);

impl ExecutionEngine for Guard {
    fn create_query_stage_exec(
        &self,
        job: JobId,
        stage: usize,
        task: usize,
        partitions: Vec<usize>,
        plan: Arc<dyn ExecutionPlan>,
        work: &str,
        config: &SessionConfig,
    ) -> Result<Arc<dyn QueryStageExecutor>> {
        if !is_ours(&plan) {
            let why = format!("{REFUSED}a plan that does more than watch logs");
            return Err(DataFusionError::Execution(why));
        }
        self.0.create_query_stage_exec(job, stage, task, partitions, plan, work, config)
    }
}

/// Results written as they come, of our node, over a list in memory.
fn is_ours(plan: &Arc<dyn ExecutionPlan>) -> bool {
    let Some(watch) = plan.downcast_ref::<ShuffleWriterExec>().and_then(|_| only_child(plan))
    else {
        return false;
    };
    let Some(source) = watch.downcast_ref::<Watch>().and_then(|_| only_child(watch)) else {
        return false;
    };
    source.downcast_ref::<DataSourceExec>().is_some_and(|source| {
        let source: &dyn Any = source.data_source().as_ref();
        source.is::<MemorySourceConfig>()
    })
}

fn only_child(plan: &Arc<dyn ExecutionPlan>) -> Option<&Arc<dyn ExecutionPlan>> {
    match plan.children().as_slice() {
        [child] => Some(child),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use datafusion::physical_plan::coalesce_partitions::CoalescePartitionsExec;
    use datafusion::physical_plan::empty::EmptyExec;

    fn written(plan: Arc<dyn ExecutionPlan>) -> Arc<dyn ExecutionPlan> {
        let job = JobId::from("job".to_owned());
        Arc::new(ShuffleWriterExec::try_new(job, 1, plan, String::new()).expect("a writer"))
    }

    #[test]
    fn only_the_clients_plan_is_run() {
        let ours = Watch::plan(&[vec![1]]).expect("a plan");
        assert!(is_ours(&written(Arc::clone(&ours))));
        assert!(!is_ours(&ours), "no writer");
        let empty: Arc<dyn ExecutionPlan> = Arc::new(EmptyExec::new(ours.schema()));
        assert!(!is_ours(&written(Arc::clone(&empty))));
        assert!(!is_ours(&written(Arc::new(CoalescePartitionsExec::new(Arc::clone(&ours))))));
        let over_empty = Watch::new(empty, String::new(), None);
        assert!(!is_ours(&written(Arc::new(over_empty))));
    }
}
