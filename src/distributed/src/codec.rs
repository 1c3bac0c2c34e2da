//! Our plan node as bytes and back; all other nodes are the engine's own affair.

use std::sync::Arc;

use ballista_core::serde::BallistaPhysicalExtensionCodec;
use buswitness::facts::facts_form;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::TaskContext;
use datafusion::physical_plan::ExecutionPlan;
use datafusion_proto::physical_plan::{PhysicalExtensionCodec, PhysicalProtoConverterExtension};

use crate::node::{Node, REFUSED, Task, Work};

/// What the bytes of our node begin with, by its task. The engine's begin with the tag of a protobuf field.
/// Behind it stand version and form of the facts, another 0, and the basis.
const MARKS: [(Task, &[u8]); 4] = [
    (Task::Watch, b"\0buswitness watch\0"),
    (Task::Count, b"\0buswitness count\0"),
    (Task::Bring, b"\0buswitness bring\0"),
    (Task::Weigh, b"\0buswitness weigh\0"),
];

/// The codec for scheduler, executors and client alike; only an executor's makes nodes that can work.
#[derive(Debug, Default)]
pub(crate) struct Codec {
    work: Option<Arc<Work>>,
    engine: BallistaPhysicalExtensionCodec,
}

impl Codec {
    /// For an executor.
    pub(crate) fn working(work: Arc<Work>) -> Codec {
        Codec { work: Some(work), engine: BallistaPhysicalExtensionCodec::default() }
    }
}

impl PhysicalExtensionCodec for Codec {
    fn try_decode(
        &self,
        bytes: &[u8],
        inputs: &[Arc<dyn ExecutionPlan>],
        context: &TaskContext,
        converter: &dyn PhysicalProtoConverterExtension,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let marked = |(task, mark)| Some((task, bytes.strip_prefix(mark)?));
        let Some((task, asked)) = MARKS.into_iter().find_map(marked) else {
            return self.engine.try_decode(bytes, inputs, context, converter);
        };
        let mut parts = asked.splitn(2, |byte| *byte == 0);
        let (form, basis) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
        let (form, own) = (String::from_utf8_lossy(form), facts_form());
        if form != own {
            let why = format!(
                "{REFUSED}asked by `{form}`, but this is `{own}`; use one version everywhere"
            );
            return Err(DataFusionError::Execution(why));
        }
        let [input] = inputs else {
            let why = format!("{REFUSED}a plan with {} inputs", inputs.len());
            return Err(DataFusionError::Execution(why));
        };
        Ok(Arc::new(Node::new(task, Arc::clone(input), (own, basis.into()), self.work.clone())))
    }

    fn try_encode(
        &self,
        node: Arc<dyn ExecutionPlan>,
        bytes: &mut Vec<u8>,
        converter: &dyn PhysicalProtoConverterExtension,
    ) -> Result<()> {
        let Some(node) = node.downcast_ref::<Node>() else {
            return self.engine.try_encode(node, bytes, converter);
        };
        let marks = MARKS.iter().filter(|(task, _)| *task == node.task);
        bytes.extend(marks.flat_map(|(_, mark)| *mark));
        bytes.extend(node.form.as_bytes());
        bytes.push(0);
        bytes.extend(&*node.basis);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{recount, weighing};
    use buswitness::pipeline::Load;
    use datafusion::prelude::SessionContext;
    use datafusion_proto::physical_plan::AsExecutionPlan;
    use datafusion_proto::protobuf::PhysicalPlanNode;

    fn there_and_back(bytes: &[u8]) -> Result<Arc<dyn ExecutionPlan>> {
        PhysicalPlanNode::try_decode(bytes)?
            .try_into_physical_plan(&SessionContext::new().task_ctx(), &Codec::default())
    }

    fn sent(plan: Arc<dyn ExecutionPlan>) -> Vec<u8> {
        let mut bytes = Vec::new();
        PhysicalPlanNode::try_from_physical_plan(plan, &Codec::default())
            .and_then(|plan| plan.try_encode(&mut bytes))
            .expect("a plan as bytes");
        bytes
    }

    #[test]
    fn a_plan_comes_with_all_its_orders() {
        for task in [Task::Watch, Task::Count] {
            let ours = Node::plan(task, &[vec![1], vec![2]], 1).expect("a plan");
            let plan = there_and_back(&sent(ours)).expect("a plan");
            assert_eq!(plan.downcast_ref::<Node>().expect("ours").task, task);
            assert_eq!(plan.properties().partitioning.partition_count(), 2);
        }
    }

    #[test]
    fn a_plan_that_weighs_comes_with_its_basis() {
        let pieces = vec![vec![1], vec![2]];
        let load = Load { basis: vec![7, 0, 8], pieces, vehicles: 2 };
        let plan = there_and_back(&sent(weighing::plan(&load).expect("a plan"))).expect("a plan");
        let node = plan.downcast_ref::<Node>().expect("ours");
        assert_eq!((node.task, &*node.basis), (Task::Weigh, &[7, 0, 8][..]));
        assert_eq!(plan.properties().partitioning.partition_count(), 2);
    }

    #[test]
    fn a_plan_that_counts_comes_whole() {
        let ours = recount::plan(&[vec![1], vec![2]]).expect("a plan");
        let plan = there_and_back(&sent(Arc::clone(&ours))).expect("a plan");
        let shown = |plan: &Arc<dyn ExecutionPlan>| {
            datafusion::physical_plan::displayable(plan.as_ref()).indent(true).to_string()
        };
        assert_eq!(shown(&plan), shown(&ours));
    }

    #[test]
    fn another_version_is_refused() {
        let ours = Node::plan(Task::Watch, &[vec![1]], 1).expect("a plan");
        let input = Arc::clone(ours.children()[0]);
        let theirs =
            Node::new(Task::Watch, input, ("buswitness 0.0.1".to_owned(), Arc::default()), None);
        let error = there_and_back(&sent(Arc::new(theirs))).expect_err("refused").to_string();
        assert!(error.contains("asked by `buswitness 0.0.1`"), "{error}");
        assert!(error.contains("use one version everywhere"), "{error}");
    }
}
