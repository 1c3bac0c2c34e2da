//! The outlook in `culprits.json`: fields `risk`, `time_since_start`, `reproduce`, `repairs` and
//! `after_the_part` of a vehicle. Unknown is `null`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::conditions::{Interaction, Joint, Morning, Reproduction, TimeCourse, When};
use crate::repairs::{AfterPart, Counts, Kind, Outlook, Repair};
use crate::reports::culprits_json::{decimals, digits};
use crate::vocabulary::Instant;

#[derive(Serialize, JsonSchema)]
pub(in crate::reports) struct OutlookJson<'a> {
    risk: Risk<'a>,
    time_since_start: Option<Course<'a>>,
    reproduce: Option<Reproduce<'a>>,
    repairs: Vec<Change<'a>>,
    after_the_part: Option<After<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct Risk<'a> {
    starts_judged: usize,
    starts_with_incident: usize,
    possible: &'a str,
    adjusted: Vec<Adjusted<'a>>,
    together: Vec<Together<'a>>,
    together_not: Option<&'a str>,
    cold_and_wet: Option<ColdWet>,
    cold_and_wet_not: Option<&'a str>,
    thresholds: Vec<Cut>,
    confounded: Vec<Pair<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct Adjusted<'a> {
    condition: &'a str,
    p_holm: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Together<'a> {
    condition: &'a str,
    odds_ratio: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    p_value: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct ColdWet {
    contrast: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    probability_above_zero: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Cut {
    quantity: &'static str,
    at: Option<f64>,
    incidents_lie: &'static str,
    from: Option<f64>,
    to: Option<f64>,
    p_value: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Pair<'a> {
    conditions: [&'static str; 2],
    starts_with_both: u64,
    starts_with_either: u64,
    companion: Option<&'static str>,
    said: &'a str,
    separated_by: &'a [String],
}

#[derive(Serialize, JsonSchema)]
struct Course<'a> {
    starts: u64,
    incidents: usize,
    left_out: u64,
    median_s: Option<f64>,
    median_low_s: Option<f64>,
    median_high_s: Option<f64>,
    had_by: Vec<By>,
    constant_p: Option<f64>,
    split_by: Option<&'static str>,
    log_rank_p: Option<f64>,
    said: &'a str,
}

#[derive(Serialize, JsonSchema)]
struct By {
    after_s: f64,
    share: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Reproduce<'a> {
    conditions: &'a [&'static str],
    steps: &'a [String],
    incidents: u64,
    starts: u64,
    chance: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    starts_for_90: Option<u64>,
    minutes_each: Option<f64>,
    waste: &'a [String],
    mornings: Vec<Day<'a>>,
    remarks: &'a [String],
}

#[derive(Serialize, JsonSchema)]
struct Day<'a> {
    at: String,
    ambient_c: Option<f64>,
    wet: Option<bool>,
    worth_it: Option<bool>,
    said: &'a str,
}

#[derive(Serialize, JsonSchema)]
struct Change<'a> {
    kind: &'static str,
    at: String,
    until: Option<String>,
    actions: &'a [String],
    trigger: &'a [&'static str],
    state: &'static str,
    before: Sides,
    after: Sides,
    before_other: Sides,
    after_other: Sides,
    after_unknown: u64,
    after_reconnecting: Option<Sides>,
    p_value: Option<f64>,
    probability_fell_80: Option<f64>,
    confidence: f64,
    clean_starts_needed: Option<u64>,
    clean_starts_still_needed: Option<u64>,
    unchanged_db: Option<f64>,
    decided_db: Option<f64>,
    said: &'a str,
    #[serde(rename = "where")]
    places: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct Sides {
    incidents: u64,
    starts: u64,
}

#[derive(Serialize, JsonSchema)]
struct After<'a> {
    node: &'a str,
    class: Option<&'a str>,
    by_word: Option<&'a str>,
    needed: &'a [String],
    cautions: &'a [String],
    source: &'static str,
}

pub(in crate::reports) fn outlook_json(outlook: &Outlook) -> OutlookJson<'_> {
    OutlookJson {
        risk: risk(&outlook.when),
        time_since_start: outlook.when.time.as_ref().map(course),
        reproduce: outlook.when.reproduction.as_ref().map(reproduce),
        repairs: outlook.repairs.iter().map(change).collect(),
        after_the_part: outlook.after_part.as_ref().map(after),
    }
}

fn joint(joint: &Joint) -> Together<'_> {
    Together {
        condition: &joint.condition,
        odds_ratio: digits(joint.odds_ratio),
        low: joint.low.and_then(digits),
        high: joint.high.and_then(digits),
        p_value: digits(joint.p_value),
    }
}

