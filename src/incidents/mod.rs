//! Facts become incidents within starts.
mod incident;
mod start;
pub use incident::{Accusation, Disturbed, Incident, SilentNode};
pub use start::Start;
