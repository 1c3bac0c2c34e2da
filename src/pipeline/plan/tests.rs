//! Pipeline files that are right, and every way in which one can be wrong.

use super::*;

const GOOD: &str = r#"title    = "Weekly network review"
view     = "fleet"
timezone = "America/New_York"
[inputs]
bus_logs     = ["../bus/{vehicle}/*.log*"]
scan_reports = ["scans/**/*.json", "scans/**/*.csv"]
weather      = "weather.csv"
vehicles     = ["vehicles.csv"]
[columns.weather]
temperature_c = {column = "temp", unit = "°F"}
time = {column = "time_hour", zone = "America/New_York"}
site = "origin"
[period]
from = "2026-01-05"
to   = 2026-01-12
[output]
folder  = "out/"
formats = ["json", "html", "json"]
"#;

fn check(text: &str) -> Result<Plan, PlanFaults> {
    Plan::check(text.as_bytes(), &"pipelines/weekly.toml".into(), Path::new("pipelines"))
}

fn faults(text: &str) -> String {
    check(text).expect_err(text).to_string()
}

#[test]
fn a_whole_pipeline() {
    let plan = check(GOOD).unwrap();
    assert_eq!(plan.view, View::Fleet);
    assert_eq!(plan.inputs.weather, ["weather.csv"]);
    assert_eq!(plan.inputs.vehicles, ["vehicles.csv"]);
    assert_eq!(plan.output.folder, "out");
    assert_eq!(plan.output.formats, [Format::Html, Format::Json]);
    let weather = plan.columns_of("weather");
    assert_eq!(weather["temperature_c"].unit.as_deref(), Some("°F"));
    assert_eq!(weather["site"].column.as_deref(), Some("origin"));
    assert!(weather["time"].zone.is_some());
    let (from, to) = plan.period.unwrap();
    assert_eq!(from.unwrap().to_string(), "2026-01-05T05:00:00Z");
    assert_eq!(to.unwrap().to_string(), "2026-01-12T05:00:00Z");
    assert!(plan.in_period(from.unwrap()) && !plan.in_period(to.unwrap()));
}

#[test]
fn what_is_left_out_has_a_default() {
    let plan = check("[inputs]\nbus_logs = \"*.log\"\n").unwrap();
    assert_eq!((plan.title.as_str(), plan.view), ("weekly", View::Fleet));
    assert_eq!((plan.timezone, plan.output.folder.as_str()), (Tz::UTC, "out"));
    assert_eq!(plan.output.formats.len(), 4);
    assert!(plan.in_period(Instant(0)));
}

#[test]
fn every_fault_has_its_line_and_a_next_step() {
    for (from, to, expected) in [
        ("title ", "titel ", ":1: unknown key `titel` in the pipeline file; did you mean `title`?"),
        ("\"fleet\"", "\"fleets\"", ":2: unknown view `fleets`; did you mean `fleet`?"),
        (
            "timezone = \"America/New_York\"",
            "timezone = \"America/NewYork\"",
            ":3: unknown time zone `America/NewYork`; did you mean `America/New_York`?",
        ),
        (
            "bus_logs ",
            "bus_log ",
            ":5: unknown key `bus_log` in [inputs]; did you mean `bus_logs`?",
        ),
        (
            "{vehicle}",
            "{vehicel}",
            ":5: `bus_logs`: pattern `../bus/{vehicel}/*.log*` has an unknown capture",
        ),
        (
            "../bus/",
            "s3://key:word@bucket/",
            ":5: `bus_logs`: `s3://key:word@bucket/{vehicle}/*.log*` names no bucket",
        ),
        (
            "../bus/",
            "http://host/",
            ":5: `bus_logs`: `http://host/{vehicle}/*.log*` is of no store that can be read; expected",
        ),
        (
            "\"weather.csv\"",
            "\"s3://bucket/weather.csv\"",
            ":7: `weather`: `s3://bucket/weather.csv` is a URL; only bus_logs may lie in an object",
        ),
        ("\"weather.csv\"", "3", ":7: `weather` should be a text, found a number: 3"),
        (
            "[columns.weather]",
            "[columns.wether]",
            ":9: unknown key `wether` in [columns]; did you mean `weather`?",
        ),
        (
            "temperature_c =",
            "temprature_c =",
            ":10: unknown key `temprature_c` in [columns.weather]; did you mean `temperature_c`?",
        ),
        ("unit = \"°F\"", "unit = \"mm\"", ":10: `temperature_c`: unknown unit `mm`"),
        (
            "unit =",
            "units =",
            ":10: unknown key `units` in [columns.weather] temperature_c; did you mean `unit`?",
        ),
        ("from = \"2026-01-05\"", "from = \"2026-01-13\"", ":13: [period] is empty"),
        ("\"2026-01-05\"", "\"5 January\"", ":14: `from`: `5 January` is not a time"),
        (
            "\"json\", \"html\"",
            "\"jsn\", \"html\"",
            ":18: unknown format `jsn`; did you mean `json`?",
        ),
        ("[output]", "[output", ":16: not TOML"),
    ] {
        assert!(GOOD.contains(from), "{from}");
        let found = faults(&GOOD.replacen(from, to, 1));
        assert!(found.contains(&format!("pipelines/weekly.toml{expected}")), "{expected}\n{found}");
    }
}

#[test]
fn all_faults_come_together_in_line_order() {
    let text = GOOD
        .replace("title ", "titel ")
        .replace("\"fleet\"", "\"fleets\"")
        .replace("formats", "format");
    let found = faults(&text);
    assert_eq!(found.lines().count(), 3, "{found}");
    assert!(found.lines().next().unwrap().contains(":1:"), "{found}");
    assert!(found.lines().last().unwrap().contains("did you mean `formats`?"), "{found}");
}

#[test]
fn nothing_to_read_is_a_fault() {
    assert!(faults("title = \"x\"").contains("no [inputs]; name at least one of bus_logs"));
    assert!(faults("[inputs]").contains("[inputs] names nothing to read"));
    assert!(faults("").contains("no [inputs]"));
}

#[test]
fn a_file_that_is_no_pipeline_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let read = |bytes: &[u8]| {
        let path = folder.path().join("p.toml");
        std::fs::write(&path, bytes).unwrap();
        Plan::read(&path).map_err(|faults| faults.to_string())
    };
    assert!(read(b"").unwrap_err().contains("empty file, expected a pipeline file"));
    assert!(read(b"{\"a\": 1}").unwrap_err().contains("JSON, expected a pipeline file"));
    assert!(read(b"\x00\x01\x02\x03").unwrap_err().contains("binary file"));
    assert!(read(b"view = \"f\xE9\"\n").unwrap_err().contains("byte 9: not UTF-8"));
    assert!(read(GOOD.as_bytes()).is_ok());
    assert!(
        Plan::read(&folder.path().join("none.toml"))
            .unwrap_err()
            .to_string()
            .contains("cannot open")
    );
}

#[test]
fn a_folder_is_a_session() {
    let plan = Plan::for_folder(Path::new("visits/LH-03"));
    assert_eq!(plan.only_vehicle.as_deref(), Some("LH-03"));
    assert_eq!(plan.view, View::Session);
    assert_eq!(plan.output.folder, "buswitness-report");
    assert_eq!(plan.inputs.by_content, ["*", "{vehicle}/*"]);
}
