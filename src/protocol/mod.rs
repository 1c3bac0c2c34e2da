//! What bytes and texts mean by open standards.
pub mod trouble_codes;
