//! Every column and field is defined, every sample and output fits its schema, and each schema of an input has
//! the keys that its reader knows.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use buswitness::pipeline::plan::Plan;
use buswitness::read::networks::read_network;
use buswitness::reports::{Defined, defined_tables};
use serde_json::{Map, Value};

use super::validator::faults;
use super::{GUIDE, name, printed, read, report_folders, with_ending};
use crate::program::{RENEW, buswitness, done, files, project, renewing, said, sample, write};

/// The JSON outputs and the names of their types.
const JSON_OUTPUTS: [(&str, &str); 5] = [
    ("culprits.json", "Culprits"),
    ("batches.json", "Batches"),
    ("plan", "Plan"),
    ("run", "Ran"),
    ("check", "Checked"),
];

/// All schemas by name; asked of the program once.
pub(super) fn schemas() -> &'static BTreeMap<String, Value> {
    static SCHEMAS: LazyLock<BTreeMap<String, Value>> = LazyLock::new(asked_for);
    &SCHEMAS
}

fn asked_for() -> BTreeMap<String, Value> {
    let list = printed(&["schema"]);
    let names = list.lines().filter(|line| line.starts_with("  "));
    let names = names.filter_map(|line| line.split_whitespace().next());
    let schema = |name: &str| serde_json::from_str(&printed(&["schema", name])).expect("JSON");
    names.map(|name| (name.to_owned(), schema(name))).collect()
}

pub(super) fn fits(schemas: &BTreeMap<String, Value>, name: &str, value: &Value, what: &str) {
    let schema = schemas.get(name).unwrap_or_else(|| panic!("no schema `{name}`"));
    let told = faults(schema, value);
    assert!(
        told.is_empty(),
        "{what} does not fit `{name}`:\n{}",
        told[..told.len().min(20)].join("\n")
    );
}

/// The defined cells of a row of an output as its schema has them.
fn row(table: &Defined, header: &[String], cells: &csv::StringRecord) -> Value {
    let cell = |kind: &str, text: &str| match kind {
        _ if text.is_empty() => Value::Null,
        "count" => text.parse::<u64>().map_or_else(|_| text.into(), Value::from),
        "number" => text.parse::<f64>().map_or_else(|_| text.into(), Value::from),
        "flag" => text.parse::<bool>().map_or_else(|_| text.into(), Value::from),
        _ => text.into(),
    };
    let known = |name: &String| table.columns.iter().find(|column| column.name == *name);
    let columns = header.iter().zip(cells);
    let object: Map<String, Value> = columns
        .filter_map(|(name, text)| Some((name.clone(), cell(&known(name)?.kind, text))))
        .collect();
    object.into()
}

#[test]
fn every_column_of_every_written_table_is_defined_and_every_row_fits() {
    const WHERE: &str = "src/reports/dictionary/columns.csv";
    let (tables, schemas) = (defined_tables(), schemas());
    let mut met: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for file in report_folders().iter().flat_map(|folder| with_ending(folder, "csv")) {
        let shown = file.display();
        let table = tables.iter().find(|table| table.file == name(&file));
        let table = table
            .unwrap_or_else(|| panic!("{shown} is defined nowhere: add its columns to {WHERE}"));
        let mut reader = csv::Reader::from_path(&file).expect("a table");
        let header: Vec<String> =
            reader.headers().expect("a header").iter().map(str::to_owned).collect();
        // A view may lack columns; those it has stand in the order of the definition.
        let has = |name: &String| header.contains(name);
        let defined: Vec<String> =
            table.columns.iter().map(|column| column.name.clone()).filter(has).collect();
        assert_eq!(header, defined, "{shown}: left as written, right as {WHERE} defines it");
        for (at, cells) in reader.records().enumerate() {
            let what = format!("{shown} row {}", at + 2);
            fits(schemas, &table.file, &row(table, &header, &cells.expect("cells")), &what);
        }
        met.entry(table.file.clone()).or_default().extend(header);
    }
    let columns =
        |table: &Defined| table.columns.iter().map(|column| column.name.clone()).collect();
    let defined: BTreeMap<String, BTreeSet<String>> =
        tables.iter().map(|table| (table.file.clone(), columns(table))).collect();
    assert_eq!(met, defined, "left what stands below reports/, right what {WHERE} defines");
}

