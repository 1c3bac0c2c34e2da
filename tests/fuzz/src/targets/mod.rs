//! What can be fuzzed. A target is a function over any bytes that panics when a law is broken; its
//! seeds stand in `seeds/NAME/`, at least one file.

mod bus_logs;
mod other_logs;
mod packed;
mod protocol;
mod reports;
mod small_files;
mod texts;

use std::sync::Arc;

/// A target.
pub type Target = fn(&[u8]);

/// All targets by name, in the order of the way of the data.
pub const TARGETS: [(&str, Target); 25] = [
    ("packed", packed::packed),
    ("recognising", packed::recognising),
    ("text_log", bus_logs::text_log),
    ("observed", bus_logs::observed),
    ("capture", other_logs::capture),
    ("log_table", other_logs::log_table),
    ("arrow_stream", other_logs::arrow_stream),
    ("arrow_file", other_logs::arrow_file),
    ("parquet", other_logs::parquet),
    ("mdf", other_logs::mdf),
    ("free_form", reports::free_form),
    ("scan_json", small_files::scan_json),
    ("scan_table", small_files::scan_table),
    ("weather", small_files::weather),
    ("vehicles", small_files::vehicles),
    ("modules", small_files::modules),
    ("service", small_files::service),
    ("network", small_files::network),
    ("pipeline", small_files::pipeline),
    ("times", texts::times),
    ("trouble_codes", texts::trouble_codes),
    ("frames", protocol::frames),
    ("iso_tp", protocol::iso_tp_frames),
    ("payload", protocol::payload),
    ("transport", protocol::transport_frames),
];

/// The target of a name.
pub fn named(name: &str) -> Option<Target> {
    TARGETS.iter().find(|(known, _)| *known == name).map(|(_, target)| *target)
}

/// The file name that the targets give.
fn file() -> Arc<str> {
    "any".into()
}

/// The first byte as a number from 1 to `most`, and the bytes behind it: what varies beside the input.
fn choice(data: &[u8], most: usize) -> (usize, &[u8]) {
    data.split_first().map_or((1, data), |(first, rest)| (1 + usize::from(*first) % most, rest))
}
