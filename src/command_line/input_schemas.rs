//! JSON Schemas of the inputs: of the TOML and JSON files from the types below, of table rows from the
//! forms that the readers use.
//!
//! The readers take files apart by hand, to name lines; so these types only describe. Tests hold them against
//! the readers: the samples must fit, and each object must have exactly the keys that its reader knows.
#![expect(dead_code, reason = "the types describe files; only their schemas are used")]

use std::collections::BTreeMap;

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};

use super::shop_schemas::shop_schemas;
use crate::read::tables::{FORMS, Field, Form, Holds, Quantity};
use crate::reports::{DIALECT, NamedSchema, part_schemas};

/// One text, or a list of texts.
#[derive(JsonSchema)]
#[schemars(untagged)]
pub(super) enum Words {
    One(String),
    Several(Vec<String>),
}

/// A pipeline file (TOML). Every path in it is relative to the file.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Pipeline {
    /// The title of the reports; without it the file's name.
    title: Option<String>,
    /// Which reports are written.
    view: Option<View>,
    /// IANA name: for display, and for times without an offset. UTC without it.
    timezone: Option<String>,
    /// What is read.
    inputs: Inputs,
    /// Columns with other names, units or zones: by input, by field.
    columns: Option<BTreeMap<String, BTreeMap<String, Column>>>,
    /// Inputs outside it are left out and counted.
    period: Option<Period>,
    /// How repairs are judged.
    repairs: Option<Repairs>,
    /// What is written, and where.
    output: Option<Output>,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum View {
    Session,
    Fleet,
    Batches,
}

/// Patterns of paths; `*`, `**` and `?`, and `{vehicle}`, `{bus}`, `{start}` which take what stands there.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Inputs {
    /// Bus logs.
    bus_logs: Option<Words>,
    /// Scan reports of any layout.
    scan_reports: Option<Words>,
    /// Weather tables.
    weather: Option<Words>,
    /// Weather to come, in the form of weather tables.
    forecast: Option<Words>,
    /// Vehicles tables.
    vehicles: Option<Words>,
    /// Modules tables.
    modules: Option<Words>,
    /// Service notes.
    service: Option<Words>,
    /// Network descriptions.
    networks: Option<Words>,
    /// Words by which reports of unknown layout are read, besides the built-in ones.
    report_words: Option<Words>,
    /// Own tables of what a replaced part needs.
    after_part: Option<Words>,
    /// Own table of how grave faults are, for the view of a fleet.
    severity: Option<Words>,
    /// Own table of what tests take and tell.
    tests: Option<Words>,
    /// Parts of a fleet's facts that were kept elsewhere: Parquet files, a folder a part.
    facts: Option<Words>,
}

