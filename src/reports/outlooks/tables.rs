//! The outlook as CSV tables: repairs, how to make it happen, the coming mornings, thresholds, the
//! course of the start.

use super::json::kind;
use crate::conditions::TimeCourse;
use crate::repairs::{Outlook, Repair};
use crate::reports::ReportError;
use crate::reports::csv_tables::{Sheet, known, list, maybe, plain, text};
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;

/// All five, vehicles by name.
pub(in crate::reports) fn tables(
    outlooks: &[Outlook],
) -> Result<Vec<Output<'static>>, ReportError> {
    let mut sorted: Vec<&Outlook> = outlooks.iter().collect();
    sorted.sort_by(|a, b| a.vehicle.cmp(&b.vehicle));
    Ok(vec![
        repairs(&sorted)?,
        reproduce(&sorted)?,
        mornings(&sorted)?,
        thresholds(&sorted)?,
        course(&sorted)?,
    ])
}

fn count(value: Option<u64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn repairs(outlooks: &[&Outlook]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "repairs.csv",
        "vehicle at until kind actions trigger state incidents_before starts_before \
             incidents_after starts_after other_incidents_before other_starts_before \
             other_incidents_after other_starts_after starts_after_unknown p_value \
             probability_fell_80 confidence clean_starts_needed clean_starts_still_needed \
             unchanged_db decided_db said where",
    )?;
    for outlook in outlooks {
        for repair in &outlook.repairs {
            repair_row(&mut sheet, &outlook.vehicle, repair)?;
        }
    }
    sheet.done()
}

fn repair_row(sheet: &mut Sheet, vehicle: &str, repair: &Repair) -> Result<(), ReportError> {
    let places: Vec<String> = repair.places.iter().map(ToString::to_string).collect();
    sheet.row([
        text(vehicle),
        plain(repair.from),
        plain(repair.until.map_or_else(String::new, |until| until.to_string())),
        plain(kind(repair.kind)),
        list(repair.actions.iter().map(String::as_str)),
        list(repair.trigger.iter().copied()),
        plain(repair.state.word()),
        plain(repair.before.hits),
        plain(repair.before.starts),
        plain(repair.after.hits),
        plain(repair.after.starts),
        plain(repair.before_other.hits),
        plain(repair.before_other.starts),
        plain(repair.after_other.hits),
        plain(repair.after_other.starts),
        plain(repair.after_unknown),
        maybe(repair.p_value.and_then(digits)),
        maybe(repair.fell_80.and_then(digits)),
        maybe(digits(repair.confidence)),
        plain(count(repair.needed)),
        plain(count(repair.still_needed)),
        maybe(repair.unchanged_db.and_then(|db| decimals(db, 1e3))),
        maybe(decimals(repair.decided_db, 1e3)),
        text(&repair.said),
        list(places.iter().map(String::as_str)),
    ])
}

fn reproduce(outlooks: &[&Outlook]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "reproduce.csv",
        "vehicle conditions incidents starts chance low high starts_for_90 minutes_each steps \
             waste remarks",
    )?;
    for outlook in outlooks {
        let Some(plan) = &outlook.when.reproduction else { continue };
        sheet.row([
            text(&outlook.vehicle),
            list(plan.conditions.iter().copied()),
            plain(plan.seen.0),
            plain(plan.seen.1),
            maybe(digits(plan.chance)),
            maybe(digits(plan.low)),
            maybe(digits(plan.high)),
            plain(count(plan.starts_needed)),
            maybe(plan.minutes_each),
            list(plan.steps.iter().map(String::as_str)),
            list(plan.waste.iter().map(String::as_str)),
            list(plan.remarks.iter().map(String::as_str)),
        ])?;
    }
    sheet.done()
}

fn mornings(outlooks: &[&Outlook]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new("mornings.csv", "vehicle at ambient_c wet worth_it said")?;
    for outlook in outlooks {
        let plan = outlook.when.reproduction.iter();
        for morning in plan.flat_map(|plan| &plan.mornings) {
            sheet.row([
                text(&outlook.vehicle),
                plain(morning.at),
                maybe(morning.ambient_c.and_then(|c| decimals(c, 1e1))),
                known(morning.wet),
                known(morning.worth_it),
                text(&morning.said),
            ])?;
        }
    }
    sheet.done()
}

fn thresholds(outlooks: &[&Outlook]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "thresholds.csv",
        "vehicle quantity at incidents_lie from to incidents_at_or_below starts_at_or_below \
             incidents_above starts_above p_value",
    )?;
    for outlook in outlooks {
        for cut in &outlook.when.thresholds {
            let [hits_below, below, hits_above, above] = cut.counts;
            sheet.row([
                text(&outlook.vehicle),
                plain(cut.quantity),
                maybe(digits(cut.at)),
                plain(if cut.below { "at or below" } else { "above" }),
                maybe(digits(cut.range.0)),
                maybe(digits(cut.range.1)),
                plain(hits_below),
                plain(below),
                plain(hits_above),
                plain(above),
                maybe(digits(cut.p_value)),
            ])?;
        }
    }
    sheet.done()
}

fn course(outlooks: &[&Outlook]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "time_since_start.csv",
        "vehicle starts_that_were seconds at_risk incidents share_free low high",
    )?;
    for outlook in outlooks {
        let Some(time) = &outlook.when.time else { continue };
        for (which, curve) in curves(time) {
            for step in &curve.steps {
                sheet.row([
                    text(&outlook.vehicle),
                    plain(which),
                    maybe(decimals(step.time, 1e3)),
                    plain(step.at_risk),
                    plain(step.events),
                    maybe(digits(step.free)),
                    maybe(step.low.and_then(digits)),
                    maybe(step.high.and_then(digits)),
                ])?;
            }
        }
    }
    sheet.done()
}

fn curves(
    time: &TimeCourse,
) -> impl Iterator<Item = (&'static str, &crate::numerics::survival::Curve)> {
    let split = time.split.as_ref();
    std::iter::once(("all", &time.curve))
        .chain(split.map(|split| (split.said, &split.with)))
        .chain(split.map(|split| (split.otherwise, &split.without)))
}
