//! The plan of one vehicle for a terminal.

use chrono_tz::Tz;

use super::words::{counted, effort, set, watching};
use crate::repairs::Outlook;
use crate::reports::terminal::push_line;
use crate::reports::wording::{UNKNOWN, local, number, shown};
use crate::suspects::VehicleFinding;

/// Narrowest text that is still readable.
const NARROWEST: usize = 40;

/// How to make it happen, whether each repair has held, and what comes after the part, in lines of
/// at most `width` columns. Nothing from an input can steer the terminal.
#[must_use]
pub fn plan_text(finding: &VehicleFinding, outlook: &Outlook, zone: Tz, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut out = String::new();
    let mut line = |text: &str| push_line(&mut out, text, width);
    line(&format!("{}: {}", shown(&finding.vehicle, 24), shown(&finding.because, 400)));
    let when = &outlook.when;
    line("");
    line("How to make it happen");
    match &when.reproduction {
        None => line("  no incident was seen: there is nothing to reproduce"),
        Some(plan) => {
            line(&format!("  arrange: {}", set(&plan.conditions)));
            line(&format!("  chance: {}", effort(plan)));
            line(&format!("  watch: {}", watching(plan)));
            for step in &plan.steps {
                line(&format!("  - {step}"));
            }
            for waste in &plan.waste {
                line(&format!("  waste of time: {waste}"));
            }
            for morning in &plan.mornings {
                let time = local(morning.at, zone);
                let ambient = morning
                    .ambient_c
                    .map_or_else(|| UNKNOWN.to_owned(), |c| format!("{} °C", number(c, 1)));
                let minute = time.get(..16).unwrap_or(&time);
                line(&format!("  {minute}  {ambient}  {}", shown(&morning.said, 100)));
            }
            for pair in &when.confounded {
                line(&format!("  note: {}", pair.said));
            }
            for remark in &plan.remarks {
                line(&format!("  note: {}", shown(remark, 400)));
            }
        }
    }
    line("");
    line("Has the repair held");
    if outlook.repairs.is_empty() {
        line("  no change to the vehicle is noted");
    }
    for repair in &outlook.repairs {
        let what = shown(&repair.actions.join("; "), 200);
        let day = local(repair.from, zone);
        let day = day.get(..10).unwrap_or(&day);
        line(&format!("  {day} {what}: {}", repair.state.word()));
        line(&format!("    {}", shown(&repair.said, 800)));
        if let Some(more) = repair.still_needed.filter(|more| *more > 0) {
            line(&format!("    still needed: {}", counted(more, "clean start")));
        }
    }
    line("");
    line("After the part");
    match &outlook.after_part {
        None => line("  the verdict names no module: nothing to replace"),
        Some(part) => {
            let class = match (&part.class, &part.by_word) {
                (Some(class), Some(word)) => {
                    format!("class {}, by the word \"{}\"", shown(class, 60), shown(word, 60))
                }
                _ => "unknown class: general steps".to_owned(),
            };
            line(&format!("  {} ({class}); common practice, no source", shown(&part.node, 60)));
            for step in &part.needed {
                line(&format!("  - {}", shown(step, 300)));
            }
            for caution in &part.cautions {
                line(&format!("  caution: {}", shown(caution, 400)));
            }
        }
    }
    out
}
