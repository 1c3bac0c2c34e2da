//! Physical values that open standards put on the bus: supply voltage and temperatures.
//!
//! SAE J1939 broadcasts are read here: ambient temperature (SPN 171: group 65269, bytes 4–5), coolant
//! (110: 65262, byte 1), battery (168: 65271, bytes 5–6), engine speed (190: 61444, bytes 4–5). The
//! answers of SAE J1979 are read in `obd`, out of whole messages.

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
    /// Air at the engine's intake, °C.
    IntakeC,
    /// Engine speed, revolutions a minute.
    EngineRpm,
    /// Since the engine was started, seconds.
    EngineRunS,
}

impl Quantity {
    /// How many quantities there are.
    pub const COUNT: usize = 6;

    /// The quantity's name as the facts store it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Quantity::AmbientC => "ambient_c",
            Quantity::CoolantC => "coolant_c",
            Quantity::SupplyV => "supply_v",
            Quantity::IntakeC => "intake_c",
            Quantity::EngineRpm => "engine_rpm",
            Quantity::EngineRunS => "engine_run_s",
        }
    }
}

/// Whether frames with this identifier may bear a value.
#[must_use]
pub fn may_bear(id: Identifier) -> bool {
    j1939::header(id).is_some_and(|h| matches!(h.group, 61444 | 65262 | 65269 | 65271))
}

/// The value that a J1939 broadcast bears; `data` has the first byte most significant.
#[must_use]
pub fn value(id: Identifier, data: u64, length: u8) -> Option<(Quantity, f64)> {
    let bytes = data.to_be_bytes();
    let header = j1939::header(id)?;
    let word = |low: usize| u16::from_le_bytes([bytes[low], bytes[low + 1]]);
    // Raw values above FAFF (or FA) are special, error, or not available.
    let known = |raw: u16| (raw <= 0xFAFF).then_some(f64::from(raw));
    match header.group {
        61444 if length >= 5 => known(word(3)).map(|raw| (Quantity::EngineRpm, raw * 0.125)),
        65262 if length >= 1 && bytes[0] <= 0xFA => {
            Some((Quantity::CoolantC, f64::from(bytes[0]) - 40.0))
        }
        65269 if length >= 5 => {
            known(word(3)).map(|raw| (Quantity::AmbientC, raw * 0.03125 - 273.0))
        }
        65271 if length >= 6 => known(word(4)).map(|raw| (Quantity::SupplyV, raw * 0.05)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FACTS 3.6 (J1939 positions and scales), examples as printed there; EX-3y is the unknown value.
    #[test]
    fn published_examples() {
        let ambient = Identifier::extended(0x18FE_F500);
        assert_eq!(value(ambient, 0x0000_00C0_2200_0000, 8), Some((Quantity::AmbientC, 5.0)));
        assert_eq!(value(ambient, 0x0000_00E0_1F00_0000, 8), Some((Quantity::AmbientC, -18.0)));
        assert_eq!(value(ambient, 0x0000_00FF_FF00_0000, 8), None);
        let battery = Identifier::extended(0x18FE_F700);
        let (_, volts) = value(battery, 0x0000_0000_FC00_0000, 8).unwrap();
        assert!((volts - 12.6).abs() < 1e-9);
        let coolant = Identifier::extended(0x18FE_EE00);
        assert_eq!(value(coolant, 0x1C00_0000_0000_0000, 8), Some((Quantity::CoolantC, -12.0)));
        assert_eq!(value(coolant, 0, 0), None);
        let speed = Identifier::extended(0x0CF0_0400);
        assert_eq!(value(speed, 0x0000_0050_1400_0000, 8), Some((Quantity::EngineRpm, 650.0)));
        assert!(may_bear(battery) && may_bear(speed));
        assert!(!may_bear(Identifier::base(0x123)));
    }
}
