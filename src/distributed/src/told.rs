//! What the roles say on standard error: their own lines, and the engine's warnings.

use std::io::Write as _;

/// One line on standard error.
pub(crate) fn say(who: &str, what: &str) {
    // Nobody is left to tell when standard error is closed.
    let _ = writeln!(std::io::stderr(), "{who}: {what}");
}

/// Prints what the engine warns of.
struct Warnings;

impl log::Log for Warnings {
    fn enabled(&self, about: &log::Metadata<'_>) -> bool {
        about.level() <= log::max_level()
    }

    fn log(&self, record: &log::Record<'_>) {
        if self.enabled(record.metadata()) {
            let level = record.level().as_str().to_lowercase();
            say(&format!("engine, {level}"), &record.args().to_string());
        }
    }

    fn flush(&self) {}
}

/// From now on the engine's warnings (with `all`, all that it does) are printed.
pub(crate) fn listen(all: bool) {
    static WARNINGS: Warnings = Warnings;
    let most = if all { log::LevelFilter::Info } else { log::LevelFilter::Warn };
    if log::set_logger(&WARNINGS).is_ok() {
        log::set_max_level(most);
    }
}
