//! A pipeline file becomes a checked plan; the stages are run in order.
pub mod plan;
