//! Of the pipeline only the check of its file, which reads text and touches no disk.

#[path = "../../../src/pipeline/plan/mod.rs"]
pub mod plan;
