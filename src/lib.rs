//! buswitness: the map of the house.
pub mod conditions;
pub mod incidents;
pub mod observe;
pub mod read;
pub mod rehearse;
pub mod suspects;
pub mod vocabulary;
