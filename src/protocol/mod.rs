//! What bytes mean by open standards: trouble codes, J1939, error frames, frame timing.

pub mod error_details;
pub mod error_frames;
pub mod error_states;
pub mod frame_bits;
pub mod frame_timing;
pub mod iso_tp;
#[cfg(test)]
mod iso_tp_tests;
pub mod j1939;
pub mod live_values;
pub mod obd;
pub mod response_times;
pub mod trouble_codes;
pub mod uds;
