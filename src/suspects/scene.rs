//! One incident in numbers: who was silent, who accused whom, who replied, by node number.

use super::blocks::student;
use super::habit::Habit;
use super::hypotheses::Space;
use super::listening::Listening;
use super::rates;
use super::signs::{Signs, scatter_beyond, weight_of_answer};
use crate::incidents::Incident;
use crate::numerics::centre::median;
use crate::numerics::smooth::leave_one_out;

/// Frames that a node lost against what the other nodes foresee for its rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Loss {
    /// ln ratio of the intensities of loss.
    pub off: f64,
    /// Error of the ratio: counting, and how little the others foresee.
    pub error: f64,
    /// How much better the others fit one another when this node is left out, natural logarithm.
    pub relief: f64,
}

/// What a tester's question to a node told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Answer {
    pub node: usize,
    pub mute: bool,
    /// Share of the weight of a plain answer, or of a plain missing one.
    pub share: f64,
}

impl Answer {
    /// Whether it counts whole where answers are counted, not weighed: it tells more than half of what a plain one tells.
    pub(super) fn is_plain(&self) -> bool {
        self.share > 0.5
    }
}

/// How strong a disturbance was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Level {
    None,
    Low,
    High,
}

/// An incident as the blocks of evidence read it.
#[derive(Debug, Clone)]
pub(super) struct Scene {
    /// Per node: silent, alive, or not seen by any log.
    pub silent: Vec<Option<bool>>,
    /// Per node: in how many earlier incidents it was silent, of how many in which a log tells.
    pub silent_before: Vec<Habit>,
    /// Chance that a time-out ran out, by how long the node was silent.
    pub missed: Vec<f64>,
    /// Restarted or not, for silent nodes where the log tells.
    pub restarted: Vec<Option<bool>>,
    /// The node that stands out among many silent.
    pub stands_out: Option<usize>,
    pub silent_count: usize,
    /// `None`: no log covers the incident.
    pub level: Option<Level>,
    /// Whether any log of the vehicle holds error frames: without one, the logger may record none.
    pub error_channel: bool,
    /// In how many of the vehicle's incidents the logs show no disturbance.
    pub calm: usize,
    /// Whether a flood of valid frames was seen, and the node that owns the flooding identifier.
    pub flood: bool,
    pub floods: Option<usize>,
    /// Frames lost against what a node of that rate loses.
    pub loss: Vec<Option<Loss>>,
    /// Median share of frames lost over all nodes.
    pub others_lose: f64,
    /// Rows of accusations: reporter, and per node whether it was accused of not being heard, with the
    /// probability that the reporter listens to it.
    pub rows: Vec<(usize, Vec<(bool, f64)>)>,
    /// The same rows for what the reporter said in earlier incidents, in the order of `rows`.
    pub said_before: Vec<Vec<Habit>>,
    /// Who was asked by the tester, and what came of it.
    pub answers: Vec<Answer>,
    /// Per node: in how many earlier incidents it was mute, of those in which it was asked.
    pub mute_before: Vec<Habit>,
    /// Several nodes mute, no log, and no code about any of it.
    pub uncorroborated: bool,
    /// Reporters, and whether they said that the bus was down.
    pub says_down: Vec<(usize, bool)>,
    /// Reporters, and whether they stored a code about their own supply.
    pub own_supply: Vec<(usize, bool)>,
    /// Lowest voltage: 0 as low as a failed crank, 1 flat, 2 weak at rest, 3 sound.
    pub voltage: Option<usize>,
    pub early: Option<bool>,
    /// Whether there are accusations, and all of them were history when first read.
    pub all_history: Option<bool>,
    /// Whether an accused node had been repaired or replaced before; `None` where nobody keeps notes on the vehicle.
    pub repaired_before: Option<bool>,
    /// Whether it is the only incident of its vehicle.
    pub alone: bool,
    /// Later reports that only repeat these codes.
    pub repeats: u32,
    /// What the finer facts tell.
    pub signs: Signs,
}

