//! The weekly page and its tables: hostile texts stay text, three vehicles and three thousand.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::defined::{baseless, undefined};
use super::disarmed::disarmed_in;
use super::fixture::{HOSTILE, heading, tally};
use crate::repairs::Counts;
use crate::reports::{Formats, Output, Told, View, render_reports, week_lines};
use crate::vocabulary::{Suspect, Verdict};
use crate::weeks::{
    Booking, Change, Changed, Common, FleetWeek, Need, Seen, Severities, Span, VehicleWeek, Was,
    WeekCell,
};

fn vehicle(name: &str, need: Need, suspect: Option<&str>, cells: &[(u64, u64)]) -> VehicleWeek {
    let leader = suspect.map(|name| (Suspect::Node(name.to_owned()), 0.8));
    let last = cells.last().copied().unwrap_or_default();
    VehicleWeek {
        vehicle: name.to_owned(),
        need,
        because: suspect.unwrap_or_default().to_owned(),
        decided: true,
        severity: leader.as_ref().map(|(who, _)| Severities::new(Vec::new()).of(who, None)),
        probability: suspect.map(|_| 0.8),
        mean_severity: suspect.map(|_| 6.0),
        safety: false,
        danger: leader.clone().map(|(who, _)| (who, HOSTILE.to_owned())),
        urgency: suspect.map(|_| 0.8 * 6.0 * 1.5),
        changed: Changed {
            change: Change::Worse,
            trend: Some(1.5),
            week: Counts { hits: last.0, starts: last.1 },
            before: Counts { hits: 1, starts: 9 },
            under: vec!["wet"],
        },
        was: leader
            .as_ref()
            .map(|_| Was { verdict: Verdict::Undecided, leader: Some((Suspect::Supply, 0.4)) }),
        leader,
        booking: Booking {
            what: suspect.unwrap_or_default().to_owned(),
            minutes: Some(25.0),
            part: suspect.map(str::to_owned),
            caution: HOSTILE.to_owned(),
        },
        seen: Seen {
            starts: last.1,
            logged: last.1,
            judged: last.1,
            hits: last.0,
            usual: Some(4.0),
            missing: Some(4_u64.saturating_sub(last.1)),
            logs_rejected: 0,
            records_rejected: 0,
        },
        cells: cells
            .iter()
            .map(|(hits, all)| WeekCell { starts: *all, judged: *all, hits: *hits })
            .collect(),
    }
}

fn week(vehicles: Vec<VehicleWeek>, common: Vec<Common>) -> FleetWeek {
    let last = NaiveDate::from_ymd_opt(2026, 1, 31).expect("a day");
    let span = Span::ending(last, Tz::UTC).expect("a week");
    let before = span.before(Tz::UTC).expect("a week");
    let severities = Severities::new(Vec::new()).rows().into_iter().cloned().collect();
    FleetWeek {
        span,
        weeks: vec![before, span],
        compared: true,
        vehicles,
        common,
        severities,
        remarks: Vec::new(),
    }
}

fn files(week: &FleetWeek) -> Vec<(String, String)> {
    let (closer, tally) = (BTreeMap::new(), tally());
    let told =
        Told { findings: &[], outlooks: &[], closer: &closer, week: Some(week), tally: &tally };
    let heading = heading(View::Fleet);
    let outputs = render_reports(&heading, Formats::ALL, &told, &[]).expect("rendered");
    let text = |o: &Output<'_>| String::from_utf8(o.bytes().expect("made")).expect("text");
    outputs.iter().map(|o| (o.name.clone(), text(o))).collect()
}

fn of<'a>(files: &'a [(String, String)], name: &str) -> &'a str {
    files.iter().find(|(own, _)| own == name).map(|(_, text)| text.as_str()).expect("a file")
}

#[test]
fn the_answer_stands_first_and_hostile_texts_stay_text() {
    let shared = Common {
        suspect: Some(Suspect::Node(HOSTILE.to_owned())),
        by: "batch",
        value: HOSTILE.to_owned(),
        vehicles: vec![HOSTILE.to_owned(), "LH-02".to_owned()],
        with: (2, 2),
        without: (0, 9),
        p_value: Some(0.001),
        p_adjusted: Some(0.004),
        shown: true,
    };
    let week = week(
        vec![
            vehicle(HOSTILE, Need::Bay, Some(HOSTILE), &[(0, 3), (2, 3)]),
            vehicle("LH-02", Need::Watch, Some("radio"), &[(1, 3), (0, 3)]),
            vehicle("LH-03", Need::Data, None, &[(0, 0), (0, 0)]),
        ],
        vec![shared],
    );
    let lines = week_lines(&week, 80);
    assert!(lines.starts_with("1 of 3 vehicles needs a bay this week"), "{lines}");
    assert!(
        lines.lines().all(|line| line.chars().count() <= 80) && !lines.contains('\u{1b}'),
        "{lines}"
    );
    let files = files(&week);
    let page = of(&files, "report.html");
    assert_eq!(undefined(page), [] as [String; 0], "words without a definition");
    assert_eq!(baseless(page), [] as [String; 0], "pictures that rest on nothing");
    assert!(page.contains("The week 25 to 31 January 2026"));
    assert!(
        page.contains("1 of 3 vehicles needs a bay this week, about 25 min in all; begin with ")
    );
    assert!(page.contains("2 of 3 starts this week, 1 of 9 in the four weeks before; counting only starts that were wet"));
    assert_eq!(page.matches("<script").count(), 1, "only our own");
    assert!(!page.contains('\u{202e}') && !page.contains(" 49"));
    assert!(page.contains("&lt;script&gt;"));
    // No data is no quiet week: it is named among the gaps.
    let gaps = page.split("id=\"gaps\"").nth(1).expect("gaps");
    assert!(gaps.contains("LH-03") && gaps.contains("which is not a quiet week"));
    for (name, text) in files.iter().filter(|(name, _)| name.ends_with(".csv")) {
        let disarmed = disarmed_in(name, text.as_bytes());
        // These three have the hostile vehicle in them.
        assert!(disarmed > 0 || !["common.csv", "fleet.csv", "weeks.csv"].contains(&name.as_str()));
    }
    let common = of(&files, "common.csv");
    assert_eq!(csv::Reader::from_reader(common.as_bytes()).records().count(), 1);
    assert!(common.contains(",2,2,0,9,0.001,0.004,true"));
    assert_eq!(of(&files, "weeks.csv").matches("2026-01-25,2026-01-31").count(), 3);
}

#[test]
fn three_thousand_vehicles_fit_on_the_page() {
    let many: Vec<VehicleWeek> = (0..3_000_u64)
        .map(|n| match n % 3 {
            0 => vehicle(&format!("v{n:04}"), Need::Bay, Some("radio"), &[(0, 3), (1, 3)]),
            1 => vehicle(&format!("v{n:04}"), Need::Nothing, None, &[(0, 3), (0, 4)]),
            _ => vehicle(&format!("v{n:04}"), Need::Data, None, &[(0, 0), (0, 0)]),
        })
        .collect();
    let files = files(&week(many, Vec::new()));
    let page = of(&files, "report.html");
    assert!(page.len() < 400_000, "{} bytes", page.len());
    assert!(
        page.contains("900 more vehicles need a bay") && page.contains("1000 of 3000 vehicles")
    );
    // The picture counts every vehicle, whatever the tables leave out.
    assert!(page.contains(
        "25\u{2013}31 Jan: 1000 with an incident, 1000 seen without one, 1000 not seen."
    ));
}
