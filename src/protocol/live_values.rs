//! Physical values that open standards put on the bus: supply voltage and temperatures.
//!
//! SAE J1979 answers (service 01, one frame on 7E8–7EF): parameters 05, 42, 46. SAE J1939 broadcasts:
//! ambient temperature (group 65269, bytes 4–5), coolant (65262, byte 1), battery (65271, bytes 5–6).

use super::j1939;
use crate::vocabulary::Identifier;

/// A quantity with its unit in its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Ambient air, °C.
    AmbientC,
    /// Engine coolant, °C.
    CoolantC,
    /// Supply of a module or of the vehicle, volts.
    SupplyV,
}

impl Quantity {
    /// The quantity's name as the facts store it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Quantity::AmbientC => "ambient_c",
            Quantity::CoolantC => "coolant_c",
            Quantity::SupplyV => "supply_v",
        }
    }
}

/// Whether frames with this identifier may bear a value.
#[must_use]
pub fn may_bear(id: Identifier) -> bool {
    match j1939::header(id) {
        Some(header) => matches!(header.group, 65262 | 65269 | 65271),
        None => matches!(id.value(), 0x7E8..=0x7EF),
    }
}

/// The value that a frame bears, if it bears one; `data` has the first byte most significant.
#[must_use]
pub fn value(id: Identifier, data: u64, length: u8) -> Option<(Quantity, f64)> {
    let bytes = data.to_be_bytes();
    if let Some(header) = j1939::header(id) {
        let word = |low: usize| u16::from_le_bytes([bytes[low], bytes[low + 1]]);
        // Raw values above FAFF (or FA) are special, error, or not available.
        let known = |raw: u16| (raw <= 0xFAFF).then_some(f64::from(raw));
        return match header.group {
            65262 if bytes[0] <= 0xFA => Some((Quantity::CoolantC, f64::from(bytes[0]) - 40.0)),
            65269 if length >= 5 => {
                known(word(3)).map(|raw| (Quantity::AmbientC, raw * 0.03125 - 273.0))
            }
            65271 if length >= 6 => known(word(4)).map(|raw| (Quantity::SupplyV, raw * 0.05)),
            _ => None,
        };
    }
    match bytes {
        [0x03..=0x07, 0x41, 0x05, a, ..] => Some((Quantity::CoolantC, f64::from(a) - 40.0)),
        [0x04..=0x07, 0x41, 0x42, a, b, ..] => {
            Some((Quantity::SupplyV, f64::from(u16::from_be_bytes([a, b])) / 1000.0))
        }
        [0x03..=0x07, 0x41, 0x46, a, ..] => Some((Quantity::AmbientC, f64::from(a) - 40.0)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn obd(data: u64) -> Option<(Quantity, f64)> {
        value(Identifier::base(0x7E8), data, 8)
    }

    /// FACTS 1.5 (J1979 formulas) and 3.6 (J1939 positions and scales), examples as printed there.
    #[test]
    fn published_examples() {
        assert_eq!(obd(0x0341_0521_0000_0000), Some((Quantity::CoolantC, -7.0)));
        assert_eq!(obd(0x0341_4646_0000_0000), Some((Quantity::AmbientC, 30.0)));
        assert_eq!(obd(0x0441_4236_B000_0000), Some((Quantity::SupplyV, 14.0)));
        assert_eq!(obd(0x0441_4224_5400_0000), Some((Quantity::SupplyV, 9.3)));
        assert_eq!(obd(0x037F_0112_0000_0000), None);
        let ambient = Identifier::extended(0x18FE_F500);
        assert_eq!(value(ambient, 0x0000_00C0_2200_0000, 8), Some((Quantity::AmbientC, 5.0)));
        assert_eq!(value(ambient, 0x0000_00E0_1F00_0000, 8), Some((Quantity::AmbientC, -18.0)));
        assert_eq!(value(ambient, 0x0000_00FF_FF00_0000, 8), None);
        let battery = Identifier::extended(0x18FE_F700);
        let (_, volts) = value(battery, 0x0000_0000_FC00_0000, 8).unwrap();
        assert!((volts - 12.6).abs() < 1e-9);
        let coolant = Identifier::extended(0x18FE_EE00);
        assert_eq!(value(coolant, 0x1C00_0000_0000_0000, 8), Some((Quantity::CoolantC, -12.0)));
        assert!(may_bear(battery) && may_bear(Identifier::base(0x7E9)));
        assert!(!may_bear(Identifier::base(0x123)));
    }
}
