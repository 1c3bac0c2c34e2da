//! A point in time, in nanoseconds since 1970-01-01 UTC.

use std::fmt;

use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize};

/// Nanoseconds in a second.
pub const NANOS_PER_SECOND: i64 = 1_000_000_000;

/// A point in time: nanoseconds since 1970-01-01T00:00:00Z, leap seconds not counted.
///
/// Prints as RFC 3339 in UTC, with as many decimals (0, 3, 6 or 9) as it needs.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Instant(pub i64);

impl Instant {
    /// Seconds from `earlier` to `self`; negative when `self` is the earlier one.
    #[must_use]
    pub fn seconds_since(self, earlier: Instant) -> f64 {
        seconds(self.0.saturating_sub(earlier.0))
    }

    /// This instant moved by `delta` seconds, kept inside the representable range.
    #[must_use]
    pub fn plus_seconds(self, delta: f64) -> Instant {
        // A float cast saturates at the ends of i64, which is what is wanted here.
        #[expect(clippy::cast_possible_truncation, reason = "saturating by design")]
        let nanos = (delta * 1e9).round() as i64;
        Instant(self.0.saturating_add(nanos))
    }

    /// As a calendar time in UTC.
    #[must_use]
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_nanos(self.0)
    }
}

/// Nanoseconds as seconds. Exact below 2^53 ns (104 days), rounded to the nearest double above.
#[must_use]
pub fn seconds(nanos: i64) -> f64 {
    nanos as f64 / 1e9
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}
