//! How numbers, times, names and texts from inputs are put into words, the same on every output.
//!
//! Unknown is never a number: callers pass `None` and get a word.

use chrono_tz::Tz;

use crate::conditions::FAMILY;
use crate::vocabulary::{Instant, Mechanism, Suspect};

/// What stands where a value is not known.
pub(super) const UNKNOWN: &str = "not known";

/// A probability as a percentage that never claims certainty.
pub(super) fn percent(p: f64) -> String {
    if !p.is_finite() {
        UNKNOWN.to_owned()
    } else if p < 0.01 {
        "<1 %".to_owned()
    } else if p > 0.99 {
        ">99 %".to_owned()
    } else {
        format!("{:.0} %", p * 100.0)
    }
}

/// A weight in decibans, with its sign.
pub(super) fn decibans(weight: f64) -> String {
    if !weight.is_finite() {
        UNKNOWN.to_owned()
    } else if weight.abs() < 0.05 {
        "0.0".to_owned()
    } else if weight < 0.0 {
        format!("\u{2212}{:.1}", -weight)
    } else {
        format!("+{weight:.1}")
    }
}

/// A p-value to two digits.
pub(super) fn p_value(p: f64) -> String {
    if !p.is_finite() {
        UNKNOWN.to_owned()
    } else if p < 0.0001 {
        "<0.0001".to_owned()
    } else if p < 0.01 {
        format!("{p:.4}")
    } else {
        format!("{p:.2}")
    }
}

/// A ratio to about two digits; nothing is 0, a trace is said to be one.
pub(super) fn ratio(r: f64) -> String {
    if !r.is_finite() {
        UNKNOWN.to_owned()
    } else if r <= 0.0 {
        "0".to_owned()
    } else if r < 0.0095 {
        "<0.01".to_owned()
    } else if r >= 1e6 {
        format!("{r:.0e}")
    } else if r >= 9.95 {
        format!("{r:.0}")
    } else {
        format!("{r:.2}")
    }
}

/// A span of time in the unit that suits it.
pub(super) fn span(seconds: f64) -> String {
    if !seconds.is_finite() {
        UNKNOWN.to_owned()
    } else if seconds < 9.95 {
        format!("{seconds:.1} s")
    } else if seconds < 119.5 {
        format!("{seconds:.0} s")
    } else if seconds < 7170.0 {
        format!("{:.0} min", seconds / 60.0)
    } else if seconds < 172_800.0 {
        format!("{:.1} h", seconds / 3600.0)
    } else {
        format!("{:.0} days", seconds / 86_400.0)
    }
}

/// A number with `decimals` places and a real minus sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return UNKNOWN.to_owned();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A large whole number in groups of three.
pub(super) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out
}

/// A count with its noun, as in `1 start`, `7 starts`.
pub(super) fn count(n: usize, noun: &str) -> String {
    counted(n as u64, noun)
}

/// The same of a number that is no length of a list.
pub(super) fn counted(n: u64, noun: &str) -> String {
    let plural = if n == 1 { "" } else { "s" };
    format!("{} {noun}{plural}", grouped(n))
}

/// A condition of the fixed family in words; data files keep its name.
pub(super) fn condition(name: &str) -> String {
    let known = FAMILY.iter().find(|condition| condition.name == name);
    known.map_or_else(|| shown(name, 120), |condition| condition.said.to_owned())
}

/// A text with a capital letter in front.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|c| c.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// Each text once, in order of first appearance.
pub(super) fn each_once<'a>(texts: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut seen = Vec::new();
    for text in texts {
        if !seen.contains(&text) {
            seen.push(text);
        }
    }
    seen
}

/// A time of day with its date, in the pipeline's zone.
pub(super) fn local(at: Instant, zone: Tz) -> String {
    at.utc().with_timezone(&zone).format("%Y-%m-%d %H:%M:%S").to_string()
}

/// A date in the pipeline's zone.
pub(super) fn local_date(at: Instant, zone: Tz) -> String {
    at.utc().with_timezone(&zone).format("%Y-%m-%d").to_string()
}

/// A suspect in words.
pub(super) fn suspect(suspect: &Suspect) -> String {
    suspect.in_words()
}

/// A suspect in words as part of a sentence.
pub(super) fn the_suspect(which: &Suspect) -> String {
    which.the_in_words()
}

/// A way of acting in words.
pub(super) fn mechanism(mechanism: Mechanism) -> &'static str {
    match mechanism {
        Mechanism::Disturbs => "disturbs the bus for the others",
        Mechanism::DropsOut => "falls silent by itself",
    }
}

/// Text from an input made fit for showing: control characters become spaces, characters that
/// change the writing direction or hide themselves become a visible mark, and what is longer than
/// `longest` characters is cut with an ellipsis.
pub(crate) fn shown(text: &str, longest: usize) -> String {
    let mut out = String::new();
    for (i, c) in text.chars().enumerate() {
        if i == longest {
            out.push('\u{2026}');
            break;
        }
        out.push(match c {
            c if c.is_control() => ' ',
            '\u{2028}' | '\u{2029}' => ' ',
            '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' => '\u{fffd}',
            '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' => '\u{fffd}',
            '\u{e0000}'..='\u{e007f}' => '\u{fffd}',
            c => c,
        });
    }
    out
}
