//! Physical values seen in a log, thinned: the first, every clear change, and one a minute.

use crate::protocol::live_values::{Quantity, value};
use crate::read::frames::Frame;
use crate::vocabulary::Instant;

/// A change of this much is kept (the unit of the quantity).
const CLEAR_VOLTS: f64 = 0.3;
const CLEAR_DEGREES: f64 = 1.0;
/// Without a change, one value in this time (nanoseconds).
const EVERY: i64 = 60_000_000_000;
const CLEAR_RPM: f64 = 500.0;
/// Values kept of one quantity.
const MOST: usize = 4_000;
/// What such a sensor can mean (°C, volts); anything else is a fault of the sensor.
const DEGREES: std::ops::RangeInclusive<f64> = -60.0..=70.0;
const COOLANT: std::ops::RangeInclusive<f64> = -60.0..=150.0;
const VOLTS: std::ops::RangeInclusive<f64> = 1.0..=60.0;

/// A kept value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Signal {
    pub time: Instant,
    pub quantity: Quantity,
    pub value: f64,
    pub line: u64,
}

/// Values of one bus.
#[derive(Debug, Default)]
pub(super) struct Signals {
    pub kept: Vec<Signal>,
    last: [Option<Signal>; Quantity::COUNT],
    counts: [usize; Quantity::COUNT],
}

impl Signals {
    /// Looks at a frame that may bear a value.
    #[cold]
    pub(super) fn frame(&mut self, frame: &Frame, time: Instant) {
        if let Some((quantity, value)) = value(frame.id, frame.data, frame.length) {
            self.value(quantity, value, time, frame.line);
        }
    }

    /// Keeps a value that tells something new.
    pub(super) fn value(&mut self, quantity: Quantity, value: f64, time: Instant, line: u64) {
        let place = quantity as usize;
        let last = self.last[place];
        let off = |clear: f64| last.is_none_or(|l| (l.value - value).abs() >= clear);
        let (sound, new) = match quantity {
            Quantity::SupplyV => (VOLTS.contains(&value), off(CLEAR_VOLTS)),
            Quantity::CoolantC | Quantity::IntakeC => {
                (COOLANT.contains(&value), off(CLEAR_DEGREES))
            }
            Quantity::AmbientC => (DEGREES.contains(&value), off(CLEAR_DEGREES)),
            // Whether the engine turns, and coarsely how fast.
            Quantity::EngineRpm => {
                let turns = |v: f64| v > 0.0;
                (true, off(CLEAR_RPM) || last.is_some_and(|l| turns(l.value) != turns(value)))
            }
            // A clock that runs on tells nothing; one that went back does.
            Quantity::EngineRunS => (true, last.is_none_or(|l| value < l.value)),
        };
        let due = last.is_none_or(|l| time.0.saturating_sub(l.time.0) >= EVERY);
        if !sound || !(new || due) || self.counts[place] >= MOST {
            return;
        }
        let signal = Signal { time, quantity, value, line };
        self.last[place] = Some(signal);
        self.counts[place] += 1;
        self.kept.push(signal);
    }
}
