//! Preferred source addresses of SAE J1939 (global table): what usually sits at an address.
//!
//! Source: FACTS 3.2, two published tables that agree on 0–97 and 248–255. Addresses 98 to 127 are
//! reserved, 128 to 247 belong to industry groups or are given out as nodes come up: no name here.

/// Names of addresses 0 to 97, short enough to be names of nodes.
const NAMES: [&str; 98] = [
    "engine-1",
    "engine-2",
    "turbocharger",
    "transmission-1",
    "transmission-2",
    "shift-console-primary",
    "shift-console-secondary",
    "pto-main",
    "steering-axle",
    "drive-axle-1",
    "drive-axle-2",
    "brakes",
    "brakes-steer-axle",
    "brakes-drive-axle-1",
    "brakes-drive-axle-2",
    "retarder-engine",
    "retarder-driveline",
    "cruise-control",
    "fuel-system",
    "steering-controller",
    "suspension-steer-axle",
    "suspension-drive-axle-1",
    "suspension-drive-axle-2",
    "instrument-cluster-1",
    "trip-recorder",
    "climate-1",
    "alternator",
    "aerodynamic-control",
    "navigation",
    "security",
    "electrical-system",
    "starter-system",
    "tractor-trailer-bridge-1",
    "body-controller",
    "auxiliary-valve",
    "hitch",
    "pto-front",
    "off-vehicle-gateway",
    "virtual-terminal",
    "management-computer-1",
    "cab-display-1",
    "exhaust-retarder-engine-1",
    "headway-controller",
    "on-board-diagnostic-unit",
    "exhaust-retarder-engine-2",
    "endurance-brake",
    "hydraulic-pump",
    "suspension-system-1",
    "pneumatic-system",
    "cab-controller-primary",
    "cab-controller-secondary",
    "tyre-pressure",
    "ignition-1",
    "ignition-2",
    "seat-1",
    "lighting-operator-controls",
    "rear-steering-1",
    "water-pump",
    "climate-2",
    "transmission-display-1",
    "transmission-display-2",
    "exhaust-emission",
    "dynamic-stability",
    "oil-sensor",
    "suspension-system-2",
    "information-system-1",
    "ramp-control",
    "clutch-converter",
    "auxiliary-heater-1",
    "auxiliary-heater-2",
    "engine-valve",
    "chassis-controller-1",
    "chassis-controller-2",
    "traction-battery-charger",
    "cellular-unit",
    "satellite-unit",
    "radio-unit",
    "steering-column",
    "fan-drive",
    "seat-2",
    "parking-brake",
    "aftertreatment-1-intake",
    "aftertreatment-1-outlet",
    "restraint-system",
    "cab-display-2",
    "particulate-filter",
    "aftertreatment-2-intake",
    "aftertreatment-2-outlet",
    "restraint-system-2",
    "atmospheric-sensor",
    "powertrain-controller",
    "power-systems-manager",
    "injection-controller",
    "fire-protection",
    "driver-impairment",
    "charging-supply",
    "vehicle-charging-adapter",
    "fuel-cell",
];

/// The usual node of an address; `None` where the standard names none, and for testers and loggers.
#[must_use]
pub fn preferred(address: u8) -> Option<&'static str> {
    match address {
        248 => Some("file-server"),
        _ => NAMES.get(usize::from(address)).copied(),
    }
}

/// Whether an address belongs to who asks or listens from outside: service tools, the logger, and the
/// address of testers in ISO 15765-4 (F1). No node of the vehicle.
#[must_use]
pub fn is_outsider(address: u8) -> bool {
    matches!(address, 249..=251 | 0xF1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FACTS 3.2: the rows that tables found elsewhere have wrong, and the ends.
    #[test]
    fn the_rows_that_matter() {
        for (address, name) in [
            (0, Some("engine-1")),
            (3, Some("transmission-1")),
            (11, Some("brakes")),
            (15, Some("retarder-engine")),
            (23, Some("instrument-cluster-1")),
            (33, Some("body-controller")),
            (37, Some("off-vehicle-gateway")),
            (49, Some("cab-controller-primary")),
            (61, Some("exhaust-emission")),
            (71, Some("chassis-controller-1")),
            (80, Some("parking-brake")),
            (90, Some("powertrain-controller")),
            (97, Some("fuel-cell")),
            (98, None),
            (128, None),
            (249, None),
            (255, None),
        ] {
            assert_eq!(preferred(address), name, "{address}");
        }
        let mut names = NAMES.to_vec();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), NAMES.len(), "every name once");
        assert!(is_outsider(0xF1) && is_outsider(249) && !is_outsider(0));
    }
}
