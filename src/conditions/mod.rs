//! Each start's temperature, moisture, soak, supply; how risk depends on them.
mod exposure;
pub use exposure::{ConditionRisk, Exposure, Sourced};
