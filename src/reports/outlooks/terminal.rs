//! The plan of one vehicle for a terminal.

use chrono_tz::Tz;

use super::words::{effort, set, watching};
use crate::conditions::{Reproduction, When};
use crate::repairs::{AfterPart, Outlook, Repair};
use crate::reports::terminal::{push_hanging, push_line};
use crate::reports::wording::{UNKNOWN, counted, local, local_date, number, shown, span};
use crate::suspects::VehicleFinding;

/// Narrowest text that is still readable.
const NARROWEST: usize = 40;
/// Columns of the labels on the left.
const LABELS: usize = 15;

/// Lines of at most so many columns, with labels on the left.
struct Text {
    out: String,
    width: usize,
}

impl Text {
    fn heading(&mut self, heading: &str) {
        self.out.push('\n');
        push_line(&mut self.out, heading, self.width);
    }

    /// A text beside its label; a label that repeats is left blank by its caller.
    fn item(&mut self, label: &str, text: &str) {
        let label = format!("  {label:<LABELS$}");
        push_hanging(&mut self.out, &label, text, self.width);
    }

    /// Several texts under one label, each with its mark or a dash before it.
    fn list<'t>(&mut self, label: &str, texts: impl Iterator<Item = (String, &'t str)>) {
        for (at, (mark, text)) in texts.enumerate() {
            let label = format!("  {:<LABELS$}{mark} ", if at == 0 { label } else { "" });
            push_hanging(&mut self.out, &label, text, self.width);
        }
    }

    /// Several texts under one label, a dash before each.
    fn dashes<'t>(&mut self, label: &str, texts: impl Iterator<Item = &'t str>) {
        self.list(label, texts.map(|text| ("-".to_owned(), text)));
    }
}

/// How to make it happen, whether each repair has held, and what comes after the part, in lines of
/// at most `width` columns. Nothing from an input can steer the terminal.
#[must_use]
pub fn plan_text(finding: &VehicleFinding, outlook: &Outlook, zone: Tz, width: usize) -> String {
    let mut text = Text { out: String::new(), width: width.max(NARROWEST) };
    let head = format!("{}: {}", shown(&finding.vehicle, 24), shown(&finding.because, 400));
    push_line(&mut text.out, &head, text.width);
    text.heading("How to make it happen");
    match &outlook.when.reproduction {
        None => text.item("Nothing", "no incident was seen: there is nothing to reproduce"),
        Some(plan) => reproduce(&mut text, plan, &outlook.when, zone),
    }
    text.heading("Has the repair held");
    if outlook.repairs.is_empty() {
        text.item("Nothing", "no change to the vehicle is noted");
    }
    for repair in &outlook.repairs {
        held(&mut text, repair, zone);
    }
    text.heading("After the part");
    match &outlook.after_part {
        None => text.item("Nothing", "the verdict names no module: nothing to replace"),
        Some(part) => after(&mut text, part),
    }
    text.out
}

fn reproduce(text: &mut Text, plan: &Reproduction, when: &When, zone: Tz) {
    text.item("Arrange", &set(&plan.conditions));
    text.item("Chance", &effort(plan));
    text.item("Watch", &watching(plan));
    if let Some(time) = &when.time {
        text.item("In a start", &time.said);
        if let Some(seconds) = time.median.time {
            let half = format!("half of all starts have had one after {}", span(seconds));
            text.item("", &half);
        }
    }
    let steps = (1..).zip(&plan.steps).map(|(at, step)| (format!("{at}."), step.as_str()));
    text.list("Steps", steps);
    text.dashes("Waste of time", plan.waste.iter().map(String::as_str));
    let mornings: Vec<String> = plan
        .mornings
        .iter()
        .map(|morning| {
            let time = local(morning.at, zone);
            let minute = time.get(..16).unwrap_or(&time);
            let air = morning
                .ambient_c
                .map_or_else(|| UNKNOWN.to_owned(), |c| format!("{} °C", number(c, 1)));
            format!("{minute}  {air:>8}  {}", shown(&morning.said, 100))
        })
        .collect();
    text.dashes("Mornings", mornings.iter().map(String::as_str));
    let pairs = when.confounded.iter().map(|pair| pair.said.clone());
    let remarks: Vec<String> =
        pairs.chain(plan.remarks.iter().map(|remark| shown(remark, 400))).collect();
    text.dashes("Bear in mind", remarks.iter().map(String::as_str));
}

fn held(text: &mut Text, repair: &Repair, zone: Tz) {
    let what = shown(&repair.actions.join("; "), 200);
    let day = local_date(repair.from, zone);
    text.item(&day, &format!("{what}: {}", repair.state.word()));
    text.item("", &shown(&repair.said, 800));
    if let Some(more) = repair.still_needed.filter(|more| *more > 0) {
        let under = match repair.trigger.as_slice() {
            [] => String::new(),
            trigger => format!(", {}", set(trigger)),
        };
        text.item("", &format!("still needed: {}{under}", counted(more, "clean start")));
    }
}

fn after(text: &mut Text, part: &AfterPart) {
    let class = match (&part.class, &part.by_word) {
        (Some(class), Some(word)) => {
            format!("class {}, by the word \"{}\"", shown(class, 60), shown(word, 60))
        }
        _ => "unknown class: general steps".to_owned(),
    };
    text.item("Module", &format!("{} ({class})", shown(&part.node, 60)));
    text.item("Source", "common practice, no source");
    let needed: Vec<String> = part.needed.iter().map(|step| shown(step, 300)).collect();
    text.dashes("Usually needed", needed.iter().map(String::as_str));
    let cautions: Vec<String> = part.cautions.iter().map(|caution| shown(caution, 400)).collect();
    text.dashes("Caution", cautions.iter().map(String::as_str));
}
