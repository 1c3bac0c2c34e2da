//! Which days the week is, what has become of a vehicle, and what it needs.

use chrono_tz::Tz;

use super::{DAY_S, at, cut, daily, node, vehicle, week};
use crate::conditions::{Ahead, WeatherTable, when};
use crate::repairs::{Counts, Kind, Outlook, Repair, State};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Instant;
use crate::weeks::change::changed;
use crate::weeks::need::need;
use crate::weeks::span::Span;
use crate::weeks::{Change, Changed, Earlier, Need, week_in_view};

#[test]
fn the_week_ends_with_the_last_day_seen() {
    let seen = |days: &[f64]| -> Vec<(String, Instant)> {
        days.iter().enumerate().map(|(n, d)| (format!("v{n}"), at(*d))).collect()
    };
    let of = |days: &[f64], to| week_in_view(&seen(days), to, Tz::UTC).expect("a week");
    let plain = of(&[3.0, 10.0, 9.0], None);
    assert_eq!(plain.span.last.to_string(), "2026-01-15");
    assert_eq!(plain.span.first.to_string(), "2026-01-09");
    assert!(plain.remarks.is_empty());
    assert_eq!(plain.span.end, plain.span.begin.plus_seconds(7.0 * DAY_S));
    // One clock that runs a year ahead does not move the fleet's week; two vehicles are no majority.
    let stray = of(&[3.0, 10.0, 375.0], None);
    assert_eq!((stray.span, stray.remarks.len()), (plain.span, 1));
    assert_eq!(of(&[10.0, 375.0], None).remarks.len(), 0);
    // The period's end is the week's when something was seen in the seven days before it.
    let asked = of(&[3.0, 10.0, 9.0], Some(at(13.0)));
    assert_eq!(asked.span.last.to_string(), "2026-01-18");
    let far = of(&[3.0, 10.0, 9.0], Some(at(60.0)));
    assert_eq!((far.span, far.remarks.len()), (plain.span, 1));
    assert_eq!(week_in_view(&[], None, Tz::UTC), None);
}

#[test]
fn weeks_keep_to_local_days_when_clocks_change() {
    // 2026-03-29 has 23 hours in Berlin.
    let last = chrono::NaiveDate::from_ymd_opt(2026, 3, 30).expect("a day");
    let span = Span::ending(last, Tz::Europe__Berlin).expect("a week");
    assert_eq!(span.end, span.begin.plus_seconds(7.0 * DAY_S - 3_600.0));
    let before = span.before(Tz::Europe__Berlin).expect("a week");
    assert_eq!(before.end, span.begin);
}

fn change_of(starts: &[(f64, bool)]) -> Changed {
    let now = vehicle("v", node("radio"), 0.9, starts);
    let was = cut(&now, week().begin);
    changed((&now, None), Some(&Earlier::of(&was, None)), week())
}

#[test]
fn what_became_of_a_vehicle() {
    let cases: [(Vec<(f64, bool)>, Change); 6] = [
        (daily(|d| d >= 24), Change::New),
        (daily(|d| d == 3 || d >= 22), Change::Worse),
        (daily(|d| d % 3 == 0), Change::Unchanged),
        (daily(|d| d < 21 && d % 2 == 0), Change::Better),
        (daily(|d| d == 3)[..20].to_vec(), Change::NotSeen),
        (daily(|_| false), Change::Unchanged),
    ];
    for (starts, expected) in cases {
        let found = change_of(&starts);
        assert_eq!(found.change, expected, "{found:?}");
        let trend = found.trend;
        match expected {
            Change::New | Change::Worse => assert!(trend.is_some_and(|t| t > 1.5)),
            Change::Better => assert!(trend.is_some_and(|t| t < 0.5)),
            Change::NotSeen => assert_eq!(trend, None),
            // Nothing happened on either side: more starts in one of them are no trend.
            _ if starts.iter().all(|(_, hit)| !hit) => assert_eq!(trend, None),
            _ => assert!(trend.is_some_and(|t| (0.5..1.5).contains(&t)), "{found:?}"),
        }
    }
}

