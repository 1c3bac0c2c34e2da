//! The truth file: what was really wrong, which the analysis never sees.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::rehearse::scenario::{How, VehiclePlan};
use crate::vocabulary::Mechanism;

/// The truth about all vehicles, by name.
pub(crate) type Truth = BTreeMap<String, VehicleTruth>;

/// The truth about one vehicle.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct VehicleTruth {
    /// The suspect that is at fault, `none` (reports mislead) or `quiet` (nothing to explain).
    pub(crate) suspect: String,
    /// How it acts; none where that has no meaning.
    pub(crate) mechanism: Option<Mechanism>,
    /// All incidents, logged or not.
    pub(crate) incidents: Vec<IncidentTruth>,
}

/// One incident.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct IncidentTruth {
    /// Its begin, RFC 3339.
    pub(crate) begin: String,
    /// Its length in seconds.
    pub(crate) seconds: f64,
    /// The log that holds it, if one does.
    pub(crate) log: Option<String>,
}

/// What a plan means: the first fault decides; incidents are added as they happen.
pub(crate) fn truth_of(plan: &VehiclePlan) -> VehicleTruth {
    let Some(fault) = plan.fault.first() else {
        return VehicleTruth {
            suspect: "quiet".to_owned(),
            mechanism: None,
            incidents: Vec::new(),
        };
    };
    let mechanism = match fault.how {
        How::ErrorBursts | How::BusOff | How::Babbling | How::WiresNoisy | How::WiresShorted => {
            Some(Mechanism::Disturbs)
        }
        How::BadTester | How::StaleCodes => None,
        _ => Some(Mechanism::DropsOut),
    };
    let suspect = match mechanism {
        Some(_) => fault.suspect.clone(),
        None => "none".to_owned(),
    };
    VehicleTruth { suspect, mechanism, incidents: Vec::new() }
}
