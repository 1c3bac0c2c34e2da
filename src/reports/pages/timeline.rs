//! An incident as a picture: a lane per node on one time axis, silences as blocks, disturbances as
//! bands.

use serde::Serialize;

use super::{NAME, at, round_step};
use crate::incidents::{Disturbed, Incident, SilentNode};
use crate::reports::Heading;
use crate::reports::wording::{count, each_once, grouped, local, number, shown, span};
use crate::vocabulary::Instant;

const LEFT: f64 = 168.0;
const RIGHT: f64 = 704.0;
const FIRST_LANE: f64 = 34.0;
const LANE: f64 = 26.0;
/// Most lanes of silent nodes, and of nodes heard throughout.
const MOST_SILENT: usize = 14;
const MOST_ALIVE: usize = 5;
/// Longest name in a lane.
const LANE_NAME: usize = 22;

#[derive(Serialize)]
pub(super) struct Timeline {
    caption: String,
    lanes: Vec<Lane>,
    bands: Vec<Band>,
    ticks: Vec<Tick>,
    height: String,
    floor: String,
    tick_label: String,
    axis_label: String,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Lane {
    name: String,
    middle: String,
    text: String,
    heard: Vec<Stretch>,
    blocks: Vec<Block>,
    title: String,
}

/// A stretch in which a node was heard.
#[derive(Serialize)]
struct Stretch {
    from: String,
    to: String,
}

#[derive(Serialize)]
struct Block {
    x: String,
    y: String,
    head: String,
    foot: String,
    back: String,
    width: String,
    end: String,
    returned: bool,
}

#[derive(Serialize)]
struct Band {
    x: String,
    width: String,
    y: String,
    height: String,
    title: String,
    label: String,
    label_x: String,
    anchor: &'static str,
}

#[derive(Serialize)]
struct Tick {
    x: String,
    label: String,
}

/// Whether an incident has spans to draw.
pub(super) fn drawable(incident: &Incident) -> bool {
    incident.logged && !(incident.silent.is_empty() && incident.disturbances.is_empty())
}

/// The stretch of time a picture covers.
struct Axis {
    zero: Instant,
    from: f64,
    to: f64,
}

impl Axis {
    fn of(incident: &Incident) -> Axis {
        let seconds = |at: Instant| at.seconds_since(incident.start);
        let (mut from, mut to) = (seconds(incident.begin), seconds(incident.end));
        for silent in &incident.silent {
            from = from.min(seconds(silent.last_heard));
            to = to.max(seconds(silent.end));
        }
        for disturbed in &incident.disturbances {
            from = from.min(seconds(disturbed.begin));
            to = to.max(seconds(disturbed.end));
        }
        let margin = ((to - from) * 0.06).max(0.05);
        Axis { zero: incident.start, from: from - margin, to: to + margin }
    }

    fn x(&self, at: Instant) -> f64 {
        let share = (at.seconds_since(self.zero) - self.from) / (self.to - self.from);
        LEFT + share.clamp(0.0, 1.0) * (RIGHT - LEFT)
    }

