//! A small validator for the keywords of JSON Schema that our schemas use. A keyword that it does not know
//! is a fault, so that nothing goes unchecked in silence. `tests/notebook` checks the same files with an
//! independent one.

use regex::Regex;
use serde_json::{Map, Value};

/// What is wrong with a value, a line each, with its path.
pub(super) fn faults(schema: &Value, value: &Value) -> Vec<String> {
    let mut told = Vec::new();
    check(schema, schema, value, "", &mut told);
    told
}

const SAYS_NOTHING: [&str; 6] = ["$schema", "$defs", "title", "description", "format", "default"];

fn check(root: &Value, schema: &Value, value: &Value, path: &str, told: &mut Vec<String>) {
    let rules = match schema {
        Value::Bool(true) => return,
        Value::Object(rules) => rules,
        other => return told.push(format!("{path}: no schema: {other}")),
    };
    for (rule, wanted) in rules {
        let sound = match rule.as_str() {
            rule if SAYS_NOTHING.contains(&rule) => true,
            "type" => is_one_of(wanted, value),
            "enum" => wanted.as_array().is_some_and(|all| all.contains(value)),
            "const" => wanted == value,
            "minimum" => value.as_f64().is_none_or(|v| v >= wanted.as_f64().unwrap_or(f64::NAN)),
            "maximum" => value.as_f64().is_none_or(|v| v <= wanted.as_f64().unwrap_or(f64::NAN)),
            "pattern" => value.as_str().is_none_or(|text| {
                Regex::new(wanted.as_str().unwrap_or("(")).expect("a pattern").is_match(text)
            }),
            "minItems" => value
                .as_array()
                .is_none_or(|v| v.len() as u64 >= wanted.as_u64().unwrap_or(u64::MAX)),
            "maxItems" => {
                value.as_array().is_none_or(|v| v.len() as u64 <= wanted.as_u64().unwrap_or(0))
            }
            "required" => {
                for name in wanted.as_array().into_iter().flatten().filter_map(Value::as_str) {
                    if value.as_object().is_some_and(|object| !object.contains_key(name)) {
                        told.push(format!("{path}: lacks `{name}`"));
                    }
                }
                true
            }
            "properties" => {
                each_property(root, wanted, value, path, told);
                true
            }
            "additionalProperties" => {
                others(root, rules, wanted, value, path, told);
                true
            }
            "items" => {
                for (at, item) in value.as_array().into_iter().flatten().enumerate() {
                    check(root, wanted, item, &format!("{path}/{at}"), told);
                }
                true
            }
            "anyOf" | "oneOf" => {
                let fits = |one: &&Value| {
                    let mut inner = Vec::new();
                    check(root, one, value, path, &mut inner);
                    inner.is_empty()
                };
                let many = wanted.as_array().into_iter().flatten().filter(fits).count();
                if rule == "anyOf" { many > 0 } else { many == 1 }
            }
            "$ref" => {
                let pointer = wanted.as_str().unwrap_or_default().trim_start_matches('#');
                match root.pointer(pointer) {
                    Some(inner) => check(root, inner, value, path, told),
                    None => told.push(format!("{path}: no {wanted} in the schema")),
                }
                true
            }
            other => {
                told.push(format!("{path}: the validator does not know `{other}`"));
                true
            }
        };
        if !sound {
            told.push(format!("{path}: {value} breaks {rule} {wanted}"));
        }
    }
}

fn each_property(
    root: &Value,
    properties: &Value,
    value: &Value,
    path: &str,
    told: &mut Vec<String>,
) {
    let Some(object) = value.as_object() else { return };
    for (name, inner) in object {
        if let Some(schema) = properties.get(name) {
            check(root, schema, inner, &format!("{path}/{name}"), told);
        }
    }
}

fn others(
    root: &Value,
    rules: &Map<String, Value>,
    schema: &Value,
    value: &Value,
    path: &str,
    told: &mut Vec<String>,
) {
    let Some(object) = value.as_object() else { return };
    for (name, inner) in object {
        if rules.get("properties").is_some_and(|known| known.get(name).is_some()) {
            continue;
        }
        match schema {
            Value::Bool(false) => told.push(format!("{path}: `{name}` is not in the schema")),
            schema => check(root, schema, inner, &format!("{path}/{name}"), told),
        }
    }
}

fn is_one_of(kinds: &Value, value: &Value) -> bool {
    let is = |kind: &Value| match kind.as_str().unwrap_or_default() {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("no such type: {other}"),
    };
    kinds.as_array().map_or_else(|| is(kinds), |all| all.iter().any(is))
}

#[test]
fn the_validator_sees_what_it_should() {
    let schema = serde_json::json!({
        "type": "object",
        "properties": {"a": {"type": ["integer", "null"], "minimum": 0}, "b": {"$ref": "#/$defs/B"}},
        "required": ["a"],
        "additionalProperties": false,
        "$defs": {"B": {"type": "array", "items": {"enum": ["x", "y"]}}},
    });
    let wrong = |value: Value| faults(&schema, &value).len();
    assert_eq!(wrong(serde_json::json!({"a": 1, "b": ["x", "y"]})), 0);
    assert_eq!(wrong(serde_json::json!({"a": null})), 0);
    assert_eq!(wrong(serde_json::json!({"a": -1})), 1);
    assert_eq!(wrong(serde_json::json!({"a": 1.5})), 1);
    assert_eq!(wrong(serde_json::json!({"b": ["z"]})), 2);
    assert_eq!(wrong(serde_json::json!({"a": 1, "c": 1})), 1);
    assert_eq!(wrong(serde_json::json!([])), 1);
    assert_eq!(faults(&serde_json::json!({"multipleOf": 2}), &serde_json::json!(2)).len(), 1);
}
