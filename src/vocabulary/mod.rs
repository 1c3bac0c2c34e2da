//! The words every stage shares: types without work.
//!
//! In: nothing. Out: the names, times, identifiers, places and suspects that all
//! other folders speak in. Nothing here opens a file, parses a format or computes a statistic.

mod finishing;
mod identifier;
mod instant;
mod network;
mod place;
mod suspect;
mod trouble_code;
mod words;

pub use finishing::{Finishing, NoneUnderWay, none_under_way};
pub use identifier::Identifier;
pub use instant::{Instant, NANOS_PER_SECOND, seconds};
pub use network::{Branch, Bus, Network, Node, Sent};
pub use place::{Place, Reject, Spot};
pub use suspect::{Mechanism, Suspect, Verdict};
pub use trouble_code::{Code, CodeStatus, ParameterCode, TroubleCode};
pub use words::{Word, maybe_word, word, words};