#[test]
fn every_definition_says_something_in_known_words() {
    for table in defined_tables() {
        assert!(!table.row.is_empty() && !table.columns.is_empty(), "{table:?}");
        for column in &table.columns {
            let known = ["text", "word", "list", "time", "number", "count", "flag"];
            assert!(known.contains(&column.kind.as_str()), "{} {column:?}", table.file);
            assert!(column.meaning.len() > 5, "{} {column:?}", table.file);
        }
    }
}

/// The objects of a schema that have fields of their own, by name.
fn objects(schema: &Value) -> Vec<(String, &Map<String, Value>)> {
    let own = schema["title"].as_str().unwrap_or_default().to_owned();
    let parts = schema["$defs"].as_object().into_iter().flatten();
    let all = parts.map(|(name, part)| (name.clone(), part)).chain([(own, schema)]);
    all.filter_map(|(name, part)| Some((name, part["properties"].as_object()?))).collect()
}

#[test]
fn every_field_of_every_schema_is_described() {
    let mut bare = Vec::new();
    let mut seen = 0;
    for (name, schema) in schemas() {
        let is_input_table =
            schema["description"].as_str().is_some_and(|d| d.contains("[columns."));
        for (object, fields) in objects(schema) {
            for (field, rules) in fields {
                seen += 1;
                if rules["description"].as_str().is_none_or(str::is_empty) && !is_input_table {
                    bare.push(format!("{name}: {object},{field}"));
                }
            }
        }
    }
    assert!(seen > 300, "only {seen} fields were seen");
    assert!(
        bare.is_empty(),
        "fields without a meaning: add a line `object,field,meaning` to src/reports/dictionary/fields.csv\n{}",
        bare.join("\n")
    );
}

#[test]
fn no_meaning_is_of_a_field_that_is_gone() {
    let mut known: BTreeSet<(String, String)> = BTreeSet::new();
    for (name, own) in JSON_OUTPUTS {
        let schema = &schemas()[name];
        for (object, fields) in objects(schema) {
            let object = if object == name { own.to_owned() } else { object };
            known.extend(fields.keys().map(|field| (object.clone(), field.clone())));
        }
    }
    let path = project().join("src/reports/dictionary/fields.csv");
    let mut reader = csv::Reader::from_path(&path).expect("fields.csv");
    for line in reader.records() {
        let line = line.expect("a line");
        assert_eq!(line.len(), 3, "{line:?}");
        let key = (line[0].to_owned(), line[1].to_owned());
        assert!(known.contains(&key), "fields.csv: {key:?} is in no schema");
    }
}

#[test]
fn outputs_fit_their_schemas() {
    // The figures of a calibration are for those who develop the program: no pipeline writes them.
    const WITHOUT: [&str; 1] = ["calibration.json"];
    let schemas = schemas();
    let mut seen = 0;
    for folder in report_folders() {
        for file in
            with_ending(&folder, "json").iter().filter(|file| !WITHOUT.contains(&&*name(file)))
        {
            let value = serde_json::from_str(&read(file)).expect("JSON");
            fits(schemas, &name(file), &value, &file.display().to_string());
            seen += 1;
        }
    }
    assert!(seen >= 3, "only {seen} JSON outputs were seen");
    let work = sample();
    for (command, vehicle) in [("check", None), ("run", None), ("plan", Some("LH-09"))] {
        let arguments = [Some(command), vehicle, Some("--json"), Some("pipelines/session.toml")];
        let arguments: Vec<&str> = arguments.into_iter().flatten().collect();
        let value: Value =
            serde_json::from_str(&said(work.path(), &arguments)).expect("one JSON object");
        fits(schemas, command, &value, &format!("{command} --json"));
        assert!(value["schema"].as_str().is_some_and(|s| s == format!("buswitness/{command}/1")));
    }
}

pub(super) fn toml_value(path: &Path) -> Value {
    let table: toml::Table =
        read(path).parse().unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::to_value(table).expect("JSON")
}

