//! Modules that were off their connector by the service notes: their silence is nobody's sign.
//!
//! In: the service notes of a vehicle and what its logs heard. Out: for each node the spans in which
//! it was disconnected, itself or what it hangs on. A silence, an accusation or a missing answer
//! in such a span follows from the disconnection; counted as an incident it would spoil the
//! experiment that the disconnection is. A node that a later start hears is connected again,
//! whether that was noted or not. Refuses to excuse anything else in those starts.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::freshness::Freshness;
use crate::observe::{AnswerRow, CodeKind, CodeRow, LogFacts};
use crate::read::{ScanReport, ServiceAction, ServiceNote};
use crate::vocabulary::{Instant, Network, Suspect};

/// A note may be written so long after the disconnection, seconds: notes are kept to the minute.
const NOTED_AFTER_S: f64 = 120.0;

/// One node off its connector.
#[derive(Debug, Clone, PartialEq)]
struct Span {
    node: String,
    from: Instant,
    /// `None` up to now.
    until: Option<Instant>,
}

/// All nodes that were off, with their spans.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct TakenOff {
    spans: Vec<Span>,
}

/// Codes, their freshness, and answers; borrowed where nothing is left out.
type Testimony<'a> = (Cow<'a, [CodeRow]>, Cow<'a, [Freshness]>, Cow<'a, [AnswerRow]>);

impl TakenOff {
    /// By the notes of one vehicle, by time. `names` renames unnamed senders.
    pub(super) fn of(
        notes: &[ServiceNote],
        network: Option<&Network>,
        logs: &[(Arc<str>, LogFacts)],
        names: &BTreeMap<String, String>,
    ) -> TakenOff {
        let mut spans = Vec::new();
        for (at, note) in notes.iter().enumerate() {
            let (ServiceAction::Disconnect, Some(target)) = (note.action, &note.target) else {
                continue;
            };
            let undone = notes.iter().skip(at + 1).find(|later| note.is_ended_by(later));
            for node in nodes_on(target, network) {
                let heard = logs.iter().flat_map(|(_, log)| &log.presences).filter(|row| {
                    row.start > note.time && *names.get(&row.node).unwrap_or(&row.node) == node
                });
                let heard = heard.map(|row| row.start).min();
                let until = undone.map(|later| later.time).into_iter().chain(heard).min();
                let from = note.time.plus_seconds(-NOTED_AFTER_S);
                spans.push(Span { node, from, until });
            }
        }
        TakenOff { spans }
    }

    fn covers(&self, node: &str, at: Instant) -> bool {
        self.spans.iter().any(|span| {
            span.node == node && at >= span.from && span.until.is_none_or(|until| at < until)
        })
    }

    /// Takes the silences of nodes that were off out of the logs, and says so.
    pub(super) fn excuse_silences(
        &self,
        logs: &mut [(Arc<str>, LogFacts)],
        names: &BTreeMap<String, String>,
        remarks: &mut Vec<String>,
    ) {
        let mut excused: BTreeMap<String, BTreeSet<Instant>> = BTreeMap::new();
        for (_, log) in logs {
            log.silences.retain(|silence| {
                let node = names.get(&silence.node).unwrap_or(&silence.node);
                let off = self.covers(node, silence.due);
                if off {
                    excused.entry(node.clone()).or_default().insert(silence.start);
                }
                !off
            });
        }
        for (node, starts) in excused {
            remarks.push(format!(
                "{node} was off its connector by the service notes: its silence in {} start(s) is no sign",
                starts.len()
            ));
        }
    }

    /// The codes and answers that do not follow from a disconnection; the codes' freshness goes
    /// with them. What is left out is said.
    pub(super) fn testimony<'a>(
        &self,
        codes: &'a [CodeRow],
        fresh: &'a [Freshness],
        answers: &'a [AnswerRow],
        reports: &[ScanReport],
        remarks: &mut Vec<String>,
    ) -> Testimony<'a> {
        if self.spans.is_empty() {
            return (codes.into(), fresh.into(), answers.into());
        }
        let off = |node: &str, report: u32| {
            reports.get(report as usize).is_some_and(|own| self.covers(node, own.taken_at))
        };
        let follows = |code: &CodeRow| {
            let accuses = matches!(code.kind, CodeKind::NotHeard | CodeKind::HeardInvalid);
            accuses && code.accused.as_ref().is_some_and(|accused| off(accused, code.report))
        };
        let (kept, fresh): (Vec<CodeRow>, Vec<Freshness>) = codes
            .iter()
            .zip(fresh)
            .filter(|(code, _)| !follows(code))
            .map(|(code, fresh)| (code.clone(), *fresh))
            .unzip();
        let replies: Vec<AnswerRow> = answers
            .iter()
            .filter(|answer| answer.answered || !off(&answer.node, answer.report))
            .cloned()
            .collect();
        let (of_codes, of_answers) = (codes.len() - kept.len(), answers.len() - replies.len());
        if of_codes + of_answers > 0 {
            remarks.push(format!(
                "{of_codes} code(s) about modules that were off their connector by the service notes, \
                 and {of_answers} missing answer(s) of such modules, are no sign"
            ));
        }
        (kept.into(), fresh.into(), replies.into())
    }
}

/// The nodes that lose the bus or their supply when a target is taken off.
fn nodes_on(target: &Suspect, network: Option<&Network>) -> Vec<String> {
    let nodes = network.map(|network| network.nodes.as_slice()).unwrap_or_default();
    let named = |wanted: &dyn Fn(&crate::vocabulary::Node) -> bool| -> Vec<String> {
        nodes.iter().filter(|node| wanted(node)).map(|node| node.name.clone()).collect()
    };
    match target {
        Suspect::Node(name) => vec![name.clone()],
        Suspect::Feed(feed) => named(&|node| node.feed.as_ref() == Some(feed)),
        Suspect::Ground(ground) => named(&|node| node.ground.as_ref() == Some(ground)),
        Suspect::Branch(branch) => {
            let below = network.map(|network| network.branches_below(branch)).unwrap_or_default();
            // A gateway on several branches is cut off from one bus only: it may still be heard.
            named(&|node| {
                !node.branches.is_empty()
                    && node.branches.iter().all(|own| below.contains(own.as_str()))
            })
        }
        _ => Vec::new(),
    }
}
