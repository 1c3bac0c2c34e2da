//! The terminal table fits its width and cannot be steered by an input.

use super::fixture;
use crate::read::Tally;
use crate::reports::{plan_text, terminal_table};

#[test]
fn fits_eighty_columns() {
    let text = terminal_table(&fixture::fleet(), &fixture::tally(), &[], 80, false);
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{} columns: {line}", line.chars().count());
    }
    assert!(text.contains("LH-07") && text.contains("91 %"));
    assert!(text.contains("quiet: 10 vehicles in 410 starts"));
    assert!(text.contains("no data: 1 vehicle"));
    assert!(text.contains("rejected: 41 records"));
    if std::env::var_os("BUSWITNESS_LOOK").is_some() {
        println!("{text}");
    }
}

#[test]
fn no_escape_sequence_comes_from_an_input() {
    let text = terminal_table(&fixture::fleet(), &fixture::tally(), &[], 80, false);
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
    assert!(!text.contains('\u{202e}'));
}

#[test]
fn a_plan_fits_and_cannot_be_steered() {
    let findings = fixture::fleet();
    for (finding, outlook) in findings.iter().zip(fixture::outlooks(&findings)) {
        let text = plan_text(finding, &outlook, chrono_tz::Tz::UTC, 80);
        for line in text.lines() {
            assert!(line.chars().count() <= 80, "{} columns: {line}", line.chars().count());
        }
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
        assert!(!text.contains('\u{202e}'));
        for part in ["How to make it happen", "Has the repair held", "After the part"] {
            assert!(text.contains(part), "{part}");
        }
        if std::env::var_os("BUSWITNESS_LOOK").is_some() {
            println!("{text}");
        }
    }
}

#[test]
fn empty_findings_say_so() {
    let text = terminal_table(&[], &Tally::default(), &[], 80, false);
    assert!(text.contains("no vehicle was found"));
    assert!(text.contains("rejected: nothing"));
}