#[test]
fn samples_fit_their_schemas() {
    let schemas = schemas();
    let logs = project().join("sample-logs");
    for file in with_ending(&project().join("pipelines"), "toml") {
        fits(schemas, "pipeline", &toml_value(&file), &file.display().to_string());
    }
    for file in with_ending(&logs.join("networks"), "toml") {
        fits(schemas, "network", &toml_value(&file), &file.display().to_string());
    }
    let mut reports = 0;
    for (file, bytes) in files(&logs.join("scans")) {
        if file.extension().is_some_and(|ending| ending == "json") {
            let value = serde_json::from_slice(&bytes).expect("JSON");
            fits(schemas, "scan-report", &value, &file.display().to_string());
            reports += 1;
        }
    }
    assert!(reports > 50, "only {reports} scan reports were seen");
    for input in ["vehicles", "modules", "weather", "service"] {
        let schema = &schemas[input];
        let mut reader =
            csv::Reader::from_path(logs.join(format!("{input}.csv"))).expect("a table");
        let header = reader.headers().expect("a header").clone();
        for cells in reader.records() {
            let cells = cells.expect("cells");
            let given = header.iter().zip(&cells).filter(|(_, text)| !text.is_empty());
            let cell =
                |column: &str, text: &str| match schema["properties"][column]["type"].as_str() {
                    Some("number" | "integer") => {
                        serde_json::from_str(text).unwrap_or_else(|_| text.into())
                    }
                    _ => Value::from(text),
                };
            let row: Map<String, Value> =
                given.map(|(column, text)| (column.to_owned(), cell(column, text))).collect();
            fits(schemas, input, &row.into(), &format!("{input}.csv"));
        }
    }
}

/// The keys that a reader names when it meets one that is like none of them.
pub(super) fn known_here(reasons: &[String]) -> BTreeSet<String> {
    let told = reasons.iter().find_map(|reason| reason.split_once("known here: "));
    let (_, list) = told.unwrap_or_else(|| panic!("no list of known keys in {reasons:?}"));
    list.split(", ").map(str::to_owned).collect()
}

pub(super) fn keys(schema: &Value, part: Option<&str>) -> BTreeSet<String> {
    let object = part.map_or(schema, |part| &schema["$defs"][part]);
    let fields = object["properties"].as_object().unwrap_or_else(|| panic!("no part {part:?}"));
    fields.keys().cloned().collect()
}

#[test]
fn schemas_of_inputs_have_the_keys_that_their_readers_know() {
    const STRANGE: &str = "qqzzqq";
    let schemas = schemas();
    let pipeline = |text: &str| -> Vec<String> {
        let faults = Plan::check(text.as_bytes(), &"p.toml".into(), Path::new(""))
            .expect_err("a strange key");
        faults.0.into_iter().map(|fault| fault.reason).collect()
    };
    for (text, part) in [
        (format!("{STRANGE} = 1"), None),
        (format!("[inputs]\n{STRANGE} = 1"), Some("Inputs")),
        (format!("[inputs]\n[columns.weather]\ntime = {{{STRANGE} = 1}}"), Some("Chosen")),
        (format!("[inputs]\n[period]\n{STRANGE} = 1"), Some("Period")),
        (format!("[inputs]\n[repairs]\n{STRANGE} = 1"), Some("Repairs")),
        (format!("[inputs]\n[output]\n{STRANGE} = 1"), Some("Output")),
    ] {
        assert_eq!(known_here(&pipeline(&text)), keys(&schemas["pipeline"], part), "{part:?}");
    }
    let network = |text: &str| -> Vec<String> {
        let read = read_network(text.as_bytes(), &"n.toml".into());
        read.account.rejects.into_iter().map(|reject| reject.reason).collect()
    };
    for (text, part) in [
        (format!("{STRANGE} = 1"), None),
        (format!("[[bus]]\n{STRANGE} = 1"), Some("Bus")),
        (format!("[[branch]]\n{STRANGE} = 1"), Some("Branch")),
        (format!("[[node]]\n{STRANGE} = 1"), Some("Node")),
        (format!("[[node]]\nname = \"a\"\nsends = [{{id = 1, {STRANGE} = 1}}]"), Some("Sent")),
    ] {
        assert_eq!(known_here(&network(&text)), keys(&schemas["network"], part), "{part:?}");
    }
}

