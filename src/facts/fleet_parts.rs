//! A fleet's facts as they lie in parts: folders of Parquet tables with many vehicles each.
//!
//! A part holds some of `vehicles`, `modules`, `reports` (columns below) and `starts`, `presences`,
//! `silences`, `disturbances`, `losses` (the stored tables with a column `vehicle` in front). A vehicle
//! stands in one part. The tables are our own: a file that has not exactly these columns is refused.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use arrow::datatypes::Schema;
use arrow::record_batch::RecordBatch;
use bytes::Bytes;

use crate::facts::columns::Columns;
use crate::facts::error::FactsError;
use crate::facts::file_bytes::some_columns;
use crate::facts::schema::VEHICLE;
use crate::facts::table::{StoredRow, same_shape};
use crate::facts::table_shape::Kind::{Flag, Number, Text, Time};
use crate::facts::table_shape::{Kept, Table, may, must};
use crate::observe::{DisturbanceRow, LogFacts, LossRow, PresenceRow, SilenceRow, StartRow};
use crate::protocol::trouble_codes::parse_code;
use crate::read::frames::{check_parquet, fenced};
use crate::read::{CodeReport, ModuleRow, NodeReport, ScanReport, VehicleRow};
use crate::vocabulary::{CodeStatus, Place, Reject};

/// Vehicles of a part.
pub const PART_VEHICLES: Table = Table {
    name: "vehicles",
    kept: Kept::Store,
    meaning: "one vehicle of a part",
    columns: &[
        VEHICLE,
        may("network", Text, "", "its network description; empty: not known"),
        may("model", Text, "", "its model; empty: not known"),
        may("site", Text, "", "where it is kept; empty: not known"),
        may("in_service", Time, "", "when it went into service; empty: not known"),
        may("odometer_km", Number, "km", "odometer; empty: not known"),
    ],
};

/// Modules of a part.
pub const PART_MODULES: Table = Table {
    name: "modules",
    kept: Kept::Store,
    meaning: "one fitted module of a part's vehicles",
    columns: &[
        VEHICLE,
        must("node", Text, "", "the node it is fitted as"),
        may("part_number", Text, "", "part number; empty: not known"),
        may("hardware", Text, "", "hardware level; empty: not known"),
        may("software", Text, "", "software level; empty: not known"),
        may("batch", Text, "", "production batch; empty: not known"),
        may("built_on", Time, "", "when it was built; empty: not known"),
        may("installed_on", Time, "", "when it was fitted; empty: not known"),
        may("removed_on", Time, "", "when it was taken out; empty: it is fitted"),
        may("removal_reason", Text, "", "why, in the words of the modules table"),
    ],
};

/// Scan reports of a part: a row per code, or one for a node without; rows of a report stand together.
pub const PART_REPORTS: Table = Table {
    name: "reports",
    kept: Kept::Store,
    meaning: "one code of one node in a scan report, or one node without a code",
    columns: &[
        VEHICLE,
        must("taken_at", Time, "", "when the tester asked"),
        may("since_start_s", Number, "s", "seconds since the vehicle's start; empty: not known"),
        may("ambient_c", Number, "°C", "ambient temperature; empty: not known"),
        must("node", Text, "", "the node"),
        may("answered", Flag, "", "it replied; empty: the report does not tell"),
        may("code", Text, "", "a code it holds; empty: none"),
        may("status", Text, "", "its status, in the words of a scan report"),
    ],
};

/// Everything in one part.
#[derive(Debug, Clone, Default)]
pub struct FleetPart {
    /// Its vehicles.
    pub vehicles: Vec<VehicleRow>,
    /// Their modules.
    pub modules: Vec<ModuleRow>,
    /// Their scan reports.
    pub reports: Vec<ScanReport>,
    /// What logs told of each vehicle.
    pub logs: BTreeMap<String, LogFacts>,
    /// What was refused.
    pub rejects: Vec<Reject>,
    /// Bytes read.
    pub bytes: u64,
}

impl FleetPart {
    /// Adds one file; its stem names the table. A table that is unknown, or has other columns, is refused
    /// as a whole.
    pub fn read(&mut self, path: &Path, name: &Arc<str>) {
        let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
        match fs::read(path) {
            Ok(bytes) => self.take_bytes(&stem.unwrap_or_default(), bytes, name),
            Err(error) => self.refuse(name, format!("cannot be read: {error}")),
        }
    }

    fn refuse(&mut self, name: &Arc<str>, reason: String) {
        self.rejects.push(Reject::one(Place::whole(name), reason));
    }

    fn take_bytes(&mut self, stem: &str, bytes: Vec<u8>, name: &Arc<str>) {
        self.bytes += bytes.len() as u64;
        if let Err(reason) = self.take(stem, bytes, name) {
            self.refuse(name, reason);
        }
    }

