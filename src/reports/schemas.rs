//! JSON Schemas of the outputs: of JSON objects from their types, of table rows from their definitions.
//!
//! Fields may be added to an object in a later version, so objects are open; a row has no other columns
//! than these, though a view may lack some.

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value, json};

use crate::reports::batches::Batches;
use crate::reports::culprits_json::Culprits;
use crate::reports::dictionary::{Defined, Meaning, field, tables};
use crate::reports::for_scripts::{Checked, Ran};
use crate::reports::outlooks::Plan;
use crate::reports::parquet_schemas::written_tables;
use crate::vocabulary::{Mechanism, Suspect, Verdict};

/// The dialect of all schemas.
pub const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// A schema with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedSchema {
    /// The name, as in `culprits.json`.
    pub name: String,
    /// What it describes, in a few words.
    pub about: String,
    /// The schema.
    pub schema: Value,
}

/// The schemas of all outputs.
#[must_use]
pub fn output_schemas() -> Vec<NamedSchema> {
    let mut all = vec![
        object::<Culprits<'static>>("culprits.json", "the ranked culprits with all that was found"),
        object::<Batches<'static>>("batches.json", "modules by part number, batch and so on"),
        object::<Plan<'static>>("plan", "what `plan --json` prints"),
        object::<Ran>("run", "what `run --json` prints"),
        object::<Checked>("check", "what `check --json` prints"),
    ];
    all.extend(tables().iter().map(row));
    all.extend(written_tables());
    all
}

fn object<T: JsonSchema>(name: &str, about: &str) -> NamedSchema {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    let mut schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    let own = T::schema_name().into_owned();
    describe(&own, &mut schema);
    if let Some(Value::Object(parts)) = schema.get_mut("$defs") {
        for (part, inner) in parts.iter_mut() {
            describe(part, inner);
        }
    }
    if let Value::Object(top) = &mut schema {
        top.insert("title".to_owned(), json!(name));
        top.insert("description".to_owned(), json!(about));
    }
    NamedSchema { name: name.to_owned(), about: about.to_owned(), schema }
}

/// Puts the meaning of each field beside its type.
fn describe(object: &str, schema: &mut Value) {
    let Some(Value::Object(properties)) = schema.get_mut("properties") else { return };
    for (name, property) in properties.iter_mut() {
        if let (Some(meaning), Value::Object(inner)) = (field(object, name), property) {
            inner.insert("description".to_owned(), json!(meaning));
        }
    }
}

/// The schema of a row as an object: numbers as numbers, an empty cell as null.
fn row(table: &Defined) -> NamedSchema {
    let properties: Map<String, Value> =
        table.columns.iter().map(|column| (column.name.clone(), cell(column))).collect();
    let schema = json!({
        "$schema": DIALECT,
        "title": table.file,
        "description": format!("A row: {}.", table.row),
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    });
    let about = format!("a row: {}", table.row);
    NamedSchema { name: table.file.clone(), about, schema }
}

fn cell(column: &Meaning) -> Value {
    let kind = match column.kind.as_str() {
        "number" => "number",
        "count" => "integer",
        "flag" => "boolean",
        _ => "string",
    };
    let mut cell = Map::new();
    let types = if column.empty.is_empty() { json!(kind) } else { json!([kind, "null"]) };
    cell.insert("type".to_owned(), types);
    if column.kind == "time" {
        cell.insert("format".to_owned(), json!("date-time"));
    }
    if column.kind == "count" {
        cell.insert("minimum".to_owned(), json!(0));
    }
    if column.unit == "0 to 1" {
        cell.insert("minimum".to_owned(), json!(0));
        cell.insert("maximum".to_owned(), json!(1));
    }
    let unit = if column.unit.is_empty() { String::new() } else { format!(" [{}]", column.unit) };
    let empty = match column.empty.as_str() {
        "" => String::new(),
        empty => format!("; null: {empty}"),
    };
    cell.insert("description".to_owned(), json!(format!("{}{unit}{empty}", column.meaning)));
    Value::Object(cell)
}

impl JsonSchema for Suspect {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Suspect".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "^((node|branch|feed|ground|bus):.+|supply|none)$"})
    }
}

impl JsonSchema for Verdict {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Verdict".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^((node|branch|feed|ground|bus):.+|supply|none|undecided|quiet)$"
        })
    }
}

impl JsonSchema for Mechanism {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Mechanism".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"enum": ["disturbs", "drops-out"]})
    }
}
