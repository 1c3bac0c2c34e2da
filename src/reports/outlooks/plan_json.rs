//! The plan of one vehicle for programs: what `plan` says on the terminal, with the same fields as
//! the vehicle has in `culprits.json`. Unknown is `null`.

use schemars::JsonSchema;
use serde::Serialize;

use super::json::{OutlookJson, outlook_json};
use crate::repairs::Outlook;
use crate::reports::ReportError;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Verdict;

#[derive(Serialize, JsonSchema)]
pub(in crate::reports) struct Plan<'a> {
    schema: &'static str,
    vehicle: &'a str,
    verdict: &'a Verdict,
    because: &'a str,
    #[serde(flatten)]
    outlook: OutlookJson<'a>,
}

/// The plan as JSON text, without a line end.
///
/// # Errors
/// When it cannot be put together.
pub fn plan_json(finding: &VehicleFinding, outlook: &Outlook) -> Result<String, ReportError> {
    let plan = Plan {
        schema: "buswitness/plan/1",
        vehicle: &finding.vehicle,
        verdict: &finding.verdict,
        because: &finding.because,
        outlook: outlook_json(outlook),
    };
    serde_json::to_string_pretty(&plan).map_err(|source| ReportError::Json { source })
}
