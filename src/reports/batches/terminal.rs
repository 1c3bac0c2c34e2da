//! The batch view on the terminal.

use super::wording::{amount, answer, in_words, range, rests_on, said};
use crate::batches::BatchView;
use crate::reports::terminal::push_line;
use crate::reports::wording::{count, p_value, percent, ratio, shown};

/// Most groups listed.
const MOST_GROUPS: usize = 10;
/// Most modules listed.
const MOST_UNITS: usize = 5;

/// The answer, the groups that stand out and the modules to look at first, for a terminal of this width.
#[must_use]
pub fn batch_lines(view: &BatchView, width: usize) -> String {
    let mut out = String::new();
    push_line(&mut out, &answer(view), width);
    push_line(&mut out, &format!("{}.", rests_on(view)), width);
    let flagged: Vec<_> = view.groups.iter().filter(|g| g.flagged).collect();
    for g in flagged.iter().take(MOST_GROUPS) {
        let by = match &g.explained_by {
            Some((by, value)) => format!("; explained by {}", said(*by, value)),
            None => String::new(),
        };
        let line = format!(
            "  {}, {}: {} failures, {} expected, ratio {} ({}), shrunk {}, adjusted p {}{by}",
            shown(&g.node, 40),
            in_words(g),
            amount(g.failures),
            amount(g.expected),
            ratio(g.ratio),
            range(g.ratio_low, g.ratio_high),
            ratio(g.shrunk_ratio),
            p_value(g.p_adjusted)
        );
        push_line(&mut out, &line, width);
    }
    if flagged.len() > MOST_GROUPS {
        push_line(
            &mut out,
            &format!("  and {} more in batches.csv", flagged.len() - MOST_GROUPS),
            width,
        );
    }
    if !view.ahead.is_empty() {
        let failing = view.ahead.iter().filter(|u| u.failing()).count();
        let to_come: f64 = view.ahead.iter().map(|u| u.to_come).sum();
        let line = format!(
            "still fitted: {} of these groups, {failing} failing now, {} more failures to be expected in \
             12 months; first:",
            count(view.ahead.len(), "module"),
            amount(to_come)
        );
        push_line(&mut out, &line, width);
        for unit in view.ahead.iter().take(MOST_UNITS) {
            let failed = match unit.failing() {
                true => format!("failing now ({})", percent(unit.failed)),
                false => format!("{} to be expected", amount(unit.to_come)),
            };
            let line =
                format!("  {}, {}: {failed}", shown(&unit.vehicle, 24), shown(&unit.node, 40));
            push_line(&mut out, &line, width);
        }
    }
    for remark in &view.remarks {
        push_line(&mut out, &format!("note: {}", shown(remark, 400)), width);
    }
    push_line(&mut out, "A ranking is a suspicion, not a finding.", width);
    out
}
