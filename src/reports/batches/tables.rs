//! The batch view as CSV.

use super::wording::became;
use crate::batches::BatchView;
use crate::reports::ReportError;
use crate::reports::csv_tables::{Sheet, maybe, plain, text};
use crate::reports::culprits_json::{decimals, digits, probability};
use crate::reports::whole_file::Output;

/// A row per group that was looked at.
pub(super) fn groups(view: &BatchView) -> Result<Output<'static>, ReportError> {
    let names = "node by value units unit_months failures expected ratio ratio_low ratio_high \
                 shrunk_ratio shrunk_low shrunk_high probability_above_two p_value p_adjusted flagged \
                 explained_by";
    let mut sheet = Sheet::new("batches.csv", names)?;
    for g in &view.groups {
        sheet.row([
            text(&g.node),
            plain(g.by),
            text(&g.value),
            plain(g.units),
            maybe(decimals(g.unit_months, 1e3)),
            maybe(decimals(g.failures, 1e6)),
            maybe(digits(g.expected)),
            maybe(digits(g.ratio)),
            maybe(digits(g.ratio_low)),
            maybe(g.ratio_high.and_then(digits)),
            maybe(digits(g.shrunk_ratio)),
            maybe(digits(g.shrunk_low)),
            maybe(digits(g.shrunk_high)),
            maybe(digits(g.above_two)),
            maybe(digits(g.p_value)),
            maybe(digits(g.p_adjusted)),
            plain(g.flagged),
            plain(g.explained_by.as_ref().map_or_else(String::new, |(by, value)| {
                // Our own word stands in front: nothing a spreadsheet takes for a formula.
                format!("{by} {value}")
            })),
        ])?;
    }
    sheet.done()
}

/// A row per module of a flagged group that is still fitted.
pub(super) fn units(view: &BatchView) -> Result<Output<'static>, ReportError> {
    let names = "node by value vehicle part_number batch site age_months failed \
                 expected_failures_12_months";
    let mut sheet = Sheet::new("batch_units.csv", names)?;
    for u in &view.ahead {
        sheet.row([
            text(&u.node),
            plain(u.by),
            text(&u.value),
            text(&u.vehicle),
            text(u.part_number.as_deref().unwrap_or_default()),
            text(u.batch.as_deref().unwrap_or_default()),
            text(u.site.as_deref().unwrap_or_default()),
            maybe(u.age_months.and_then(|age| decimals(age, 1e3))),
            maybe(probability(u.failed)),
            maybe(digits(u.to_come)),
        ])?;
    }
    sheet.done()
}

/// A row per node and build week.
pub(super) fn build_weeks(view: &BatchView) -> Result<Output<'static>, ReportError> {
    let names = "node built_week units failures expected p_value";
    let mut sheet = Sheet::new("build_weeks.csv", names)?;
    for node in &view.build_weeks {
        for week in &node.weeks {
            sheet.row([
                text(&node.node),
                text(&week.week),
                plain(week.units),
                maybe(decimals(week.failures, 1e6)),
                maybe(digits(week.expected)),
                maybe(week.p_value.and_then(digits)),
            ])?;
        }
    }
    sheet.done()
}

/// A row per swap for a network fault.
pub(super) fn swaps(view: &BatchView) -> Result<Output<'static>, ReportError> {
    let names = "vehicle node time part_number batch became";
    let mut sheet = Sheet::new("swaps.csv", names)?;
    for d in &view.diagnoses {
        sheet.row([
            text(&d.vehicle),
            text(&d.node),
            plain(d.time),
            text(d.part_number.as_deref().unwrap_or_default()),
            text(d.batch.as_deref().unwrap_or_default()),
            plain(became(d.became)),
        ])?;
    }
    sheet.done()
}
