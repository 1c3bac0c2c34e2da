//! The nearest known name to a mistyped one, for messages.

/// The known name most like `word`, when one is like enough to be worth naming. Ties go to the
/// name that stands first.
#[must_use]
pub fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let word = word.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for name in known {
        let lower = name.to_lowercase();
        // A part of the other counts as near: `temp` for `temperature_c`.
        let part = word.len() >= 3 && (lower.starts_with(&word) || word.starts_with(&lower));
        let likeness =
            if part { 0.95 } else { strsim::normalized_damerau_levenshtein(&word, &lower) };
        if likeness >= 0.5 && best.is_none_or(|(so_far, _)| likeness > so_far) {
            best = Some((likeness, name));
        }
    }
    best.map(|(_, name)| name)
}

/// The end of a message about an unknown name: the nearest one, or the list of all.
#[must_use]
pub fn suggestion(word: &str, known: &[&str]) -> String {
    match nearest(word, known.iter().copied()) {
        Some(name) => format!("did you mean `{name}`?"),
        None => format!("known here: {}", known.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_name_and_nonsense_finds_none() {
        let known = ["bus_logs", "scan_reports", "weather", "temperature_c"];
        assert_eq!(nearest("bus_log", known), Some("bus_logs"));
        assert_eq!(nearest("wheather", known), Some("weather"));
        assert_eq!(nearest("temp", known), Some("temperature_c"));
        assert_eq!(nearest("qqq", known), None);
        assert_eq!(suggestion("qqq", &["a", "b"]), "known here: a, b");
    }
}
