//! Units of the numbers in tables, and their way to the unit we keep.
//!
//! Kept: °C, mm, km, V, s, percent. A unit is named in the pipeline's `[columns.…]`; case does not
//! matter and `deg` may stand for `°`.

/// What a number measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Kept in °C.
    Temperature,
    /// Kept in mm.
    Rain,
    /// Kept in km.
    Distance,
    /// Kept in V.
    Voltage,
    /// Kept in s.
    Duration,
    /// Kept in percent.
    Share,
    /// A bare count.
    Count,
}

/// How a number in some unit becomes one in the unit we keep: `(value + shift) * factor`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    shift: f64,
    factor: f64,
}

impl Scale {
    /// The unit we keep.
    pub const SAME: Scale = Scale { shift: 0.0, factor: 1.0 };

    /// The value in the unit we keep.
    #[must_use]
    pub fn keep(self, value: f64) -> f64 {
        (value + self.shift) * self.factor
    }
}

impl Quantity {
    /// The units that may be named, with their scale; the first is the one we keep.
    fn units(self) -> &'static [(&'static str, f64, f64)] {
        match self {
            Quantity::Temperature => &[
                ("°c", 0.0, 1.0),
                ("c", 0.0, 1.0),
                ("°f", -32.0, 5.0 / 9.0),
                ("f", -32.0, 5.0 / 9.0),
                ("k", -273.15, 1.0),
            ],
            Quantity::Rain => {
                &[("mm", 0.0, 1.0), ("cm", 0.0, 10.0), ("inch", 0.0, 25.4), ("in", 0.0, 25.4)]
            }
            Quantity::Distance => &[
                ("km", 0.0, 1.0),
                ("mile", 0.0, 1.609_344),
                ("miles", 0.0, 1.609_344),
                ("mi", 0.0, 1.609_344),
                ("m", 0.0, 0.001),
            ],
            Quantity::Voltage => &[("v", 0.0, 1.0), ("mv", 0.0, 0.001)],
            Quantity::Duration => {
                &[("s", 0.0, 1.0), ("ms", 0.0, 0.001), ("min", 0.0, 60.0), ("h", 0.0, 3600.0)]
            }
            Quantity::Share => &[("%", 0.0, 1.0), ("fraction", 0.0, 100.0)],
            Quantity::Count => &[],
        }
    }

    /// The scale of a unit.
    ///
    /// # Errors
    /// When the unit is not one of this quantity; the error lists those that are.
    pub fn scale(self, unit: &str) -> Result<Scale, String> {
        let name = unit.trim().to_lowercase().replace("deg", "°").replace(' ', "");
        let found = self.units().iter().find(|(known, ..)| *known == name);
        match found {
            Some(&(_, shift, factor)) => Ok(Scale { shift, factor }),
            None if self.units().is_empty() => Err(format!("a bare count has no unit `{unit}`")),
            None => {
                let known: Vec<&str> = self.units().iter().map(|(known, ..)| *known).collect();
                Err(format!("unknown unit `{unit}`, expected one of {}", known.join(", ")))
            }
        }
    }
}

/// The decimals of an epoch unit: `epoch_s` 0, `epoch_ms` 3, `epoch_us` 6, `epoch_ns` 9.
///
/// # Errors
/// When the unit is none of these.
pub fn epoch_decimals(unit: &str) -> Result<u32, String> {
    match unit.trim() {
        "epoch_s" => Ok(0),
        "epoch_ms" => Ok(3),
        "epoch_us" => Ok(6),
        "epoch_ns" => Ok(9),
        _ => Err(format!(
            "unknown unit `{unit}` of a time, expected epoch_s, epoch_ms, epoch_us or epoch_ns"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_reach_the_one_we_keep() {
        for (quantity, unit, value, kept) in [
            (Quantity::Temperature, "°F", 39.02, 3.9),
            (Quantity::Temperature, "deg C", -3.5, -3.5),
            (Quantity::Temperature, "K", 273.15, 0.0),
            (Quantity::Rain, "inch", 0.1, 2.54),
            (Quantity::Distance, "mi", 100.0, 160.9344),
            (Quantity::Voltage, "mV", 12_100.0, 12.1),
            (Quantity::Duration, "min", 2.5, 150.0),
            (Quantity::Share, "fraction", 0.96, 96.0),
        ] {
            let found = quantity.scale(unit).unwrap().keep(value);
            assert!((found - kept).abs() < 1e-9, "{value} {unit}: {found}");
        }
    }

    #[test]
    fn a_unit_of_something_else_is_refused_with_the_list() {
        let reason = Quantity::Temperature.scale("mm").unwrap_err();
        assert_eq!(reason, "unknown unit `mm`, expected one of °c, c, °f, f, k");
        assert!(Quantity::Count.scale("km").is_err());
        assert!(epoch_decimals("s").is_err());
        assert_eq!(epoch_decimals("epoch_us"), Ok(6));
    }
}
