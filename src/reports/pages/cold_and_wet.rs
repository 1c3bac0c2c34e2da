//! Every judged start by temperature, in a lane each for wet, dry and moisture not known: where incidents
//! fall among the starts that had none. Starts of one degree stand on each other; when a pile grows too
//! high, each mark stands for several.

use serde::Serialize;

use super::at;
use super::drawing::{Axis, RIGHT, Tick, rests_on};
use crate::conditions::Exposure;
use crate::reports::wording::{count, number};

/// Left end of the lanes: room for their names.
const LEFT: f64 = 126.0;
/// Width of a pile and height of a mark, units of the picture.
const PILE: f64 = 12.0;
const MARK: f64 = 10.0;
/// As many piles as the lanes are wide.
const PILES: usize = 48;
/// Most marks on each other.
const HIGHEST: usize = 9;
/// Room above the first lane, and between lanes.
const TOP: f64 = 10.0;
const BETWEEN: f64 = 18.0;

#[derive(Serialize)]
pub(super) struct ColdAndWet {
    lanes: Vec<Lane>,
    across: Vec<Tick>,
    floor: f64,
    height: String,
    description: String,
    rests_on: String,
    left_out: Option<String>,
    each: Option<String>,
}

#[derive(Serialize)]
struct Lane {
    name: &'static str,
    counts: String,
    name_y: String,
    counts_y: String,
    base: String,
    marks: Vec<Mark>,
}

#[derive(Serialize)]
struct Mark {
    x: String,
    y: String,
    incident: bool,
    wet: bool,
    title: String,
}

/// The starts of one pile.
#[derive(Default, Clone, Copy)]
struct Pile {
    hit: usize,
    calm: usize,
}

/// The picture; `None` when no judged start has a known temperature.
pub(super) fn cold_and_wet(exposures: &[Exposure]) -> Option<ColdAndWet> {
    let judged: Vec<&Exposure> = exposures.iter().filter(|e| e.judged).collect();
    let warmth = |e: &Exposure| e.ambient_c.as_ref().map(|s| s.value).filter(|v| v.is_finite());
    let known: Vec<(&Exposure, f64)> =
        judged.iter().filter_map(|e| Some((*e, warmth(e)?))).collect();
    let axis = Axis::around(known.iter().map(|k| k.1), 4.0, (LEFT + PILE, RIGHT - PILE), 8.0)?;
    let pile_of = |celsius: f64| {
        let x = axis.place(celsius)?;
        (0..PILES).rev().find(|n| x >= LEFT + PILE * *n as f64)
    };
    let mut lanes: Vec<(&'static str, Option<bool>, Vec<Pile>)> =
        [("wet", Some(true)), ("dry", Some(false)), ("moisture not known", None)]
            .into_iter()
            .filter(|(_, wet)| known.iter().any(|(e, _)| e.wet == *wet))
            .map(|(name, wet)| (name, wet, vec![Pile::default(); PILES]))
            .collect();
    for (exposure, celsius) in &known {
        let lane = lanes.iter_mut().find(|(_, wet, _)| *wet == exposure.wet);
        let pile = lane.zip(pile_of(*celsius)).and_then(|(lane, at)| lane.2.get_mut(at));
        if let Some(pile) = pile {
            pile.hit += usize::from(exposure.incidents > 0);
            pile.calm += usize::from(exposure.incidents == 0);
        }
    }
    let highest = lanes.iter().flat_map(|(_, _, piles)| piles).map(|p| p.hit + p.calm).max()?;
    let each = highest.div_ceil(HIGHEST).max(1);
    let mut base = TOP;
    let mut drawn = Vec::new();
    let mut described = Vec::new();
    for (name, wet, piles) in lanes {
        let marks_of = |p: &Pile| p.hit.div_ceil(each) + p.calm.div_ceil(each);
        let rows = piles.iter().map(marks_of).max().unwrap_or(0).max(3);
        base += rows as f64 * MARK + BETWEEN;
        let hit: usize = piles.iter().map(|p| p.hit).sum();
        let all: usize = piles.iter().map(|p| p.hit + p.calm).sum();
        described.push(format!("{name}: {hit} of {} with an incident", count(all, "start")));
        drawn.push(Lane {
            name,
            counts: format!("{hit} of {all}"),
            name_y: at(base - 14.0),
            counts_y: at(base),
            base: at(base + 3.0),
            marks: marks(&piles, each, wet == Some(true), base, &axis),
        });
    }
    let unknown = judged.len() - known.len();
    Some(ColdAndWet {
        lanes: drawn,
        across: axis.ticks(),
        floor: base + 12.0,
        height: at(base + 56.0),
        description: described.join("; "),
        rests_on: rests_on(known.len(), "start"),
        left_out: left_out(unknown, exposures.len() - judged.len()),
        each: (each > 1).then(|| format!("Each mark stands for up to {each} starts.")),
    })
}

fn left_out(unknown: usize, unjudged: usize) -> Option<String> {
    let mut parts = Vec::new();
    if unknown > 0 {
        parts.push(format!("{} without a known temperature", count(unknown, "start")));
    }
    if unjudged > 0 {
        parts.push(format!("{} that could not have shown one", count(unjudged, "start")));
    }
    (!parts.is_empty()).then(|| format!("Left out: {}.", parts.join(", ")))
}

/// The marks of a lane; those of incidents lie lowest, so that piles can be compared.
fn marks(piles: &[Pile], each: usize, wet: bool, base: f64, axis: &Axis) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (place, pile) in piles.iter().enumerate() {
        let x = LEFT + PILE * (place as f64 + 0.5);
        let words = axis.value(x).map_or_else(String::new, |c| format!("{} \u{b0}C", number(c, 0)));
        let title = format!("about {words}: {} of {}", pile.hit, pile.hit + pile.calm);
        let (hits, calm) = (pile.hit.div_ceil(each), pile.calm.div_ceil(each));
        for row in 0..hits + calm {
            marks.push(Mark {
                x: at(x),
                y: at(base - MARK * (row as f64 + 0.5)),
                incident: row < hits,
                wet,
                title: title.clone(),
            });
        }
    }
    marks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reports::tests::fixture;

    fn marks(picture: &ColdAndWet, incident: bool) -> usize {
        picture.lanes.iter().flat_map(|l| &l.marks).filter(|m| m.incident == incident).count()
    }

    #[test]
    fn every_judged_start_with_a_temperature_has_a_mark() {
        let finding = fixture::decided("LH-07");
        let picture = cold_and_wet(&finding.exposures).unwrap();
        let known = |hit: bool| {
            finding
                .exposures
                .iter()
                .filter(|e| e.judged && e.ambient_c.is_some() && (e.incidents > 0) == hit)
                .count()
        };
        assert_eq!(picture.each, None);
        assert_eq!((marks(&picture, true), marks(&picture, false)), (known(true), known(false)));
    }

    #[test]
    fn three_thousand_starts_fit_and_three_do_too() {
        let finding = fixture::decided("LH-07");
        let many: Vec<_> = finding.exposures.iter().cycle().take(3000).cloned().collect();
        let picture = cold_and_wet(&many).unwrap();
        let drawn = marks(&picture, true) + marks(&picture, false);
        assert!(drawn < 1000 && picture.each.is_some(), "{drawn} marks");
        assert!(picture.floor < 400.0, "{}", picture.floor);
        assert!(cold_and_wet(&finding.exposures[..3]).is_some());
        assert!(cold_and_wet(&[]).is_none());
    }
}
