//! Moisture of air: vapour pressure, dew point and how far the air is from it.
//!
//! In: temperature (°C) and relative humidity (percent). Out: hPa, °C, K. The formula is that of
//! WMO-No. 8, annex 4.B, over water, also below freezing, so a dew point under 0 °C is that of
//! supercooled water and lies a little below the frost point. Refuses temperatures outside the
//! formula's range and humidities that no air has.

use std::ops::RangeInclusive;

/// Where the formula over water is stated to hold, °C.
const RANGE_C: RangeInclusive<f64> = -45.0..=60.0;

/// Highest humidity taken for a reading; sensors in fog read a little above 100.
const HIGHEST_PCT: f64 = 105.0;

/// Saturation vapour pressure over water, hPa. `None` outside -45 to 60 °C.
#[must_use]
pub fn saturation_hpa(temperature_c: f64) -> Option<f64> {
    let inside = RANGE_C.contains(&temperature_c);
    inside.then(|| 6.112 * (17.62 * temperature_c / (243.12 + temperature_c)).exp())
}

/// Dew point, °C, from temperature and relative humidity.
///
/// A humidity between 100 and 105 % is read as 100 %. `None` for a humidity of 0 or less (no
/// vapour has no dew point), above 105 %, and outside the range of the formula.
#[must_use]
pub fn dew_point_c(temperature_c: f64, humidity_pct: f64) -> Option<f64> {
    if !(humidity_pct > 0.0 && humidity_pct <= HIGHEST_PCT) {
        return None;
    }
    let vapour_hpa = saturation_hpa(temperature_c)? * humidity_pct.min(100.0) / 100.0;
    let exponent = (vapour_hpa / 6.112).ln();
    Some(243.12 * exponent / (17.62 - exponent))
}

/// Temperature less dew point, K: 0 in saturated air. `None` as for [`dew_point_c`].
#[must_use]
pub fn dew_spread_k(temperature_c: f64, humidity_pct: f64) -> Option<f64> {
    // Rounding must not make saturated air drier than its own dew point.
    Some((temperature_c - dew_point_c(temperature_c, humidity_pct)?).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Column "WMO" of the vapour pressure table worked from WMO-No. 8; digits of four of them from
    // the stored entry q8.dewpoint.
    #[test]
    fn vapour_pressures() {
        for (t, want) in [
            (-20.0, 1.2597),
            (-10.0, 2.8703),
            (-5.0, 4.2218),
            (0.0, 6.1120),
            (10.0, 12.2603),
            (20.0, 23.3260),
            (30.0, 42.3372),
            (40.0, 73.6746),
        ] {
            let got = saturation_hpa(t).expect("in range");
            assert!((got - want).abs() < 6e-5, "{t}: {got}");
        }
        for (t, want) in [(-10.0, 2.870_310_312_013), (20.0, 23.325_960_220_978)] {
            assert!((saturation_hpa(t).expect("in range") - want).abs() < 1e-9);
        }
    }

    // EX-7a to EX-7j: temperature and humidity to dew point, three places.
    #[test]
    fn dew_points() {
        for (t, humidity, want) in [
            (20.0, 50.0, 9.255),
            (25.0, 60.0, 16.693),
            (30.0, 80.0, 26.169),
            (10.0, 90.0, 8.434),
            (5.0, 80.0, 1.834),
            (0.0, 95.0, -0.706),
            (-5.0, 85.0, -7.132),
            (22.0, 40.0, 7.772),
            (35.0, 70.0, 28.705),
            (15.0, 100.0, 15.000),
        ] {
            let got = dew_point_c(t, humidity).expect("in range");
            assert!((got - want).abs() < 6e-4, "{t} {humidity}: {got}");
            let spread = dew_spread_k(t, humidity).expect("in range");
            assert!((spread - (t - want)).abs() < 6e-4, "{t} {humidity}: {spread}");
        }
        let frosty = dew_point_c(0.0, 90.0).expect("in range");
        assert!((frosty + 1.445_118_622_219).abs() < 1e-9, "q8.dewpoint: {frosty}");
    }

    // EX-7k to EX-7n: the humidity at which air of the first temperature has the second as its dew
    // point, three places.
    #[test]
    fn humidities_from_dew_points() {
        for (t, dew, want) in
            [(20.0, 10.0, 52.561), (15.0, 14.0, 93.749), (8.0, -2.0, 49.289), (30.0, 22.0, 62.295)]
        {
            let ratio = saturation_hpa(dew).expect("range") / saturation_hpa(t).expect("range");
            assert!((100.0 * ratio - want).abs() < 6e-4, "{t} {dew}: {ratio}");
            let back = dew_point_c(t, want).expect("in range");
            assert!((back - dew).abs() < 1e-3, "{t} {dew}: {back}");
        }
    }

    #[test]
    fn refusals() {
        assert_eq!(saturation_hpa(-60.0), None);
        assert_eq!(saturation_hpa(f64::NAN), None);
        for humidity in [0.0, -1.0, 110.0, f64::NAN] {
            assert_eq!(dew_point_c(10.0, humidity), None);
        }
        assert_eq!(dew_spread_k(10.0, 101.0), Some(0.0));
    }
}
