//! How a part follows the air: the temperature of a module after the vehicle has stood.
//!
//! In: temperatures in °C, times in seconds. Out: the temperature of a part with a first-order lag,
//! and how long it takes until the air's temperature is the part's. Refuses a lag that is not above
//! 0.

/// The lag of a module behind trim or in a housing, seconds: three hours (judgement; FACTS 8.1 has
/// 6 to 8 h for a cold soak in which all sensors agree within 3 to 6 K).
pub(super) const LAG_S: f64 = 3.0 * 3600.0;
/// A part may be this much warmer than the air when the vehicle is parked outdoors, K (judgement).
const WARMER_K: f64 = 20.0;
/// Within this the part is as cold as the air, K.
const WITHIN_K: f64 = 3.0;

/// The temperature of a part that was at `from_c` when the vehicle was switched off, after
/// `soak_s` in air of `ambient_c`.
#[must_use]
pub fn lagged_c(ambient_c: f64, from_c: f64, soak_s: f64, lag_s: f64) -> Option<f64> {
    (lag_s > 0.0 && soak_s >= 0.0)
        .then(|| ambient_c + (from_c - ambient_c) * (-soak_s / lag_s).exp())
}

/// Whole hours of standing outdoors until a part has come close to the air.
pub(super) fn hours_to_cool() -> u32 {
    let within = |hours: u32| {
        let soak_s = f64::from(hours) * 3600.0;
        lagged_c(0.0, WARMER_K, soak_s, LAG_S).is_none_or(|left| left <= WITHIN_K)
    };
    (0..48).find(|hours| within(*hours)).unwrap_or(48)
}

#[cfg(test)]
mod tests {
    use super::*;

    // q8.lag: from 80 °C in air of -10 °C with a lag of three hours (closed form).
    #[test]
    fn a_part_follows_the_air() {
        for (hours, want) in [
            (0.5, 66.183_355_240_155_27),
            (1.0, 54.487_817_951_641_034),
            (3.0, 23.109_149_705_429_807),
            (6.0, 2.180_175_491_295_143),
            (8.0, -3.746_489_389_947_861),
            (12.0, -8.351_592_500_013_924),
        ] {
            let got = lagged_c(-10.0, 80.0, hours * 3600.0, LAG_S).expect("a lag");
            assert!((got - want).abs() < 1e-12, "{hours} h: {got}");
        }
        assert_eq!(lagged_c(0.0, 20.0, 60.0, 0.0), None);
        assert_eq!(lagged_c(0.0, 20.0, -1.0, LAG_S), None);
        // 20 e^(-5/3) = 3.8, 20 e^(-6/3) = 2.7.
        assert_eq!(hours_to_cool(), 6);
    }
}
