//! `[columns.INPUT]`: which column of a table holds which field, in which unit and zone.
//!
//! `field = "column"`, or `field = {column = "…", unit = "…", zone = "…"}` with each part optional.

use std::collections::BTreeMap;

use toml::de::{DeTable, DeValue};

use crate::pipeline::plan::checking::zone;
use crate::read::nearest::suggestion;
use crate::read::tables::{ColumnChoice, ColumnChoices, FORMS, Form, check_choice};
use crate::read::toml_text::TomlText;

pub(super) fn columns(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
) -> BTreeMap<String, ColumnChoices> {
    let mut all = BTreeMap::new();
    let Some((section, _)) = file.table(table, "columns") else { return all };
    let inputs = FORMS.map(|form| form.input);
    for key in section.keys() {
        let input: &str = key.get_ref();
        let Some(form) = Form::of_input(input) else {
            let hint = suggestion(input, &inputs);
            file.fault(&key.span(), format!("unknown key `{input}` in [columns]; {hint}"));
            continue;
        };
        if let Some((fields, _)) = file.table(section, input) {
            all.insert(input.to_owned(), choices(file, fields, form));
        }
    }
    all
}

fn choices(file: &mut TomlText<'_>, fields: &DeTable<'_>, form: &Form) -> ColumnChoices {
    let whose = format!("[columns.{}]", form.input);
    file.check_keys(fields, &form.names(), &whose);
    let mut choices = ColumnChoices::new();
    for (key, value) in fields {
        let name: &str = key.get_ref();
        let Some((_, field)) = form.field(name) else { continue };
        let choice = match value.get_ref() {
            DeValue::Table(parts) => {
                file.check_keys(parts, &["column", "unit", "zone"], &format!("{whose} {name}"));
                ColumnChoice {
                    column: file.word(parts, "column").map(|word| word.text),
                    unit: file.word(parts, "unit").map(|word| word.text),
                    zone: file.word(parts, "zone").and_then(|word| zone(file, &word)),
                }
            }
            DeValue::String(_) => ColumnChoice {
                column: file.word(fields, name).map(|word| word.text),
                ..ColumnChoice::default()
            },
            _ => {
                file.wrong(value, name, "a column's name or {column, unit, zone}");
                continue;
            }
        };
        if let Err(reason) = check_choice(field, &choice) {
            file.fault(&value.span(), reason);
        }
        choices.insert(name.to_owned(), choice);
    }
    choices
}
