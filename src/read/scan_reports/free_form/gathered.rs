//! What is gathered while a report is read, before it becomes a record.

use super::names::{Heading, Naming};
use super::words::{Answer, Label};
use crate::vocabulary::{CodeStatus, Place, TroubleCode};

/// A module of the report.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Module {
    pub name: String,
    pub by_class: bool,
    pub strange: bool,
    /// As the report calls it.
    pub called: String,
    pub answer: Option<Answer>,
    pub place: Place,
}

/// A code of the report.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Item {
    pub code: TroubleCode,
    pub status: Option<CodeStatus>,
    pub occurrences: Option<u32>,
    pub since_start_s: Option<f64>,
    /// Its module, by position; `None` when it stands under none.
    pub module: Option<usize>,
    pub place: Place,
}

/// A labelled value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Labelled {
    pub label: Label,
    pub text: String,
    pub unit: Option<String>,
    pub place: Place,
    /// It stands among the findings of a module: not about the scan as a whole.
    pub inside: bool,
}

/// Text about a code that was not taken for a finding.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mention {
    pub word: u16,
    pub place: Place,
    pub why: String,
    /// Nobody would take it for a finding: an explanation, an example.
    pub plain: bool,
}

/// Everything gathered.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub modules: Vec<Module>,
    pub items: Vec<Item>,
    pub values: Vec<Labelled>,
    pub mentions: Vec<Mention>,
    /// What a person should look at.
    pub doubts: Vec<(Place, String)>,
    /// How often a label of each language was found.
    pub languages: Vec<u64>,
}

impl Gathered {
    /// The module that a heading names; `None`, with a doubt, when it could be several.
    pub(super) fn module(
        &mut self,
        heading: &Heading,
        called: &str,
        place: &Place,
    ) -> Option<usize> {
        let (name, by_class, strange) = match &heading.naming {
            Naming::Several(nodes) => {
                let reason = format!(
                    "`{}` may be {}; give the one that is meant an alias",
                    crate::read::times::shortened(called.trim()),
                    nodes.join(" or ")
                );
                self.doubts.push((place.clone(), reason));
                return None;
            }
            Naming::Node { name, by_class, strange } => (name, *by_class, *strange),
        };
        if let Some(at) = self.modules.iter().position(|module| module.name == *name) {
            return Some(at);
        }
        self.modules.push(Module {
            name: name.clone(),
            by_class,
            strange,
            called: crate::read::times::shortened(called.trim()),
            answer: None,
            place: place.clone(),
        });
        Some(self.modules.len() - 1)
    }

    /// Notes what a report says of a module; two that contradict are a doubt.
    pub(super) fn answer(&mut self, module: Option<usize>, answer: Answer, place: &Place) {
        let Some(known) = module.and_then(|at| self.modules.get_mut(at)) else { return };
        match known.answer {
            None => known.answer = Some(answer),
            Some(said) if said == answer => {}
            Some(_) => {
                let reason = format!("`{}` is said to answer and not to answer", known.called);
                self.doubts.push((place.clone(), reason));
            }
        }
    }
}