/// Where a field comes from: a column's name, or more.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum Column {
    Named(String),
    Chosen(Chosen),
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Chosen {
    /// The column's name.
    column: Option<String>,
    /// The unit of its numbers.
    unit: Option<String>,
    /// The zone of its times without an offset.
    zone: Option<String>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Period {
    /// First day or time.
    from: Option<String>,
    /// First day or time that is no longer in it.
    to: Option<String>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Repairs {
    /// Confidence at which a repair counts as held, between 0.5 and 1; 0.95 without it.
    confidence: Option<f64>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Output {
    /// A plain folder.
    folder: Option<String>,
    /// Which kinds of files are written; all without it.
    formats: Option<Vec<Format>>,
}

#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
enum Format {
    Html,
    Json,
    Csv,
    Parquet,
}

/// A network description (TOML), one for each vehicle model.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Network {
    /// The name that the vehicles table uses.
    network: String,
    /// Its buses.
    bus: Option<Vec<Bus>>,
    /// Its modules.
    node: Option<Vec<Node>>,
    /// Its wiring branches.
    branch: Option<Vec<Branch>>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Bus {
    /// Its name.
    name: String,
    /// Bits a second.
    bitrate: Option<u64>,
    /// The interface of the logs that is this bus, as in `can0`.
    interface: Option<String>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Node {
    /// The short name used everywhere.
    name: String,
    /// Its full name.
    title: Option<String>,
    /// How reports may call it.
    aliases: Option<Words>,
    /// Its bus; two or more make it a gateway.
    bus: Option<Words>,
    /// The identifiers that it sends.
    sends: Option<Vec<Sent>>,
    /// Codes that others set when they no longer hear it.
    lost_codes: Option<Words>,
    /// The identifier on which a tester asks it.
    request: Option<Identifier>,
    /// The identifier on which it answers.
    response: Option<Identifier>,
    /// The fuse or supply it hangs on.
    feed: Option<String>,
    /// The ground it hangs on.
    ground: Option<String>,
    /// The branch it hangs on; a list for a gateway.
    branch: Option<Words>,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Sent {
    /// The identifier.
    id: Identifier,
    /// Its period; left out when it is sent on events.
    period_ms: Option<f64>,
}

/// `"0x1A0"` or `0x1A0`; 29 bits when written with 8 digits or above 0x7FF.
#[derive(JsonSchema)]
#[schemars(untagged)]
enum Identifier {
    Text(String),
    Number(u32),
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
struct Branch {
    /// Its name.
    name: String,
    /// The bus it belongs to.
    bus: Option<String>,
    /// The branch that it hangs on: branches form a tree.
    upstream: Option<String>,
}

/// A scan report: one object, an array of them, or JSON Lines. Unknown keys are counted and ignored.
#[derive(JsonSchema)]
struct ScanReport {
    /// `buswitness/scan-report/1`.
    schema: Option<String>,
    /// The vehicle; it may stand in the path instead, as `{vehicle}`.
    vehicle: Option<String>,
    /// When it was taken: RFC 3339, or local time in the pipeline's zone.
    taken_at: String,
    /// Odometer, km.
    odometer_km: Option<f64>,
    /// Conditions when it was taken.
    conditions: Option<Conditions>,
    /// What each module said.
    nodes: Option<Vec<Said>>,
}

#[derive(JsonSchema)]
struct Conditions {
    /// Ambient temperature, °C.
    ambient_c: Option<f64>,
    /// Relative humidity, percent.
    humidity_pct: Option<f64>,
    /// Battery voltage, V.
    battery_v: Option<f64>,
    /// Seconds since the start.
    since_start_s: Option<f64>,
}

#[derive(JsonSchema)]
struct Said {
    /// The module: its name in the network description, or another name for it.
    node: String,
    /// Whether it answered the tester; left out when that is not known.
    answered: Option<bool>,
    /// Its codes.
    codes: Option<Vec<Code>>,
}

#[derive(JsonSchema)]
struct Code {
    /// As in `U0126` (SAE J2012) or `SPN 2003 FMI 9` (SAE J1939).
    code: String,
    /// Failure type byte, as in `00`.
    failure_type: Option<String>,
    /// `pending`, `confirmed`, `stored`, or the raw status byte as `0x2F`.
    status: Option<String>,
    /// How often it was set, by the module's counter.
    occurrences: Option<u32>,
    /// Seconds from start to its setting.
    since_start_s: Option<f64>,
}

/// The schemas of all inputs.
pub(super) fn input_schemas() -> Vec<NamedSchema> {
    let mut all = vec![
        file::<Pipeline>("pipeline", "a pipeline file (TOML)"),
        file::<Network>("network", "a network description (TOML)"),
        file::<ScanReport>("scan-report", "a scan report (JSON)"),
    ];
    all.extend(shop_schemas());
    all.extend(FORMS.into_iter().map(row));
    all.extend(part_schemas());
    all
}

pub(super) fn file<T: JsonSchema>(name: &str, about: &str) -> NamedSchema {
    let settings = SchemaSettings::draft2020_12();
    let schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    NamedSchema { name: name.to_owned(), about: about.to_owned(), schema }
}

/// A row of an input table as an object; empty cells are left out.
fn row(form: &Form) -> NamedSchema {
    let cells: Map<String, Value> =
        form.fields.iter().map(|field| (field.name.to_owned(), cell(field))).collect();
    let required: Vec<&str> = form.fields.iter().filter(|f| f.required).map(|f| f.name).collect();
    let about = format!("a row of the {}", form.title);
    let schema = json!({
        "$schema": DIALECT,
        "title": form.input,
        "description": format!("A row of the {}. Columns with other names or units are named in the pipeline under [columns.{}]; further columns are ignored.", form.title, form.input),
        "type": "object",
        "properties": cells,
        "required": required,
    });
    NamedSchema { name: form.input.to_owned(), about, schema }
}

fn cell(field: &Field) -> Value {
    let mut cell = match field.holds {
        Holds::Text => json!({"type": "string"}),
        Holds::Flag => json!({"type": "boolean"}),
        Holds::Time => {
            json!({"type": "string", "description": "RFC 3339, or local time in the pipeline's zone"})
        }
        Holds::Day => {
            json!({"type": "string", "description": "a day, as in 2026-01-05, or a time"})
        }
        Holds::Number(Quantity::Count) => json!({"type": "integer"}),
        Holds::Number(_) => json!({"type": "number"}),
    };
    let (low, high) = field.range;
    if let (Holds::Number(_), true, Value::Object(inner)) =
        (field.holds, low.is_finite() && high.is_finite(), &mut cell)
    {
        inner.insert("minimum".to_owned(), json!(low));
        inner.insert("maximum".to_owned(), json!(high));
    }
    cell
}
