//! The outlook on the page of a vehicle.

use serde::Serialize;

use super::course::{Picture, picture};
use super::words::{effort, set, watching};
use crate::conditions::{Reproduction, Threshold, When};
use crate::repairs::{Kind, Outlook, Repair};
use crate::reports::Heading;
use crate::reports::pages::{NAME, SENTENCE};
use crate::reports::wording::{
    UNKNOWN, condition, local, number, p_value, percent, ratio, shown, span,
};

/// Most changes listed; `repairs.csv` has all.
const MOST_CHANGES: usize = 30;

/// What the templates `when_more.html` and `ahead.html` need.
#[derive(Serialize)]
pub(in crate::reports) struct Ahead {
    possible: String,
    together: Vec<Together>,
    together_not: Option<String>,
    interaction: String,
    thresholds: Vec<Cut>,
    confounded: Vec<String>,
    course: Option<Course>,
    plan: Option<Plan>,
    changes: Vec<Change>,
    changes_left: usize,
    after: Option<After>,
}

#[derive(Serialize)]
struct Together {
    condition: String,
    ratio: String,
    low: String,
    high: String,
    p: String,
}

#[derive(Serialize)]
struct Cut {
    quantity: String,
    at: String,
    range: String,
    below: String,
    above: String,
    p: String,
    clear: bool,
}

#[derive(Serialize)]
struct Course {
    said: String,
    picture: Option<Picture>,
    moments: Vec<[String; 2]>,
    spans: Vec<[String; 4]>,
    constant_p: Option<String>,
    median: String,
    log_rank_p: Option<String>,
    left_out: u64,
}

