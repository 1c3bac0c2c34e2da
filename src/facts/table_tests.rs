//! What the tables promise: schema in one place, same rows same bytes, unknown stays empty, and
//! polars sees what arrow holds.

use std::sync::Arc;

use arrow::array::{Array as _, AsArray as _};

use crate::facts::schema::{EXPOSURES, INCIDENTS, SILENCES, STARTS, TABLES};
use crate::facts::{
    ExposureRow, IncidentRow, Kind, Places, VehicleTally, fleet_tally, from_parquet, read_rows,
    rows_table, schema_markdown, to_parquet, to_polars, vehicles_table,
};
use crate::observe::{AnswerRow, CodeKind, CodeRow, SilenceRow, StartRow};
use crate::vocabulary::{CodeStatus, Instant, Place, TroubleCode};

fn file() -> Arc<str> {
    "bus/a.log".into()
}

fn exposure(vehicle: &str, judged: bool, incidents: u32) -> ExposureRow {
    ExposureRow {
        vehicle: vehicle.to_owned(),
        start: Instant(1_767_600_000_000_000_001),
        end: Instant(1_767_600_060_000_000_000),
        logged: true,
        judged,
        incidents,
        ambient_c: Some((-3.5, "weather", 600.0)),
        humidity_pct: None,
        dew_spread_k: None,
        rain_12h_mm: None,
        wet: None,
        washed: None,
        soak_s: Some(0.0),
        first_of_day: Some(true),
        supply_v: None,
        odometer_km: None,
        place: Place::line(&file(), 9),
    }
}

fn silence() -> SilenceRow {
    SilenceRow {
        bus: "chassis".into(),
        start: Instant(1),
        node: "steering-angle".into(),
        last_heard: Instant(2),
        due: Instant(3),
        end: Instant(4),
        returned: true,
        restarted: Some(false),
        identifiers: 2,
        place: Place::line(&file(), 20_318),
    }
}

#[test]
fn column_names_are_snake_case_and_stand_once_in_their_table() {
    for table in TABLES {
        let mut names: Vec<&str> = table.columns.iter().map(|c| c.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), table.columns.len(), "{}", table.name);
        for column in table.columns {
            let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
            assert!(column.name.chars().all(plain), "{}.{}", table.name, column.name);
            assert!(!column.meaning.is_empty() && !column.meaning.contains('|'));
            let unitless = matches!(column.kind, Kind::Text | Kind::Word | Kind::Time | Kind::Flag);
            assert!(!unitless || column.unit.is_empty(), "{}.{}", table.name, column.name);
        }
    }
    let page = schema_markdown();
    assert!(page.contains("### `silences`") && page.contains("| `due` | timestamp (ns, UTC) |"));
}

#[test]
fn same_rows_give_same_bytes_that_name_no_library_version() {
    let rows = [silence(), silence()];
    let batch = || rows_table(&rows, Places::Full).expect("a table");
    let bytes = to_parquet(&SILENCES, &batch()).expect("bytes");
    assert_eq!(bytes, to_parquet(&SILENCES, &batch()).expect("bytes"));
    assert!(!bytes.windows(10).any(|part| part == b"parquet-rs"));
}

#[test]
fn a_table_without_rows_keeps_its_schema_through_parquet() {
    let batch = rows_table::<StartRow>(&[], Places::Full).expect("a table");
    let bytes = to_parquet(&STARTS, &batch).expect("bytes");
    let back = from_parquet(&STARTS, bytes).expect("a batch");
    assert_eq!(back, batch);
    assert_eq!(read_rows::<StartRow>(&back, &file()).expect("rows"), []);
}

#[test]
fn bytes_that_are_no_table_or_another_table_are_refused() {
    assert!(from_parquet(&STARTS, b"PAR1 not at all PAR1".to_vec()).is_err());
    let other = rows_table(&[silence()], Places::Full).expect("a table");
    let error = read_rows::<StartRow>(&other, &file()).expect_err("another table");
    assert!(error.to_string().starts_with("table `starts`: expected the columns `bus` Utf8"));
}

#[test]
fn the_tables_of_many_vehicles_name_the_vehicle_first() {
    let (one, two) = ([silence()], [silence(), silence()]);
    let batch = vehicles_table(&[("LH-01", &one[..]), ("LH-02", &two[..])]).expect("a table");
    assert_eq!(batch.schema_ref().field(0).name(), "vehicle");
    let vehicles: Vec<_> = batch.column(0).as_string::<i32>().iter().flatten().collect();
    assert_eq!(vehicles, ["LH-01", "LH-02", "LH-02"]);
    let places = batch.column_by_name("place").expect("places").as_string::<i32>();
    assert_eq!(places.value(2), "bus/a.log:20318");
}

