//! Times as people and testers write them.
//!
//! Grammar: a day `YYYY-MM-DD`; then `T`, `t` or blanks; then `HH:MM`, `HH:MM:SS` or with decimals
//! behind `.` or `,`; then, optionally, the offset: `Z`, `z`, `+HH:MM`, `+HHMM` or `+HH`. Without an
//! offset the time is local in the zone that the caller names. A local time that came twice (the
//! hour when clocks go back) is the earlier one and counted; one that never was (the hour when
//! clocks go forward) is refused. A day alone is its midnight. Epoch numbers are read exactly, digit
//! by digit, never through a float.

use std::sync::OnceLock;

use chrono::{LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone};
use chrono_tz::Tz;
use regex::Regex;

use crate::vocabulary::Instant;

/// The leniency counted when a local time stands for two instants.
pub const AMBIGUOUS_TIME: &str = "local time that came twice read as the earlier one";
/// The leniency counted when a day stands where a time is expected.
pub const DAY_AS_TIME: &str = "day without a time read as its midnight";

/// A time as read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadTime {
    /// The instant.
    pub instant: Instant,
    /// What was let pass, if anything.
    pub leniency: Option<&'static str>,
}

/// Reads a time. The error is a message fragment.
///
/// # Errors
/// When the text is not a time, the time never was, or it is outside the years 1678 to 2261.
pub fn parse_time(text: &str, zone: Tz) -> Result<ReadTime, String> {
    let text = text.trim();
    let Some(parts) = whole_form().captures(text) else {
        return Err(format!(
            "`{}` is not a time, expected one like 2026-01-12T06:41:00Z or 2026-01-12 06:41",
            shortened(text)
        ));
    };
    let day = day_of(&parts[1], &parts[2], &parts[3])
        .ok_or_else(|| format!("`{text}` names a day that is not in the calendar"))?;
    let Some(hour) = parts.get(4) else {
        let instant = midnight(day, zone)?;
        return Ok(ReadTime { instant, leniency: Some(DAY_AS_TIME) });
    };
    let clock = clock_of(
        hour.as_str(),
        &parts[5],
        parts.get(6).map_or("0", |m| m.as_str()),
        parts.get(7).map_or("", |m| m.as_str()),
    )
    .ok_or_else(|| format!("`{text}` names a time of day that is not on the clock"))?;
    let local = NaiveDateTime::new(day, clock);
    match parts.get(8) {
        Some(offset) => {
            let seconds = offset_seconds(offset.as_str())
                .ok_or_else(|| format!("`{text}` has an offset that no place on earth has"))?;
            let instant = nanos(local - TimeDelta::seconds(seconds), text)?;
            Ok(ReadTime { instant, leniency: None })
        }
        None => local_time(local, zone),
    }
}

/// Reads a day or a time; a day is its midnight in `zone`.
///
/// # Errors
/// As [`parse_time`].
pub fn parse_day(text: &str, zone: Tz) -> Result<ReadTime, String> {
    let mut read = parse_time(text, zone)?;
    if read.leniency == Some(DAY_AS_TIME) {
        read.leniency = None;
    }
    Ok(read)
}

/// Reads a number of seconds, milliseconds, … since 1970 (`decimals`: 0 for seconds, 3 for ms, …).
///
/// # Errors
/// When the text is not a plain decimal number or is out of range.
pub fn parse_epoch(text: &str, decimals: u32) -> Result<Instant, String> {
    let wrong = || format!("`{}` is not a count since 1970 in plain digits", shortened(text));
    let trimmed = text.trim();
    let (sign, digits) = match trimmed.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, trimmed),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let is_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 19 || !is_digits(whole) || !is_digits(fraction) {
        return Err(wrong());
    }
    let places = 9_u32.saturating_sub(decimals);
    let scale = 10_i128.pow(places);
    let mut nanos = whole.parse::<i128>().map_err(|_| wrong())? * scale;
    let mut step = scale;
    for digit in fraction.bytes() {
        step /= 10;
        nanos += i128::from(digit - b'0') * step;
    }
    i64::try_from(nanos * sign)
        .map(Instant)
        .map_err(|_| format!("`{trimmed}` lies outside the years 1678 to 2261"))
}

