//! A vehicle's calendar: when it is started, for how long, and under which conditions.

use crate::rehearse::chance::Chance;
use crate::rehearse::model::ns;
use crate::rehearse::scenario::{Period, Trigger, VehiclePlan};
use crate::rehearse::weather::{Weather, midnight};
use crate::vocabulary::{Instant, NANOS_PER_SECOND};

/// One start.
#[derive(Clone)]
pub(crate) struct Begin {
    /// When the network wakes.
    pub(crate) at: Instant,
    /// How long it stays awake, in nanoseconds.
    pub(crate) awake_ns: i64,
    /// How long it slept before, in seconds.
    pub(crate) soak_s: f64,
    /// The air, in degrees Celsius.
    pub(crate) ambient_c: f64,
    /// The air, in percent relative humidity.
    pub(crate) humidity_pct: f64,
    /// Whether connectors are wet.
    pub(crate) wet: bool,
    /// Whether it is the first of its day.
    pub(crate) first: bool,
    /// The mileage at its begin.
    pub(crate) odometer_km: u32,
}

impl Begin {
    /// The probability that a fault acts in this start.
    pub(crate) fn risk(&self, trigger: &Trigger) -> f64 {
        let met = trigger.below_c.is_none_or(|limit| self.ambient_c < limit)
            && trigger.above_c.is_none_or(|limit| self.ambient_c > limit)
            && trigger.wet.is_none_or(|wet| self.wet == wet)
            && trigger.soak_h.is_none_or(|hours| self.soak_s >= hours * 3600.0);
        if met { trigger.met } else { trigger.otherwise }
    }
}

/// All starts of a vehicle in the period.
pub(crate) fn calendar(
    seed: u64,
    plan: &VehiclePlan,
    period: Period,
    weather: &Weather,
) -> Vec<Begin> {
    let mut chance = Chance::of(seed, &["calendar", &plan.name]);
    let mut starts = Vec::new();
    let mut slept_from = Instant(midnight(period.from).0 - ns(7.0 * 3600.0));
    let mut odometer_km = plan.odometer_km;
    let mut day = period.from;
    while day < period.to {
        let count = chance.whole(plan.starts_per_day[0], plan.starts_per_day[1]);
        let mut at = midnight(day).plus_seconds(chance.within([5.4, 7.2]) * 3600.0);
        for turn in 0..count {
            let short = turn > 0 && chance.happens(0.2);
            let awake_s =
                if short { chance.within([35.0, 90.0]) } else { chance.within([480.0, 2400.0]) };
            // Whole milliseconds: a start has no natural reason to fall on a whole second.
            let begin = Instant(at.0 - at.0.rem_euclid(1_000_000));
            let soak_s = begin.seconds_since(slept_from);
            let hour = weather.at(begin);
            starts.push(Begin {
                at: begin,
                awake_ns: ns(awake_s),
                soak_s,
                ambient_c: hour.temperature_c + 0.4 * chance.normal(),
                humidity_pct: hour.humidity_pct,
                wet: weather.wet(begin, soak_s),
                first: turn == 0,
                odometer_km,
            });
            odometer_km += chance.whole(0, if short { 0 } else { 24 });
            slept_from = begin.plus_seconds(awake_s);
            at = slept_from.plus_seconds(600.0 + chance.wait(4200.0));
            // Vehicles are back before the evening wash.
            if at.0 > midnight(day).0 + 64_000 * NANOS_PER_SECOND {
                break;
            }
        }
        let Some(next) = day.succ_opt() else { break };
        day = next;
    }
    starts
}
