//! The ranking: a bar per suspect, and what speaks for and against the leading ones.

use serde::Serialize;

use super::drawing::rests_on;
use super::{NAME, SENTENCE, at};
use crate::reports::wording::{capital, decibans, mechanism, percent, shown, suspect, the_suspect};
use crate::suspects::{Evidence, OtherCause, SuspectFinding, VehicleFinding};

/// Most suspects with a bar.
const MOST_BARS: usize = 10;
/// Most suspects whose evidence is spelled out.
const MOST_OPENED: usize = 4;
/// Most pieces of evidence on each side of a suspect.
const MOST_PIECES: usize = 12;
/// Lighter pieces are not spelled out, decibans: they would all read 0.0.
const LIGHTEST: f64 = 0.05;
/// Most places named for a piece.
const MOST_PLACES: usize = 6;

#[derive(Serialize)]
pub(super) struct Ranking {
    bars: Vec<Bar>,
    bars_left: usize,
    opened: Vec<Opened>,
    explained: usize,
    incidents: usize,
    rests_on: String,
    causes: Vec<String>,
    hangs_on: Vec<String>,
}

#[derive(Serialize)]
struct Bar {
    rank: usize,
    name: String,
    key: String,
    percent: String,
    prior: String,
    width: String,
    /// The probability with one kind of evidence left out: in words, and its two ends in the picture.
    range: String,
    low: String,
    high: String,
    /// What the row is sorted by: the words round and cut.
    sort: f64,
    pieces: usize,
}

#[derive(Serialize)]
struct Opened {
    name: String,
    percent: String,
    prior: String,
    ways: Vec<Way>,
    sides: Vec<Side>,
}

#[derive(Serialize)]
struct Way {
    words: &'static str,
    percent: String,
}

#[derive(Serialize)]
struct Side {
    title: &'static str,
    speaks_for: bool,
    count: usize,
    sum: String,
    pieces: Vec<Piece>,
    left: usize,
}

#[derive(Serialize)]
struct Piece {
    weight: String,
    width: String,
    what: String,
    places: Vec<String>,
    more_places: usize,
}

pub(super) fn ranking(finding: &VehicleFinding) -> Ranking {
    let bars = finding.suspects.iter().take(MOST_BARS).enumerate().map(|(i, s)| bar(i, s));
    let opened = finding
        .suspects
        .iter()
        .enumerate()
        .filter(|(i, s)| *i < 2 || (s.probability >= 0.01 && !s.evidence.is_empty()))
        .take(MOST_OPENED)
        .map(|(_, s)| s);
    let heaviest = opened
        .clone()
        .flat_map(|s| &s.evidence)
        .map(|e| e.weight_db.abs())
        .filter(|w| w.is_finite())
        .fold(1.0, f64::max);
    Ranking {
        bars: bars.collect(),
        bars_left: finding.suspects.len().saturating_sub(MOST_BARS),
        opened: opened.map(|s| open(s, heaviest)).collect(),
        explained: finding.explained,
        incidents: finding.incidents.len(),
        rests_on: rests_on(finding.incidents.len(), "incident"),
        causes: finding.other_causes.iter().map(cause).collect(),
        hangs_on: finding.hangs_on.iter().map(|s| shown(s, SENTENCE)).collect(),
    }
}

fn cause(cause: &OtherCause) -> String {
    let sentence = format!(
        "{} of {} incidents speak for another cause: {} ({} for these alone)",
        cause.incidents,
        cause.of,
        the_suspect(&cause.suspect),
        percent(cause.probability)
    );
    shown(&sentence, SENTENCE)
}

fn bar(index: usize, finding: &SuspectFinding) -> Bar {
    let (low, high) = finding.range;
    let across = |share: f64| at(share.clamp(0.0, 1.0) * 100.0);
    Bar {
        rank: index + 1,
        name: shown(&suspect(&finding.suspect), NAME),
        key: shown(&finding.suspect.to_string(), NAME),
        percent: percent(finding.probability),
        prior: percent(finding.prior),
        width: across(finding.probability),
        range: match (percent(low), percent(high)) {
            (low, high) if low == high => low,
            (low, high) => format!("{low} to {high}"),
        },
        low: across(low),
        high: across(high),
        sort: finding.probability,
        pieces: finding.evidence.len(),
    }
}

fn open(finding: &SuspectFinding, heaviest: f64) -> Opened {
    let mut speaking_for: Vec<&Evidence> = finding.speaking_for().collect();
    let mut against: Vec<&Evidence> = finding.speaking_against().collect();
    speaking_for.sort_by(|a, b| b.weight_db.total_cmp(&a.weight_db));
    against.sort_by(|a, b| a.weight_db.total_cmp(&b.weight_db));
    Opened {
        name: capital(&shown(&suspect(&finding.suspect), NAME)),
        percent: percent(finding.probability),
        prior: percent(finding.prior),
        ways: finding
            .mechanisms
            .iter()
            .map(|&(m, p)| Way { words: mechanism(m), percent: percent(p) })
            .collect(),
        sides: vec![
            side("Speaks for it", true, &speaking_for, heaviest),
            side("Speaks against it", false, &against, heaviest),
        ],
    }
}

fn side(title: &'static str, speaks_for: bool, pieces: &[&Evidence], heaviest: f64) -> Side {
    let told = pieces.iter().filter(|e| e.weight_db.abs() >= LIGHTEST).take(MOST_PIECES);
    let told: Vec<Piece> = told.map(|e| piece(e, heaviest)).collect();
    Side {
        title,
        speaks_for,
        count: pieces.len(),
        sum: decibans(pieces.iter().map(|e| e.weight_db).sum()),
        left: pieces.len() - told.len(),
        pieces: told,
    }
}

fn piece(evidence: &Evidence, heaviest: f64) -> Piece {
    Piece {
        weight: decibans(evidence.weight_db),
        width: at((evidence.weight_db.abs() / heaviest).clamp(0.0, 1.0) * 60.0),
        what: shown(&evidence.what, SENTENCE),
        places: evidence
            .places
            .iter()
            .take(MOST_PLACES)
            .map(|p| shown(&p.to_string(), 120))
            .collect(),
        more_places: evidence.places.len().saturating_sub(MOST_PLACES),
    }
}
