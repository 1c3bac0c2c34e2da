//! Every target takes all of its seeds, on any toolchain, without the fuzzing engine.

use std::path::Path;

use buswitness_fuzz::targets::{TARGETS, named};

#[test]
fn every_target_takes_its_seeds() {
    let seeds = Path::new(env!("CARGO_MANIFEST_DIR")).join("seeds");
    for (name, target) in TARGETS {
        let folder = seeds.join(name);
        let files = std::fs::read_dir(&folder)
            .unwrap_or_else(|e| panic!("target {name} has no seeds in {}: {e}", folder.display()));
        let mut count = 0;
        for file in files {
            let path = file.expect("a seed").path();
            let seed = std::fs::read(&path).expect("a readable seed");
            println!("{name} {}", path.display());
            // Each seed whole, and cut at many places: a cut input is the commonest damage.
            for end in (0..seed.len()).step_by(1 + seed.len() / 64).chain([seed.len()]) {
                target(&seed[..end]);
            }
            count += 1;
        }
        assert!(count > 0, "target {name} has no seeds");
    }
}

#[test]
fn every_folder_of_seeds_has_its_target() {
    let seeds = Path::new(env!("CARGO_MANIFEST_DIR")).join("seeds");
    for folder in std::fs::read_dir(seeds).expect("the seeds") {
        let name = folder.expect("a folder").file_name();
        let name = name.to_string_lossy();
        assert!(named(&name).is_some(), "seeds/{name} belongs to no target");
    }
}
