//! The page of one vehicle.

use serde::Serialize;

use super::{NAME, SENTENCE, Top, conditions, incidents, intake, suspects, timeline, witnesses};
use crate::read::Tally;
use crate::repairs::Outlook;
use crate::reports::standing::{Standing, answer, next_step, standing, without_test};
use crate::reports::wording::{capital, number, percent, shown};
use crate::reports::{Closer, Heading, drawn_incidents, outlooks};
use crate::suspects::{NextTest, ONE_MORE_INPUT, TestStep, VehicleFinding};

/// Most unplaced codes and reports listed.
const MOST_UNPLACED: usize = 40;
/// Most remarks listed; `culprits.json` has all.
const MOST_REMARKS: usize = 100;

#[derive(Serialize)]
pub(super) struct VehiclePage {
    top: Top,
    overview: Option<&'static str>,
    vehicle: String,
    network: Option<String>,
    undecided: bool,
    answer: String,
    because: String,
    next: Option<String>,
    without_test: &'static str,
    next_caution: Option<String>,
    ranking: suspects::Ranking,
    when: conditions::When,
    pictures: Vec<timeline::Timeline>,
    witnesses: witnesses::Witnesses,
    tests: Vec<Test>,
    sequence: Vec<Step>,
    incidents: incidents::IncidentTable,
    senders: Vec<(String, String)>,
    remarks: Vec<String>,
    remarks_left: usize,
    lacking: Vec<String>,
    unplaced: Vec<(String, String)>,
    unplaced_left: usize,
    intake: intake::Intake,
    ahead: Option<outlooks::Ahead>,
}

#[derive(Serialize)]
struct Test {
    test: String,
    minutes: String,
    bits: String,
    setup: String,
    setup_minutes: String,
    meaning: String,
    caution: String,
    order_holds: bool,
}

#[derive(Serialize)]
struct Step {
    test: String,
    minutes: String,
    decided: String,
}

pub(super) fn page(
    heading: &Heading,
    finding: &VehicleFinding,
    outlook: Option<&Outlook>,
    closer: &[Closer],
    tally: &Tally,
    overview: Option<&'static str>,
) -> VehiclePage {
    let caution = finding.next_tests.first().map(|t| t.caution.as_str());
    let remarks = || finding.remarks.iter().filter(|r| !r.starts_with(ONE_MORE_INPUT));
    VehiclePage {
        top: Top::new(heading),
        overview,
        vehicle: shown(&finding.vehicle, NAME),
        network: finding.network.as_deref().map(|n| shown(n, NAME)),
        undecided: standing(finding) == Standing::Undecided,
        answer: answer(finding),
        because: shown(finding.because.trim_end_matches('.'), SENTENCE),
        next: next_step(finding),
        without_test: without_test(finding).1,
        next_caution: caution.filter(|c| !c.is_empty()).map(|c| shown(c, SENTENCE)),
        ranking: suspects::ranking(finding),
        when: conditions::when(heading, finding),
        pictures: drawn_incidents(finding)
            .into_iter()
            .filter_map(|place| Some((place, finding.incidents.get(place)?)))
            .map(|(place, incident)| {
                let closer = closer.iter().find(|c| c.incident == place);
                timeline::timeline(heading, incident, closer)
            })
            .collect(),
        witnesses: witnesses::witnesses(finding),
        tests: finding.next_tests.iter().map(test).collect(),
        sequence: finding.sequence.iter().map(step).collect(),
        incidents: incidents::table(heading, finding),
        senders: finding
            .unnamed_senders
            .iter()
            .map(|(name, identifiers)| {
                (shown(name, NAME), shown(&identifiers.join(", "), SENTENCE))
            })
            .collect(),
        remarks: remarks().take(MOST_REMARKS).map(|r| shown(r, SENTENCE)).collect(),
        remarks_left: remarks().count().saturating_sub(MOST_REMARKS),
        lacking: finding
            .remarks
            .iter()
            .filter_map(|r| r.strip_prefix(ONE_MORE_INPUT))
            .map(|r| capital(&shown(r, SENTENCE)))
            .collect(),
        unplaced: finding
            .unplaced
            .iter()
            .take(MOST_UNPLACED)
            .map(|(what, place)| (shown(what, SENTENCE), shown(&place.to_string(), 120)))
            .collect(),
        unplaced_left: finding.unplaced.len().saturating_sub(MOST_UNPLACED),
        intake: intake::intake(tally),
        ahead: outlook.map(|outlook| outlooks::ahead(heading, outlook)),
    }
}

fn test(test: &NextTest) -> Test {
    Test {
        test: shown(&test.test, SENTENCE),
        minutes: number(test.minutes, 0),
        bits: number(test.bits, 2),
        setup: shown(&test.setup, SENTENCE),
        setup_minutes: number(test.setup_minutes, 0),
        meaning: shown(&test.meaning, 800),
        caution: shown(&test.caution, 800),
        order_holds: test.order_holds,
    }
}

fn step(step: &TestStep) -> Step {
    Step {
        test: shown(&step.test, SENTENCE),
        minutes: number(step.minutes, 0),
        decided: percent(step.decided),
    }
}
