//! The batch view in words: the answer, and the pieces that page and terminal share.

use crate::batches::{BatchView, By, Group, Swap};
use crate::reports::wording::{capital, counted, ratio, shown};

/// Longest name of a node or value.
const NAME: usize = 60;

/// A number of failures or months to a digit or two.
pub(in crate::reports) fn amount(value: f64) -> String {
    match value {
        v if !v.is_finite() => "not known".to_owned(),
        v if v >= 99.95 => format!("{v:.0}"),
        v if v >= 0.095 || v <= 0.0 => format!("{v:.1}"),
        v if v >= 0.0095 => format!("{v:.2}"),
        _ => "<0.01".to_owned(),
    }
}

/// The interval of a ratio.
pub(in crate::reports) fn range(low: f64, high: Option<f64>) -> String {
    match high {
        Some(high) => format!("{} to {}", ratio(low), ratio(high)),
        None => format!("{} or more", ratio(low)),
    }
}

/// What a group has in common, as people say it: `batch B2431`, `batch B2431 with site quay`.
pub(in crate::reports) fn in_words(group: &Group) -> String {
    said(group.by, &group.value)
}

/// The same of a group that is told by what it has in common and its value.
pub(in crate::reports) fn said(by: By, value: &str) -> String {
    let first = by.first.in_words();
    match by.second {
        None => format!("{first} {}", shown(value, NAME)),
        Some(second) => {
            let (one, other) = value.split_once('+').unwrap_or((value, ""));
            format!(
                "{first} {} with {} {}",
                shown(one, NAME),
                second.in_words(),
                shown(other, NAME)
            )
        }
    }
}

/// The answer in one sentence.
pub(in crate::reports) fn answer(view: &BatchView) -> String {
    let mut leading = view.leading();
    let Some(first) = leading.next() else {
        return match view.groups.len() {
            0 => "Nothing could be compared: no node has a whole failure by probability, or every node has \
                  fewer than six modules."
                .to_owned(),
            many => format!(
                "No group of modules stands out: of {many} groups looked at, none fails more often than \
                 chance and their number explain."
            ),
        };
    };
    let more = leading.count();
    let others = match more {
        0 => String::new(),
        1 => " One more group stands out.".to_owned(),
        _ => format!(" {more} more groups stand out."),
    };
    format!(
        "{} modules of {} fail about {} times as often as the others ({}, 95 %): {} failures among {} \
         modules, {} expected.{others}",
        capital(&shown(&first.node, NAME)),
        in_words(first),
        ratio(first.shrunk_ratio),
        range(first.shrunk_low, Some(first.shrunk_high)),
        amount(first.failures),
        first.units,
        amount(first.expected)
    )
}

/// What the answer rests on.
pub(in crate::reports) fn rests_on(view: &BatchView) -> String {
    let units: u64 = view.nodes.iter().map(|n| n.units).sum();
    let months: f64 = view.nodes.iter().map(|n| n.unit_months).sum();
    let failures: f64 = view.nodes.iter().map(|n| n.failures).sum();
    let kept = view.nodes.iter().filter(|n| n.groups > 0).count();
    format!(
        "It rests on {} watched for {} months in all and {} failures; a verdict counts by its \
         probability. {} groups of {kept} of {} nodes were looked at; the others had no failure to compare",
        counted(units, "module"),
        amount(months),
        amount(failures),
        view.groups.len(),
        view.nodes.len()
    )
}

/// What became of a swap.
pub(in crate::reports) fn became(swap: Swap) -> &'static str {
    match swap {
        Swap::Held => "held so far",
        Swap::CameBack => "the same fault came back",
        Swap::NotKnown => "no record tells",
    }
}
