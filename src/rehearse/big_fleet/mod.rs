//! A large fleet's facts, straight as tables: a load for the ranking and the batch view.
//!
//! Out: folders `facts/part-NNNN` of a thousand vehicles each, with Parquet tables of what two years of
//! reading would have left (`vehicles`, `modules`, `reports`, `starts`, `presences`, `silences`), the
//! network descriptions, a pipeline file for each view, and `truth.json`. Modules fail at one rate a month
//! but for one bad batch, which fails three times as often. Here nothing is simulated on the wire: for
//! that there are scenarios. The same seed gives the same bytes at any number of threads.

mod life;
mod tables;

use std::path::Path;

use rayon::prelude::*;
use serde::Serialize;

use life::{Lived, Plan, live};
use tables::Tables;

use super::RehearseError;
use super::invented_network::invent;
use super::output::Ready;
use super::papers::description;

/// Vehicles of a part.
const PART: u32 = 1_000;
/// Models of the fleet.
const NETWORKS: [&str; 2] = ["N1", "N2"];
/// The node whose batch is bad; every invented network has it.
const BAD_NODE: &str = "gateway";
/// Its batch.
const BAD_BATCH: &str = "GA24M03";

#[derive(Serialize)]
struct Truth {
    vehicles: u32,
    failed_modules: u64,
    bad_node: &'static str,
    bad_batch: &'static str,
    bad_batch_units: u64,
    bad_batch_failures: u64,
    rate_ratio: f64,
}

/// Writes the facts of `vehicles` vehicles below `out`. Gives how many modules failed.
///
/// # Errors
/// When a table cannot be put together or a file cannot be written.
pub fn big_fleet(seed: u64, vehicles: u32, out: &Path) -> Result<u64, RehearseError> {
    big_fleet_in_parts(seed, vehicles, PART, out)
}

/// [`big_fleet`] with another number of vehicles in a part; the vehicles are the same.
///
/// # Errors
/// As there.
pub fn big_fleet_in_parts(
    seed: u64,
    vehicles: u32,
    of_part: u32,
    out: &Path,
) -> Result<u64, RehearseError> {
    let of_part = of_part.max(1);
    let networks = NETWORKS.map(|name| invent(seed, name));
    let plan = Plan { seed, networks: &networks, bad_node: BAD_NODE, bad_batch: BAD_BATCH };
    let parts: Vec<u32> = (0..vehicles.div_ceil(of_part)).collect();
    let counts: Vec<Result<[u64; 3], RehearseError>> = parts
        .into_par_iter()
        .map(|part| {
            let mut tables = Tables::default();
            let mut counts = [0; 3];
            for number in part * of_part..vehicles.min((part + 1).saturating_mul(of_part)) {
                let lived: Lived = live(&plan, number);
                for (count, more) in counts.iter_mut().zip(lived.counts) {
                    *count += more;
                }
                tables.add(&lived);
            }
            for (name, bytes) in tables.files()? {
                let path = format!("facts/part-{part:04}/{name}.parquet");
                Ready { path, bytes }.write(out)?;
            }
            Ok(counts)
        })
        .collect();
    let mut all = [0; 3];
    for counts in counts {
        for (sum, more) in all.iter_mut().zip(counts?) {
            *sum += more;
        }
    }
    let [failed_modules, bad_batch_units, bad_batch_failures] = all;
    let truth = Truth {
        vehicles,
        failed_modules,
        bad_node: BAD_NODE,
        bad_batch: BAD_BATCH,
        bad_batch_units,
        bad_batch_failures,
        rate_ratio: life::BAD_RATIO,
    };
    let file = |path: String, bytes: Vec<u8>| Ready { path, bytes }.write(out);
    file("truth.json".to_owned(), serde_json::to_vec_pretty(&truth)?)?;
    for network in &networks {
        file(format!("networks/{}.toml", network.name), description(network).into_bytes())?;
    }
    for view in ["fleet", "batches"] {
        let text = format!(
            "# A rehearsed fleet of {vehicles} vehicles: all invented.\ntitle = \"Rehearsed fleet of {vehicles}\"\n\
             view = \"{view}\"\n\n[inputs]\nfacts = [\"facts/*/*.parquet\"]\nnetworks = [\"networks/*.toml\"]\n\n\
             [output]\nfolder = \"out-{view}\"\nformats = [\"json\", \"csv\"]\n"
        );
        file(format!("{view}.toml"), text.into_bytes())?;
    }
    Ok(failed_modules)
}
