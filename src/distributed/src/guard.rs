//! What an executor runs: plans of ours in the forms that the client sends, and no other. The engine could
//! read any file that a plan names; such plans end here, before anything of them is run.

use std::any::Any;
use std::sync::Arc;
use std::time::Duration;

use ballista_core::JobId;
use ballista_core::execution_plans::sort_shuffle::SortShuffleWriterExec;
use ballista_core::execution_plans::{ShuffleReaderExec, ShuffleWriterExec};
use ballista_executor::execution_engine::{
    DefaultExecutionEngine, ExecutionEngine, QueryStageExecutor,
};
use datafusion::datasource::memory::MemorySourceConfig;
use datafusion::datasource::source::DataSourceExec;
use datafusion::error::Result;
use datafusion::physical_expr::expressions::Column;
use datafusion::physical_plan::ExecutionPlan;
use datafusion::physical_plan::aggregates::{AggregateExec, AggregateMode};
use datafusion::prelude::SessionConfig;

use crate::bounded::Bounded;
use crate::node::{Node, Task, refused};
use crate::told::say;

/// The engine's own way to run a stage, behind the check.
pub(crate) struct Guard {
    /// The name of the executor, for messages.
    name: String,
    /// How long a task that waits for others' counts may take: the counts are small.
    longest: Duration,
    engine: DefaultExecutionEngine,
}

/// The stages that a plan of ours has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// Logs are watched.
    Watch,
    /// Stored facts are counted.
    Count,
    /// Counts are brought together.
    Together,
    /// Stored facts are put to the pieces of vehicles.
    Bring,
    /// Vehicles are weighed.
    Weigh,
}

impl Guard {
    pub(crate) fn new(name: &str, longest: Duration) -> Guard {
        Guard { name: name.to_owned(), longest, engine: DefaultExecutionEngine::default() }
    }
}

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
        let ours = stage_of(&plan, &job).ok_or_else(|| {
            refused("a plan that does more than watch logs, count facts and weigh vehicles")
        })?;
        let engine = &self.engine;
        let stage =
            engine.create_query_stage_exec(job, stage, task, partitions, plan, work, config)?;
        if ours != Stage::Together {
            return Ok(stage);
        }
        say(&self.name, "brings counts together");
        Ok(Arc::new(Bounded { stage, longest: self.longest }))
    }
}

/// Which stage of ours this is.
fn stage_of(plan: &Arc<dyn ExecutionPlan>, job: &JobId) -> Option<Stage> {
    let below = only_child(plan)?;
    if plan.is::<SortShuffleWriterExec>() {
        if let Some(task) = task_over_a_list(below) {
            return (task == Task::Bring).then_some(Stage::Bring);
        }
        let counts = summed(below, &[AggregateMode::Partial])?;
        return (task_over_a_list(counts)? == Task::Count).then_some(Stage::Count);
    }
    if !plan.is::<ShuffleWriterExec>() {
        return None;
    }
    if let Some(task) = task_over_a_list(below) {
        return (task == Task::Watch).then_some(Stage::Watch);
    }
    let last = [AggregateMode::Final, AggregateMode::FinalPartitioned];
    let (reader, stage) = match below.downcast_ref::<Node>() {
        Some(node) if node.task == Task::Weigh => (only_child(below)?, Stage::Weigh),
        Some(_) => return None,
        None => (summed(below, &last)?, Stage::Together),
    };
    let reader = reader.downcast_ref::<ShuffleReaderExec>()?;
    // What the same job has left on the executors, and nothing else that lies there.
    let own = reader.partition.iter().flatten().all(|place| place.partition_id.job_id == *job);
    own.then_some(stage)
}

/// What is summed up, when all that is done is to sum up by columns.
fn summed<'a>(
    plan: &'a Arc<dyn ExecutionPlan>,
    modes: &[AggregateMode],
) -> Option<&'a Arc<dyn ExecutionPlan>> {
    let sums = plan.downcast_ref::<AggregateExec>()?;
    let plain = modes.contains(sums.mode())
        && sums.group_expr().expr().iter().all(|(by, _)| by.is::<Column>())
        && sums.filter_expr().iter().all(Option::is_none)
        && sums.aggr_expr().iter().all(|one| {
            one.fun().name() == "sum" && one.expressions().iter().all(|of| of.is::<Column>())
        });
    plain.then(|| only_child(plan)).flatten()
}

