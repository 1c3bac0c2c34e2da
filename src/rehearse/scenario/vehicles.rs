//! Scenario tables of a vehicle: its faults, logs, reports, service notes and parts.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;

use crate::rehearse::RehearseError;
use crate::vocabulary::Suspect;

/// A vehicle.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct VehiclePlan {
    /// Its name.
    pub(crate) name: String,
    /// Its network.
    pub(crate) network: String,
    /// Where it stands.
    pub(crate) site: String,
    /// Its first day in service.
    pub(crate) in_service: NaiveDate,
    /// Its mileage on the first day.
    pub(crate) odometer_km: u32,
    /// Starts a day, fewest and most.
    #[serde(default = "usual_starts")]
    pub(crate) starts_per_day: [u32; 2],
    /// The supply's resting voltage.
    #[serde(default = "good_battery")]
    pub(crate) battery_v: f64,
    /// What is wrong with it.
    #[serde(default)]
    pub(crate) fault: Vec<FaultPlan>,
    /// Which starts are logged.
    #[serde(default)]
    pub(crate) logs: LogPlan,
    /// When a tester is plugged in.
    #[serde(default)]
    pub(crate) scans: ScanPlan,
    /// What was done to it.
    #[serde(default)]
    pub(crate) note: Vec<NotePlan>,
    /// Modules that are worth telling; all others get an ordinary row.
    #[serde(default)]
    pub(crate) part: Vec<PartPlan>,
}

/// A fault.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FaultPlan {
    /// What is at fault, as in service notes: `node:tail-lift`, `supply`, `none` ...
    pub(crate) suspect: String,
    /// How it acts.
    pub(crate) how: How,
    /// When it acts.
    #[serde(default)]
    pub(crate) trigger: Trigger,
    /// The exact number of incidents; none: each start draws for itself.
    pub(crate) incidents: Option<u32>,
    /// Seconds from the start to the onset, least and most.
    #[serde(default = "early")]
    pub(crate) onset_s: [f64; 2],
    /// How long an incident lasts, in seconds.
    #[serde(default = "a_few_seconds")]
    pub(crate) seconds: [f64; 2],
    /// Whether a babbling node floods with an identifier of its own; else with one that nobody knows.
    #[serde(default)]
    pub(crate) own_identifier: bool,
    /// The time at which it is mended.
    pub(crate) until: Option<DateTime<Utc>>,
}

/// How a fault acts on wires, supplies or testers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum How {
    /// A node garbles the frames of others in bursts.
    ErrorBursts,
    /// A node's own frames fail until its controller leaves the bus, again and again.
    BusOff,
    /// A node floods the bus with a strong identifier, its own or one that nobody knows.
    Babbling,
    /// A node loses its supply and boots again.
    SupplyLost,
    /// A node's bus connector opens; the node lives on.
    ConnectorOpen,
    /// A splice or branch opens: all below it are cut off together.
    BranchOpen,
    /// A fuse or feed fails: all on it lose their supply.
    FeedLost,
    /// A ground point lifts: errors, then loss of supply.
    GroundLost,
    /// The bus wires touch: nobody gets through.
    WiresShorted,
    /// The bus wires or their termination are bad: most frames fail.
    WiresNoisy,
    /// The battery sags while cranking.
    WeakBattery,
    /// A tester asks badly: nodes seem not to answer.
    BadTester,
    /// Old codes of a mended fault are still stored.
    StaleCodes,
}

impl How {
    /// Its name, as a scenario writes it.
    pub(crate) fn name(self) -> &'static str {
        match self {
            How::ErrorBursts => "error-bursts",
            How::BusOff => "bus-off",
            How::Babbling => "babbling",
            How::SupplyLost => "supply-lost",
            How::ConnectorOpen => "connector-open",
            How::BranchOpen => "branch-open",
            How::FeedLost => "feed-lost",
            How::GroundLost => "ground-lost",
            How::WiresShorted => "wires-shorted",
            How::WiresNoisy => "wires-noisy",
            How::WeakBattery => "weak-battery",
            How::BadTester => "bad-tester",
            How::StaleCodes => "stale-codes",
        }
    }
}

