//! buswitness: the map of the house.
pub mod conditions;
pub mod facts;
pub mod incidents;
pub mod numerics;
pub mod observe;
pub mod pipeline;
pub mod protocol;
pub mod read;
pub mod rehearse;
pub mod reports;
pub mod suspects;
pub mod vocabulary;
