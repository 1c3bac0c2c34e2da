//! Fuzz targets: every reader and decoder, each with the laws that must hold for any bytes.
//!
//! The stages are compiled into this library from their sources, without the tables, analytics and
//! reports behind them: instrumented builds stay small. `targets` lists what can be fuzzed.

pub mod targets;

// The stages, in their order.
#[path = "../../../src/numerics/mod.rs"]
pub mod numerics;
#[path = "../../../src/observe/mod.rs"]
pub mod observe;
pub mod pipeline;
#[path = "../../../src/protocol/mod.rs"]
pub mod protocol;
// The facts stage, which is not compiled here, asks it to check Parquet files.
#[allow(dead_code, unused_imports, reason = "the facts stage uses it")]
#[path = "../../../src/read/mod.rs"]
pub mod read;
#[path = "../../../src/vocabulary/mod.rs"]
pub mod vocabulary;
