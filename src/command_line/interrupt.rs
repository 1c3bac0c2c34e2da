//! An interrupt (Ctrl-C) or a request to end: what is being put in place is finished, then the program
//! ends with its exit code for that. Elsewhere than on Unix the system ends it.

/// From now on an interrupt ends the program with nothing half-written. Without a thread to spare for
/// it the system's own way stays.
#[cfg(unix)]
pub(super) fn watch() {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;

    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    // Nobody waits for this thread: it ends with the program, or ends the program.
    let _ = std::thread::Builder::new().name("interrupt".to_owned()).spawn(move || {
        if signals.forever().next().is_some() {
            end();
        }
    });
}

/// From now on nothing changes: there are no signals to watch.
#[cfg(not(unix))]
pub(super) fn watch() {}

#[cfg(unix)]
#[expect(
    clippy::exit,
    reason = "threads that read cannot be called back; what they read is kept nowhere"
)]
fn end() {
    use std::io::Write as _;

    let _nothing_begins = crate::vocabulary::none_under_way();
    crate::rehearse::abandon();
    // Nobody is left to tell when standard error is closed.
    let _ = writeln!(std::io::stderr(), "\nbuswitness: interrupted");
    std::process::exit(i32::from(super::exit_codes::INTERRUPTED));
}
