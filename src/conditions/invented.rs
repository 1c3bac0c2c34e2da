//! Invented starts for tests of this stage and of those behind it. Test builds only.

use super::{Exposure, Sourced};
use crate::incidents::Incident;
use crate::vocabulary::{Instant, Place};

/// One invented start: what is known of it, and seconds to its incident.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Invented {
    pub(crate) cold: bool,
    pub(crate) wet: bool,
    pub(crate) long_soak: bool,
    pub(crate) incident_s: Option<f64>,
}

impl Invented {
    /// A warm, dry start after a short stop.
    pub(crate) const PLAIN: Invented =
        Invented { cold: false, wet: false, long_soak: false, incident_s: None };

    /// A cold and wet one after a night.
    pub(crate) const TRIGGER: Invented =
        Invented { cold: true, wet: true, long_soak: true, incident_s: None };

    pub(crate) fn hit(self) -> Invented {
        Invented { incident_s: Some(40.0), ..self }
    }
}

/// When the invented starts begin: one each twelve hours from 2026-01-05T06:00:00Z on.
pub(crate) fn begin(at: usize) -> Instant {
    Instant(1_767_592_800_000_000_000).plus_seconds(at as f64 * 43_200.0)
}

/// A judged start of half an hour that a log covers, without an incident and with nothing else known.
pub(crate) fn exposure(vehicle: &str, start: Instant) -> Exposure {
    Exposure {
        vehicle: vehicle.to_owned(),
        start,
        end: start.plus_seconds(1800.0),
        logged: true,
        incidents: 0,
        judged: true,
        ambient_c: None,
        humidity_pct: None,
        dew_spread_k: None,
        rain_12h_mm: None,
        wet: None,
        washed: None,
        soak_s: None,
        first_of_day: None,
        supply_v: None,
        low_supply: None,
        odometer_km: None,
        late: None,
        place: Place::whole(&"invented".into()),
    }
}

/// Exposures of half an hour each, and their incidents.
pub(crate) fn starts(rows: &[Invented]) -> (Vec<Exposure>, Vec<Incident>) {
    let (mut exposures, mut incidents) = (Vec::new(), Vec::new());
    for (at, row) in rows.iter().enumerate() {
        let start = begin(at);
        let ambient = if row.cold { -3.0 } else { 9.0 };
        exposures.push(Exposure {
            incidents: u32::from(row.incident_s.is_some()),
            ambient_c: Some(Sourced { value: ambient, source: "log", age_s: 0.0 }),
            wet: Some(row.wet),
            soak_s: Some(if row.long_soak { 40_000.0 } else { 3_000.0 }),
            ..exposure("LH-01", start)
        });
        if let Some(seconds) = row.incident_s {
            incidents.push(incident(start, seconds));
        }
    }
    (exposures, incidents)
}

/// An incident so many seconds after a start.
pub(crate) fn incident(start: Instant, seconds: f64) -> Incident {
    Incident {
        start,
        begin: start.plus_seconds(seconds),
        end: start.plus_seconds(seconds + 5.0),
        bus: None,
        since_start_s: Some(seconds),
        silent: Vec::new(),
        alive: Vec::new(),
        logged: true,
        disturbances: Vec::new(),
        losses: Vec::new(),
        accusations: Vec::new(),
        bus_down: Vec::new(),
        own_supply: Vec::new(),
        answered: Vec::new(),
        unanswered: Vec::new(),
        supply_v: None,
        reporters: Vec::new(),
        reports: Vec::new(),
        perhaps_old: false,
        repeats: 0,
        finer: crate::incidents::FinerSigns::default(),
    }
}

/// Draws uniform in [0, 1): a 64-bit linear congruential stream.
pub(crate) fn uniform(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 53) as f64
}
