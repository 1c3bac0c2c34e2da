//! buswitness: the map of the house.
pub mod conditions;
pub mod incidents;
pub mod observe;
pub mod pipeline;
pub mod protocol;
pub mod read;
pub mod suspects;
pub mod vocabulary;