impl Scene {
    pub(super) fn new(
        incident: &Incident,
        space: &Space,
        listening: (&Listening, &Listening),
    ) -> Scene {
        let count = space.nodes.len();
        let mut scene = Scene {
            silent: vec![None; count],
            silent_before: vec![Habit::default(); count],
            missed: vec![0.0; count],
            restarted: vec![None; count],
            stands_out: None,
            silent_count: 0,
            level: incident.logged.then(|| level(incident)),
            error_channel: !incident.finer.errors.is_empty()
                || incident.disturbances.iter().any(|d| d.kind == "error-frames"),
            calm: 1,
            flood: false,
            floods: None,
            loss: vec![None; count],
            others_lose: 0.0,
            rows: Vec::new(),
            said_before: Vec::new(),
            answers: Vec::new(),
            mute_before: vec![Habit::default(); count],
            uncorroborated: !incident.logged
                && incident.unanswered.len() >= 2
                && incident.accusations.is_empty()
                && incident.bus_down.is_empty(),
            says_down: Vec::new(),
            own_supply: Vec::new(),
            voltage: incident.supply_v.map(voltage),
            early: incident
                .since_start_s
                .filter(|_| incident.logged)
                .map(|s| s < rates::CRANKING_S),
            all_history: (!incident.accusations.is_empty()).then_some(incident.perhaps_old),
            repaired_before: None,
            alone: false,
            repeats: incident.repeats.min(rates::MOST_REPEATS),
            signs: Signs::new(incident, space),
        };
        scene.logged(incident, space);
        scene.reported(incident, space, listening);
        scene
    }

    fn logged(&mut self, incident: &Incident, space: &Space) {
        if !incident.logged {
            return;
        }
        for node in incident.alive.iter().filter_map(|n| space.node(n)) {
            self.silent[node] = Some(false);
        }
        for silent in &incident.silent {
            let Some(node) = space.node(&silent.node) else { continue };
            let seconds = silent.end.seconds_since(silent.due).max(0.0);
            let missed = 1.0 - (-seconds / rates::TIME_OUT_S).exp();
            self.silent[node] = Some(true);
            self.missed[node] = self.missed[node].max(missed);
            if silent.restarted.is_some() {
                self.restarted[node] = silent.restarted;
            }
        }
        self.silent_count = self.silent.iter().filter(|s| **s == Some(true)).count();
        self.stands_out = stands_out(incident).and_then(|n| space.node(n));
        let shares: Vec<f64> = incident
            .losses
            .iter()
            .filter(|(_, due, _)| *due >= rates::FEWEST_DUE)
            .map(|(_, due, missing)| (missing + 0.5) / (due + 1.0))
            .collect();
        self.others_lose = median(&shares).unwrap_or(0.0);
        for (node, loss) in against_rate(incident) {
            if let Some(node) = space.node(node) {
                self.loss[node] = Some(loss);
            }
        }
        self.flood =
            incident.disturbances.iter().any(|d| matches!(d.kind, "flood" | "unknown-identifiers"));
        self.floods = incident
            .disturbances
            .iter()
            .find(|d| d.kind == "flood" && d.node.is_some())
            .and_then(|d| d.node.as_deref())
            .and_then(|n| space.node(n));
    }

    fn reported(
        &mut self,
        incident: &Incident,
        space: &Space,
        (listening, own): (&Listening, &Listening),
    ) {
        for reporter in &incident.reporters {
            let Some(number) = space.node(reporter) else { continue };
            let row = space
                .nodes
                .iter()
                .zip(&space.known)
                .map(|(accused, known)| {
                    let says = incident
                        .accusations
                        .iter()
                        .any(|a| !a.heard && a.reporter == *reporter && a.accused == *accused);
                    let listens = listening.probability(own, reporter, accused);
                    (says, if *known { listens } else { listens.min(rates::HEARSAY_LISTENS) })
                })
                .collect();
            self.rows.push((number, row));
            self.says_down.push((number, incident.bus_down.iter().any(|(n, _)| n == reporter)));
            self.own_supply.push((number, incident.own_supply.iter().any(|(n, _)| n == reporter)));
        }
        for (list, mute) in [(&incident.answered, false), (&incident.unanswered, true)] {
            let numbers = list.iter().filter_map(|(n, _)| space.node(n));
            self.answers.extend(numbers.map(|node| Answer { node, mute, share: 1.0 }));
        }
        for (name, reading, _) in &incident.finer.readings {
            let Some(node) = space.node(name) else { continue };
            let (mute, share) = weight_of_answer(*reading);
            // A log's reading says more of the same question than answered or not.
            self.answers.retain(|a| a.node != node || a.mute == reading.answered());
            self.answers.push(Answer { node, mute, share });
        }
        // A node asked twice counts as mute when it was mute once.
        self.answers.sort_by(|a, b| {
            (a.node, !a.mute).cmp(&(b.node, !b.mute)).then(b.share.total_cmp(&a.share))
        });
        self.answers.dedup_by_key(|a| a.node);
    }
}

/// 0 as low as a failed crank, 1 flat, 2 weak at rest, 3 sound.
fn voltage(volts: f64) -> usize {
    let of_12 = if volts > rates::HIGHEST_12V { volts / 2.0 } else { volts };
    let limits = [rates::CRANK_FAILS_V, rates::FLAT_V, rates::WEAK_AT_REST_V];
    limits.iter().position(|limit| of_12 < *limit).unwrap_or(limits.len())
}

