//! The fuzzing engine over one target, named by the environment variable `TARGET`.
#![no_main]

use std::sync::OnceLock;

use buswitness_fuzz::targets::{Target, named};

static CHOSEN: OnceLock<Target> = OnceLock::new();

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let target = CHOSEN.get_or_init(|| {
        let name = std::env::var("TARGET").unwrap_or_default();
        named(&name).unwrap_or_else(|| panic!("TARGET={name} is not one of the targets"))
    });
    target(data);
});
