//! Captures from real vehicles, where they are at hand: what is known of each must be found, and a
//! healthy bus must stay quiet.
//!
//! The captures are no part of the project. `BUSWITNESS_CAPTURES` names the folder that holds them
//! (`car-a/car-a.log.gz` and so on); without it these tests say so and pass.

mod clocks;
mod diagnostics;
mod lifetimes;
mod tables;

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::program::{done, folder, items, json, number, word, write};

/// What was found in one capture, run as a folder of its own.
struct Found {
    vehicle: Value,
    /// Rows of `exposures.csv` by column.
    exposures: Vec<std::collections::BTreeMap<String, String>>,
    /// Rows of `incidents.csv` by column.
    incidents: Vec<std::collections::BTreeMap<String, String>>,
}

/// The bytes of a file among the captures; `None`, and a line that says so, when they are not at hand.
#[expect(clippy::print_stdout, reason = "a skipped test says so in the test's own output")]
fn record(name: &str) -> Option<Vec<u8>> {
    let Some(captures) = std::env::var_os("BUSWITNESS_CAPTURES").map(PathBuf::from) else {
        println!("skipped {name}: BUSWITNESS_CAPTURES does not name a folder of captures");
        return None;
    };
    let path = captures.join(name);
    let bytes = fs::read(&path).unwrap_or_else(|e| {
        panic!("{}: {e}; BUSWITNESS_CAPTURES must be an absolute path", path.display())
    });
    Some(bytes)
}

/// The decompressed bytes of a file with the ending `gz`.
fn unpacked(name: &str) -> Option<Vec<u8>> {
    let packed = record(name)?;
    let mut bytes = Vec::new();
    flate2::read::GzDecoder::new(packed.as_slice()).read_to_end(&mut bytes).expect("gzip");
    Some(bytes)
}

/// What is read off one capture as it stands, packed and in its own format.
fn as_it_stands(capture: &str) -> Option<buswitness::facts::StoredLog> {
    let bytes = record(capture)?;
    let size = bytes.len() as u64;
    let source = Box::new(std::io::Cursor::new(bytes));
    let opened = buswitness::read::opening::unpack(source, size, &"capture".into());
    Some(buswitness::pipeline::watch_opened(
        opened.expect("a capture"),
        &buswitness::read::frames::LogTables::default(),
        &buswitness::observe::Senders::default(),
        None,
        &buswitness::pipeline::Hands::new(1, 1),
    ))
}

/// Runs one capture; `None` when captures are not at hand.
fn found(capture: &str) -> Option<Found> {
    let bytes = record(capture)?;
    let room = folder();
    let name = Path::new(capture).file_name().expect("a file's name");
    write(&room.path().join("capture").join(name), &bytes);
    done(room.path(), &["run", "--quiet", "--strict", "capture"]);
    let out = room.path().join("capture/buswitness-report");
    let culprits = json(&out.join("culprits.json"));
    let [vehicle] = items(&culprits, "vehicles") else { panic!("{capture}: not one vehicle") };
    let table = |file: &str| {
        let mut rows = csv::Reader::from_path(out.join(file)).expect("a table");
        rows.deserialize().map(|row| row.expect("a row")).collect()
    };
    Some(Found {
        vehicle: vehicle.clone(),
        exposures: table("exposures.csv"),
        incidents: table("incidents.csv"),
    })
}

impl Found {
    /// One start, judged, and nothing in it.
    fn assert_healthy(&self, capture: &str) {
        assert_eq!(self.exposures.len(), 1, "{capture}: one start");
        assert_eq!(self.exposures[0]["judged"], "true", "{capture}: {:?}", self.remarks());
        assert!(self.incidents.is_empty(), "{capture} is healthy, yet: {:#?}", self.incidents);
        assert_eq!(word(&self.vehicle, "verdict"), "quiet", "{capture}");
    }

    /// Exactly one incident, disturbed by `kind`, that begins and ends when it should: seconds after
    /// the log's begin.
    fn assert_one_disturbance(&self, capture: &str, kind: &str, span: (f64, f64), within: f64) {
        let [incident] = items(&self.vehicle, "incidents_list") else {
            panic!(
                "{capture}: {} incidents, expected 1: {:#?}",
                self.incidents.len(),
                self.incidents
            )
        };
        assert_eq!(self.incidents[0]["disturbed_by"], kind, "{capture}: exactly one disturbance");
        assert_eq!(incident["disturbed"], true, "{capture}");
        let begin = number(incident, "since_start_s");
        let end = begin + number(incident, "seconds");
        for (what, found, truth) in [("begins", begin, span.0), ("ends", end, span.1)] {
            assert!(
                (found - truth).abs() <= within,
                "{capture}: the disturbance {what} at {found:.3} s, truth {truth} ± {within} s"
            );
        }
    }

