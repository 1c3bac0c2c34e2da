//! Thresholds found in the data, with the search paid for.
//!
//! In: the trials of one vehicle. Out: for each quantity the cut that separates best, with the
//! p-value of the whole search, and the range of cuts that do about as well. Asked from six
//! incidents on. The p-value is the larger of the exact one and, from 40 starts on, that of
//! circular shifts, since weather and loose contacts both come in spells. The odometer is not
//! searched: it only ever rises, and with incidents in spells some cut of it was below .05 in 8 %
//! of vehicles without an effect (measured before it was left out). Its two halves are among the conditions declared in advance.

use serde::{Deserialize, Serialize};

use super::trials::Trial;
use crate::numerics::max_selected::{best_cut, shift_p};
use crate::vocabulary::{Word, word};

/// Incidents below which no threshold is looked for.
const LEAST_HITS: usize = 6;
/// Share of the starts that must lie on either side of a cut.
const LEAST_SHARE: f64 = 0.1;

/// A threshold of one quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Threshold {
    /// The quantity with its unit, as in `ambient_c`.
    #[serde(deserialize_with = "word")]
    pub quantity: Word,
    /// The best cut: at or below it against above it.
    pub at: f64,
    /// Whether the incidents lie at or below the cut.
    pub below: bool,
    /// Cuts that separate about as well.
    pub range: (f64, f64),
    /// Incidents and starts at or below, then above.
    pub counts: [u64; 4],
    /// p-value of the whole search.
    pub p_value: f64,
}

type Value = fn(&Trial<'_>) -> Option<f64>;

/// The quantities that are searched.
const QUANTITIES: [(&str, Value); 5] = [
    ("ambient_c", |trial| trial.exposure.ambient_c.as_ref().map(|ambient| ambient.value)),
    ("dew_spread_k", |trial| trial.exposure.dew_spread_k),
    ("rain_12h_mm", |trial| trial.exposure.rain_12h_mm),
    ("soak_h", |trial| trial.exposure.soak_s.map(|soak| soak / 3600.0)),
    ("supply_v", |trial| trial.exposure.supply_v.as_ref().map(|supply| supply.value)),
];

/// The thresholds, most telling first; empty below six incidents.
pub(super) fn thresholds(trials: &[Trial<'_>]) -> Vec<Threshold> {
    let mut found: Vec<Threshold> = QUANTITIES
        .iter()
        .filter_map(|(quantity, value)| {
            let known: Vec<(f64, bool)> = trials
                .iter()
                .filter_map(|trial| Some((value(trial).filter(|v| v.is_finite())?, trial.hit)))
                .collect();
            let (values, hits): (Vec<f64>, Vec<bool>) = known.into_iter().unzip();
            if hits.iter().filter(|hit| **hit).count() < LEAST_HITS {
                return None;
            }
            let cut = best_cut(&values, &hits, LEAST_SHARE)?;
            let shifted = shift_p(&values, &hits, LEAST_SHARE).unwrap_or(0.0);
            Some(Threshold {
                quantity,
                at: cut.at,
                below: cut.z > 0.0,
                range: cut.range,
                counts: cut.counts,
                p_value: cut.p_value.max(shifted),
            })
        })
        .collect();
    found.sort_by(|a, b| a.p_value.total_cmp(&b.p_value).then(a.quantity.cmp(b.quantity)));
    found
}