    fn take(&mut self, stem: &str, bytes: Vec<u8>, name: &Arc<str>) -> Result<(), String> {
        let done = match stem {
            "vehicles" => self.vehicles(bytes, name),
            "modules" => self.modules(bytes, name),
            "reports" => self.reports(bytes, name),
            "starts" => self.logged::<StartRow>(bytes, name, |log| &mut log.starts),
            "presences" => self.logged::<PresenceRow>(bytes, name, |log| &mut log.presences),
            "silences" => self.logged::<SilenceRow>(bytes, name, |log| &mut log.silences),
            "disturbances" => {
                self.logged::<DisturbanceRow>(bytes, name, |log| &mut log.disturbances)
            }
            "losses" => self.logged::<LossRow>(bytes, name, |log| &mut log.losses),
            other => {
                return Err(format!(
                    "`{other}` is no table of a part; expected vehicles, modules, reports, starts, \
                     presences, silences, disturbances or losses"
                ));
            }
        };
        done.map_err(|error| error.chain())
    }

    fn logged<R: StoredRow>(
        &mut self,
        bytes: Vec<u8>,
        name: &Arc<str>,
        list: fn(&mut LogFacts) -> &mut Vec<R>,
    ) -> Result<(), FactsError> {
        let batch = opened(R::TABLE, &R::TABLE.arrow_with_vehicle(), bytes, None)?;
        let columns = Columns::new(R::TABLE.name, &batch, name);
        let vehicles = columns.text("vehicle")?;
        for (place, row) in R::read(&columns)?.into_iter().enumerate() {
            let vehicle = vehicles.word(place);
            // A name is copied once a vehicle, not once a row.
            match self.logs.get_mut(vehicle) {
                Some(log) => list(log).push(row),
                None => list(self.logs.entry(vehicle.to_owned()).or_default()).push(row),
            }
        }
        Ok(())
    }

    fn vehicles(&mut self, bytes: Vec<u8>, name: &Arc<str>) -> Result<(), FactsError> {
        let batch = opened(&PART_VEHICLES, &PART_VEHICLES.arrow(), bytes, None)?;
        let c = Columns::new(PART_VEHICLES.name, &batch, name);
        let (vehicle, network, model) = (c.text("vehicle")?, c.text("network")?, c.text("model")?);
        let (site, service, km) =
            (c.text("site")?, c.time("in_service")?, c.number("odometer_km")?);
        self.vehicles.extend(c.rows().map(|i| VehicleRow {
            vehicle: vehicle.at(i),
            network: network.maybe(i),
            model: model.maybe(i),
            site: site.maybe(i),
            in_service: service.maybe(i),
            odometer_km: km.maybe(i),
            place: row(name, i),
        }));
        Ok(())
    }

    fn modules(&mut self, bytes: Vec<u8>, name: &Arc<str>) -> Result<(), FactsError> {
        let batch = opened(&PART_MODULES, &PART_MODULES.arrow(), bytes, None)?;
        let c = Columns::new(PART_MODULES.name, &batch, name);
        let (vehicle, node, part) = (c.text("vehicle")?, c.text("node")?, c.text("part_number")?);
        let (hardware, software, lot) =
            (c.text("hardware")?, c.text("software")?, c.text("batch")?);
        let (built, installed) = (c.time("built_on")?, c.time("installed_on")?);
        let (removed, reason) = (c.time("removed_on")?, c.text("removal_reason")?);
        self.modules.extend(c.rows().map(|i| ModuleRow {
            vehicle: vehicle.at(i),
            node: node.at(i),
            part_number: part.maybe(i),
            hardware: hardware.maybe(i),
            software: software.maybe(i),
            batch: lot.maybe(i),
            built_on: built.maybe(i),
            installed_on: installed.maybe(i),
            removed_on: removed.maybe(i),
            removal_reason: reason.maybe(i),
            place: row(name, i),
        }));
        Ok(())
    }

