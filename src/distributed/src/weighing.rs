//! Vehicles weighed by the engine's own grouping: each executor reads the facts that pieces name, the pieces are
//! brought together by vehicle on all executors, and there each vehicle is weighed.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use buswitness::facts::facts_form;
use buswitness::pipeline::{Amiss, Basis, Load, Piece};
use datafusion::arrow::array::{ArrayRef, LargeBinaryArray, RecordBatch, StringArray, UInt64Array};
use datafusion::arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use datafusion::error::{DataFusionError, Result};
use datafusion::physical_expr::expressions::col;
use datafusion::physical_expr::{Partitioning, PhysicalExpr};
use datafusion::physical_plan::repartition::RepartitionExec;
use datafusion::physical_plan::{ExecutionPlan, SendableRecordBatchStream};
use futures::TryStreamExt;

use crate::folders::Found;
use crate::node::{Node, Task, Work, column, in_parts, refused};
use crate::told::say;

/// Into so many tasks pieces are shared out at least, as long as there are so many, and most that one task reads.
const TASKS: usize = 32;
const TOGETHER: usize = 128;
/// Tasks that weigh, at most.
const SHARES: usize = 16;

/// What goes from one stage to the next: pieces with their facts.
pub(crate) static CARRIED: LazyLock<SchemaRef> = LazyLock::new(|| {
    Arc::new(Schema::new(vec![
        Field::new("vehicle", DataType::Utf8, false),
        Field::new("place", DataType::UInt64, false),
        Field::new("bytes", DataType::LargeBinary, false),
    ]))
});

/// A plan that weighs the vehicles of a load.
pub(crate) fn plan(load: &Load) -> Result<Arc<dyn ExecutionPlan>> {
    let together = (load.pieces.len() / TASKS).clamp(1, TOGETHER);
    let source = Node::plan(Task::Bring, &load.pieces, together)?;
    let vehicle: Arc<dyn PhysicalExpr> = col("vehicle", &source.schema())?;
    let shares = Partitioning::Hash(vec![vehicle], load.vehicles.clamp(1, SHARES));
    let shared = Arc::new(RepartitionExec::try_new(source, shares)?);
    Ok(Arc::new(Node::new(Task::Weigh, shared, (facts_form(), load.basis.as_slice().into()), None)))
}

/// The pieces of a batch with the facts that they name.
pub(crate) fn carried_by(batch: &RecordBatch, work: &Work) -> Result<Vec<RecordBatch>> {
    let pieces: &LargeBinaryArray = column(batch, 1)?;
    let (mut vehicles, mut places, mut carried) = (Vec::new(), Vec::new(), Vec::new());
    for bytes in pieces.iter().flatten() {
        let piece = Piece::from_bytes(bytes).map_err(|why| refused(&why))?;
        carried.push(carry(&piece, work)?);
        vehicles.push(piece.vehicle);
        places.push(piece.place);
    }
    say(&work.name, &format!("brings the facts of {} pieces", batch.num_rows()));
    let columns: Vec<ArrayRef> = vec![
        Arc::new(StringArray::from(vehicles)),
        Arc::new(UInt64Array::from(places)),
        Arc::new(LargeBinaryArray::from_iter_values(carried)),
    ];
    Ok(vec![RecordBatch::try_new(Arc::clone(&CARRIED), columns)?])
}

fn carry(piece: &Piece, work: &Work) -> Result<Vec<u8>> {
    let Some(folder) = piece.entry() else {
        return piece.carried(None).map_err(DataFusionError::Execution);
    };
    let absent = |why: &str| refused(&format!("cannot read {}: {why}", folder.display()));
    match work.folders.find(&folder).map_err(|why| refused(&why))? {
        Found::At(place) => piece.carried(Some(&place)).map_err(|why| absent(&why)),
        Found::Unreachable(why) => Err(absent(&why)),
    }
}

/// All pieces of a share, when they come in time: whoever waits for an executor that stands still would wait for
/// ever, and have its core taken.
pub(crate) async fn all_of(
    pieces: SendableRecordBatchStream,
    patience: Duration,
) -> Result<Vec<RecordBatch>> {
    let late = |_| {
        let seconds = patience.as_secs();
        DataFusionError::Execution(format!("pieces of other executors did not come in {seconds} s"))
    };
    tokio::time::timeout(patience, pieces.try_collect()).await.map_err(late)?
}

/// Weighs the vehicles whose pieces these are.
pub(crate) fn weighed(
    pieces: &[RecordBatch],
    basis: &[u8],
    work: &Work,
) -> Result<Vec<RecordBatch>> {
    let mut vehicles: BTreeMap<(u64, &str), Vec<&[u8]>> = BTreeMap::new();
    for batch in pieces {
        let (names, places) = (column::<StringArray>(batch, 0)?, column::<UInt64Array>(batch, 1)?);
        let carried: &LargeBinaryArray = column(batch, 2)?;
        for row in 0..batch.num_rows() {
            let vehicle = (places.value(row), names.value(row));
            vehicles.entry(vehicle).or_default().push(carried.value(row));
        }
    }
    if vehicles.is_empty() {
        return Ok(Vec::new());
    }
    say(&work.name, &format!("weighs {} vehicles", vehicles.len()));
    let basis = Basis::from_bytes(basis).map_err(|why| refused(&why))?;
    let mut rows = Vec::new();
    for ((place, _), pieces) in &vehicles {
        let weighed = basis.weigh(pieces).map_err(|amiss| match amiss {
            Amiss::Lost(why) => DataFusionError::Execution(why),
            Amiss::Useless(why) => refused(&why),
        })?;
        rows.extend(in_parts(*place, &weighed)?);
    }
    say(&work.name, &format!("weighed {} vehicles", vehicles.len()));
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_shared_out_and_brought_together() {
        for (pieces, vehicles, tasks, shares) in
            [(3, 1, 3, 1), (TASKS + 1, 7, TASKS + 1, 7), (5120, 1024, 40, SHARES)]
        {
            let load = Load { pieces: vec![Vec::new(); pieces], vehicles, ..Load::default() };
            let plan = plan(&load).expect("a plan");
            assert_eq!(plan.properties().partitioning.partition_count(), shares);
            let own = plan.children()[0].children()[0];
            assert_eq!(own.properties().partitioning.partition_count(), tasks);
        }
    }
}