/// The task of our node, over a list in memory.
fn task_over_a_list(plan: &Arc<dyn ExecutionPlan>) -> Option<Task> {
    let node = plan.downcast_ref::<Node>()?;
    let source = only_child(plan)?.downcast_ref::<DataSourceExec>()?;
    let source: &dyn Any = source.data_source().as_ref();
    source.is::<MemorySourceConfig>().then_some(node.task)
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
    use crate::{recount, weighing};
    use ballista_core::execution_plans::sort_shuffle::SortShuffleConfig;
    use buswitness::pipeline::Load;
    use datafusion::physical_plan::Partitioning;
    use datafusion::physical_plan::coalesce_partitions::CoalescePartitionsExec;
    use datafusion::physical_plan::empty::EmptyExec;
    use datafusion::physical_plan::{ChildrenPropertiesMode, ReplaceChildrenOptions};

    fn job() -> JobId {
        JobId::from("job")
    }

    fn written(plan: Arc<dyn ExecutionPlan>) -> Arc<dyn ExecutionPlan> {
        Arc::new(ShuffleWriterExec::try_new(job(), 1, plan, String::new()).expect("a writer"))
    }

    fn shared_out(plan: Arc<dyn ExecutionPlan>) -> Arc<dyn ExecutionPlan> {
        let by = Partitioning::Hash(vec![Arc::new(Column::new("vehicle", 0))], 3);
        let config = SortShuffleConfig::default();
        let work = String::new();
        let writer = SortShuffleWriterExec::try_new(job(), 1, plan, work, by, config);
        Arc::new(writer.expect("a writer"))
    }

    #[test]
    fn only_the_clients_plans_are_run() {
        let ours = Node::plan(Task::Watch, &[vec![1]], 1).expect("a plan");
        let stage = |plan: Arc<dyn ExecutionPlan>| stage_of(&plan, &job());
        assert_eq!(stage(written(Arc::clone(&ours))), Some(Stage::Watch));
        assert_eq!(stage(Arc::clone(&ours)), None, "no writer");
        assert_eq!(stage(shared_out(Arc::clone(&ours))), None, "another writer");
        let empty: Arc<dyn ExecutionPlan> = Arc::new(EmptyExec::new(ours.schema()));
        assert_eq!(stage(written(Arc::clone(&empty))), None);
        assert_eq!(stage(written(Arc::new(CoalescePartitionsExec::new(ours)))), None);
        let over_empty = Node::new(Task::Watch, empty, (String::new(), Arc::default()), None);
        assert_eq!(stage(written(Arc::new(over_empty))), None);
    }

    #[test]
    fn counting_has_two_stages_and_reads_its_own_job() {
        let together = recount::plan(&[vec![1]]).expect("a plan");
        let shared = Arc::clone(only_child(&together).expect("shares"));
        let own = Arc::clone(only_child(&shared).expect("sums"));
        let stage = |plan: Arc<dyn ExecutionPlan>| stage_of(&plan, &job());
        assert_eq!(stage(shared_out(Arc::clone(&own))), Some(Stage::Count));
        assert_eq!(stage(written(Arc::clone(&own))), None, "another writer");
        assert_eq!(stage(written(Arc::clone(&together))), None, "both stages in one");
        let over = |locations| {
            let by = shared.properties().partitioning.clone();
            let reader = ShuffleReaderExec::try_new(1, locations, own.schema(), by);
            let reader: Arc<dyn ExecutionPlan> = Arc::new(reader.expect("a reader"));
            let anew = ReplaceChildrenOptions::new(ChildrenPropertiesMode::Recompute);
            let plan = Arc::clone(&together).replace_children(vec![reader], anew).expect("a plan");
            stage(written(plan))
        };
        assert_eq!(over(vec![Vec::new(); 16]), Some(Stage::Together));
        let mut foreign = vec![Vec::new(); 16];
        foreign[3].push(place("another"));
        assert_eq!(over(foreign), None);
        let mut ours = vec![Vec::new(); 16];
        ours[3].push(place("job"));
        assert_eq!(over(ours), Some(Stage::Together));
    }

    #[test]
    fn weighing_has_two_stages_and_reads_its_own_job() {
        let load = Load { basis: vec![1], pieces: vec![vec![1]], vehicles: 3 };
        let weigh = weighing::plan(&load).expect("a plan");
        let shared = Arc::clone(only_child(&weigh).expect("shares"));
        let bring = Arc::clone(only_child(&shared).expect("brings"));
        let stage = |plan: Arc<dyn ExecutionPlan>| stage_of(&plan, &job());
        assert_eq!(stage(shared_out(Arc::clone(&bring))), Some(Stage::Bring));
        assert_eq!(stage(written(Arc::clone(&bring))), None, "another writer");
        assert_eq!(stage(written(Arc::clone(&weigh))), None, "both stages in one");
        let over = |locations| {
            let by = shared.properties().partitioning.clone();
            let reader = ShuffleReaderExec::try_new(1, locations, bring.schema(), by);
            let reader: Arc<dyn ExecutionPlan> = Arc::new(reader.expect("a reader"));
            let anew = ReplaceChildrenOptions::new(ChildrenPropertiesMode::Recompute);
            let plan = Arc::clone(&weigh).replace_children(vec![reader], anew).expect("a plan");
            (stage(written(Arc::clone(&plan))), stage(shared_out(plan)))
        };
        assert_eq!(over(vec![vec![place("job")]; 3]), (Some(Stage::Weigh), None));
        assert_eq!(over(vec![Vec::new(), vec![place("another")], Vec::new()]), (None, None));
    }

    /// A result of a job on some executor.
    fn place(job: &str) -> ballista_core::serde::scheduler::PartitionLocation {
        use ballista_core::serde::scheduler::{
            ExecutorMetadata, ExecutorOperatingSystemSpecification, ExecutorSpecification,
            PartitionId, PartitionLocation, PartitionStats,
        };
        PartitionLocation {
            map_partition_id: 0,
            partition_id: PartitionId::new(&JobId::from(job), 1, 3),
            executor_meta: ExecutorMetadata {
                id: "one".to_owned(),
                host: "localhost".to_owned(),
                port: 1,
                grpc_port: 1,
                specification: ExecutorSpecification::default(),
                os_info: ExecutorOperatingSystemSpecification::default(),
            },
            partition_stats: PartitionStats::default(),
            file_id: Some(1),
            is_sort_shuffle: true,
        }
    }
}
