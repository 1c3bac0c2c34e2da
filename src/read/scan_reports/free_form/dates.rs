//! Dates and times of day in many styles.
//!
//! Read: `2026-01-12`, `2026/1/12`, `20260112`, `12.01.2026`, `12/01/2026`, `12 January 2026`,
//! `12-Jan-26`, `Jan 12, 2026`, each with a time of day behind or before it (`06:41`, `6.41 pm`, `06h41`,
//! `6:41:05,5 Uhr`) and an offset or a zone that the words know. Day and month are never guessed: where
//! both orders are possible and the words do not say which is meant, all readings are given back.

use std::sync::OnceLock;

use chrono::NaiveDate;
use regex::Regex;

use super::phrases::tokens;
use super::words::{DayOrder, Words};

/// A date where it stands in a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FoundDate {
    /// Where it begins, in bytes.
    pub start: usize,
    /// As it stands.
    pub text: String,
    /// The days it may mean: one, or more when it is ambiguous.
    pub days: Vec<NaiveDate>,
    /// The time of day.
    pub clock: Option<Clock>,
}

/// A time of day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Clock {
    /// `HH:MM:SS` with decimals where there are some.
    pub text: String,
    /// Seconds ahead of UTC, when the text says so.
    pub offset: Option<i64>,
}

fn forms() -> &'static [Regex; 5] {
    static FORMS: OnceLock<[Regex; 5]> = OnceLock::new();
    FORMS.get_or_init(|| {
        [
            r"\b(\d{4}) ?[-/.] ?(\d{1,2}) ?[-/.] ?(\d{1,2})(?:\b|[T_])",
            r"\b((?:19|20)\d{2})(\d{2})(\d{2})(?:[T_ -]?(\d{2})(\d{2})(\d{2})?)?(?:\b|Z)",
            r"\b(\d{1,2}) ?([-/.]) ?(\d{1,2}) ?[-/.] ?(\d{4}|\d{2})\b",
            r"\b(\d{1,2})(?:st|nd|rd|th)?[. -]{0,3}(?:of )?(\p{L}{3,12})[., -]{0,3}(\d{4}|'?\d{2})\b",
            r"\b(\p{L}{3,12})[. ]{1,2}(\d{1,2})(?:st|nd|rd|th)?,? ?(\d{4})\b",
        ]
        .map(|form| Regex::new(form).expect("the pattern is a constant that tests compile"))
    })
}

fn clock_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"(?s)^(\d{1,2})(?:[:.h]|H)(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(?P<rest>.*)$")
            .expect("the pattern is a constant that tests compile")
    })
}

fn hour_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"(?s)^(\d{1,2}) ?(?P<rest>[aApP]\.? ?[mM]\b.*)$")
            .expect("the pattern is a constant that tests compile")
    })
}

fn clock_before() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(
            r"\b(\d{1,2}[:h]\d{2}(?::\d{2})?(?: ?[aApP]\.?[mM]\.?)?)[ ,]*(?:on|uhr|h|am)?[ ,]*$",
        )
        .expect("the pattern is a constant that tests compile")
    })
}

