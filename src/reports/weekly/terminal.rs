//! The week on the terminal: the answer, and what several vehicles share.

use super::words::{answer, common};
use crate::reports::terminal::push_line;
use crate::weeks::FleetWeek;

/// Most common causes named.
const MOST_COMMON: usize = 3;

/// The week's answer, then the causes that several vehicles share by more than chance, for a terminal of this
/// width.
#[must_use]
pub fn week_lines(week: &FleetWeek, width: usize) -> String {
    let mut out = String::new();
    push_line(&mut out, &answer(week), width);
    for shared in week.common.iter().filter(|c| c.shown).take(MOST_COMMON) {
        push_line(&mut out, &common(shared), width);
    }
    out
}
