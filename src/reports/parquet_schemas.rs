//! JSON Schemas of the rows of Parquet tables: those that are written, and the parts of a fleet's facts that
//! are read.
//!
//! A row is described as the JSON object that it would be: times as RFC 3339 texts, lists as arrays, an empty
//! cell as null. Made from the definitions by which the tables are written and read.

use serde_json::{Map, Value, json};

use crate::facts::schema::{DISTURBANCES, LOSSES, PRESENCES, SILENCES, STARTS, TABLES, VEHICLE};
use crate::facts::{Column, Kept, Kind, PART_MODULES, PART_REPORTS, PART_VEHICLES, Table};
use crate::reports::{DIALECT, NamedSchema};

/// The schemas of the written Parquet tables.
pub(super) fn written_tables() -> Vec<NamedSchema> {
    let written = TABLES.into_iter().filter(|table| table.kept != Kept::Store);
    let schema = |table: &Table| row(table, &format!("{}.parquet", table.name));
    written.map(schema).collect()
}

/// The schemas of the tables of a part of a fleet's facts.
#[must_use]
pub fn part_schemas() -> Vec<NamedSchema> {
    let stored = [STARTS, PRESENCES, SILENCES, DISTURBANCES, LOSSES];
    let all = [PART_VEHICLES, PART_MODULES, PART_REPORTS].into_iter().chain(stored);
    all.map(|table| row(&table, &format!("facts-{}", table.name))).collect()
}

fn row(table: &Table, name: &str) -> NamedSchema {
    // Tables of one log have the vehicle in front as soon as many logs stand in them.
    let front = table.columns.first().is_none_or(|first| first.name != VEHICLE.name);
    let columns: Vec<&Column> =
        front.then_some(&VEHICLE).into_iter().chain(table.columns).collect();
    let cells: Map<String, Value> =
        columns.iter().map(|column| (column.name.to_owned(), cell(column))).collect();
    let required: Vec<&str> = columns.iter().filter(|c| !c.nullable).map(|c| c.name).collect();
    let schema = json!({
        "$schema": DIALECT,
        "title": name,
        "description": format!("A row of a Parquet table: {}.", table.meaning),
        "type": "object",
        "properties": cells,
        "required": required,
        "additionalProperties": false,
    });
    NamedSchema { name: name.to_owned(), about: format!("a row: {}", table.meaning), schema }
}

fn cell(column: &Column) -> Value {
    let kind = match column.kind {
        Kind::Text | Kind::Word | Kind::Time => "string",
        Kind::Texts => "array",
        Kind::Number => "number",
        Kind::Count | Kind::Small => "integer",
        Kind::Flag => "boolean",
    };
    let mut cell = Map::new();
    let types = if column.nullable { json!([kind, "null"]) } else { json!(kind) };
    cell.insert("type".to_owned(), types);
    match column.kind {
        Kind::Time => cell.insert("format".to_owned(), json!("date-time")),
        Kind::Texts => cell.insert("items".to_owned(), json!({"type": "string"})),
        Kind::Count | Kind::Small => cell.insert("minimum".to_owned(), json!(0)),
        _ => None,
    };
    if column.unit == "0 to 1" {
        cell.insert("minimum".to_owned(), json!(0));
        cell.insert("maximum".to_owned(), json!(1));
    }
    let unit = if column.unit.is_empty() { String::new() } else { format!(" [{}]", column.unit) };
    cell.insert("description".to_owned(), json!(format!("{}{unit}", column.meaning)));
    Value::Object(cell)
}
