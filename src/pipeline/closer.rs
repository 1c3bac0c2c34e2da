//! A closer look at the incidents that the pages draw: blind spots from the facts, and the frames around
//! each onset, for which the logs are read again at their places.
//!
//! Facts are all that is kept of logs, so this is the one time that a run goes back to them, to those from
//! kept facts too: to at most two onsets of each drawn incident, one pass a file, left as soon as enough was
//! seen. A log that is no longer what it was gives no frames, and the page says so.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;

use super::logs::LogFile;
use super::run::VehicleInput;
use super::sources::Sources;
use crate::incidents::Incident;
use crate::observe::{
    BlindSpotRow, Excerpt, ExcerptRow, Excerpting, LogFacts, Onset, Senders, UNNAMED,
};
use crate::read::frames::{FrameKind, LogTables, read_again};
use crate::reports::{Closer, OnsetExcerpt, drawn_incidents};
use crate::suspects::VehicleFinding;
use crate::vocabulary::{Identifier, Spot, Suspect};

/// Blind spots are told this far around an incident, seconds.
const AROUND: f64 = 60.0;
/// The sender's next frame is looked for at most this long, seconds: an hour of a busy log.
const LONGEST: f64 = 3600.0;

/// The closer look at every vehicle with drawn incidents, by vehicle.
pub(super) fn look_closer(
    sources: &Sources,
    tables: &LogTables,
    findings: &[VehicleFinding],
    vehicles: &BTreeMap<String, VehicleInput>,
) -> BTreeMap<String, Vec<Closer>> {
    let none = VehicleInput::default();
    let looked: Vec<(String, Vec<Closer>)> = findings
        .par_iter()
        .map(|finding| {
            // Of a vehicle whose facts all lie elsewhere nothing is kept, and no log is at hand.
            let input = vehicles.get(&finding.vehicle).unwrap_or(&none);
            (finding.vehicle.clone(), of_vehicle(sources, tables, finding, input))
        })
        .collect();
    looked.into_iter().filter(|(_, closer)| !closer.is_empty()).collect()
}

/// An onset with the incident it belongs to.
struct Wanted {
    /// Position in the list of closer looks.
    home: usize,
    bus: Option<String>,
    line: u64,
    excerpt: OnsetExcerpt,
    longest_s: f64,
}

fn of_vehicle(
    sources: &Sources,
    tables: &LogTables,
    finding: &VehicleFinding,
    input: &VehicleInput,
) -> Vec<Closer> {
    let mut closer = Vec::new();
    let mut wanted: BTreeMap<Arc<str>, Vec<Wanted>> = BTreeMap::new();
    let leading = leading(finding);
    for position in drawn_incidents(finding) {
        let Some(incident) = finding.incidents.get(position) else { continue };
        for one in onsets(incident, &leading, closer.len()) {
            wanted.entry(Arc::clone(&one.excerpt.place.file)).or_default().push(one);
        }
        let blind_spots = blind_spots(incident, &input.logs);
        closer.push(Closer { incident: position, blind_spots, excerpts: Vec::new() });
    }
    for (file, mut onsets) in wanted {
        // Logs are in order of name.
        let at = sources.logs.binary_search_by(|log| log.found.name.cmp(&file));
        let log = at.ok().and_then(|at| sources.logs.get(at));
        let facts = input.logs.iter().find(|(name, _)| *name == file).map(|(_, facts)| facts);
        if let (Some(log), Some(facts)) = (log, facts) {
            let names = Names::new(sources, finding, log, facts);
            read(log, tables, &names, &mut onsets);
        }
        for one in onsets {
            if let Some(home) = closer.get_mut(one.home) {
                home.excerpts.push(one.excerpt);
            }
        }
    }
    for one in &mut closer {
        one.excerpts.sort_by(|a, b| a.place.cmp(&b.place));
    }
    closer
}

/// The nodes among the two leading suspects.
fn leading(finding: &VehicleFinding) -> Vec<&str> {
    finding
        .suspects
        .iter()
        .take(2)
        .filter_map(|s| match &s.suspect {
            Suspect::Node(name) => Some(name.as_str()),
            _ => None,
        })
        .collect()
}

/// At most two onsets, whose frames are shown: the first sign, and the first silence of a leading suspect or, when
/// that is the first sign or there is none, the next sign of another kind.
fn onsets(incident: &Incident, leading: &[&str], home: usize) -> Vec<Wanted> {
    // When, whether it is a silence of a leading suspect, and what.
    let mut all: Vec<(i64, bool, Wanted)> = Vec::new();
    let wanted = |line, excerpt, longest_s| {
        let bus = incident.bus.clone();
        Wanted { home, bus, line, excerpt, longest_s }
    };
    for silent in &incident.silent {
        let Spot::Line(line) = silent.place.spot else { continue };
        let lasted = silent.end.seconds_since(silent.last_heard) + 1.0;
        let excerpt = OnsetExcerpt {
            node: Some(silent.node.clone()),
            what: format!("{} falls silent", silent.node),
            place: silent.place.clone(),
            due_s: Some(silent.due.seconds_since(silent.last_heard)),
            frames: Excerpt::default(),
            senders: Vec::new(),
        };
        let led = leading.contains(&silent.node.as_str());
        all.push((silent.due.0, led, wanted(line, excerpt, lasted.clamp(1.0, LONGEST))));
    }
    for disturbed in &incident.disturbances {
        let Spot::Line(line) = disturbed.place.spot else { continue };
        let excerpt = OnsetExcerpt {
            node: None,
            what: format!("the bus is disturbed: {}", disturbed.kind.replace('-', " ")),
            place: disturbed.place.clone(),
            due_s: None,
            frames: Excerpt::default(),
            senders: Vec::new(),
        };
        all.push((disturbed.begin.0, false, wanted(line, excerpt, 1.0)));
    }
    all.sort_by(|a, b| (a.0, &a.2.excerpt.place).cmp(&(b.0, &b.2.excerpt.place)));
    let first = (!all.is_empty()).then(|| all.remove(0));
    let second = first.as_ref().and_then(|(_, leads, first)| {
        let first = &first.excerpt;
        let led = all.iter().position(|one| one.1 && one.2.excerpt.place != first.place);
        let silence = first.node.is_some();
        let other = || all.iter().position(|one| one.2.excerpt.node.is_some() != silence);
        if *leads { other() } else { led.or_else(other) }
    });
    let second = second.map(|at| all.remove(at));
    first.into_iter().chain(second).map(|(_, _, wanted)| wanted).collect()
}