/// When a fault acts: a probability per start.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Trigger {
    /// The probability per start when all conditions below hold.
    pub(crate) met: f64,
    /// The probability per start otherwise.
    pub(crate) otherwise: f64,
    /// Colder than this, in degrees Celsius.
    pub(crate) below_c: Option<f64>,
    /// Warmer than this, in degrees Celsius.
    pub(crate) above_c: Option<f64>,
    /// Wet from rain, washing or dew.
    pub(crate) wet: Option<bool>,
    /// Stood still at least this many hours.
    pub(crate) soak_h: Option<f64>,
}

impl Default for Trigger {
    fn default() -> Trigger {
        Trigger { met: 0.3, otherwise: 0.02, below_c: None, above_c: None, wet: None, soak_h: None }
    }
}

/// Which starts are logged.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct LogPlan {
    /// At most so many starts with an incident.
    pub(crate) incidents: u32,
    /// At most so many starts without, half of them first starts of a day.
    pub(crate) healthy: u32,
    /// How long a log is, in seconds; a log goes on until an incident is over.
    pub(crate) seconds: [f64; 2],
}

impl Default for LogPlan {
    fn default() -> LogPlan {
        LogPlan { incidents: 0, healthy: 0, seconds: [20.0, 35.0] }
    }
}

/// When a tester is plugged in.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct ScanPlan {
    /// The probability of a report minutes after an incident, in the same start.
    pub(crate) after: f64,
    /// The probability of a report while the incident lasts.
    pub(crate) during: f64,
    /// The probability of a report hours or a day later.
    pub(crate) later: f64,
    /// Whether there is a report every seventh day in any case.
    pub(crate) weekly: bool,
}

impl Default for ScanPlan {
    fn default() -> ScanPlan {
        ScanPlan { after: 0.5, during: 0.15, later: 0.25, weekly: true }
    }
}

/// A service note.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NotePlan {
    /// When.
    pub(crate) time: DateTime<Utc>,
    /// What was done, in the contract's words.
    pub(crate) action: String,
    /// To what.
    pub(crate) target: String,
    /// What came of it; empty: not said.
    #[serde(default)]
    pub(crate) outcome: String,
    /// In words.
    #[serde(default)]
    pub(crate) note: String,
}

/// A module whose part data matter.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PartPlan {
    /// The node.
    pub(crate) node: String,
    /// Its batch.
    pub(crate) batch: String,
    /// When it was made; none: two months before it was fitted.
    pub(crate) built_on: Option<NaiveDate>,
    /// When it was fitted; none: with the vehicle.
    pub(crate) installed_on: Option<NaiveDate>,
    /// When it was taken out.
    pub(crate) removed_on: Option<NaiveDate>,
    /// Why.
    #[serde(default)]
    pub(crate) removal_reason: String,
}

impl VehiclePlan {
    /// Refuses what would have no meaning.
    pub(crate) fn check(&self) -> Result<(), RehearseError> {
        let place = format!("vehicle {}", self.name);
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if self.name.is_empty() || !self.name.chars().all(plain) {
            return Err(RehearseError::wrong(&place, "a name is letters, digits, - and _"));
        }
        for fault in &self.fault {
            if Suspect::parse(&fault.suspect).is_none() {
                let problem = format!("`{}` is not a suspect", fault.suspect);
                return Err(RehearseError::wrong(&place, &problem));
            }
        }
        Ok(())
    }
}

fn usual_starts() -> [u32; 2] {
    [3, 6]
}

fn good_battery() -> f64 {
    12.6
}

fn early() -> [f64; 2] {
    [3.0, 18.0]
}

fn a_few_seconds() -> [f64; 2] {
    [3.0, 12.0]
}