#[test]
fn a_dry_week_is_no_cure() {
    // It fails at wet starts only, and the week had none.
    let mut now = vehicle("v", node("radio"), 0.9, &daily(|d| d < 21 && d % 3 == 0));
    for (d, e) in now.exposures.iter_mut().enumerate() {
        e.wet = Some(d < 21 && d % 3 == 0);
    }
    let was = cut(&now, week().begin);
    let found = changed((&now, None), Some(&Earlier::of(&was, None)), week());
    assert_eq!(found.change, Change::NotTested, "{found:?}");
    assert_eq!((found.under.as_slice(), found.trend), (&["wet"][..], None));
    // An incident at a dry start of the week says that every start counts.
    if let Some(last) = now.exposures.last_mut() {
        last.incidents = 1;
    }
    let found = changed((&now, None), Some(&Earlier::of(&was, None)), week());
    assert!(found.under.is_empty() && found.week.starts == 7, "{found:?}");
}

fn repaired(state: State, from: f64) -> Outlook {
    let counts = Counts::default();
    Outlook {
        vehicle: "v".to_owned(),
        when: when(
            &[],
            &[],
            &[],
            &Ahead { forecast: &WeatherTable::default(), given: false, site: None, zone: Tz::UTC },
        ),
        repairs: vec![Repair {
            kind: Kind::Lasting,
            from: at(from),
            until: None,
            actions: vec!["replace node:radio".to_owned()],
            trigger: Vec::new(),
            before: counts,
            after: counts,
            before_other: counts,
            after_other: counts,
            after_unknown: 0,
            again: None,
            p_value: None,
            fell_80: None,
            confidence: 0.95,
            needed: Some(5),
            still_needed: Some(2),
            unchanged_db: None,
            decided_db: 13.0,
            state,
            said: String::new(),
            places: Vec::new(),
        }],
        after_part: None,
    }
}

#[test]
fn a_repair_is_fixed_once_and_then_forgotten() {
    let now = vehicle("v", node("radio"), 0.9, &daily(|d| d < 18 && d % 2 == 0));
    let was = cut(&now, week().begin);
    let (held, open) = (repaired(State::Held, 18.5), repaired(State::NotYetShown, 18.5));
    let fixed = changed((&now, Some(&held)), Some(&Earlier::of(&was, Some(&open))), week());
    assert_eq!(fixed.change, Change::Fixed);
    let long_since = changed((&now, Some(&held)), Some(&Earlier::of(&was, Some(&held))), week());
    assert_ne!(long_since.change, Change::Fixed);
    assert_eq!(need(&now, Some(&held), week()).0, Need::Nothing);
    assert_eq!(need(&now, Some(&open), week()).0, Need::Watch);
    assert_eq!(need(&now, Some(&repaired(State::CameBack, 10.0)), week()).0, Need::Bay);
}

#[test]
fn needs() {
    let of = |finding: &VehicleFinding| need(finding, None, week()).0;
    assert_eq!(of(&vehicle("v", node("radio"), 0.9, &daily(|d| d == 20))), Need::Bay);
    assert_eq!(of(&vehicle("v", node("radio"), 0.4, &daily(|d| d == 20))), Need::Desk);
    assert_eq!(of(&vehicle("v", node("radio"), 0.9, &daily(|_| false))), Need::Nothing);
    assert_eq!(of(&vehicle("v", node("radio"), 0.9, &[])), Need::Data);
    let mut poor = vehicle("v", node("radio"), 0.9, &daily(|_| false));
    poor.exposures.iter_mut().for_each(|e| e.judged = false);
    assert_eq!(of(&poor), Need::Data);
    assert_eq!(of(&vehicle("v", node("radio"), 0.9, &[(-20.0, true), (26.0, false)])), Need::Watch);
}
