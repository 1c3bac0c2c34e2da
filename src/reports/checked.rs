//! What `check` says on a terminal: what each file was taken for, and what is wrong with it.
//!
//! Returns text; nothing from an input can steer the terminal. On a terminal lines are broken to its width,
//! in a pipe each stands whole, so that a script finds it.

use crate::read::Tally;
use crate::reports::terminal::push_line;
use crate::reports::wording::shown;

/// The longest text of one line from an input, in characters.
const LONGEST: usize = 2000;

/// What was found; `width` is that of the terminal, if it goes to one. With `quiet` only what is wrong.
#[must_use]
pub fn check_text(
    taken: &[(String, String)],
    tally: &Tally,
    remarks: &[String],
    width: Option<usize>,
    quiet: bool,
) -> String {
    let mut out = String::new();
    let mut line = |text: &str| match width {
        Some(width) => push_line(&mut out, &shown(text, LONGEST), width.max(40)),
        None => out.push_str(&(shown(text, LONGEST) + "\n")),
    };
    for (file, what) in taken.iter().filter(|_| !quiet) {
        let mut understood = what.lines();
        line(&format!("{file}: {}", understood.next().unwrap_or_default()));
        understood.for_each(&mut line);
    }
    for reject in &tally.rejects {
        line(&format!("rejected: {}: {}", reject.place, reject.reason));
    }
    if quiet {
        return out;
    }
    for (what, times) in &tally.leniencies {
        line(&format!("let pass {times} times: {what}"));
    }
    for remark in remarks {
        line(&format!("note: {remark}"));
    }
    line(&format!(
        "{} files, {} rejected; bus logs are read line by line only by `run`",
        taken.len(),
        tally.rejected()
    ));
    out
}