    fn remarks(&self) -> &[Value] {
        items(&self.vehicle, "remarks")
    }
}

/// On the vessel a display asks all nodes in turn for their address claims at 28 s, for two seconds: nodes pause,
/// and send what they held up.
#[test]
fn captures_of_healthy_vehicles_stay_quiet() {
    for capture in ["car-a/car-a.log.gz", "truck-b/normal.log.gz", "vessel/can0-2.pcap.gz"] {
        if let Some(found) = found(capture) {
            found.assert_healthy(capture);
        }
    }
}

#[test]
fn captures_through_a_lossy_logger_are_not_judged() {
    let capture = "car-b-lossy/car-b.log.gz";
    let Some(found) = found(capture) else { return };
    assert_eq!(found.exposures.len(), 1, "one start");
    assert_eq!(found.exposures[0]["judged"], "false", "no identifier keeps a period there");
    assert!(found.incidents.is_empty(), "{:#?}", found.incidents);
    assert_eq!(found.vehicle["no_data"], true, "not judged is not healthy");
    let said = found.remarks().iter().filter_map(Value::as_str);
    let reason = said.into_iter().find(|remark| remark.contains("loses"));
    assert!(reason.is_some(), "no remark says that the logger loses frames: {:?}", found.remarks());
}

/// The wake-up of a truck: addresses 23, 25, 33 and 49 join at 4.39 s, address 0 at 4.74 s.
const JOINING: [&str; 5] =
    ["instrument-cluster-1", "climate-1", "body-controller", "cab-controller-primary", "engine-1"];
const WAKING: [&str; 2] = ["truck-a/truck-monotonic.log.gz", "truck-a/truck-walltime.log.gz"];

#[test]
fn captures_of_a_wake_up_have_no_silent_joiner_on_either_clock() {
    for capture in WAKING {
        let Some(found) = found(capture) else { return };
        assert_eq!(found.exposures.len(), 1, "{capture}: one start");
        for incident in items(&found.vehicle, "incidents_list") {
            let silent: Vec<&str> =
                items(incident, "silent").iter().filter_map(Value::as_str).collect();
            let wrong: Vec<&&str> = silent.iter().filter(|node| JOINING.contains(node)).collect();
            assert!(wrong.is_empty(), "{capture}: {wrong:?} silent in {incident:#}");
        }
    }
}

#[test]
fn captures_of_a_wake_up_are_no_incident_on_the_monotonic_clock() {
    if let Some(found) = found(WAKING[0]) {
        found.assert_healthy(WAKING[0]);
    }
}

#[test]
fn captures_of_a_wake_up_are_no_incident_on_the_stepped_clock() {
    if let Some(found) = found(WAKING[1]) {
        found.assert_healthy(WAKING[1]);
    }
}

#[test]
fn captures_of_a_full_flood_are_one_disturbance() {
    let capture = "truck-b/dos_full.log.gz";
    if let Some(found) = found(capture) {
        found.assert_one_disturbance(capture, "flood", (16.546, 24.363), 0.2);
    }
}

#[test]
fn captures_of_a_flood_each_millisecond_are_one_disturbance() {
    let capture = "truck-b/dos_1ms.log.gz";
    if let Some(found) = found(capture) {
        found.assert_one_disturbance(capture, "flood", (15.921, 24.428), 0.2);
    }
}

#[test]
fn captures_of_random_identifiers_are_one_disturbance() {
    let capture = "truck-b/fuzz_1ms_ID_and_Data.log.gz";
    if let Some(found) = found(capture) {
        // The first and the last identifier that the normal log of the same truck does not have in a row.
        found.assert_one_disturbance(capture, "unknown-identifiers", (15.455, 24.450), 0.2);
    }
}

#[test]
fn captures_as_packets_of_link_type_227_are_read_whole() {
    // Frames by the captures' own descriptions; the second has its identifiers in the wrong byte order.
    for (capture, frames) in [("vessel/can0-2.pcap.gz", 47_166), ("uds/uds.pcap.gz", 9_434)] {
        let Some(log) = as_it_stands(capture) else { return };
        assert!(log.rejects.is_empty(), "{capture}: {:?}", log.rejects);
        assert_eq!(log.frames, frames, "{capture}");
    }
}
