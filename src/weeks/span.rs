//! Which seven days the week is: told by the inputs alone, never by a clock or by an earlier run.
//!
//! The week is the seven local days that end with the last day on which a vehicle was seen, or with
//! the day before the pipeline's `to` when something was seen in the seven days before it. The weeks
//! before are counted back from there. So the same inputs always give the same week, a run on a
//! Monday morning shows seven days and not one, and with a log of one more day the week moves by
//! that day.

use chrono::{Days, NaiveDate};
use chrono_tz::Tz;

use crate::read::times::midnight;
use crate::vocabulary::Instant;

/// Days in a week.
const DAYS: u64 = 7;
/// A vehicle whose last start lies so much later than that of every other vehicle has a clock that
/// is not believed when the week is chosen, seconds (judgement: four weeks).
const STRAY_S: f64 = 28.0 * 86_400.0;
/// So many vehicles must have been seen before one of them can be called a stray.
const LEAST_FOR_STRAYS: usize = 3;

/// A span of whole local days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The first instant in it.
    pub begin: Instant,
    /// The first instant after it.
    pub end: Instant,
    /// The first day.
    pub first: NaiveDate,
    /// The last day.
    pub last: NaiveDate,
}

impl Span {
    /// The seven days that end with `last`; `None` at the end of the calendar.
    #[must_use]
    pub fn ending(last: NaiveDate, zone: Tz) -> Option<Span> {
        let first = last.checked_sub_days(Days::new(DAYS - 1))?;
        let after = last.checked_add_days(Days::new(1))?;
        let midnight = |day| midnight(day, zone).ok();
        Some(Span { begin: midnight(first)?, end: midnight(after)?, first, last })
    }

    /// The seven days before it.
    #[must_use]
    pub fn before(&self, zone: Tz) -> Option<Span> {
        Span::ending(self.first.checked_sub_days(Days::new(1))?, zone)
    }

    /// Whether an instant lies in it.
    #[must_use]
    pub fn holds(&self, at: Instant) -> bool {
        at >= self.begin && at < self.end
    }
}

/// The week, and what a reader should know about how it was chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekInView {
    /// The seven days.
    pub span: Span,
    /// In words, a sentence each.
    pub remarks: Vec<String>,
}

/// The week to show, from the time at which each vehicle was last seen and the end of the pipeline's
/// period; `None` when no vehicle was seen at all.
#[must_use]
pub fn week_in_view(
    last_seen: &[(String, Instant)],
    to: Option<Instant>,
    zone: Tz,
) -> Option<WeekInView> {
    let mut remarks = Vec::new();
    let mut latest: Vec<(&str, Instant)> =
        last_seen.iter().map(|(vehicle, at)| (vehicle.as_str(), *at)).collect();
    latest.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(b.0)));
    let mut believed = latest.as_slice();
    while let [(vehicle, first), rest @ ..] = believed
        && let Some((_, next)) = rest.first()
        && believed.len() >= LEAST_FOR_STRAYS
        && first.seconds_since(*next) > STRAY_S
    {
        remarks.push(format!(
            "{vehicle}: last start dated {}, {:.0} days after every other vehicle's; the week does \
             not follow it. Look at the clock of its logger or tester",
            day(*first, zone),
            first.seconds_since(*next) / 86_400.0
        ));
        believed = rest;
    }
    let seen = day(believed.first()?.1, zone);
    let mut last = seen;
    if let Some(asked) = to.map(|to| day(Instant(to.0.saturating_sub(1)), zone)) {
        match asked.signed_duration_since(seen).num_days() {
            0..=6 => last = asked,
            // Inputs after `to` are left out, so `asked` cannot lie before `seen` but for strays.
            days => remarks.push(format!(
                "nothing was seen in the seven days that end with {asked} (the end of the period); \
                 the week shown ends with {seen}, the last day on which a vehicle was seen, {} days \
                 earlier",
                days.abs()
            )),
        }
    }
    Some(WeekInView { span: Span::ending(last, zone)?, remarks })
}

/// The local day of an instant.
pub(super) fn day(at: Instant, zone: Tz) -> NaiveDate {
    at.utc().with_timezone(&zone).date_naive()
}