#[derive(Serialize)]
struct Plan {
    set: String,
    effort: String,
    watching: String,
    steps: Vec<String>,
    waste: Vec<String>,
    mornings: Vec<[String; 4]>,
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct Change {
    at: String,
    what: String,
    state: &'static str,
    /// `good`, `bad`, `open`: how the state is drawn.
    tone: &'static str,
    said: String,
    trigger: String,
    before: String,
    after: String,
    p: String,
    fell: String,
    progress: Option<String>,
    bar: Option<String>,
    experiment: bool,
}

#[derive(Serialize)]
struct After {
    node: String,
    class: Option<String>,
    by_word: Option<String>,
    needed: Vec<String>,
    cautions: Vec<String>,
}

pub(in crate::reports) fn ahead(heading: &Heading, outlook: &Outlook) -> Ahead {
    let when = &outlook.when;
    Ahead {
        possible: when.possible.clone(),
        together: when.together.iter().flatten().map(together).collect(),
        together_not: when.together.as_ref().err().map(|why| shown(why, SENTENCE)),
        interaction: interaction(when),
        thresholds: when.thresholds.iter().map(cut).collect(),
        confounded: when.confounded.iter().map(|pair| shown(&pair.said, SENTENCE)).collect(),
        course: when.time.as_ref().map(course),
        plan: when.reproduction.as_ref().map(|plan| self::plan(heading, plan)),
        changes: outlook
            .repairs
            .iter()
            .take(MOST_CHANGES)
            .map(|repair| change(heading, repair))
            .collect(),
        changes_left: outlook.repairs.len().saturating_sub(MOST_CHANGES),
        after: outlook.after_part.as_ref().map(|part| After {
            node: shown(&part.node, NAME),
            class: part.class.as_deref().map(|class| shown(class, NAME)),
            by_word: part.by_word.as_deref().map(|word| shown(word, NAME)),
            needed: part.needed.iter().map(|step| shown(step, SENTENCE)).collect(),
            cautions: part.cautions.iter().map(|caution| shown(caution, SENTENCE)).collect(),
        }),
    }
}

fn together(joint: &crate::conditions::Joint) -> Together {
    let end = |value: Option<f64>| value.map_or_else(|| "no limit".to_owned(), ratio);
    Together {
        condition: condition(&joint.condition),
        ratio: ratio(joint.odds_ratio),
        low: end(joint.low),
        high: end(joint.high),
        p: p_value(joint.p_value),
    }
}

fn interaction(when: &When) -> String {
    match &when.interaction {
        Err(why) => why.clone(),
        Ok(found) => format!(
            "cold and wet together against the sum of each alone: {} points of risk more (95 % \
             interval {} to {}), above 0 with a probability of {}; no verdict is drawn from that",
            number(100.0 * found.contrast, 0),
            number(100.0 * found.low, 0),
            number(100.0 * found.high, 0),
            percent(found.above_zero)
        ),
    }
}

fn cut(cut: &Threshold) -> Cut {
    let [hits_below, below, hits_above, above] = cut.counts;
    let (value, unit) = match cut.quantity.rsplit_once('_') {
        Some(("ambient", _)) => ("ambient temperature", "°C"),
        Some(("dew_spread", _)) => ("temperature less dew point", "K"),
        Some(("rain_12h", _)) => ("rain in 12 h", "mm"),
        Some(("soak", _)) => ("time since the start before", "h"),
        Some(("supply", _)) => ("lowest supply", "V"),
        _ => ("odometer", "km"),
    };
    let digits = if cut.quantity == "odometer_km" { 0 } else { 1 };
    Cut {
        quantity: value.to_owned(),
        at: format!("{} {unit}", number(cut.at, digits)),
        range: format!("{} to {}", number(cut.range.0, digits), number(cut.range.1, digits)),
        below: format!("{hits_below} of {below}"),
        above: format!("{hits_above} of {above}"),
        p: p_value(cut.p_value),
        clear: cut.p_value < 0.05,
    }
}

fn course(time: &crate::conditions::TimeCourse) -> Course {
    let share = |value: Option<f64>| value.map_or_else(|| UNKNOWN.to_owned(), percent);
    let median = match (time.median.time, time.median.low) {
        (Some(seconds), _) => format!("half of the starts have had one after {}", span(seconds)),
        (None, _) => "fewer than half of the starts have had one at the end".to_owned(),
    };
    Course {
        said: time.said.clone(),
        picture: picture(time),
        moments: time
            .moments
            .iter()
            .map(|moment| {
                let range = match (moment.low, moment.high) {
                    (None, None) => percent(moment.had),
                    _ => format!(
                        "{} ({} to {})",
                        percent(moment.had),
                        share(moment.low),
                        share(moment.high)
                    ),
                };
                [span(moment.after_s), range]
            })
            .collect(),
        spans: time
            .spans
            .iter()
            .map(|own| {
                let to = own.to_s.map_or_else(|| "the end".to_owned(), span);
                let rate = |value: Option<f64>| value.map_or_else(|| UNKNOWN.to_owned(), ratio);
                [
                    format!("{} to {to}", span(own.from_s)),
                    own.events.to_string(),
                    number(own.minutes, 0),
                    format!("{} ({} to {})", rate(own.rate), rate(own.low), rate(own.high)),
                ]
            })
            .collect(),
        constant_p: time.constant_p.map(p_value),
        median,
        log_rank_p: time.split.as_ref().and_then(|split| split.p_value).map(p_value),
        left_out: time.left_out,
    }
}

fn plan(heading: &Heading, plan: &Reproduction) -> Plan {
    let texts = |list: &[String]| list.iter().map(|text| shown(text, SENTENCE)).collect();
    Plan {
        set: set(&plan.conditions),
        effort: effort(plan),
        watching: watching(plan),
        steps: texts(&plan.steps),
        waste: texts(&plan.waste),
        mornings: plan
            .mornings
            .iter()
            .map(|morning| {
                let ambient = morning
                    .ambient_c
                    .map_or_else(|| UNKNOWN.to_owned(), |c| format!("{} °C", number(c, 1)));
                let wet = match morning.wet {
                    Some(true) => "wet",
                    Some(false) => "dry",
                    None => UNKNOWN,
                };
                let time = local(morning.at, heading.timezone);
                let minute = time.get(..16).unwrap_or(&time).to_owned();
                [minute, ambient, wet.to_owned(), shown(&morning.said, SENTENCE)]
            })
            .collect(),
        remarks: texts(&plan.remarks),
    }
}

fn change(heading: &Heading, repair: &Repair) -> Change {
    use crate::repairs::State;
    let tone = match repair.state {
        State::Held => "good",
        State::CameBack => "bad",
        State::NotYetShown | State::NeverTested | State::NothingBefore => "open",
    };
    let counts = |c: crate::repairs::Counts| format!("{} of {}", c.hits, c.starts);
    let clean = repair.after.hits == 0 && repair.after_other.hits == 0;
    let progress = repair.needed.filter(|_| clean).map(|needed| {
        format!("{} of {needed} clean starts under the trigger", repair.after.starts.min(needed))
    });
    let bar = repair.needed.filter(|_| clean && repair.kind == Kind::Lasting).map(|needed| {
        let share = repair.after.starts.min(needed) as f64 / needed.max(1) as f64;
        format!("{:.1}", 100.0 * share)
    });
    Change {
        at: local(repair.from, heading.timezone),
        what: shown(&repair.actions.join("; "), SENTENCE),
        state: repair.state.word(),
        tone,
        said: shown(&repair.said, 800),
        trigger: set(&repair.trigger),
        before: counts(repair.before),
        after: counts(repair.after),
        p: repair.p_value.map_or_else(|| UNKNOWN.to_owned(), p_value),
        fell: repair.fell_80.map_or_else(|| UNKNOWN.to_owned(), percent),
        progress,
        bar,
        experiment: repair.kind == Kind::Disconnection,
    }
}
