//! One binary for all integration tests; each module below tests one promise.
//!
//! Modules are folders, so that cargo takes none of them for a binary of its own.

/// The stages look back, never forward; one door for reading, few for writing.
mod dependency_direction;

/// Running the program in folders of its own, and looking at what it leaves there.
mod program;

/// Cases as data: files, a command line, what must come of it.
mod whole_program;

/// The same inputs give the same bytes at any number of threads.
mod same_bytes;

/// The same reports whoever watches and weighs.
mod elsewhere;

/// The week of a fleet, and what a run keeps for the next.
mod weekly;

/// The sample logs against their truth.
mod sample_logs;

/// The committed reports are what the program writes today.
mod committed_reports;

/// Bus logs in every format.
mod formats;

/// Captures from real vehicles, where they are at hand.
mod captures;

/// Laws that hold for any input.
mod properties;

/// Reports of unknown layout against their truth.
mod free_form;

/// The pages in a real browser.
mod browser;

/// Rehearsals as a whole.
mod rehearse;

/// Schemas, columns, help, manual, README and guide.
mod documents;

/// An interrupt leaves nothing half-written.
mod interrupt;
/// What takes too long for every run: ignored, and run by `.ci/run` in a step of its own.
mod slow;

/// What became of repairs, and of modules taken off for a while.
mod repair_states;
