//! The weekly page: the answer, what vehicles share, the bays to book, what was not seen.

use std::collections::BTreeMap;

use serde::Serialize;

use super::picture::{Strip, Weeks, strip, weeks};
use super::words;
use crate::read::Tally;
use crate::reports::Heading;
use crate::reports::pages::{Intake, NAME, SENTENCE, Top, intake};
use crate::reports::wording::{count, counted, grouped, number, percent, shown, suspect};
use crate::weeks::{Change, FleetWeek, Need, VehicleWeek};

/// Most rows of a table; `fleet.csv` has all vehicles.
const MOST_ROWS: usize = 100;
/// Most vehicles named in a list.
const MOST_NAMED: usize = 400;
/// Most vehicles named in a sentence.
const MOST_IN_SENTENCE: usize = 12;

#[derive(Serialize)]
pub(in crate::reports) struct WeeklyPage {
    top: Top,
    week: String,
    answer: String,
    open: bool,
    compared: bool,
    tallies: Vec<(&'static str, String)>,
    common: Vec<Shared>,
    /// How many of them may well be chance.
    doubtful: usize,
    rows: Vec<Row>,
    rows_left: usize,
    others: Vec<Row>,
    others_left: usize,
    gaps: Vec<Gap>,
    gaps_left: usize,
    picture: Option<Weeks>,
    quiet: Vec<(String, u64)>,
    quiet_left: usize,
    quiet_words: String,
    severities: Vec<Degree>,
    intake: Intake,
}

#[derive(Serialize)]
struct Shared {
    text: String,
    vehicles: String,
    /// Whether it stands out by more than chance explains.
    shown: bool,
}

#[derive(Serialize)]
struct Row {
    vehicle: String,
    page: Option<String>,
    why: String,
    percent: Option<String>,
    because: String,
    was: Option<String>,
    need: &'static str,
    danger: Option<String>,
    change: &'static str,
    changed: String,
    strip: Strip,
    book: String,
    minutes: Option<String>,
    part: Option<String>,
    caution: String,
    urgency: Option<String>,
    product: Option<String>,
}

/// A vehicle of which too little was seen in the week.
#[derive(Serialize)]
struct Gap {
    vehicle: String,
    page: Option<String>,
    seen: String,
    usual: Option<String>,
    what: String,
}

#[derive(Serialize)]
struct Degree {
    class: String,
    degree: String,
    safety: bool,
    why: String,
}

pub(in crate::reports) fn page(
    heading: &Heading,
    week: &FleetWeek,
    tally: &Tally,
    names: &BTreeMap<String, String>,
) -> WeeklyPage {
    let of = |need: Need| week.vehicles.iter().filter(move |v| v.need == need);
    let make = |v: &VehicleWeek| row(v, week, names);
    let bays: Vec<&VehicleWeek> = of(Need::Bay).collect();
    let fixed = of(Need::Nothing).filter(|v| v.leader.is_some());
    let others: Vec<&VehicleWeek> = of(Need::Desk).chain(of(Need::Watch)).chain(fixed).collect();
    let gaps: Vec<&VehicleWeek> = week.vehicles.iter().filter(|v| has_gap(v)).collect();
    let quiet: Vec<&VehicleWeek> =
        of(Need::Nothing).filter(|v| v.leader.is_none() && v.seen.judged > 0).collect();
    let quiet_starts: u64 = quiet.iter().map(|v| v.seen.starts).sum();
    let mut top = Top::new(heading);
    top.remarks.extend(week.remarks.iter().map(|r| shown(r, SENTENCE)));
    WeeklyPage {
        top,
        week: words::long_span(week.span),
        answer: words::answer(week),
        open: bays.is_empty(),
        compared: week.compared,
        tallies: tallies(week),
        doubtful: week.common.iter().filter(|c| !c.stands_out()).count(),
        common: week.common.iter().map(shared).collect(),
        rows_left: bays.len().saturating_sub(MOST_ROWS),
        rows: bays.into_iter().take(MOST_ROWS).map(make).collect(),
        others_left: others.len().saturating_sub(MOST_ROWS),
        others: others.into_iter().take(MOST_ROWS).map(make).collect(),
        gaps_left: gaps.len().saturating_sub(MOST_ROWS),
        gaps: gaps.into_iter().take(MOST_ROWS).map(|v| gap(v, names)).collect(),
        picture: weeks(week),
        quiet_words: format!(
            "{}, seen in {} this week",
            count(quiet.len(), "quiet vehicle"),
            counted(quiet_starts, "start")
        ),
        quiet_left: quiet.len().saturating_sub(MOST_NAMED),
        quiet: quiet
            .into_iter()
            .take(MOST_NAMED)
            .map(|v| (shown(&v.vehicle, NAME), v.seen.judged))
            .collect(),
        severities: week
            .severities
            .iter()
            .map(|s| Degree {
                class: if s.class == "any" {
                    "any other module".to_owned()
                } else {
                    shown(&s.class, NAME)
                },
                degree: number(s.severity, 0),
                safety: s.safety,
                why: shown(&s.why, SENTENCE),
            })
            .collect(),
        intake: intake(tally),
    }
}

/// Whether somebody should ask after the data of a vehicle.
fn has_gap(v: &VehicleWeek) -> bool {
    let seen = &v.seen;
    seen.judged == 0
        || seen.missing.unwrap_or(0) > 0
        || seen.logs_rejected > 0
        || seen.records_rejected > 0
}

fn tallies(week: &FleetWeek) -> Vec<(&'static str, String)> {
    let sum = |pick: fn(&VehicleWeek) -> u64| week.vehicles.iter().map(pick).sum::<u64>();
    let plain = |n: usize| grouped(n as u64);
    let mut out = vec![("vehicles that need a bay", plain(week.needing(Need::Bay)))];
    if week.compared {
        out.extend([
            ("new this week", plain(week.changed(Change::New))),
            ("worse than before", plain(week.changed(Change::Worse))),
            ("better than before", plain(week.changed(Change::Better))),
            ("fixed this week", plain(week.changed(Change::Fixed))),
        ]);
    }
    let unseen = week.vehicles.iter().filter(|v| v.seen.judged == 0).count();
    let missing = sum(|v| v.seen.missing.unwrap_or(0));
    out.extend([
        ("vehicles not seen", plain(unseen)),
        ("starts seen", grouped(sum(|v| v.seen.starts))),
        ("of these judged", grouped(sum(|v| v.seen.judged))),
        ("starts missing, about", grouped(missing)),
        ("logs rejected", grouped(sum(|v| v.seen.logs_rejected))),
    ]);
    out
}

fn shared(c: &crate::weeks::Common) -> Shared {
    let named = c.vehicles.iter().take(MOST_IN_SENTENCE).map(|v| shown(v, NAME));
    let mut vehicles = named.collect::<Vec<_>>().join(", ");
    if c.vehicles.len() > MOST_IN_SENTENCE {
        vehicles.push_str(&format!(" and {} more", c.vehicles.len() - MOST_IN_SENTENCE));
    }
    Shared { text: words::common(c), vehicles, shown: c.stands_out() }
}

fn row(v: &VehicleWeek, week: &FleetWeek, names: &BTreeMap<String, String>) -> Row {
    let danger = v.danger.as_ref().filter(|(_, why)| !why.is_empty()).map(|(who, why)| {
        let leads = v.leader.as_ref().is_some_and(|(leader, _)| leader == who);
        let why = shown(why, 120);
        if leads { why } else { format!("{}, also a suspect: {why}", shown(&suspect(who), NAME)) }
    });
    Row {
        vehicle: shown(&v.vehicle, NAME),
        page: names.get(&v.vehicle).cloned(),
        why: words::why(v),
        percent: v.leader.as_ref().map(|(_, p)| percent(*p)),
        because: shown(&v.because, SENTENCE),
        was: words::was(v),
        need: v.need.word(),
        danger,
        change: if week.compared { v.changed.change.word() } else { "first week" },
        changed: words::change(v),
        strip: strip(v, &week.weeks),
        book: shown(&v.booking.what, SENTENCE),
        minutes: v.booking.minutes.map(words::minutes),
        part: v.booking.part.as_deref().map(|p| shown(p, 120)),
        caution: shown(&v.booking.caution, SENTENCE),
        urgency: v.urgency.map(|u| number(u, 1)),
        product: words::urgency(v),
    }
}

fn gap(v: &VehicleWeek, names: &BTreeMap<String, String>) -> Gap {
    let seen = &v.seen;
    let mut what = Vec::new();
    if seen.starts == 0 {
        what.push("not seen: nothing is known of this week, which is not a quiet week".to_owned());
    } else if seen.judged == 0 {
        what.push("seen, but no start could have shown an incident".to_owned());
    } else if let Some(missing) = seen.missing.filter(|n| *n > 0) {
        what.push(format!("about {missing} fewer starts than usual"));
    }
    if seen.logs_rejected > 0 {
        let logs = counted(seen.logs_rejected, "log");
        what.push(format!("{logs} of which nothing could be used"));
    }
    if seen.records_rejected > 0 {
        what.push(format!("{} rejected", counted(seen.records_rejected, "record")));
    }
    Gap {
        vehicle: shown(&v.vehicle, NAME),
        page: names.get(&v.vehicle).cloned(),
        seen: grouped(seen.starts),
        usual: seen.usual.map(|usual| number(usual, 1)),
        what: what.join("; "),
    }
}
