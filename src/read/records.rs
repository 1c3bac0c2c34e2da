//! What the readers of small files yield: one record a row or report, each with its place.
//!
//! Unknown is `None`, never 0. Times are UTC; units stand in the field names.

use serde::{Deserialize, Serialize};

use crate::vocabulary::{Code, CodeStatus, Instant, Place};

/// What the modules of one vehicle said when a tester asked them all.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScanReport {
    /// The vehicle.
    pub vehicle: String,
    /// When the tester asked.
    pub taken_at: Instant,
    /// Odometer, kilometres.
    pub odometer_km: Option<f64>,
    /// Ambient temperature, °C.
    pub ambient_c: Option<f64>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Battery voltage, volts.
    pub battery_v: Option<f64>,
    /// Seconds between the start of the vehicle and the scan.
    pub since_start_s: Option<f64>,
    /// What each node said.
    pub nodes: Vec<NodeReport>,
    /// Where the report begins.
    pub place: Place,
}

/// What one node said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NodeReport {
    /// The node's short name.
    pub node: String,
    /// Whether it replied; `None` when the report does not tell.
    pub answered: Option<bool>,
    /// The codes it holds.
    pub codes: Vec<CodeReport>,
    /// Where it stands.
    pub place: Place,
}

/// One code of one node.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CodeReport {
    /// The code with its failure type byte.
    pub code: Code,
    /// How far it has matured.
    pub status: CodeStatus,
    /// How often it was seen, by the node's own counter.
    pub occurrences: Option<u32>,
    /// Seconds after a start at which it was set, by the node's own clock.
    pub since_start_s: Option<f64>,
    /// Where it stands.
    pub place: Place,
}

/// One row of the vehicles table.
#[derive(Debug, Clone, PartialEq)]
pub struct VehicleRow {
    /// The vehicle.
    pub vehicle: String,
    /// The name of its network description.
    pub network: Option<String>,
    /// Its model.
    pub model: Option<String>,
    /// Where it is kept; joins the weather.
    pub site: Option<String>,
    /// When it went into service.
    pub in_service: Option<Instant>,
    /// Odometer, kilometres.
    pub odometer_km: Option<f64>,
    /// Where the row stands.
    pub place: Place,
}

/// One row of the modules table: one fitted part.
#[derive(Debug, Clone, PartialEq)]
pub struct ModuleRow {
    /// The vehicle.
    pub vehicle: String,
    /// The node the part is fitted as.
    pub node: String,
    /// Part number.
    pub part_number: Option<String>,
    /// Hardware level.
    pub hardware: Option<String>,
    /// Software level.
    pub software: Option<String>,
    /// Production batch.
    pub batch: Option<String>,
    /// When it was built.
    pub built_on: Option<Instant>,
    /// When it was fitted.
    pub installed_on: Option<Instant>,
    /// When it was taken out.
    pub removed_on: Option<Instant>,
    /// Why it was taken out: `network-fault`, `other-fault`, `upgrade`, `accident`.
    pub removal_reason: Option<String>,
    /// Where the row stands.
    pub place: Place,
}

/// One row of the weather table.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherRow {
    /// The site.
    pub site: String,
    /// The time of the reading; precipitation is the sum of the hour that ends here.
    pub time: Instant,
    /// Air temperature, °C.
    pub temperature_c: Option<f64>,
    /// Relative humidity, percent.
    pub humidity_pct: Option<f64>,
    /// Precipitation, millimetres.
    pub precipitation_mm: Option<f64>,
    /// Where the row stands.
    pub place: Place,
}

/// One class of module in the table of what follows a replaced part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AfterPartRow {
    /// The class; `any` goes with every module.
    pub class: String,
    /// Words of a module's name, title or aliases that tell the class.
    pub words: Vec<String>,
    /// What is usually needed, a step each.
    pub needed: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
    /// Where the row stands.
    pub place: Place,
}

/// One class of module in the table of severities.
#[derive(Debug, Clone, PartialEq)]
pub struct SeverityRow {
    /// The class; `any` is for modules of no other, `supply` for the battery.
    pub class: String,
    /// Words of a module's name, title or aliases that tell the class.
    pub words: Vec<String>,
    /// 1 (hardly noticed) to 10 (endangers people without a warning).
    pub severity: f64,
    /// Whether a fault of it touches the safety of people.
    pub safety: bool,
    /// Whether only authorised people may work on it.
    pub hands_off: bool,
    /// What a fault of it may do, in words.
    pub why: String,
    /// Where the row stands.
    pub place: Place,
}

/// One service note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ServiceNote {
    /// When it was done.
    pub time: Instant,
    /// The vehicle.
    pub vehicle: String,
    /// What was done.
    pub action: ServiceAction,
    /// On what.
    pub target: Option<crate::vocabulary::Suspect>,
    /// What came of it; `None` is read off the logs.
    pub outcome: Option<ServiceOutcome>,
    /// Free words.
    pub note: String,
    /// Where the row stands.
    pub place: Place,
}

impl ServiceNote {
    /// Whether `later` ends this disconnection: what was taken off is reconnected, or a part of it
    /// is replaced or repaired. A reconnection that names nothing ends every one.
    #[must_use]
    pub fn is_ended_by(&self, later: &ServiceNote) -> bool {
        let same = later.target == self.target;
        match later.action {
            _ if later.time < self.time => false,
            ServiceAction::Reconnect => same || later.target.is_none(),
            ServiceAction::Replace | ServiceAction::Repair => same && self.target.is_some(),
            _ => false,
        }
    }
}

/// The actions that a service note may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ServiceAction {
    /// A temporary disconnection.
    Disconnect,
    /// Its end.
    Reconnect,
    /// A part was replaced.
    Replace,
    /// Something was repaired.
    Repair,
    /// Something was cleaned (contacts, connectors).
    Clean,
    /// Something was looked at.
    Inspect,
    /// A part was initialised or coded.
    Initialise,
    /// The vehicle was driven to try it.
    RoadTest,
}

/// What came of a service action.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ServiceOutcome {
    /// The fault went away.
    Recovered,
    /// Nothing changed.
    NoChange,
    /// It got worse.
    Worse,
}