/// A report with every key of the schema: the reader must know them all.
#[test]
fn the_reader_of_scan_reports_knows_the_keys_of_its_schema() {
    let report = r#"{"schema": "buswitness/scan-report/1", "vehicle": "V1", "taken_at": "2026-01-12T06:41:00Z",
        "odometer_km": 10, "conditions": {"ambient_c": 1, "humidity_pct": 50, "battery_v": 12, "since_start_s": 9},
        "nodes": [{"node": "body", "answered": true, "codes": [{"code": "U0126", "failure_type": "00",
        "status": "confirmed", "occurrences": 3, "since_start_s": 41}]}]}"#;
    let value: Value = serde_json::from_str(report).expect("JSON");
    let schemas = schemas();
    fits(schemas, "scan-report", &value, "a full report");
    let schema = &schemas["scan-report"];
    let node = &value["nodes"][0];
    for (object, part) in [
        (&value, None),
        (&value["conditions"], Some("Conditions")),
        (node, Some("Said")),
        (&node["codes"][0], Some("Code")),
    ] {
        let here: BTreeSet<String> =
            object.as_object().expect("an object").keys().cloned().collect();
        assert_eq!(here, keys(schema, part), "{part:?}");
    }
    let folder = crate::program::folder();
    write(&folder.path().join("r.json"), report.as_bytes());
    let checked = |strange: &str| -> Value {
        let text = report.replacen("\"odometer_km\"", strange, 1);
        write(&folder.path().join("r.json"), text.as_bytes());
        let output = buswitness(folder.path(), &["check", "--json", "."]);
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    assert_eq!(checked("\"odometer_km\"")["leniencies"], serde_json::json!([]));
    assert_ne!(
        checked("\"qqzzqq\"")["leniencies"],
        serde_json::json!([]),
        "an unknown key is counted"
    );
}

#[test]
fn committed_guide_is_up_to_date() {
    let guide = project().join(GUIDE);
    let mut made: BTreeMap<String, String> = BTreeMap::new();
    made.insert("columns.md".to_owned(), printed(&["columns"]));
    for name in schemas().keys() {
        made.insert(format!("schemas/{name}.schema.json"), printed(&["schema", name]));
    }
    if renewing() {
        // A schema of an output that is gone goes too.
        let _ = fs::remove_dir_all(guide.join("schemas"));
        made.iter().for_each(|(name, text)| write(&guide.join(name), text.as_bytes()));
        return;
    }
    for (name, text) in &made {
        assert!(
            fs::read_to_string(guide.join(name)).is_ok_and(|found| found == *text),
            "{GUIDE}/{name} is not what the program prints; {RENEW}"
        );
    }
    let strays = with_ending(&guide.join("schemas"), "json");
    let strays: Vec<String> = strays
        .iter()
        .map(|f| format!("schemas/{}", name(f)))
        .filter(|n| !made.contains_key(n))
        .collect();
    assert!(strays.is_empty(), "{GUIDE} has schemas of nothing: {strays:?}");
}

#[test]
fn a_template_passes_the_check_and_says_what_is_missing() {
    let folder = crate::program::folder();
    done(folder.path(), &["template", "own"]);
    let text = said(folder.path(), &["check", "own/pipeline.toml"]);
    for words in [
        "`bus_logs`: nothing matches `bus/{vehicle}/*`",
        "`scan_reports`: nothing matches `scans/{vehicle}/*`",
        "put logs there in any format",
        "weather.csv: nothing in it yet; a CSV with the columns site, time",
        "networks/model-1.toml: nothing in it yet",
        "no readable input: expected at least one bus log or scan report",
    ] {
        assert!(text.contains(words), "`{words}` is not in\n{text}");
    }
    // A second call leaves everything as it is.
    let own = folder.path().join("own");
    write(&own.join("vehicles.csv"), b"vehicle,network\nV1,MODEL-1\n");
    let before = files(&own);
    done(folder.path(), &["template", "own"]);
    assert_eq!(files(&own), before);
    let schemas = schemas();
    fits(schemas, "pipeline", &toml_value(&own.join("pipeline.toml")), "the template");
    fits(schemas, "network", &toml_value(&own.join("networks/model-1.toml")), "the template");
}