/// All dates of a text, from left to right.
pub(super) fn find_dates(text: &str, words: &Words, order: DayOrder) -> Vec<FoundDate> {
    let mut found: Vec<(usize, usize, Vec<NaiveDate>, Option<Clock>)> = Vec::new();
    for (number, form) in forms().iter().enumerate() {
        for parts in form.captures_iter(text) {
            let part = |at: usize| parts.get(at).map_or("", |m| m.as_str());
            let days = match number {
                0 => day(part(1), part(2), part(3)).into_iter().collect(),
                1 => day(part(1), part(2), part(3)).into_iter().collect(),
                2 => numeric(part(1), part(2), part(3), part(4), order),
                3 => named(part(3), part(2), part(1), words),
                _ => named(part(3), part(1), part(2), words),
            };
            let Some(whole) = parts.get(0).filter(|_| !days.is_empty()) else { continue };
            let clock = (number == 1 && parts.get(4).is_some())
                .then(|| {
                    let second = parts.get(6).map_or("00", |m| m.as_str());
                    let digits = format!("{}:{}:{second}", part(4), part(5));
                    read_clock(&digits, words).map(|(clock, _)| clock)
                })
                .flatten();
            found.push((whole.start(), whole.end(), days, clock));
        }
    }
    found.sort_by_key(|(start, end, ..)| (*start, std::cmp::Reverse(*end)));
    let mut dates: Vec<FoundDate> = Vec::new();
    let mut covered = 0;
    for (start, end, days, clock) in found {
        if start < covered {
            continue;
        }
        covered = end;
        let clock = clock.or_else(|| beside(text, start, end, words));
        let text = text.get(start..end).unwrap_or("").to_owned();
        dates.push(FoundDate { start, text, days, clock });
    }
    dates
}

/// The time of day right behind a date, or right before it.
fn beside(text: &str, start: usize, end: usize, words: &Words) -> Option<Clock> {
    let behind = text.get(end..)?;
    let lead = |c: char| c.is_whitespace() || ",;/|-–—·@(_".contains(c);
    let mut behind = behind.trim_start_matches(lead);
    for word in ["at ", "um ", "Time: ", "time: ", "Zeit: "] {
        behind = behind.strip_prefix(word).unwrap_or(behind);
    }
    if let Some((clock, _)) = read_clock(behind, words) {
        return Some(clock);
    }
    let before = clock_before().captures(text.get(..start)?)?;
    read_clock(before.get(1)?.as_str(), words).map(|(clock, _)| clock)
}

/// A time of day at the beginning of a text, and what follows it.
pub(super) fn read_clock<'t>(text: &'t str, words: &Words) -> Option<(Clock, &'t str)> {
    let text = text.trim_start();
    let (parts, minutes) = match clock_form().captures(text) {
        Some(parts) => (parts, true),
        None => (hour_form().captures(text)?, false),
    };
    let number = |at: usize| parts.get(at).and_then(|m| m.as_str().parse::<u32>().ok());
    let mut hour = number(1)?;
    let (minute, second) = if minutes { (number(2)?, number(3).unwrap_or(0)) } else { (0, 0) };
    let fraction = if minutes { parts.get(4).map_or("", |m| m.as_str()) } else { "" };
    let rest = parts.name("rest").map_or("", |m| m.as_str());
    // `13.02.2026` is no time of day.
    if rest.trim_start_matches(['.', '/', '-']).starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let following = tokens(rest);
    if let Some((_, afternoon)) = words.clock.at(&following, 0) {
        if !(1..=12).contains(&hour) {
            return None;
        }
        hour = hour % 12 + if *afternoon { 12 } else { 0 };
    }
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let point = if fraction.is_empty() { "" } else { "." };
    let clock = Clock {
        text: format!("{hour:02}:{minute:02}:{second:02}{point}{fraction}"),
        offset: offset(rest, words),
    };
    Some((clock, rest))
}

/// An offset or a zone that the words know, behind a time of day.
fn offset(rest: &str, words: &Words) -> Option<i64> {
    let near = rest.trim_start();
    if let Some(signed) = near.strip_prefix(['+', '-', '−']) {
        let digits: String =
            signed.chars().take_while(|c| c.is_ascii_digit() || *c == ':').collect();
        if digits.len() >= 2 {
            let sign = if near.starts_with('+') { "+" } else { "-" };
            return crate::read::times::offset_seconds(&format!("{sign}{digits}"));
        }
    }
    let words_near = tokens(near);
    let zones = words_near.iter().take(3).filter_map(|token| words.zones.get(&token.text));
    zones.copied().next()
}

