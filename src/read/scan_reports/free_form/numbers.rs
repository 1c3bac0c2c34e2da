//! Numbers with units as people write them.
//!
//! `81,234`, `81.234`, `81 234` and `81'234` may be thousands or decimals. Of the readings only those that
//! can be true stay; of two the language decides; what is left open is ambiguous and said to be so.

use crate::read::tables::Quantity;

/// A value read from a text, or why not.
pub(super) type Value = Result<f64, String>;

/// A number at the beginning of a text, as it stands, and the rest behind it.
fn number_text(text: &str) -> Option<(String, &str)> {
    let text = text.trim_start_matches(|c: char| c.is_whitespace() || "~≈=:".contains(c));
    let words = [("minus ", "-"), ("plus ", "+")];
    let lower = text.to_lowercase();
    let (text, mut taken) = match words.iter().find(|(word, _)| lower.starts_with(word)) {
        Some((word, sign)) => (text.get(word.len()..)?, (*sign).to_owned()),
        None => (text, String::new()),
    };
    let mut end = 0;
    let signs: Vec<(usize, char)> = text.char_indices().collect();
    for (index, (at, c)) in signs.iter().enumerate() {
        let next = signs.get(index + 1).map(|(_, c)| *c);
        let digit_next = next.is_some_and(|c| c.is_ascii_digit());
        // A blank joins only groups of exactly three digits.
        let group = || {
            let digits = signs.iter().skip(index + 1).take_while(|(_, c)| c.is_ascii_digit());
            digits.count() == 3
        };
        match c {
            '0'..='9' => taken.push(*c),
            '-' | '−' | '–' | '‑' if taken.is_empty() && (digit_next || next == Some(' ')) => {
                taken.push('-');
            }
            '+' if taken.is_empty() => taken.push('+'),
            ' ' if taken == "-" || taken == "+" => {}
            '.' | ',' if digit_next => taken.push(*c),
            '\'' | '’' if digit_next => taken.push('\''),
            ' ' | '\u{a0}' | '\u{202f}' if digit_next && group() && !taken.is_empty() => {
                taken.push('\'');
            }
            _ => break,
        }
        end = at + c.len_utf8();
    }
    taken.contains(|c: char| c.is_ascii_digit()).then(|| (taken, text.get(end..).unwrap_or("")))
}

/// All numbers that a text may mean.
fn readings(text: &str) -> Vec<f64> {
    let plain: String = text.chars().filter(|c| *c != '\'').collect();
    let marks: Vec<(usize, char)> =
        plain.char_indices().filter(|(_, c)| matches!(c, '.' | ',')).collect();
    let mut forms = Vec::new();
    match marks.as_slice() {
        [] => forms.push(plain.clone()),
        [(at, mark)] => {
            let digits = plain.len() - at - 1;
            forms.push(plain.replace(*mark, "."));
            let before = plain.get(..*at).unwrap_or("").trim_start_matches(['-', '+']);
            if digits == 3 && (1..=3).contains(&before.len()) && before != "0" {
                forms.push(plain.replace(*mark, ""));
            }
        }
        [.., (_, last)] => {
            let firsts: Vec<char> = marks.iter().map(|(_, c)| *c).collect();
            if firsts.iter().all(|c| c == last) {
                // Several of one kind only part thousands.
                forms.push(plain.replace(*last, ""));
            } else if firsts.iter().filter(|c| *c == last).count() == 1 {
                let other = if *last == '.' { ',' } else { '.' };
                forms.push(plain.replace(other, "").replace(*last, "."));
            }
        }
    }
    forms.iter().filter_map(|form| form.parse::<f64>().ok()).filter(|v| v.is_finite()).collect()
}

