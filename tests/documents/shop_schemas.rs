//! The schemas of the files by which a shop makes the program its own have the readers' keys, take what is
//! shipped and refuse what the readers refuse.

use std::collections::BTreeSet;

use buswitness::read::scan_reports::free_form::Words;
use buswitness::read::test_terms::read_test_table;
use serde_json::{Value, json};

use super::schemas::{fits, keys, known_here, schemas, toml_value};
use super::validator::faults;
use crate::program::project;

const STRANGE: &str = "qqzzqq";

#[test]
fn shipped_tables_fit_their_schemas() {
    for (name, file) in [
        ("tests", "src/read/test_terms/default.toml"),
        ("report_words", "src/read/scan_reports/free_form/english.toml"),
        ("report_words", "src/read/scan_reports/free_form/german.toml"),
    ] {
        fits(schemas(), name, &toml_value(&project().join(file)), file);
    }
}

/// What the reader of tests says of a text.
fn of_tests(text: &str) -> Vec<String> {
    let read = read_test_table(text.as_bytes(), &"t.toml".into());
    read.account.rejects.into_iter().map(|reject| reject.reason).collect()
}

/// What the reader of report words says of a text.
fn of_words(text: &str) -> Vec<String> {
    let read = Words::english().add(text.as_bytes(), &"w.toml".into());
    read.account.rejects.into_iter().map(|reject| reject.reason).collect()
}

#[test]
fn they_have_the_keys_that_the_readers_know() {
    let schema = &schemas()["tests"];
    assert_eq!(known_here(&of_tests(&format!("[{STRANGE}]"))), keys(schema, None));
    for kind in keys(schema, None) {
        let reference = schema["properties"][&kind].to_string();
        let part = ["Repeated", "Measured", "SettingUp"]
            .into_iter()
            .find(|part| reference.contains(&format!("/{part}\"")));
        let known = known_here(&of_tests(&format!("[{kind}]\n{STRANGE} = 1")));
        assert!(part.is_some(), "{kind}: {reference}");
        assert_eq!(known, keys(schema, part), "{kind}");
    }
    let schema = &schemas()["report_words"];
    assert_eq!(known_here(&of_words(&format!("{STRANGE} = 1"))), keys(schema, None));
    let parts = ["labels", "status", "answers", "sections", "months", "modules", "clock"];
    for section in parts {
        let name: String = section[..1].to_uppercase() + &section[1..];
        let known = known_here(&of_words(&format!("[{section}]\n{STRANGE} = [\"a\"]")));
        assert_eq!(known, keys(schema, Some(&name)), "{section}");
    }
    // The other keys hold a value, or a table of the user's own names.
    let rest = ["language", "decimal", "slash_dates", "zones"];
    let all: BTreeSet<String> = parts.into_iter().chain(rest).map(str::to_owned).collect();
    assert_eq!(all, keys(schema, None));
}

#[test]
fn what_the_readers_refuse_the_schemas_refuse() {
    let refused = |name: &str, text: &str| {
        let table: toml::Table = text.parse().expect("TOML");
        let value: Value = serde_json::to_value(table).expect("JSON");
        !faults(&schemas()[name], &value).is_empty()
    };
    for text in [
        "[swap]\nstarts = 0",
        "[wiggle]\nfinds = 1.5",
        "[disconnect]\non_safety_modules = \"yes\"",
        "[spray]\nraises_odds = 0.5",
        "[spray]\nminutes = 5",
    ] {
        assert!(!of_tests(text).is_empty(), "the reader takes {text}");
        assert!(refused("tests", text), "the schema takes {text}");
    }
    for text in ["decimal = \"coma\"", "slash_dates = \"never\"", "[months]\nnames = [\"one\"]"] {
        assert!(!of_words(text).is_empty(), "the reader takes {text}");
        assert!(refused("report_words", text), "the schema takes {text}");
    }
    let fine = json!({"swap": {"minutes": 90.0, "on_safety_modules": "no"}});
    assert_eq!(faults(&schemas()["tests"], &fine), [] as [String; 0]);
}
