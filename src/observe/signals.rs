//! Physical values seen in a log, thinned: the first, every clear change, and one a minute.

use crate::protocol::live_values::{Quantity, value};
use crate::read::frames::Frame;
use crate::vocabulary::Instant;

/// A change of this much is kept (the unit of the quantity).
const CLEAR_VOLTS: f64 = 0.3;
const CLEAR_DEGREES: f64 = 1.0;
/// Without a change, one value in this time (nanoseconds).
const EVERY: i64 = 60_000_000_000;
const MOST: usize = 10_000;
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
    last: [Option<Signal>; 3],
}

impl Signals {
    /// Looks at a frame that may bear a value.
    #[cold]
    pub(super) fn frame(&mut self, frame: &Frame, time: Instant) {
        let Some((quantity, value)) = value(frame.id, frame.data, frame.length) else { return };
        let (sound, clear) = match quantity {
            Quantity::SupplyV => (VOLTS.contains(&value), CLEAR_VOLTS),
            Quantity::CoolantC => (COOLANT.contains(&value), CLEAR_DEGREES),
            Quantity::AmbientC => (DEGREES.contains(&value), CLEAR_DEGREES),
        };
        let last = &mut self.last[quantity as usize];
        let same =
            last.is_some_and(|l| (l.value - value).abs() < clear && time.0 - l.time.0 < EVERY);
        if !sound || same || self.kept.len() >= MOST {
            return;
        }
        let signal = Signal { time, quantity, value, line: frame.line };
        *last = Some(signal);
        self.kept.push(signal);
    }
}
