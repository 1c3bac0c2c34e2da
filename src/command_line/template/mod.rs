//! `template`: a pipeline file, a network description and empty tables to begin with; nothing is overwritten.

use super::flags::Template;
use super::{exit_codes, say};
use crate::read::tables::{Form, MODULES, SERVICE, VEHICLES, WEATHER};
use crate::reports::{Output, write_new};

const PIPELINE: &str = include_str!("pipeline.toml");
const NETWORK: &str = include_str!("network.toml");
/// Tables that are written with their header only.
const TABLES: [&Form; 4] = [&VEHICLES, &WEATHER, &SERVICE, &MODULES];
/// Folders that logs and reports are put into.
const FOLDERS: [&str; 2] = ["bus", "scans"];

/// What is written, in the order in which it is listed.
fn outputs() -> Vec<Output<'static>> {
    let mut outputs =
        vec![Output::new("pipeline.toml", PIPELINE), Output::new("networks/model-1.toml", NETWORK)];
    let header = |form: &Form| form.names().join(",") + "\n";
    outputs.extend(TABLES.map(|form| Output::new(format!("{}.csv", form.input), header(form))));
    outputs
}

/// Writes what is not there yet.
pub(super) fn command(asked: &Template) -> Result<u8, String> {
    let written = write_new(&asked.folder, &FOLDERS, &outputs())
        .map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
    for (path, new) in &written {
        let what = if *new { "written" } else { "left as it is" };
        say(&format!("{what}: {}", path.display()));
    }
    let [logs, reports] = FOLDERS.map(|folder| asked.folder.join(folder).join("VEHICLE"));
    say(&format!(
        "next: put bus logs into {}, scan reports into {},\n  then: buswitness check {}",
        logs.display(),
        reports.display(),
        asked.folder.join("pipeline.toml").display()
    ));
    Ok(exit_codes::DONE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipeline::plan::Plan;
    use crate::read::networks::read_network;

    /// The text with every setting in use that only has a `#` in front.
    fn all_in_use(text: &str) -> String {
        let setting = |line: &str| {
            line.split_once('=').is_some_and(|(key, _)| {
                key.trim().bytes().all(|b| b.is_ascii_lowercase() || b == b'_')
            }) || line.starts_with('[')
        };
        let bare = |line: &str| match line.strip_prefix("# ") {
            Some(rest) if setting(rest) => rest.to_owned(),
            _ => line.to_owned(),
        };
        text.lines().map(bare).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn the_pipeline_is_sound_as_written_and_with_everything_in_use() {
        for text in [PIPELINE.to_owned(), all_in_use(PIPELINE)] {
            let plan =
                Plan::check(text.as_bytes(), &"pipeline.toml".into(), std::path::Path::new(""));
            assert!(
                plan.is_ok(),
                "{}\n{text}",
                plan.err().map(|e| e.to_string()).unwrap_or_default()
            );
        }
        let plan = Plan::check(
            all_in_use(PIPELINE).as_bytes(),
            &"pipeline.toml".into(),
            std::path::Path::new(""),
        );
        let inputs = plan.expect("a plan").inputs;
        assert!(!inputs.tests.is_empty() && !inputs.forecast.is_empty(), "{inputs:?}");
    }

    #[test]
    fn the_network_is_sound_as_written_and_with_everything_in_use() {
        let name = "model-1.toml".into();
        let empty = read_network(NETWORK.as_bytes(), &name);
        assert!(empty.account.rejects.is_empty(), "{:?}", empty.account.rejects);
        assert!(empty.records.is_some_and(|network| network.nodes.is_empty()));
        let full = read_network(all_in_use(NETWORK).as_bytes(), &name);
        assert!(full.account.rejects.is_empty(), "{:?}", full.account.rejects);
        let network = full.records.expect("a network");
        assert_eq!((network.nodes.len(), network.branches.len(), network.buses.len()), (1, 2, 1));
    }
}