fn blind_spots(incident: &Incident, logs: &[(Arc<str>, LogFacts)]) -> Vec<BlindSpotRow> {
    let near = |row: &&BlindSpotRow| {
        incident.bus.as_deref().is_none_or(|bus| bus == row.bus)
            && row.end.seconds_since(incident.begin) >= -AROUND
            && row.begin.seconds_since(incident.end) <= AROUND
    };
    let mut found: Vec<BlindSpotRow> =
        logs.iter().flat_map(|(_, facts)| &facts.blind_spots).filter(near).cloned().collect();
    found.sort_by(|a, b| (a.begin, a.end, &a.place).cmp(&(b.begin, b.end, &b.place)));
    found
}

/// Who sends what in one log, under the names of the finding.
struct Names {
    senders: Senders,
    bus_of_path: Option<String>,
    known: BTreeMap<(String, Identifier), String>,
}

impl Names {
    fn new(sources: &Sources, finding: &VehicleFinding, log: &LogFile, facts: &LogFacts) -> Names {
        let mut renamed: BTreeMap<&str, &str> = BTreeMap::new();
        for (name, identifiers) in &finding.unnamed_senders {
            renamed.extend(identifiers.iter().map(|id| (id.as_str(), name.as_str())));
        }
        let name = |node: &str, id: Identifier| match renamed.get(id.to_string().as_str()) {
            Some(new) if node.starts_with(UNNAMED) => (*new).to_owned(),
            _ => node.to_owned(),
        };
        let rows = facts.identifiers.iter();
        Names {
            senders: Senders::new(sources.network_of(&finding.vehicle)),
            bus_of_path: log.found.captures.bus.clone(),
            known: rows.map(|r| ((r.bus.clone(), r.id), name(&r.node, r.id))).collect(),
        }
    }

    fn bus(&self, interface: &str) -> String {
        self.senders.bus(interface, self.bus_of_path.as_deref())
    }

    fn sender(&self, bus: &str, id: Identifier) -> String {
        let known = self.known.get(&(bus.to_owned(), id));
        known.cloned().unwrap_or_else(|| self.senders.node(bus, id))
    }

    fn sends(&self, bus: &str, node: &str) -> BTreeSet<Identifier> {
        let own = self.known.iter().filter(|((b, _), name)| b == bus && *name == node);
        own.map(|((_, id), _)| *id).collect()
    }
}

/// Reads one log again for all its onsets.
fn read(log: &LogFile, tables: &LogTables, names: &Names, onsets: &mut [Wanted]) {
    let Ok(opened) = log.found.open() else { return };
    let buses: BTreeSet<&String> = names.known.keys().map(|(bus, _)| bus).collect();
    let only = || buses.first().filter(|_| buses.len() == 1).map(|bus| (*bus).clone());
    let onset = |one: &Wanted| {
        let bus = one.bus.clone().or_else(only).unwrap_or_default();
        let node = one.excerpt.node.as_deref();
        Onset {
            line: one.line,
            identifiers: node.map_or_else(BTreeSet::new, |node| names.sends(&bus, node)),
            bus,
            longest_s: one.longest_s,
        }
    };
    let looked_for: Vec<Onset> = onsets.iter().map(onset).collect();
    let on_buses: Vec<String> = looked_for.iter().map(|onset| onset.bus.clone()).collect();
    let mut taking = Excerpting::new(looked_for);
    let mut known: Vec<String> = Vec::new();
    read_again(opened, tables, taking.first_line(), &mut |frame, interfaces| {
        for interface in interfaces.get(known.len()..).unwrap_or_default() {
            known.push(names.bus(interface));
        }
        match known.get(usize::from(frame.channel)) {
            Some(bus) => taking.push(frame, bus),
            None => true,
        }
    });
    for ((one, frames), bus) in onsets.iter_mut().zip(taking.finish()).zip(&on_buses) {
        let sender = |row: &ExcerptRow| match row {
            ExcerptRow::Frame(f) if f.kind != FrameKind::Error => names.sender(bus, f.id),
            _ => String::new(),
        };
        one.excerpt.senders = frames.rows.iter().map(sender).collect();
        one.excerpt.frames = frames;
    }
}
