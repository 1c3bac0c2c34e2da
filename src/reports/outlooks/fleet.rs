//! The conditions of a whole fleet, each vehicle its own control, and its course of a start, each
//! vehicle one witness, as tables.

use crate::conditions::{FleetCourse, FleetRisk, Side};
use crate::reports::ReportError;
use crate::reports::csv_tables::{Sheet, maybe, plain};
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;

/// `fleet_conditions.csv`: a row per condition.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_conditions(risks: &[FleetRisk]) -> Result<Output<'static>, ReportError> {
    let columns = "condition vehicles incidents_with starts_with incidents_without starts_without \
                   p_value log_rank_p";
    let mut sheet = Sheet::new("fleet_conditions.csv", columns)?;
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

/// `fleet_time_since_start.csv`: a row per curve and time.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_time_since_start(courses: &[FleetCourse]) -> Result<Output<'static>, ReportError> {
    let columns = "condition which_starts vehicles starts incidents after_s had low high median_s \
                   median_low_s median_high_s";
    let mut sheet = Sheet::new("fleet_time_since_start.csv", columns)?;
    for course in courses {
        let side = match course.side {
            Side::All => "all",
            Side::With => "with",
            Side::Without => "without",
        };
        let seconds = |value: Option<f64>| maybe(value.and_then(|s| decimals(s, 1e3)));
        for moment in &course.moments {
            sheet.row([
                plain(course.condition.unwrap_or_default()),
                plain(side),
                plain(course.vehicles),
                plain(course.starts),
                plain(course.incidents),
                maybe(decimals(moment.after_s, 1e3)),
                maybe(digits(moment.had)),
                maybe(moment.low.and_then(digits)),
                maybe(moment.high.and_then(digits)),
                seconds(course.median.time),
                seconds(course.median.low),
                seconds(course.median.high),
            ])?;
        }
    }
    sheet.done()
}
