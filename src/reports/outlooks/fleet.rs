//! The conditions of a whole fleet, each vehicle its own control, as a table.

use crate::conditions::FleetRisk;
use crate::reports::ReportError;
use crate::reports::csv_tables::{Sheet, maybe, plain};
use crate::reports::culprits_json::digits;
use crate::reports::whole_file::Output;

/// `fleet_conditions.csv`: a row per condition.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_conditions(risks: &[FleetRisk]) -> Result<Output, ReportError> {
    let columns = "condition vehicles incidents_with starts_with incidents_without starts_without \
                   p_value log_rank_p";
    let columns: Vec<&str> = columns.split_whitespace().collect();
    let mut sheet = Sheet::new("fleet_conditions.csv", &columns)?;
    for risk in risks {
        sheet.row([
            plain(risk.condition),
            plain(risk.vehicles),
            plain(risk.incidents_with),
            plain(risk.starts_with),
            plain(risk.incidents_without),
            plain(risk.starts_without),
            maybe(risk.p_value.and_then(digits)),
            maybe(risk.log_rank_p.and_then(digits)),
        ])?;
    }
    sheet.done()
}
