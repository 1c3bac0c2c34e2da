//! What the logs hold around the incidents that are drawn, and which incidents those are.

use crate::incidents::Incident;
use crate::observe::{BlindSpotRow, Excerpt};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Place;

/// Most incidents drawn on a page; the table has all.
const MOST_DRAWN: usize = 3;

/// A closer look at one incident.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Closer {
    /// Its position among the vehicle's incidents.
    pub incident: usize,
    /// The log's own blind spots on its bus, around it.
    pub blind_spots: Vec<BlindSpotRow>,
    /// The frames around its onsets.
    pub excerpts: Vec<OnsetExcerpt>,
}

/// The frames around one onset, with what began there.
#[derive(Debug, Clone, PartialEq)]
pub struct OnsetExcerpt {
    /// The node that fell silent; `None` for a disturbance.
    pub node: Option<String>,
    /// What began, in words.
    pub what: String,
    /// Where.
    pub place: Place,
    /// Seconds from the last frame heard to when the next one was due; `None` for a disturbance.
    pub due_s: Option<f64>,
    /// The frames, and who sends each: a name a row, empty where frames were passed over.
    pub frames: Excerpt,
    /// The names, in the order of the rows.
    pub senders: Vec<String>,
}

/// The positions of the incidents that are drawn: the first ones of which a log shows something.
#[must_use]
pub fn drawn_incidents(finding: &VehicleFinding) -> Vec<usize> {
    let shown = finding.incidents.iter().enumerate().filter(|(_, incident)| drawable(incident));
    shown.map(|(place, _)| place).take(MOST_DRAWN).collect()
}

/// Whether an incident has spans to draw.
fn drawable(incident: &Incident) -> bool {
    incident.logged && !(incident.silent.is_empty() && incident.disturbances.is_empty())
}
