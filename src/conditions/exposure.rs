//! An exposure: a start with its conditions, whether or not an incident happened in it.

use serde::{Deserialize, Serialize};

use crate::vocabulary::{Instant, Place, Word, word};

/// A value with where it came from and how old it was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sourced {
    /// The value in the unit of its field.
    pub value: f64,
    /// `log`, `report` or `weather`.
    #[serde(deserialize_with = "word")]
    pub source: Word,
    /// Seconds between the value and the start; positive when the value is older than the start.
    pub age_s: f64,
}

/// One start of one vehicle as a trial: the denominator of every risk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// The vehicle.
    pub vehicle: String,
    /// First frame after sleep; or the time of a report less its `since_start_s`.
    pub start: Instant,
    /// Last frame, or the time of the report.
    pub end: Instant,
    /// Whether a log covers this start.
    pub logged: bool,
    /// How many incidents happened in it.
    pub incidents: u32,
    /// Whether it could have shown an incident (false: logger too lossy and no report).
    pub judged: bool,
    /// Ambient temperature, °C.
    pub ambient_c: Option<Sourced>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<Sourced>,
    /// Temperature less dew point, K.
    pub dew_spread_k: Option<f64>,
    /// Precipitation in the 12 whole hours before the start, mm.
    pub rain_12h_mm: Option<f64>,
    /// Wet: rain in the hours before, or air close to its dew point. `None` when neither is known.
    pub wet: Option<bool>,
    /// Washed in the 12 hours before, by the service notes. `None` unless washes are noted both
    /// before and after the start: that none was noted says nothing where nobody notes them.
    pub washed: Option<bool>,
    /// Seconds since the end of the start before; `None` when that is not known.
    pub soak_s: Option<f64>,
    /// First start of the local day, when starts are logged without gaps.
    pub first_of_day: Option<bool>,
    /// Lowest supply voltage, volts.
    pub supply_v: Option<Sourced>,
    /// Whether that is too low for the system, which is one of 12 V or of 24 V.
    pub low_supply: Option<bool>,
    /// Odometer by the readings around the start, km.
    pub odometer_km: Option<f64>,
    /// In the upper half of the odometer's range over the vehicle's starts; `None` too where that
    /// range is so short that it means nothing.
    pub late: Option<bool>,
    /// Where the start was read.
    pub place: Place,
}

/// How the risk of an incident depends on one condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ConditionRisk {
    /// The condition, as in `ambient_c < 2`.
    pub condition: String,
    /// Starts with the condition that had an incident.
    pub incidents_with: u32,
    /// Starts with the condition.
    pub starts_with: u32,
    /// Starts without the condition that had an incident.
    pub incidents_without: u32,
    /// Starts without the condition.
    pub starts_without: u32,
    /// Risk ratio; where no start without the condition had an incident, the ratio of the posterior
    /// means. `None` when it is not defined.
    pub risk_ratio: Option<f64>,
    /// Lower end of the 95 % score interval.
    pub low: Option<f64>,
    /// Upper end; `None` when unbounded.
    pub high: Option<f64>,
    /// Two-sided mid-P of the exact test, or the p-value of the circular shift test where there are
    /// starts enough for one and it is larger.
    pub p_value: f64,
    /// The smallest p-value these counts could have given.
    pub smallest_p: f64,
    /// Starts whose condition is not known.
    pub starts_unknown: u32,
}
