//! `schema` and `columns`: the outputs and inputs described, from the definitions that the program uses.

use super::flags::{Columns, Schema};
use super::input_schemas::input_schemas;
use super::{exit_codes, print, say};
use crate::read::nearest::suggestion;
use crate::reports::{NamedSchema, columns_page, defined_tables, output_schemas, table_page};

/// Prints one schema, or the list of all.
pub(super) fn schema(asked: &Schema) -> Result<u8, String> {
    let (inputs, outputs) = (input_schemas(), output_schemas());
    let Some(name) = &asked.name else {
        for (title, all) in [("inputs", &inputs), ("outputs", &outputs)] {
            say(&format!("{title}:"));
            all.iter().for_each(|schema| say(&format!("  {:<22} {}", schema.name, schema.about)));
        }
        return Ok(exit_codes::DONE);
    };
    let all: Vec<&NamedSchema> = inputs.iter().chain(&outputs).collect();
    let Some(found) = all.iter().find(|schema| schema.name == *name) else {
        let names: Vec<&str> = all.iter().map(|schema| schema.name.as_str()).collect();
        return Err(format!("no schema `{name}`; {}", suggestion(name, &names)));
    };
    say(&serde_json::to_string_pretty(&found.schema).map_err(|e| e.to_string())?);
    Ok(exit_codes::DONE)
}

/// Prints what the columns of one table mean, or the page of all.
pub(super) fn columns(asked: &Columns) -> Result<u8, String> {
    let Some(file) = &asked.file else {
        print(columns_page().as_bytes());
        return Ok(exit_codes::DONE);
    };
    let tables = defined_tables();
    let Some(found) = tables.iter().find(|table| table.file == *file) else {
        let names: Vec<&str> = tables.iter().map(|table| table.file.as_str()).collect();
        return Err(format!("no table `{file}`; {}", suggestion(file, &names)));
    };
    print(table_page(found).as_bytes());
    Ok(exit_codes::DONE)
}