/// Reads the start of a log out of a file name, where `:` cannot stand: `2026-01-12T06-41-00`,
/// `20260112_064100`, `2026-01-12`, or 10 to 19 digits since 1970.
///
/// # Errors
/// When the text is none of these.
pub fn parse_path_time(text: &str, zone: Tz) -> Result<ReadTime, String> {
    if let Some(parts) = path_form().captures(text) {
        let mut spelled = format!("{}-{}-{}", &parts[1], &parts[2], &parts[3]);
        if let Some(hour) = parts.get(4) {
            let second = parts.get(6).map_or("00", |m| m.as_str());
            spelled.push_str(&format!("T{}:{}:{second}", hour.as_str(), &parts[5]));
            if parts.get(7).is_some() {
                spelled.push('Z');
            }
        }
        return parse_day(&spelled, zone);
    }
    let decimals = match text.len() {
        10 => 0,
        13 => 3,
        16 => 6,
        19 => 9,
        _ => {
            return Err(format!(
                "`{}` in the path is not a start, expected one like 2026-01-12T06-41-00 or \
                 20260112_064100",
                shortened(text)
            ));
        }
    };
    parse_epoch(text, decimals).map(|instant| ReadTime { instant, leniency: None })
}

/// Reads a local wall clock, given as nanoseconds since its own 1970, in a zone.
///
/// # Errors
/// When the time never was in that zone, or is outside the years 1678 to 2261.
pub fn local_instant(wall: i64, zone: Tz) -> Result<ReadTime, String> {
    local_time(Instant(wall).utc().naive_utc(), zone)
}

fn local_time(local: NaiveDateTime, zone: Tz) -> Result<ReadTime, String> {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) => {
            Ok(ReadTime { instant: nanos(time.naive_utc(), "time")?, leniency: None })
        }
        LocalResult::Ambiguous(early, _) => Ok(ReadTime {
            instant: nanos(early.naive_utc(), "time")?,
            leniency: Some(AMBIGUOUS_TIME),
        }),
        LocalResult::None => Err(format!(
            "`{local}` never was in {zone}: the clocks were put forward over it; give it an offset"
        )),
    }
}

/// The first instant of a day; where clocks go forward at midnight, the first that was.
pub(crate) fn midnight(day: NaiveDate, zone: Tz) -> Result<Instant, String> {
    let start = NaiveDateTime::new(day, NaiveTime::MIN);
    (0..24)
        .find_map(|quarters| {
            zone.from_local_datetime(&(start + TimeDelta::minutes(15 * quarters))).earliest()
        })
        .ok_or_else(|| format!("`{day}` never was in {zone}"))
        .and_then(|time| nanos(time.naive_utc(), "day"))
}

fn nanos(utc: NaiveDateTime, text: &str) -> Result<Instant, String> {
    utc.and_utc()
        .timestamp_nanos_opt()
        .map(Instant)
        .ok_or_else(|| format!("`{text}` lies outside the years 1678 to 2261"))
}

fn day_of(year: &str, month: &str, day: &str) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?)
}

fn clock_of(hour: &str, minute: &str, second: &str, fraction: &str) -> Option<NaiveTime> {
    let mut nano = 0;
    let mut step = 100_000_000;
    for digit in fraction.bytes().take(9) {
        nano += u32::from(digit - b'0') * step;
        step /= 10;
    }
    NaiveTime::from_hms_nano_opt(
        hour.parse().ok()?,
        minute.parse().ok()?,
        second.parse().ok()?,
        nano,
    )
}

pub(crate) fn offset_seconds(text: &str) -> Option<i64> {
    if text.eq_ignore_ascii_case("z") {
        return Some(0);
    }
    let sign = if text.starts_with('-') { -1 } else { 1 };
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let hours: i64 = digits.get(..2)?.parse().ok()?;
    let minutes: i64 =
        digits.get(2..).filter(|m| !m.is_empty()).map_or(Some(0), |m| m.parse().ok())?;
    (hours <= 15 && minutes < 60).then_some(sign * (hours * 3600 + minutes * 60))
}

/// At most 40 characters of a text, for messages.
pub(crate) fn shortened(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(39).collect();
    short.push('…');
    short
}

fn whole_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(
            r"^([0-9]{4})-([0-9]{2})-([0-9]{2})(?:(?:[Tt]| +)([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:[.,]([0-9]+))?)? ?([Zz]|[+-][0-9]{2}(?::?[0-9]{2})?)?)?$",
        )
        .expect("the pattern is a constant that tests compile")
    })
}