#[test]
fn what_no_log_covers_is_written_as_unknown_not_as_none() {
    let covered = IncidentRow { logged: true, ..IncidentRow::default() };
    let rows = [
        covered,
        IncidentRow { accused: vec!["b".into(), "a".into(), "b".into()], ..IncidentRow::default() },
    ];
    let batch = rows_table(&rows, Places::Full).expect("a table");
    for name in ["silent", "alive", "disturbed", "disturbances"] {
        let column = batch.column_by_name(name).expect(name);
        assert_eq!((column.is_null(0), column.is_null(1)), (false, true), "{name}");
    }
    let accused = batch.column_by_name("accused").expect("accused").as_list::<i32>().value(1);
    let names: Vec<_> = accused.as_string::<i32>().iter().flatten().collect();
    assert_eq!(names, ["a", "b"]);
    let bytes = to_parquet(&INCIDENTS, &batch).expect("bytes");
    assert_eq!(from_parquet(&INCIDENTS, bytes).expect("a batch"), batch);
}

#[test]
fn codes_and_answers_are_written_as_the_contract_spells_them() {
    let code = |failure_type, status| CodeRow {
        vehicle: "LH-01".into(),
        report: 0,
        taken_at: Instant(5),
        reporter: "body".into(),
        code: TroubleCode { word: 0xC126, failure_type }.into(),
        status,
        occurrences: None,
        since_start_s: None,
        kind: CodeKind::NotHeard,
        accused: Some("steering-angle".into()),
        place: Place::whole(&file()),
    };
    let rows = [code(Some(0), CodeStatus::Raw(0x2F)), code(None, CodeStatus::Unknown)];
    let batch = rows_table(&rows, Places::Full).expect("a table");
    let cells = |name: &str| -> Vec<Option<String>> {
        let column = batch.column_by_name(name).expect("a column").as_string::<i32>();
        column.iter().map(|cell| cell.map(str::to_owned)).collect()
    };
    assert_eq!(cells("code"), [Some("U0126".to_owned()), Some("U0126".to_owned())]);
    assert_eq!(cells("failure_type"), [Some("00".to_owned()), None]);
    assert_eq!(cells("status"), [Some("0x2F".to_owned()), None]);
    assert_eq!(cells("kind")[0].as_deref(), Some("not-heard"));
    assert_eq!(rows_table::<AnswerRow>(&[], Places::Full).expect("a table").num_rows(), 0);
}

#[test]
fn polars_sees_what_arrow_holds_also_in_a_slice() {
    let rows: Vec<ExposureRow> =
        (0..40).map(|n| exposure(if n % 2 == 0 { "b" } else { "a" }, n % 3 == 0, n % 5)).collect();
    let batch = rows_table(&rows, Places::Full).expect("a table");
    let slice = batch.slice(3, 30);
    for batch in [&batch, &slice] {
        let table = to_polars(batch).expect("a polars table");
        assert_eq!(table.shape(), (batch.num_rows(), EXPOSURES.columns.len()));
        let judged = batch.column_by_name("judged").expect("judged").as_boolean();
        let seen = table.column("judged").expect("judged").bool().expect("flags");
        assert!(judged.iter().eq(seen.iter()));
        assert_eq!(table.column("humidity_pct").expect("humidity").null_count(), batch.num_rows());
        let start = table.column("start").expect("start").dtype().to_string();
        assert_eq!(start, "datetime[ns, UTC]");
    }
    let incidents = rows_table(&[IncidentRow::default()], Places::Full).expect("a table");
    assert_eq!(to_polars(&incidents).expect("lists cross too").height(), 1);
}

#[test]
fn the_fleet_is_tallied_by_vehicle_in_the_order_of_names() {
    let rows = [
        exposure("b", true, 0),
        exposure("a", true, 2),
        exposure("b", false, 1),
        exposure("b", true, 3),
    ];
    let table = to_polars(&rows_table(&rows, Places::Full).expect("a table")).expect("crosses");
    let tally = |vehicle: &str, starts, judged, with_incident| VehicleTally {
        vehicle: vehicle.to_owned(),
        starts,
        judged,
        with_incident,
    };
    assert_eq!(fleet_tally(table).expect("a tally"), [tally("a", 1, 1, 1), tally("b", 3, 2, 2)]);
    let none = to_polars(&rows_table::<ExposureRow>(&[], Places::Full).expect("a table"));
    assert_eq!(fleet_tally(none.expect("crosses")).expect("a tally"), []);
}
