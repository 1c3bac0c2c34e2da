//! Which of the coming mornings are worth a try, by a weather forecast.
//!
//! In: the forecast, the conditions to arrange, and the vehicle's starts so far (for the hour at
//! which its days begin). Out: one line a morning. Water can be sprayed and a night's rest
//! arranged; the cold cannot, so a morning is worth it when it is cold enough or cold is not asked
//! for. Refuses mornings that the forecast does not reach.

use chrono::{Days, NaiveDate, NaiveTime, TimeZone, Timelike};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::exposures::{told, wet};
use super::moisture::dew_spread_k;
use super::reproduce::Ahead;
use super::risk::{COLD, COLD_C, Condition, FAMILY, WASHED, WET};
use super::trials::Trial;
use crate::vocabulary::{Instant, NANOS_PER_SECOND};

/// Mornings listed.
const MOST: usize = 14;
/// The hour taken when the starts do not tell at what hour the vehicle's days begin.
const USUAL_HOUR: u32 = 6;

/// One coming morning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Morning {
    /// The time looked at.
    pub at: Instant,
    /// Temperature, °C.
    pub ambient_c: Option<f64>,
    /// Whether it will be wet without spraying; `None` when the forecast does not tell.
    pub wet: Option<bool>,
    /// Whether the conditions that cannot be arranged are met; `None` when not known.
    pub worth_it: Option<bool>,
    /// What to do, in words.
    pub said: String,
}

/// The mornings of the forecast, and a remark when there is none that can be used.
pub(super) fn mornings(
    ahead: &Ahead<'_>,
    conditions: &[&'static Condition],
    trials: &[Trial<'_>],
) -> (Vec<Morning>, Option<String>) {
    if !ahead.given {
        return (Vec::new(), None);
    }
    let Some((first, last)) = ahead.forecast.span(ahead.site) else {
        let site = ahead.site.map_or("no site".to_owned(), |site| format!("site {site}"));
        let reason = format!("the forecast has no temperature for this vehicle ({site})");
        return (Vec::new(), Some(reason));
    };
    let hour = usual_hour(trials, ahead.zone);
    let begin = trials.iter().map(|trial| trial.exposure.end).max().map_or(first, |t| t.max(first));
    let mut found = Vec::new();
    let mut day = begin.utc().with_timezone(&ahead.zone).date_naive();
    while found.len() < MOST {
        let Some(at) = local(day, hour, ahead.zone) else { break };
        if at > last {
            break;
        }
        if at >= begin {
            found.push(morning(ahead, conditions, at));
        }
        let Some(next) = day.checked_add_days(Days::new(1)) else { break };
        day = next;
    }
    let none = found.is_empty().then(|| {
        "the forecast has no morning after the last start: it is older than the logs".to_owned()
    });
    (found, none)
}

fn morning(ahead: &Ahead<'_>, conditions: &[&'static Condition], at: Instant) -> Morning {
    let (table, site) = (ahead.forecast, ahead.site);
    let asked =
        |at: usize| FAMILY.get(at).is_some_and(|own| conditions.iter().any(|c| c.name == own.name));
    let air = table.temperature_c(site, at);
    let humidity = table.humidity_pct(site, at);
    let spread =
        air.as_ref().zip(humidity.as_ref()).and_then(|(air, h)| dew_spread_k(air.value, h.value));
    let rain = table.rain_before(site, at).and_then(told);
    let will_be_wet = wet(rain, spread, humidity.as_ref(), false);
    let ambient_c = air.map(|air| air.value);
    let cold = ambient_c.map(|ambient| ambient < COLD_C);
    let worth_it = if asked(COLD) { cold } else { Some(true) };
    let said = match (worth_it, asked(WET), will_be_wet) {
        (None, _, _) => "not known: no temperature forecast for this hour",
        (Some(false), _, _) => "not worth it: too warm",
        (Some(true), _, _) if asked(WASHED) => "worth it: wash before",
        (Some(true), true, Some(true)) => "worth it: wet without spraying",
        (Some(true), true, _) => "worth it: spray before",
        (Some(true), false, _) => "worth it",
    };
    Morning { at, ambient_c, wet: will_be_wet, worth_it, said: said.to_owned() }
}

/// The hour at which the vehicle's days usually begin: the median over its first starts of a day.
fn usual_hour(trials: &[Trial<'_>], zone: Tz) -> u32 {
    let mut hours: Vec<u32> = trials
        .iter()
        .filter(|trial| trial.exposure.first_of_day == Some(true))
        .map(|trial| trial.exposure.start.utc().with_timezone(&zone).hour())
        .collect();
    hours.sort_unstable();
    hours.get(hours.len() / 2).copied().unwrap_or(USUAL_HOUR)
}

/// A local hour of a day; where the clocks jump over it, the first moment after.
fn local(day: NaiveDate, hour: u32, zone: Tz) -> Option<Instant> {
    let time = day.and_time(NaiveTime::from_hms_opt(hour, 0, 0)?);
    let here = zone
        .from_local_datetime(&time)
        .earliest()
        .or_else(|| zone.from_local_datetime(&(time + chrono::TimeDelta::hours(1))).earliest())?;
    Some(Instant(here.timestamp().checked_mul(NANOS_PER_SECOND)?))
}