    fn reports(&mut self, bytes: Vec<u8>, name: &Arc<str>) -> Result<(), FactsError> {
        let batch = opened(&PART_REPORTS, &PART_REPORTS.arrow(), bytes, None)?;
        let c = Columns::new(PART_REPORTS.name, &batch, name);
        let (vehicle, taken, since) =
            (c.text("vehicle")?, c.time("taken_at")?, c.number("since_start_s")?);
        let (ambient, node, answered) =
            (c.number("ambient_c")?, c.text("node")?, c.flag("answered")?);
        let (code, status) = (c.text("code")?, c.text("status")?);
        for i in c.rows() {
            let same = self
                .reports
                .last()
                .is_some_and(|r| r.vehicle == vehicle.word(i) && r.taken_at == taken.at(i));
            if !same {
                self.reports.push(ScanReport {
                    vehicle: vehicle.at(i),
                    taken_at: taken.at(i),
                    odometer_km: None,
                    ambient_c: ambient.maybe(i),
                    humidity_pct: None,
                    battery_v: None,
                    since_start_s: since.maybe(i),
                    nodes: Vec::new(),
                    place: row(name, i),
                });
            }
            let held = match code.maybe(i) {
                None => None,
                Some(text) => {
                    let said = status.maybe(i);
                    match coded(&text, said.as_deref(), row(name, i)) {
                        Ok(code) => Some(code),
                        Err(reason) => {
                            self.rejects.push(Reject::one(row(name, i), reason));
                            None
                        }
                    }
                }
            };
            let Some(report) = self.reports.last_mut() else { continue };
            match report.nodes.iter_mut().find(|n| n.node == node.word(i)) {
                Some(known) => {
                    known.answered = known.answered.or(answered.maybe(i));
                    known.codes.extend(held);
                }
                None => report.nodes.push(NodeReport {
                    node: node.at(i),
                    answered: answered.maybe(i),
                    codes: held.into_iter().collect(),
                    place: row(name, i),
                }),
            }
        }
        Ok(())
    }
}

fn coded(text: &str, status: Option<&str>, place: Place) -> Result<CodeReport, String> {
    let code = parse_code(text).map_err(|error| error.to_string())?;
    let status = match status {
        None => CodeStatus::Unknown,
        Some(word) => CodeStatus::parse(word).ok_or_else(|| {
            format!("unknown status `{word}`; expected pending, confirmed, stored or 0x2F")
        })?,
    };
    Ok(CodeReport { code: code.into(), status, occurrences: None, since_start_s: None, place })
}

/// A row's place, counted from 1.
fn row(name: &Arc<str>, at: usize) -> Place {
    Place::line(name, at as u64 + 1)
}

/// The columns of these names (all without) of a table of a part, once its footer and pages have been checked and
/// the file has exactly the expected columns.
pub(super) fn opened(
    table: &'static Table,
    expected: &Schema,
    bytes: Vec<u8>,
    names: Option<&[&str]>,
) -> Result<RecordBatch, FactsError> {
    let bytes = Bytes::from(bytes);
    let unsound = |found: String| {
        let expected = "a sound Parquet file".to_owned();
        FactsError::Shape { table: table.name, expected, found }
    };
    check_parquet(&bytes).map_err(unsound)?;
    let read = fenced(|| some_columns(table, bytes, names));
    let (whole, batch) = read.unwrap_or_else(|| Err(unsound("a damaged one".to_owned())))?;
    same_shape(table, expected, &whole)?;
    Ok(batch)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::columns::{numbers, texts, times};
    use crate::facts::to_parquet;
    use crate::vocabulary::Instant;

    /// The bytes of a table of vehicles with one row.
    fn vehicles() -> Vec<u8> {
        let schema = PART_VEHICLES.arrow();
        let columns = vec![
            texts([Some("A")].into_iter()),
            texts([Some("N")].into_iter()),
            texts([None].into_iter()),
            texts([Some("yard")].into_iter()),
            times([Instant(1_704_067_200_000_000_000)].into_iter()),
            numbers([Some(12_000.0)].into_iter()),
        ];
        let batch = RecordBatch::try_new(Arc::new(schema), columns).expect("its columns");
        to_parquet(&PART_VEHICLES, &batch).expect("bytes")
    }

    fn taken(bytes: Vec<u8>) -> FleetPart {
        let mut part = FleetPart::default();
        part.take_bytes("vehicles", bytes, &"vehicles.parquet".into());
        part
    }

    #[test]
    fn a_cut_or_changed_file_is_refused_as_a_whole() {
        let whole = vehicles();
        let sound = taken(whole.clone());
        assert_eq!((sound.vehicles.len(), sound.rejects.len()), (1, 0), "{:?}", sound.rejects);
        assert_eq!(sound.vehicles[0].vehicle, "A");
        for end in 0..whole.len() {
            let part = taken(whole[..end].to_vec());
            assert_eq!((part.vehicles.len(), part.rejects.len()), (0, 1), "cut at {end}");
        }
        // A bit may fall where it changes a name; what is refused has left nothing behind.
        for (at, bit) in (0..whole.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
            let mut bytes = whole.clone();
            bytes[at] ^= 1 << bit;
            let part = taken(bytes);
            assert_eq!(part.vehicles.is_empty(), !part.rejects.is_empty(), "bit {bit} of {at}");
        }
    }

    #[test]
    fn other_columns_are_named_with_what_may_be_empty() {
        let mut part = FleetPart::default();
        part.take_bytes("modules", vehicles(), &"modules.parquet".into());
        let [reject] = part.rejects.as_slice() else { panic!("{:?}", part.rejects) };
        let said = &reject.reason;
        assert!(said.contains("`network` Utf8?") && said.contains("`node` Utf8,"), "{said}");
    }
}