fn risk(when: &When) -> Risk<'_> {
    let cold_wet = |found: &Interaction| ColdWet {
        contrast: digits(found.contrast),
        low: digits(found.low),
        high: digits(found.high),
        probability_above_zero: digits(found.above_zero),
    };
    Risk {
        starts_judged: when.starts,
        starts_with_incident: when.hits,
        possible: &when.possible,
        adjusted: when
            .adjusted
            .iter()
            .map(|(condition, p)| Adjusted { condition, p_holm: digits(*p) })
            .collect(),
        together: when.together.iter().flatten().map(joint).collect(),
        together_not: when.together.as_ref().err().map(String::as_str),
        cold_and_wet: when.interaction.as_ref().ok().map(cold_wet),
        cold_and_wet_not: when.interaction.as_ref().err().map(String::as_str),
        thresholds: when
            .thresholds
            .iter()
            .map(|cut| Cut {
                quantity: cut.quantity,
                at: digits(cut.at),
                incidents_lie: if cut.below { "at or below" } else { "above" },
                from: digits(cut.range.0),
                to: digits(cut.range.1),
                p_value: digits(cut.p_value),
            })
            .collect(),
        confounded: when
            .confounded
            .iter()
            .map(|pair| Pair {
                conditions: [pair.first, pair.second],
                starts_with_both: pair.together,
                starts_with_either: pair.either,
                companion: pair.companion,
                said: &pair.said,
                separated_by: &pair.separated_by,
            })
            .collect(),
    }
}

fn course(time: &TimeCourse) -> Course<'_> {
    let median = time.median;
    Course {
        starts: time.curve.subjects,
        incidents: time.times_s.len(),
        left_out: time.left_out,
        median_s: median.time.and_then(|s| decimals(s, 1e3)),
        median_low_s: median.low.and_then(|s| decimals(s, 1e3)),
        median_high_s: median.high.and_then(|s| decimals(s, 1e3)),
        had_by: time
            .moments
            .iter()
            .map(|moment| By {
                after_s: moment.after_s,
                share: digits(moment.had),
                low: moment.low.and_then(digits),
                high: moment.high.and_then(digits),
            })
            .collect(),
        constant_p: time.constant_p.and_then(digits),
        split_by: time.split.as_ref().map(|split| split.condition),
        log_rank_p: time.split.as_ref().and_then(|split| split.p_value).and_then(digits),
        said: &time.said,
    }
}

fn reproduce(plan: &Reproduction) -> Reproduce<'_> {
    Reproduce {
        conditions: &plan.conditions,
        steps: &plan.steps,
        incidents: plan.seen.0,
        starts: plan.seen.1,
        chance: digits(plan.chance),
        low: digits(plan.low),
        high: digits(plan.high),
        starts_for_90: plan.starts_needed,
        minutes_each: plan.minutes_each,
        waste: &plan.waste,
        mornings: plan.mornings.iter().map(day).collect(),
        remarks: &plan.remarks,
    }
}

fn day(morning: &Morning) -> Day<'_> {
    Day {
        at: morning.at.to_string(),
        ambient_c: morning.ambient_c.and_then(|c| decimals(c, 1e1)),
        wet: morning.wet,
        worth_it: morning.worth_it,
        said: &morning.said,
    }
}

fn change(repair: &Repair) -> Change<'_> {
    let time = |at: Instant| at.to_string();
    let sides = |counts: Counts| Sides { incidents: counts.hits, starts: counts.starts };
    Change {
        kind: kind(repair.kind),
        at: time(repair.from),
        until: repair.until.map(time),
        actions: &repair.actions,
        trigger: &repair.trigger,
        state: repair.state.word(),
        before: sides(repair.before),
        after: sides(repair.after),
        before_other: sides(repair.before_other),
        after_other: sides(repair.after_other),
        after_unknown: repair.after_unknown,
        after_reconnecting: repair.again.map(sides),
        p_value: repair.p_value.and_then(digits),
        probability_fell_80: repair.fell_80.and_then(digits),
        confidence: repair.confidence,
        clean_starts_needed: repair.needed,
        clean_starts_still_needed: repair.still_needed,
        unchanged_db: repair.unchanged_db.and_then(|db| decimals(db, 1e3)),
        decided_db: decimals(repair.decided_db, 1e3),
        said: &repair.said,
        places: repair.places.iter().map(ToString::to_string).collect(),
    }
}

/// The kind of a change in data files.
pub(super) fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Lasting => "lasting",
        Kind::Disconnection => "disconnection",
    }
}

fn after(part: &AfterPart) -> After<'_> {
    After {
        node: &part.node,
        class: part.class.as_deref(),
        by_word: part.by_word.as_deref(),
        needed: &part.needed,
        cautions: &part.cautions,
        source: "common practice, no source",
    }
}
