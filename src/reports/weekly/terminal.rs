//! The week on the terminal: the answer, and what several vehicles share.

use super::words::{answer, common};
use crate::reports::terminal::push_line;
use crate::weeks::FleetWeek;

/// Most common causes named.
const MOST_COMMON: usize = 3;

/// The week's answer, then the causes that several vehicles share and that stand out, for a terminal of this width.
#[must_use]
pub fn week_lines(week: &FleetWeek, width: usize) -> String {
    let mut out = String::new();
    push_line(&mut out, &answer(week), width);
    let told = || week.common.iter().filter(|c| c.stands_out());
    for shared in told().take(MOST_COMMON) {
        push_line(&mut out, &common(shared), width);
    }
    let left = told().skip(MOST_COMMON).count();
    if left > 0 {
        push_line(&mut out, &format!("and {left} more causes in the report"), width);
    }
    out
}
