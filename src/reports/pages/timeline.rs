//! An incident as a picture: a lane per node on one time axis, silences as blocks, disturbances as
//! bands.

use serde::Serialize;

use super::drawing::{Axis, RIGHT, Tick, rests_on};
use super::{NAME, at, excerpt};
use crate::incidents::{Disturbed, Incident, SilentNode};
use crate::observe::BlindSpotRow;
use crate::reports::wording::{count, each_once, grouped, local, shown, span};
use crate::reports::{Closer, Heading};
use crate::vocabulary::Instant;

/// Left end of the lanes: room for their names.
const LEFT: f64 = 168.0;
const FIRST_LANE: f64 = 46.0;
/// Where labels of bands may stand, the lowest first, and about how wide a character is.
const LABEL_ROWS: [f64; 3] = [34.0, 21.0, 8.0];
const CHARACTER: f64 = 6.6;
const LANE: f64 = 26.0;
/// Most lanes of silent nodes, and of nodes heard throughout.
const MOST_SILENT: usize = 14;
const MOST_ALIVE: usize = 5;
/// Most bands drawn.
const MOST_BANDS: usize = 8;
/// Most blind spots drawn.
const MOST_BLIND: usize = 40;
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
    blind: Vec<Blind>,
    blind_height: String,
    /// `None` when the logs were not looked at again.
    blind_said: Option<String>,
    rests_on: String,
    excerpts: Vec<excerpt::Shown>,
}

/// A span in which the logger did not record.
#[derive(Serialize)]
struct Blind {
    #[serde(skip)]
    from: f64,
    #[serde(skip)]
    to: f64,
    x: String,
    width: String,
    title: String,
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
    #[serde(serialize_with = "coordinate")]
    from: f64,
    #[serde(serialize_with = "coordinate")]
    to: f64,
}

fn coordinate<S: serde::Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&at(*value))
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
    /// `None` when there is no room; the title and the description say it.
    label_y: Option<String>,
    anchor: &'static str,
    #[serde(skip)]
    reach: (f64, f64),
}

/// The stretch of time a picture covers, seconds since the start.
struct Stretched {
    zero: Instant,
    axis: Axis,
}

impl Stretched {
    fn of(incident: &Incident) -> Stretched {
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
        let axis = Axis::linear((from - margin, to + margin), (LEFT, RIGHT), 6.0);
        Stretched { zero: incident.start, axis }
    }

    fn x(&self, at: Instant) -> f64 {
        self.axis.place(at.seconds_since(self.zero)).unwrap_or(LEFT)
    }
}

pub(super) fn timeline(
    heading: &Heading,
    incident: &Incident,
    closer: Option<&Closer>,
) -> Timeline {
    let axis = Stretched::of(incident);
    let blind: Vec<Blind> = closer.map_or_else(Vec::new, |c| blind_spots(&c.blind_spots, &axis));
    let mut lanes = Vec::new();
    for node in silent_nodes(incident).into_iter().take(MOST_SILENT) {
        let silences = incident.silent.iter().filter(|s| s.node == node);
        lanes.push(silent_lane(node, silences.collect(), &axis, lanes.len()));
    }
    for node in incident.alive.iter().take(MOST_ALIVE) {
        lanes.push(Lane {
            name: shown(node, LANE_NAME),
            heard: vec![Stretch { from: LEFT, to: RIGHT }],
            title: format!("{}: heard throughout", shown(node, NAME)),
            ..empty_lane(lanes.len())
        });
    }
    let floor = FIRST_LANE + LANE * lanes.len() as f64;
    for lane in &mut lanes {
        lane.heard = blind.iter().fold(std::mem::take(&mut lane.heard), not_while_blind);
    }
    let nodes = silent_nodes(incident).len() + incident.alive.len();
    Timeline {
        caption: caption(heading, incident),
        lanes,
        bands: bands(incident, &axis, floor),
        ticks: axis.axis.ticks(),
        height: at(floor + 44.0),
        floor: at(floor),
        tick_label: at(floor + 16.0),
        axis_label: at(floor + 36.0),
        notes: notes(incident),
        blind,
        blind_height: at(floor - 38.0),
        blind_said: closer.map(|c| blind_said(&c.blind_spots, incident)),
        rests_on: rests_on(nodes, "node"),
        excerpts: closer
            .map_or(&[][..], |c| c.excerpts.as_slice())
            .iter()
            .map(excerpt::excerpt)
            .collect(),
    }
}

fn blind_spots(rows: &[BlindSpotRow], axis: &Stretched) -> Vec<Blind> {
    let drawn = rows.iter().map(|row| (row, axis.x(row.begin), axis.x(row.end)));
    drawn
        .filter(|(_, from, to)| to > from)
        .take(MOST_BLIND)
        .map(|(row, from, to)| Blind {
            from,
            to,
            x: at(from),
            width: at((to - from).max(2.0)),
            title: format!(
                "the log itself is blind for {}: {}",
                span(row.end.seconds_since(row.begin)),
                shown(&row.why, 200)
            ),
        })
        .collect()
}

/// What is heard cannot be known while the log is blind.
fn not_while_blind(heard: Vec<Stretch>, blind: &Blind) -> Vec<Stretch> {
    let mut kept = Vec::new();
    for stretch in heard {
        for (from, to) in
            [(stretch.from, stretch.to.min(blind.from)), (stretch.from.max(blind.to), stretch.to)]
        {
            if from < to {
                kept.push(Stretch { from, to });
            }
        }
    }
    kept
}

fn blind_said(rows: &[BlindSpotRow], incident: &Incident) -> String {
    let inside = |row: &&BlindSpotRow| row.begin <= incident.end && row.end >= incident.begin;
    match (rows.len(), rows.iter().filter(inside).count()) {
        (0, _) => "The log has no blind spot near it".to_owned(),
        (all, 0) => format!("The log has {} near it, none in it", count(all, "blind spot")),
        (_, inside) => format!(
            "The log is blind {} inside it: what happened there is not known",
            match inside {
                1 => "once".to_owned(),
                n => format!("{n} times"),
            }
        ),
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

fn silent_lane(node: &str, mut silences: Vec<&SilentNode>, axis: &Stretched, index: usize) -> Lane {
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
        heard.push(Stretch { from, to });
    }
}

/// The bands, with their labels in rows so that none covers another.
fn bands(incident: &Incident, axis: &Stretched, floor: f64) -> Vec<Band> {
    let mut bands: Vec<Band> =
        incident.disturbances.iter().take(MOST_BANDS).map(|d| band(d, axis, floor)).collect();
    let mut rows = LABEL_ROWS.map(|y| (y, Vec::<(f64, f64)>::new()));
    for band in &mut bands {
        let (from, to) = band.reach;
        let free = |taken: &[(f64, f64)]| taken.iter().all(|t| to < t.0 || t.1 < from);
        if let Some((y, taken)) = rows.iter_mut().find(|(_, taken)| free(taken)) {
            taken.push((from, to));
            band.label_y = Some(at(*y));
        }
    }
    bands
}

fn band(disturbed: &Disturbed, axis: &Stretched, floor: f64) -> Band {
    let (from, to) = (axis.x(disturbed.begin), axis.x(disturbed.end));
    let kind = disturbed.kind.replace('-', " ");
    let label = format!("{kind} ({})", grouped(disturbed.count));
    let late = from > (LEFT + RIGHT) / 2.0;
    let wide = label.chars().count() as f64 * CHARACTER;
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
        reach: if late { (to - wide, to) } else { (from, from + wide) },
        label_y: None,
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
        (incident.disturbances.len(), MOST_BANDS, "disturbances"),
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