    fn ticks(&self) -> Vec<Tick> {
        let step = round_step(self.to - self.from, 6.0);
        let decimals = if step < 0.1 { 2 } else { usize::from(step < 1.0) };
        let mut ticks = Vec::new();
        let mut value = (self.from / step).ceil() * step;
        while value <= self.to && ticks.len() < 12 {
            let share = (value - self.from) / (self.to - self.from);
            ticks.push(Tick {
                x: at(LEFT + share * (RIGHT - LEFT)),
                label: number(value, decimals),
            });
            value += step;
        }
        ticks
    }
}

pub(super) fn timeline(heading: &Heading, incident: &Incident) -> Timeline {
    let axis = Axis::of(incident);
    let mut lanes = Vec::new();
    for node in silent_nodes(incident).into_iter().take(MOST_SILENT) {
        let silences = incident.silent.iter().filter(|s| s.node == node);
        lanes.push(silent_lane(node, silences.collect(), &axis, lanes.len()));
    }
    for node in incident.alive.iter().take(MOST_ALIVE) {
        lanes.push(Lane {
            name: shown(node, LANE_NAME),
            heard: vec![Stretch { from: at(LEFT), to: at(RIGHT) }],
            title: format!("{}: heard throughout", shown(node, NAME)),
            ..empty_lane(lanes.len())
        });
    }
    let floor = FIRST_LANE + LANE * lanes.len() as f64;
    Timeline {
        caption: caption(heading, incident),
        lanes,
        bands: incident.disturbances.iter().take(8).map(|d| band(d, &axis, floor)).collect(),
        ticks: axis.ticks(),
        height: at(floor + 44.0),
        floor: at(floor),
        tick_label: at(floor + 16.0),
        axis_label: at(floor + 36.0),
        notes: notes(incident),
    }
}

fn empty_lane(index: usize) -> Lane {
    let middle = FIRST_LANE + LANE * (index as f64 + 0.5);
    Lane {
        name: String::new(),
        middle: at(middle),
        text: at(middle + 4.0),
        heard: Vec::new(),
        blocks: Vec::new(),
        title: String::new(),
    }
}

fn silent_lane(node: &str, mut silences: Vec<&SilentNode>, axis: &Axis, index: usize) -> Lane {
    silences.sort_by_key(|s| s.due);
    let middle = FIRST_LANE + LANE * (index as f64 + 0.5);
    let mut lane = Lane { name: shown(node, LANE_NAME), ..empty_lane(index) };
    let mut heard_from = LEFT;
    let mut told = Vec::new();
    for silent in silences {
        let (from, to) = (axis.x(silent.due), axis.x(silent.end));
        hear(&mut lane.heard, heard_from, axis.x(silent.last_heard));
        lane.blocks.push(Block {
            x: at(from),
            y: at(middle - 7.0),
            head: at(middle - 10.0),
            foot: at(middle + 10.0),
            back: at(to.max(from + 2.0) + 3.0),
            width: at((to - from).max(2.0)),
            end: at(to.max(from + 2.0)),
            returned: silent.returned,
        });
        heard_from = if silent.returned { to } else { RIGHT };
        let lasting = span(silent.end.seconds_since(silent.due));
        let after =
            if silent.returned { "then heard again" } else { "not heard again in this log" };
        told.push(format!("silent for {lasting}, {after}"));
    }
    hear(&mut lane.heard, heard_from, RIGHT);
    lane.title = format!("{}: {}", shown(node, NAME), told.join("; "));
    lane
}

fn hear(heard: &mut Vec<Stretch>, from: f64, to: f64) {
    if from < to {
        heard.push(Stretch { from: at(from), to: at(to) });
    }
}

fn band(disturbed: &Disturbed, axis: &Axis, floor: f64) -> Band {
    let (from, to) = (axis.x(disturbed.begin), axis.x(disturbed.end));
    let kind = disturbed.kind.replace('-', " ");
    let label = format!("{kind} ({})", grouped(disturbed.count));
    let late = from > (LEFT + RIGHT) / 2.0;
    Band {
        x: at(from),
        width: at((to - from).max(2.0)),
        y: at(FIRST_LANE - 8.0),
        height: at(floor - FIRST_LANE + 8.0),
        title: format!(
            "{kind}: {} frames in {}. {}",
            grouped(disturbed.count),
            span(disturbed.end.seconds_since(disturbed.begin)),
            shown(&disturbed.detail, 200)
        ),
        label,
        label_x: at(if late { to.max(from + 2.0) } else { from }),
        anchor: if late { "end" } else { "start" },
    }
}

fn caption(heading: &Heading, incident: &Incident) -> String {
    let bus = incident
        .bus
        .as_deref()
        .map_or_else(|| "bus not known".to_owned(), |bus| format!("bus {}", shown(bus, NAME)));
    format!(
        "{}, {bus}: {} in {}",
        local(incident.begin, heading.timezone),
        silences(incident),
        span(incident.end.seconds_since(incident.begin))
    )
}

/// The nodes that fell silent, each once, in order.
fn silent_nodes(incident: &Incident) -> Vec<&str> {
    each_once(incident.silent.iter().map(|s| s.node.as_str()))
}

/// How many nodes fell silent, and how often when any did more than once.
fn silences(incident: &Incident) -> String {
    let nodes = silent_nodes(incident).len();
    let mut text = count(nodes, "silent node");
    if incident.silent.len() > nodes {
        text.push_str(&format!(", {}", count(incident.silent.len(), "silence")));
    }
    text
}

fn notes(incident: &Incident) -> Vec<String> {
    let mut notes = Vec::new();
    for (all, most, what) in [
        (silent_nodes(incident).len(), MOST_SILENT, "silent"),
        (incident.alive.len(), MOST_ALIVE, "heard throughout"),
    ] {
        if all > most {
            notes.push(format!("{} more {what}, not drawn", all - most));
        }
    }
    let names = |list: &[(String, crate::vocabulary::Place)]| {
        let shown: Vec<String> = list.iter().take(12).map(|(n, _)| shown(n, NAME)).collect();
        shown.join(", ")
    };
    for (list, words) in [
        (&incident.bus_down, "Said that the bus was down or that they were bus-off"),
        (&incident.own_supply, "Said that their own supply was low"),
        (&incident.unanswered, "Did not reply to the tester"),
    ] {
        if !list.is_empty() {
            notes.push(format!("{words}: {}", names(list)));
        }
    }
    notes
}
