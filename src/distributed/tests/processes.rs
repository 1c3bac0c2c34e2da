//! The cluster as it is used: a scheduler, executors and the client, each a process of its own on loopback.

mod bucket;
mod faults;
mod figures;
mod harness;
mod objects;
mod recounts;
mod refusals;
mod same_bytes;
mod weighing;
