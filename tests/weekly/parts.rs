//! A fleet whose facts come in parts: what is found does not depend on how it was cut.

use std::collections::BTreeMap;
use std::path::Path;

use buswitness::rehearse::big_fleet_in_parts;
use tempfile::TempDir;

use crate::program::{done, files, folder, items, json, number};

/// Vehicles of the invented fleet.
const VEHICLES: u32 = 210;

fn fleet(of_part: u32) -> TempDir {
    let work = folder();
    big_fleet_in_parts(11, VEHICLES, of_part, work.path()).expect("the fleet is written");
    work
}

/// The outputs of a view as texts, without the names of the parts and the numbers of their rows.
fn outputs(work: &Path, view: &str) -> BTreeMap<String, String> {
    done(work, &["run", "--quiet", "--strict", &format!("{view}.toml")]);
    let place = regex::Regex::new(r"facts/part-\d+/\w+\.parquet:\d+").expect("a pattern");
    files(&work.join(format!("out-{view}")))
        .into_iter()
        .map(|(path, bytes)| (path.display().to_string(), bytes))
        // The list of written files holds hashes of bytes in which the places stand.
        .filter(|(name, _)| !name.contains(".buswitness-written"))
        .map(|(name, bytes)| {
            let text = String::from_utf8(bytes).expect("text");
            (name, place.replace_all(&text, "PLACE").into_owned())
        })
        .collect()
}

#[test]
fn one_part_or_seven_give_the_same() {
    let (one, seven) = (fleet(VEHICLES), fleet(VEHICLES / 7));
    for view in ["fleet", "batches"] {
        let (one, seven) = (outputs(one.path(), view), outputs(seven.path(), view));
        assert_eq!(one.keys().collect::<Vec<_>>(), seven.keys().collect::<Vec<_>>());
        for (name, text) in &one {
            assert!(
                seven.get(name) == Some(text),
                "{view}: {name} differs between one part and seven"
            );
        }
        let culprits = one.iter().find(|(name, _)| name.ends_with("culprits.json"));
        let (_, culprits) = culprits.expect("culprits");
        assert!(culprits.contains("node:") && culprits.contains("PLACE"), "nothing was found");
    }
}

#[test]
fn a_vehicle_in_two_parts_is_refused_in_the_second() {
    let work = fleet(VEHICLES / 7);
    done(work.path(), &["run", "--quiet", "fleet.toml"]);
    let out = work.path().join("out-fleet");
    let whole = std::fs::read(out.join("exposures.csv")).expect("starts");
    let (first, again) = (work.path().join("facts/part-0002"), work.path().join("facts/part-0009"));
    std::fs::create_dir(&again).expect("a folder");
    for file in std::fs::read_dir(&first).expect("a part").flatten() {
        std::fs::copy(file.path(), again.join(file.file_name())).expect("copied");
    }
    done(work.path(), &["run", "--quiet", "fleet.toml"]);
    assert!(std::fs::read(out.join("exposures.csv")).expect("starts") == whole);
    let culprits = json(&out.join("culprits.json"));
    assert_eq!(items(&culprits, "vehicles").len(), VEHICLES as usize);
    assert!((number(&culprits["inputs"], "rejected") - 30.0).abs() < 0.5);
    let rejects = std::fs::read_to_string(out.join("rejects.csv")).expect("rejects");
    assert!(rejects.contains("vehicle F000060 stands in an earlier part, too"), "{rejects}");
}
