//! Which row of the vehicles table, and so which network, a vehicle has; what else is asked of sources.

use super::sources::Sources;
use crate::read::{TestTable, VehicleRow};
use crate::vocabulary::Network;

impl Sources {
    /// The vehicle's row: the first one, where the table has several.
    pub(super) fn row_of(&self, vehicle: &str) -> Option<&VehicleRow> {
        let at = self.vehicles.partition_point(|row| row.vehicle.as_str() < vehicle);
        self.vehicles.get(at).filter(|row| row.vehicle == vehicle)
    }

    /// Puts the vehicles in order of name; rows of one vehicle stay in the order of the files.
    pub(super) fn sort_vehicles(&mut self) {
        self.vehicles.sort_by(|a, b| a.vehicle.cmp(&b.vehicle));
    }

    /// The table of tests: the user's, else the shipped one.
    pub(super) fn tests(&self) -> TestTable {
        self.tests.clone().unwrap_or_else(TestTable::shipped)
    }

    /// Puts the reports in order of vehicle, time and place.
    pub(super) fn sort_reports(&mut self) {
        self.reports.sort_by(|a, b| {
            (&a.vehicle, a.taken_at, &a.place).cmp(&(&b.vehicle, b.taken_at, &b.place))
        });
    }

    /// The network of a vehicle: as the vehicles table says, else the only one described.
    pub(super) fn network_of(&self, vehicle: &str) -> Option<&Network> {
        let row = self.row_of(vehicle);
        match row.and_then(|v| v.network.as_ref()) {
            Some(name) => self.networks.get(name),
            None if self.networks.len() == 1 => self.networks.values().next(),
            None => None,
        }
    }
}