fn path_form() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(
            r"^([0-9]{4})[-_]?([0-9]{2})[-_]?([0-9]{2})(?:[T_ -]?([0-9]{2})[-:_.h]?([0-9]{2})(?:[-:_.]?([0-9]{2}))?(Z)?)?$",
        )
        .expect("the pattern is a constant that tests compile")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::{America, Europe, UTC};

    fn shown(text: &str, zone: Tz) -> String {
        parse_time(text, zone).map_or_else(|e| e, |t| t.instant.to_string())
    }

    #[test]
    fn offsets_and_local_times() {
        for text in [
            "2026-01-12T06:41:00Z",
            "2026-01-12 06:41",
            "2026-01-12t06:41z",
            "2026-01-12T07:41:00+01:00",
            "2026-01-12T07:41+0100",
            "2026-01-12 01:41:00 -05",
        ] {
            assert_eq!(shown(text, UTC), "2026-01-12T06:41:00Z", "{text}");
        }
        assert_eq!(shown("2026-07-12 06:41", Europe::Berlin), "2026-07-12T04:41:00Z");
        assert_eq!(shown("2026-01-12T06:41:00.25", UTC), "2026-01-12T06:41:00.250Z");
        assert_eq!(shown("2026-01-12T06:41:00,000000001", UTC), "2026-01-12T06:41:00.000000001Z");
    }

    #[test]
    fn the_hour_that_comes_twice_is_the_earlier_and_counted() {
        let read = parse_time("2025-10-26 02:30", Europe::Berlin).unwrap();
        assert_eq!(read.instant.to_string(), "2025-10-26T00:30:00Z");
        assert_eq!(read.leniency, Some(AMBIGUOUS_TIME));
    }

    #[test]
    fn the_hour_that_never_was_is_refused() {
        let reason = parse_time("2026-03-29 02:30", Europe::Berlin).unwrap_err();
        assert!(reason.contains("never was in Europe/Berlin"), "{reason}");
        assert!(parse_time("2026-03-29 02:30Z", Europe::Berlin).is_ok());
    }

    #[test]
    fn days_are_midnights_where_the_vehicle_is() {
        let read = parse_day("2026-01-12", America::New_York).unwrap();
        assert_eq!(read.instant.to_string(), "2026-01-12T05:00:00Z");
        assert_eq!(read.leniency, None);
        assert_eq!(parse_time("2026-01-12", UTC).unwrap().leniency, Some(DAY_AS_TIME));
        // Clocks went forward at midnight here; the day began at one.
        let first = parse_day("2018-11-04", America::Sao_Paulo).unwrap();
        assert_eq!(first.instant.to_string(), "2018-11-04T03:00:00Z");
    }

    #[test]
    fn what_is_no_time_says_so() {
        for (text, part) in [
            ("", "not a time"),
            ("12.01.2026 06:41", "not a time"),
            ("2026-02-30 06:41", "calendar"),
            ("2026-01-12 25:00", "clock"),
            ("2026-01-12 06:41:61", "clock"),
            ("2026-01-12 06:41+99:00", "offset"),
            ("9999-01-12 06:41", "1678"),
        ] {
            let reason = parse_time(text, UTC).unwrap_err();
            assert!(reason.contains(part), "{text}: {reason}");
        }
    }

    #[test]
    fn epochs_are_exact() {
        assert_eq!(parse_epoch("1767600000.123456", 0), Ok(Instant(1_767_600_000_123_456_000)));
        assert_eq!(parse_epoch("1767600000123", 3), Ok(Instant(1_767_600_000_123_000_000)));
        assert_eq!(parse_epoch("-1.5", 0), Ok(Instant(-1_500_000_000)));
        assert!(parse_epoch("1e9", 0).is_err());
        assert!(parse_epoch("99999999999", 0).unwrap_err().contains("1678"));
        assert!(parse_epoch("99999999999999999999", 0).is_err());
    }

    #[test]
    fn starts_in_file_names() {
        for text in [
            "2026-01-12T06-41-00",
            "20260112_064100",
            "20260112064100",
            "2026-01-12_0641Z",
            "1768200060",
        ] {
            let read = parse_path_time(text, UTC).expect(text);
            assert_eq!(read.instant.to_string(), "2026-01-12T06:41:00Z", "{text}");
        }
        assert!(parse_path_time("monday", UTC).unwrap_err().contains("expected one like"));
    }
}
