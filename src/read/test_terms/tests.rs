//! The shipped table is whole; a user's table changes what it names; every fault has its line.

use super::*;

fn read(text: &str) -> (TestTable, Vec<String>) {
    let reading = read_test_table(text.as_bytes(), &"tests.toml".into());
    let faults = reading.account.rejects.iter();
    (reading.records, faults.map(|r| format!("{}: {}", r.place, r.reason)).collect())
}

#[test]
fn the_shipped_table_names_every_value_and_has_no_fault() {
    let blank = TestTable { terms: std::array::from_fn(|_| UNREAD) };
    let reading = changed(blank, SHIPPED, &"default.toml".into());
    assert!(reading.account.rejects.is_empty(), "{:?}", reading.account.rejects);
    let (_, root) = TomlText::parse(SHIPPED, &"default.toml".into());
    let mut file = TomlText::parse(SHIPPED, &"default.toml".into()).0;
    for (name, kind) in KINDS {
        let (section, _) = file.table(&root, name).expect(name);
        for key in keys(kind) {
            assert!(section.contains_key(*key), "[{name}] {key}");
        }
    }
    assert!((TestTable::shipped().of(TestKind::Wiggle).finds - 0.55).abs() < 1e-12);
    assert_eq!(TestTable::shipped().of(TestKind::Disconnect).on_safety, OnSafety::Standing);
}

#[test]
fn a_user_changes_what_he_names_and_nothing_else() {
    let (table, faults) =
        read("[wiggle]\nminutes = 20\n[swap]\non_safety_modules = \"standing\"\n");
    assert_eq!(faults, [""; 0]);
    let mut expected = TestTable::shipped();
    expected.of_mut(TestKind::Wiggle).minutes = 20.0;
    expected.of_mut(TestKind::Swap).on_safety = OnSafety::Standing;
    assert_eq!(table, expected);
    assert_eq!(read("").0, TestTable::shipped());
}

#[test]
fn every_fault_has_its_line_and_changes_nothing() {
    for (text, expected) in [
        (
            "\n[wigle]\nminutes = 1",
            "tests.toml:2: unknown key `wigle` in the table of tests; did you mean `wiggle`?",
        ),
        (
            "[wiggle]\nminuts = 1",
            "tests.toml:2: unknown key `minuts` in [wiggle]; did you mean `minutes`?",
        ),
        ("[wiggle]\nfinds = 1.5", "tests.toml:2: `finds` 1.5 is not a probability from 0 to 1"),
        ("[wiggle]\nminutes = -3", "tests.toml:2: `minutes` -3 is not minutes from 0 to 20000"),
        ("[wiggle]\nminutes = 0", "tests.toml:1: `minutes` must be above 0"),
        ("[wiggle]\nminutes = \"x\"", "tests.toml:2: `minutes` should be a number"),
        ("[wiggle]\nfinds = 0.05", "tests.toml:1: `finds` 0.05 must lie above `false_alarm` 0.1"),
        ("[swap]\nstarts = 0", "tests.toml:2: `starts` 0 is not a number of starts"),
        ("[spray]\nraises_odds = 0.5", "tests.toml:2: `raises_odds` 0.5 is not a factor"),
        (
            "[disconnect]\non_safety_modules = \"yes\"",
            "tests.toml:2: modules of steering and brakes are never",
        ),
        (
            "[wiggle]\non_safety_modules = \"standin\"",
            "tests.toml:2: unknown word `standin` in `on_safety_modules`; did you mean `standing`?",
        ),
        ("[wiggle", "tests.toml:1: not TOML"),
    ] {
        let (table, faults) = read(text);
        assert_eq!(faults.len(), 1, "{text}: {faults:?}");
        assert!(faults[0].starts_with(expected), "{expected}\n{faults:?}");
        assert_eq!(table, TestTable::shipped(), "{text}");
    }
    let reading = read_test_table(b"[wiggle]\n\xFF", &"t".into());
    assert!(reading.account.rejects[0].reason.contains("not UTF-8"));
}
