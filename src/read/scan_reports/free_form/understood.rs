//! What was understood of a report, in lines for a person: `buswitness check` prints them.

use super::gathered::{Gathered, Mention};
use super::values::{Sought, title};
use super::words::{Answer, Label};
use crate::read::NodeReport;
use crate::vocabulary::{Instant, Place, Spot, TroubleCode};

/// The most lines about one report.
const MOST: usize = 200;

/// Where something stands, without the file.
fn spot(place: Option<&Place>) -> String {
    match place.map(|place| place.spot) {
        None => "from the path".to_owned(),
        Some(Spot::Line(line)) => format!("line {line}"),
        Some(Spot::Page(page, line)) => format!("page {page} line {line}"),
        Some(Spot::Byte(byte)) => format!("byte {byte}"),
        Some(Spot::Whole) => "whole file".to_owned(),
    }
}

pub(super) fn lines(
    vehicle: &Sought<String>,
    taken_at: &Sought<Instant>,
    conditions: &[(Label, Sought<f64>)],
    nodes: &[NodeReport],
    gathered: &Gathered,
    passed_over: &[&Mention],
) -> Vec<String> {
    let mut lines = Vec::new();
    lines.push(match &vehicle.found {
        Some((vehicle, place)) => format!("vehicle {vehicle} ({})", spot(place.as_ref())),
        None => "vehicle not told".to_owned(),
    });
    lines.push(match &taken_at.found {
        Some((time, place)) => format!("taken at {time} ({})", spot(place.as_ref())),
        None => "time not told".to_owned(),
    });
    for (label, sought) in conditions {
        if let Some((value, place)) = &sought.found {
            lines.push(format!("{} {value} ({})", title(*label), spot(place.as_ref())));
        }
    }
    for node in nodes {
        let answered = match node.answered {
            Some(true) => "answered",
            Some(false) => "did not answer",
            None => "answer not told",
        };
        let codes: Vec<String> = node
            .codes
            .iter()
            .map(|code| {
                let status = code.status.to_string();
                let status = if status.is_empty() { "status not told".to_owned() } else { status };
                let times =
                    code.occurrences.map_or(String::new(), |times| format!(", {times} times"));
                format!("{} {status}{times} ({})", code.code, spot(Some(&code.place)))
            })
            .collect();
        let codes = if codes.is_empty() { "no codes".to_owned() } else { codes.join("; ") };
        lines.push(format!("{}: {answered} ({}); {codes}", node.node, spot(Some(&node.place))));
    }
    for module in gathered.modules.iter().filter(|m| m.answer == Some(Answer::NotFitted)) {
        lines.push(format!("{}: not fitted ({})", module.name, spot(Some(&module.place))));
    }
    for mention in passed_over {
        let code = TroubleCode { word: mention.word, failure_type: None };
        lines.push(format!(
            "passed over: {code} ({}): {}",
            spot(Some(&mention.place)),
            mention.why
        ));
    }
    for value in gathered.values.iter().filter(|v| v.inside && is_condition(v.label)) {
        lines.push(format!(
            "passed over: {} `{}` ({}): among the findings of a module, not about the scan",
            title(value.label),
            crate::read::times::shortened(&value.text),
            spot(Some(&value.place))
        ));
    }
    let more = lines.len().saturating_sub(MOST);
    lines.truncate(MOST);
    if more > 0 {
        lines.push(format!("and {more} more"));
    }
    lines
}

fn is_condition(label: Label) -> bool {
    title(label) != "value"
}
