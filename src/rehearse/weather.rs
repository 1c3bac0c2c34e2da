//! Invented weather: hourly temperature, humidity and rain of a site.
//!
//! A daily cycle, slow changes that are remembered from hour to hour, and rain in spells. The
//! humidity falls as the day warms up and rises in rain. Washing wets vehicles but not the
//! weather; a washed vehicle dries overnight only when the air is dry enough.

use crate::rehearse::chance::Chance;
use crate::rehearse::scenario::{Period, SitePlan};
use crate::vocabulary::{Instant, NANOS_PER_SECOND};

const HOUR_NS: i64 = 3600 * NANOS_PER_SECOND;

/// The weather of one site.
pub(crate) struct Weather {
    /// The site.
    pub(crate) site: String,
    /// The first hour.
    pub(crate) from: Instant,
    /// The hours.
    pub(crate) hours: Vec<Hour>,
    wash_hour: Option<i64>,
}

/// One hour.
#[derive(Clone, Copy)]
pub(crate) struct Hour {
    /// Degrees Celsius.
    pub(crate) temperature_c: f64,
    /// Relative humidity in percent.
    pub(crate) humidity_pct: f64,
    /// Rain in the hour, in millimetres.
    pub(crate) rain_mm: f64,
}

/// Midnight of a day, in UTC.
pub(crate) fn midnight(day: chrono::NaiveDate) -> Instant {
    let midnight = day.and_time(chrono::NaiveTime::MIN).and_utc();
    Instant(midnight.timestamp().saturating_mul(NANOS_PER_SECOND))
}

impl Weather {
    /// Makes the weather of a site for the whole period.
    pub(crate) fn invent(seed: u64, site: &SitePlan, period: Period) -> Weather {
        let mut chance = Chance::of(seed, &["weather", &site.name]);
        let (from, to) = (midnight(period.from), midnight(period.to));
        let count = (to.0 - from.0) / HOUR_NS;
        let (mut slow, mut damp, mut raining) = (chance.normal(), chance.normal(), false);
        let mut hours = Vec::new();
        for hour in 0..count {
            slow = 0.99 * slow + 0.141 * chance.normal();
            damp = 0.97 * damp + 0.243 * chance.normal();
            let change =
                if raining { 0.25 } else { 0.25 * site.rain_share / (1.0 - site.rain_share) };
            raining ^= chance.happens(change);
            let angle =
                std::f64::consts::TAU * f64::from(u8::try_from(hour % 24).unwrap_or(0) + 9) / 24.0;
            let daily = site.daily_swing_c / 2.0 * angle.sin();
            let rain_mm = if raining { 0.1 + chance.wait(0.8) } else { 0.0 };
            let wetter = if raining { 9.0 } else { 0.0 };
            let humidity = site.humidity_pct + 6.0 * damp - 1.6 * daily + wetter;
            hours.push(Hour {
                temperature_c: site.mean_c + daily + site.slow_c * slow,
                humidity_pct: humidity.clamp(35.0, 100.0),
                rain_mm,
            });
        }
        Weather { site: site.name.clone(), from, hours, wash_hour: site.wash_hour.map(i64::from) }
    }

    /// The hour that holds an instant; the nearest one outside the period.
    pub(crate) fn at(&self, time: Instant) -> Hour {
        let nothing = Hour { temperature_c: 0.0, humidity_pct: 80.0, rain_mm: 0.0 };
        self.hours.get(self.place(time)).copied().unwrap_or(nothing)
    }

    fn place(&self, time: Instant) -> usize {
        let hour = usize::try_from((time.0 - self.from.0) / HOUR_NS).unwrap_or(0);
        hour.min(self.hours.len().saturating_sub(1))
    }

    /// Whether a vehicle that wakes at this time after this soak is wet.
    pub(crate) fn wet(&self, time: Instant, soak_s: f64) -> bool {
        let now = self.place(time);
        let rained = self.hours[now.saturating_sub(2)..=now].iter().any(|h| h.rain_mm > 0.2);
        let damp = self.hours.get(now).is_some_and(|hour| hour.humidity_pct > 93.0);
        let washed = self.wash_hour.is_some_and(|wash| {
            let day_ns = 24 * HOUR_NS;
            let since = (time.0 - wash * HOUR_NS).rem_euclid(day_ns);
            soak_s * 1e9 > since as f64 && self.at(time).humidity_pct > 82.0
        });
        rained || damp || washed
    }
}
