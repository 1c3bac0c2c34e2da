//! One binary for all integration tests; each file below tests one promise.

mod rehearse;