/// A number of one quantity with its unit, in the unit we keep.
///
/// `label_unit` is a unit that the label carries; `bare` says that the unit may be left out.
pub(super) fn measured(
    text: &str,
    quantity: Quantity,
    range: (f64, f64),
    label_unit: Option<&str>,
    bare: bool,
    decimal_comma: bool,
) -> Value {
    let shown = crate::read::times::shortened(text.trim());
    let (number, rest) =
        number_text(text).ok_or_else(|| format!("`{shown}` begins with no number"))?;
    let unit = unit_of(rest, quantity).or_else(|| label_unit.and_then(|u| unit_of(u, quantity)));
    let scale = match (unit, bare) {
        (Some(unit), _) => quantity.scale(unit)?,
        (None, true) if !rest.trim_start().starts_with(|c: char| c.is_alphabetic()) => {
            crate::read::tables::Scale::SAME
        }
        _ => return Err(format!("`{shown}` has no unit that is known")),
    };
    let all = readings(&number);
    let can: Vec<f64> = all
        .iter()
        .map(|value| scale.keep(*value))
        .filter(|value| (range.0..=range.1).contains(value))
        .collect();
    match can.as_slice() {
        [] if all.is_empty() => Err(format!("`{shown}` is not a number")),
        [] => Err(format!("`{shown}` is outside what can be true ({} to {})", range.0, range.1)),
        [only] => Ok(*only),
        // The first reading is with decimals, the second with thousands.
        [_, thousands, ..] => {
            let comma = number.contains(',');
            if comma == decimal_comma {
                Err(format!(
                    "`{shown}` may be thousands or decimals; this language writes decimals so"
                ))
            } else {
                Ok(*thousands)
            }
        }
    }
}

const UNITS: [(&str, &str); 29] = [
    ("°c", "°c"),
    ("ºc", "°c"),
    ("℃", "°c"),
    ("deg c", "°c"),
    ("degc", "°c"),
    ("degrees c", "°c"),
    ("celsius", "°c"),
    ("c", "°c"),
    ("°f", "°f"),
    ("ºf", "°f"),
    ("℉", "°f"),
    ("deg f", "°f"),
    ("degf", "°f"),
    ("degrees f", "°f"),
    ("f", "°f"),
    ("k", "k"),
    ("kilomet", "km"),
    ("km", "km"),
    ("mile", "mi"),
    ("mi", "mi"),
    ("volt", "v"),
    ("mv", "mv"),
    ("v", "v"),
    ("%", "%"),
    ("percent", "%"),
    ("sec", "s"),
    ("min", "min"),
    ("s", "s"),
    ("h", "h"),
];

/// The unit of the quantity at the beginning of a text.
fn unit_of(text: &str, quantity: Quantity) -> Option<&'static str> {
    let lower =
        text.trim_start_matches(|c: char| c.is_whitespace() || c == '[' || c == '(').to_lowercase();
    let lower = lower.replace("° ", "°");
    let fits = |known: &str| {
        let Some(rest) = lower.strip_prefix(known) else { return false };
        // Stems (`kilomet`, `mile`, `volt`, `sec`, `min`, `percent`) may go on; signs may not.
        known.len() >= 3 && known.is_ascii() && known != "deg"
            || !rest.starts_with(|c: char| c.is_alphabetic())
    };
    UNITS
        .iter()
        .filter(|(known, _)| fits(known))
        .map(|(_, unit)| *unit)
        .find(|unit| quantity.scale(unit).is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::tables::{AMBIENT_C, BATTERY_V, ODOMETER_KM};

    fn km(text: &str, comma: bool) -> Option<f64> {
        measured(text, Quantity::Distance, ODOMETER_KM, None, false, comma).ok()
    }

    #[test]
    fn thousands_and_decimals() {
        assert_eq!(km("81,234 km", false), Some(81_234.0));
        assert_eq!(km("81.234 km", true), Some(81_234.0));
        assert_eq!(km("81.234 km", false), None);
        assert_eq!(km("81 234 km", false), Some(81_234.0));
        assert_eq!(km("81'234 km", true), Some(81_234.0));
        assert_eq!(km("1,081,234.5 km", false), Some(1_081_234.5));
        assert_eq!(km("81234,5 km", true), Some(81_234.5));
        assert_eq!(km("100 miles", false).map(f64::round), Some(161.0));
        assert_eq!(km("81234", false), None);
    }

    #[test]
    fn signs_units_and_ranges() {
        let c =
            |text: &str, unit| measured(text, Quantity::Temperature, AMBIENT_C, unit, false, true);
        assert_eq!(c("–3,5 °C", None), Ok(-3.5));
        assert_eq!(c("minus 3.5 deg C", None), Ok(-3.5));
        assert_eq!(c("-3.5", Some("°C")), Ok(-3.5));
        assert!(c("-3.5", None).unwrap_err().contains("no unit"));
        assert!(c("99 °C", None).unwrap_err().contains("outside"));
        assert!((c("23 °F", None).unwrap() + 5.0).abs() < 1e-9);
        let v = |text: &str| measured(text, Quantity::Voltage, BATTERY_V, None, true, false);
        assert_eq!(v("12,125 V"), Ok(12.125));
        assert_eq!(v("12.1"), Ok(12.1));
        assert_eq!(v("12100 mV"), Ok(12.1));
    }
}
