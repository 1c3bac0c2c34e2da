//! The sample logs against their truth: every van's expected standing is a row of one table.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::program::{done, items, json, project, sample, word};
use Expected::{First, NoWrongVerdict, NoneOrOpen, Quiet};

/// What must be said of a van.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expected {
    /// The true suspect stands first.
    First,
    /// Healthy, and nothing is seen.
    Quiet,
    /// Healthy or asked badly: no suspect but `none` may be the verdict.
    NoWrongVerdict,
    /// The truth is `none`: verdict `none`, or at least `none` leads.
    NoneOrOpen,
}

/// A row per van. Loosen a row only with a reason beside it.
const VANS: [(&str, Expected); 24] = [
    ("LH-01", NoWrongVerdict),
    ("LH-02", First),
    ("LH-03", Quiet),
    ("LH-04", First),
    ("LH-05", Quiet),
    ("LH-06", First),
    ("LH-07", First),
    ("LH-08", NoWrongVerdict),
    ("LH-09", First),
    ("LH-10", Quiet),
    ("LH-11", First),
    ("LH-12", First),
    ("LH-13", NoneOrOpen),
    ("LH-14", First),
    ("LH-15", Quiet),
    ("LH-16", First),
    ("LH-17", Quiet),
    ("LH-18", First),
    ("LH-19", Quiet),
    ("LH-20", First),
    ("LH-21", Quiet),
    ("LH-22", Quiet),
    ("LH-23", Quiet),
    ("LH-24", NoneOrOpen),
];

/// What is wrong with what was said of a van.
fn fault(expected: Expected, truth: &str, said: &Value) -> Option<String> {
    let verdict = word(said, "verdict");
    let leader = items(said, "suspects").first().map_or("nobody", |s| word(s, "suspect"));
    let open = ["none", "undecided", "quiet"].contains(&verdict);
    let sound = match expected {
        First => leader == truth && (verdict == truth || verdict == "undecided"),
        Quiet => verdict == "quiet" && said["incidents"] == 0,
        NoWrongVerdict => open,
        NoneOrOpen => verdict == "none" || (verdict == "undecided" && leader == "none"),
    };
    (!sound)
        .then(|| format!("truth {truth}, expected {expected:?}: verdict {verdict}, {leader} leads"))
}

#[test]
fn every_van_stands_where_its_truth_says() {
    let truth = json(&project().join("sample-logs/truth.json"));
    let truth = truth.as_object().expect("truth by van");
    let work = sample();
    done(work.path(), &["run", "--quiet", "pipelines/weekly.toml"]);
    let culprits = json(&work.path().join("reports/weekly/culprits.json"));
    let said: BTreeMap<&str, &Value> =
        items(&culprits, "vehicles").iter().map(|v| (word(v, "vehicle"), v)).collect();
    let names: Vec<&str> = truth.keys().map(String::as_str).collect();
    assert_eq!(VANS.map(|(van, _)| van).to_vec(), names, "the table has a row per van");
    let mut wrong = Vec::new();
    for (van, expected) in VANS {
        let suspect = word(&truth[van], "suspect");
        let fits = match expected {
            First => !["none", "quiet"].contains(&suspect),
            Quiet | NoWrongVerdict => suspect == "quiet",
            NoneOrOpen => suspect == "none",
        };
        assert!(fits, "{van}: truth {suspect} does not go with {expected:?} in the table");
        match said.get(van) {
            Some(said) => {
                wrong.extend(fault(expected, suspect, said).map(|why| format!("{van}: {why}")))
            }
            None => wrong.push(format!("{van}: not in culprits.json")),
        }
    }
    assert!(wrong.is_empty(), "{} of 24 vans\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn no_sample_file_is_refused_and_none_goes_unread() {
    let work = sample();
    done(work.path(), &["run", "--quiet", "--strict", "pipelines/weekly.toml"]);
    let inputs = &json(&work.path().join("reports/weekly/culprits.json"))["inputs"];
    let count = |part: &str| {
        let all = crate::program::files(&project().join("sample-logs").join(part));
        u64::try_from(all.len()).expect("a count")
    };
    assert_eq!(inputs["bus_logs"], count("bus"), "every bus log is read");
    assert_eq!(inputs["rejected"], 0, "nothing is rejected");
    assert_eq!(inputs["skipped_files"], 0, "nothing is skipped");
    let reports = inputs["scan_reports"].as_u64().expect("a count of scan reports");
    assert!(reports >= count("scans"), "{reports} scan reports in {} files", count("scans"));
}

// LH-14: the refrigeration controller was replaced first and in vain, the tail-lift controller
// then; LH-06: the steering angle sensor, and it was the culprit; LH-24: mended before the logs.
#[test]
fn repairs_have_held_or_not_as_they_did() {
    let work = sample();
    done(work.path(), &["run", "--quiet", "pipelines/weekly.toml"]);
    let culprits = json(&work.path().join("reports/weekly/culprits.json"));
    for (van, states) in [
        ("LH-06", &["held"][..]),
        ("LH-14", &["came back", "held"]),
        ("LH-24", &["nothing to compare"]),
        ("LH-03", &[]),
    ] {
        let vehicle = items(&culprits, "vehicles").iter().find(|v| word(v, "vehicle") == van);
        let repairs = items(vehicle.expect("the van"), "repairs");
        let found: Vec<&str> = repairs.iter().map(|repair| word(repair, "state")).collect();
        assert_eq!(found, states, "{van}");
    }
}
