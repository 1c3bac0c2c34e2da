//! Whether the supply of a start was low, for a system of 12 V or of 24 V.
//!
//! In: the supply voltages of a vehicle, from logs and reports. Out: which system it has, and
//! whether the lowest voltage of a start is below what modules of such a system are built for.
//! Refuses to say without a voltage.

use super::exposure::Sourced;
use crate::numerics::centre::quantile;
use crate::read::ScanReport;
use crate::vocabulary::Instant;

/// Below this modules of a 12 V system may reset while the engine is cranked, volts.
const LOW_12_V: f64 = 10.5;
/// The same of a 24 V system: trucks dip to 12 to 18 V while cranking (common practice, no source).
const LOW_24_V: f64 = 18.0;
/// A system that reaches this much at its better times has 24 V: one of 12 V is charged with at most
/// about 15 V.
const ONLY_24_V: f64 = 18.0;
/// The better times: this share of the readings lies below. Not the highest reading, since a 12 V
/// vehicle may once be jump-started from 24 V.
const BETTER: f64 = 0.9;

/// The supply system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum System {
    /// Nominal 12 V.
    Twelve,
    /// Nominal 24 V.
    TwentyFour,
}

impl System {
    /// By all voltages known of a vehicle; of 12 V when none is.
    pub(super) fn of(logged: &[(Instant, f64)], reports: &[ScanReport]) -> System {
        let reported = reports.iter().filter_map(|report| report.battery_v);
        let all: Vec<f64> = logged
            .iter()
            .map(|(_, volts)| *volts)
            .chain(reported)
            .filter(|volts| volts.is_finite())
            .collect();
        match quantile(&all, BETTER) {
            Some(volts) if volts > ONLY_24_V => System::TwentyFour,
            _ => System::Twelve,
        }
    }
}

/// Whether the lowest voltage of a start is low.
pub(super) fn low_supply(lowest: Option<&Sourced>, system: System) -> Option<bool> {
    let limit = match system {
        System::Twelve => LOW_12_V,
        System::TwentyFour => LOW_24_V,
    };
    lowest.map(|lowest| lowest.value < limit)
}