/// Thinned traffic is no sign of its own where silent nodes explain the missing frames.
fn level(incident: &Incident) -> Level {
    let strong = |kind: &str| matches!(kind, "error-frames" | "flood" | "unknown-identifiers");
    let signs: Vec<_> = incident.disturbances.iter().filter(|d| strong(d.kind)).collect();
    let count: u64 = signs.iter().map(|d| d.count).sum();
    let longest = signs.iter().map(|d| d.end.seconds_since(d.begin)).fold(0.0, f64::max);
    let lost = partly_lost(incident);
    let (some, much) = rates::PARTLY_LOST;
    if count >= 20 || longest >= 2.0 || lost >= much {
        Level::High
    } else if lost >= some
        || !signs.is_empty()
        || (incident.silent.is_empty() && !incident.disturbances.is_empty())
    {
        Level::Low
    } else {
        Level::None
    }
}

/// Median share of cyclic frames lost by the nodes that did not fall silent; 0 when nothing tells.
fn partly_lost(incident: &Incident) -> f64 {
    let shares: Vec<f64> = incident
        .losses
        .iter()
        .filter(|(node, due, _)| {
            *due >= rates::FEWEST_DUE && !incident.silent.iter().any(|s| s.node == *node)
        })
        .map(|(_, due, missing)| missing / due)
        .collect();
    median(&shares).unwrap_or(0.0)
}

/// What each node lost against the smooth curve through all other nodes: ln intensity of loss over ln
/// frames due. Fast nodes lose more: they run into bus-off first, and a slow one may send late what a fast
/// one loses.
fn against_rate(incident: &Incident) -> Vec<(&str, Loss)> {
    let rows: Vec<_> =
        incident.losses.iter().filter(|(_, due, _)| *due >= rates::FEWEST_DUE).collect();
    if rows.len() < 5 {
        return Vec::new();
    }
    let points: Vec<[f64; 3]> = rows
        .iter()
        .map(|(_, due, missing)| {
            let share = (missing + 0.5) / (due + 1.0);
            // Loss a frame as an intensity: shares near 1 are still told apart.
            let intensity = -(1.0 - share).max(0.01).ln();
            let error = rates::LOSS_BYSTANDER.hypot((1.0 / (missing + 1.0)).sqrt());
            [due.ln(), intensity.ln(), error]
        })
        .collect();
    let Some(all) = residuals(&points) else { return Vec::new() };
    let wider = |n: usize| -> f64 {
        let others = all.iter().enumerate().filter(|(m, _)| *m != n);
        let off: Vec<f64> = others.map(|(_, (off, error))| (off / error).abs()).collect();
        scatter_beyond(&off)
    };
    rows.iter()
        .zip(&all)
        .enumerate()
        .map(|(n, ((node, _, _), (off, error)))| {
            let mut others = points.clone();
            others.remove(n);
            let with: f64 = fit(all.iter().enumerate().filter(|(m, _)| *m != n).map(|(_, r)| r));
            let without = residuals(&others).map_or(with, |r| fit(r.iter()));
            // Where losses scatter more than rates foresee, by waits of their own, each tells less.
            let whole = error * wider(n);
            let error = (whole * whole - rates::LOSS_BYSTANDER.powi(2)).max(0.0).sqrt();
            (node.as_str(), Loss { off: *off, error, relief: without - with })
        })
        .collect()
}

fn residuals(points: &[[f64; 3]]) -> Option<Vec<(f64, f64)>> {
    let column = |n: usize| -> Vec<f64> { points.iter().map(|p| p[n]).collect() };
    leave_one_out(&column(0), &column(1), &column(2), rates::LOSS_BY_RATE)
}

/// How well residuals fit their errors, in natural logarithms; outliers cost little.
fn fit<'r>(residuals: impl Iterator<Item = &'r (f64, f64)>) -> f64 {
    residuals.map(|(off, error)| student(off / error, *error)).sum()
}

/// Of at least three silent nodes the one that was silent half again as long as any other.
fn stands_out(incident: &Incident) -> Option<&str> {
    let silent = &incident.silent;
    let mut names: Vec<&str> = silent.iter().map(|s| s.node.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    if names.len() < 3 {
        return None;
    }
    let total = |name: &str| -> f64 {
        let own = silent.iter().filter(|s| s.node == name);
        own.map(|s| s.end.seconds_since(s.due).max(0.0)).sum()
    };
    let mut by_length: Vec<(f64, &str)> = names.iter().map(|n| (total(n), *n)).collect();
    by_length.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    match by_length.as_slice() {
        [(most, name), (next, _), ..] if *most > 1.5 * next && *most - next > 0.1 => Some(name),
        _ => None,
    }
}