fn day(year: &str, month: &str, day: &str) -> Option<NaiveDate> {
    let year = match year.trim_start_matches('\'') {
        short if short.len() == 2 => 2000 + short.parse::<i32>().ok()?,
        long => long.parse().ok()?,
    };
    // Reports of vehicles with data buses; other years are other numbers.
    (1985..=2100).contains(&year).then_some(())?;
    NaiveDate::from_ymd_opt(year, month.parse().ok()?, day.parse().ok()?)
}

/// All days that three numbers may mean.
fn numeric(a: &str, sign: &str, b: &str, c: &str, order: DayOrder) -> Vec<NaiveDate> {
    let day_first = day(c, b, a);
    let month_first = day(c, a, b).filter(|_| sign != ".");
    // `26/01/12` with the year in front; only numbers that are years of our time.
    let year_first = a.parse::<u32>().ok().filter(|a| c.len() == 2 && (20..=60).contains(a));
    let year_first = year_first.and_then(|_| day(a, b, c));
    let (day_first, month_first) = match order {
        DayOrder::DayFirst if day_first.is_some() => (day_first, None),
        DayOrder::MonthFirst if month_first.is_some() => (None, month_first),
        _ => (day_first, month_first),
    };
    let year_first = if order == DayOrder::Unclear { year_first } else { None };
    let mut days: Vec<NaiveDate> =
        [day_first, month_first, year_first].into_iter().flatten().collect();
    days.sort_unstable();
    days.dedup();
    days
}

fn named(year: &str, month: &str, date: &str, words: &Words) -> Vec<NaiveDate> {
    let month = words.months.exact(&tokens(month)).map(ToString::to_string);
    month.and_then(|month| day(year, &month, date)).into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, order: DayOrder) -> Vec<String> {
        let words = Words::english();
        let show = |date: FoundDate| {
            let days: Vec<String> = date.days.iter().map(ToString::to_string).collect();
            let clock = date.clock.map_or(String::new(), |c| {
                format!(" {}{}", c.text, c.offset.map_or(String::new(), |o| format!(" {o}")))
            });
            format!("{}{clock}", days.join("|"))
        };
        find_dates(text, &words, order).into_iter().map(show).collect()
    }

    #[test]
    fn every_style_of_one_day() {
        for text in [
            "2026-01-12T06:41",
            "2026/1/12 06:41:00",
            "20260112 064100",
            "12.01.2026, 06:41 h",
            "12. 1. 2026 06.41",
            "12 January 2026 at 6:41 am",
            "12-Jan-26 06:41",
            "Jan 12, 2026, 6:41 AM",
            "Monday, 12th of January 2026 (06h41)",
            "06:41 on 12 Jan 2026",
        ] {
            assert_eq!(shown(text, DayOrder::Unclear), ["2026-01-12 06:41:00"], "{text}");
        }
        assert_eq!(shown("12.01.2026 18:41 CEST", DayOrder::Unclear), ["2026-01-12 18:41:00 7200"]);
        assert_eq!(
            shown("2026-01-12T06:41:00+01:00", DayOrder::Unclear),
            ["2026-01-12 06:41:00 3600"]
        );
    }

    #[test]
    fn a_date_is_no_time_of_day() {
        let words = Words::english();
        for text in ["13.02.2026", "12.01.26 06:15", "06:411"] {
            assert_eq!(read_clock(text, &words), None, "{text}");
        }
    }

    #[test]
    fn day_and_month_are_never_guessed() {
        assert_eq!(shown("03/04/2026", DayOrder::Unclear), ["2026-03-04|2026-04-03"]);
        assert_eq!(shown("03/04/2026", DayOrder::DayFirst), ["2026-04-03"]);
        assert_eq!(shown("03/04/2026", DayOrder::MonthFirst), ["2026-03-04"]);
        assert_eq!(shown("13/04/2026", DayOrder::MonthFirst), ["2026-04-13"]);
        assert_eq!(shown("04/04/2026", DayOrder::Unclear), ["2026-04-04"]);
        assert_eq!(shown("31/02/2026 and v1.2.3", DayOrder::Unclear), [""; 0]);
    }
}
