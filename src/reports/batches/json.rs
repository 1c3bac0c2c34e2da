//! `batches.json`: the comparison of modules for programs to read. Unknown is `null`.

use schemars::JsonSchema;
use serde::Serialize;

use super::wording::became;
use crate::batches::{
    BatchView, BuildWeeks, Diagnosis, FLAG_RULE, Group, Life, LifeCurve, UnitAhead,
};
use crate::reports::culprits_json::{decimals, digits, probability};
use crate::reports::{Heading, ReportError};

#[derive(Serialize, JsonSchema)]
pub(in crate::reports) struct Batches<'a> {
    schema: &'static str,
    pipeline: &'a str,
    watched_from: Option<String>,
    watched_to: Option<String>,
    rule: &'static str,
    groups: Vec<GroupJson<'a>>,
    nodes: Vec<NodeJson<'a>>,
    kinds: Vec<KindJson>,
    lives: Vec<LifeJson<'a>>,
    build_weeks: Vec<WeeksJson<'a>>,
    units_in_service: Vec<UnitJson<'a>>,
    swaps: Swaps<'a>,
    remarks: &'a [String],
}

#[derive(Serialize, JsonSchema)]
struct GroupJson<'a> {
    node: &'a str,
    by: String,
    value: &'a str,
    units: u64,
    unit_months: Option<f64>,
    failures: Option<f64>,
    expected: Option<f64>,
    ratio: Option<f64>,
    ratio_low: Option<f64>,
    ratio_high: Option<f64>,
    shrunk_ratio: Option<f64>,
    shrunk_low: Option<f64>,
    shrunk_high: Option<f64>,
    probability_above_two: Option<f64>,
    p_value: Option<f64>,
    p_adjusted: Option<f64>,
    flagged: bool,
    explained_by: Option<String>,
}

#[derive(Serialize, JsonSchema)]
struct NodeJson<'a> {
    node: &'a str,
    units: u64,
    unit_months: Option<f64>,
    failures: Option<f64>,
    groups_looked_at: u64,
}

#[derive(Serialize, JsonSchema)]
struct KindJson {
    by: String,
    groups: usize,
    fitted: bool,
    gammas: Vec<GammaJson>,
}

#[derive(Serialize, JsonSchema)]
struct GammaJson {
    weight: Option<f64>,
    shape: Option<f64>,
    rate: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct LifeJson<'a> {
    node: &'a str,
    by: String,
    value: &'a str,
    begins_months: Option<f64>,
    log_rank_chi_squared: Option<f64>,
    log_rank_p: Option<f64>,
    same_age_share: Option<f64>,
    group: CurveJson,
    others: CurveJson,
}

#[derive(Serialize, JsonSchema)]
struct CurveJson {
    units: u64,
    failures: Option<f64>,
    weibull_shape: Option<f64>,
    weibull_shape_low: Option<f64>,
    weibull_shape_high: Option<f64>,
    weibull_scale_months: Option<f64>,
    curve: Vec<StepJson>,
}

#[derive(Serialize, JsonSchema)]
struct StepJson {
    age_months: Option<f64>,
    at_risk: u64,
    alive: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct WeeksJson<'a> {
    node: &'a str,
    unknown_units: u64,
    change: Option<ChangeJson<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct ChangeJson<'a> {
    first_week: &'a str,
    earliest: &'a str,
    latest: &'a str,
    ratio_before: Option<f64>,
    ratio_after: Option<f64>,
    log10_bayes_factor: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct UnitJson<'a> {
    vehicle: &'a str,
    node: &'a str,
    by: String,
    value: &'a str,
    part_number: Option<&'a str>,
    batch: Option<&'a str>,
    site: Option<&'a str>,
    age_months: Option<f64>,
    failed: Option<f64>,
    expected_failures_12_months: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct Swaps<'a> {
    held: u64,
    came_back: u64,
    not_known: u64,
    list: Vec<SwapJson<'a>>,
}

#[derive(Serialize, JsonSchema)]
struct SwapJson<'a> {
    vehicle: &'a str,
    node: &'a str,
    time: String,
    part_number: Option<&'a str>,
    batch: Option<&'a str>,
    became: &'static str,
}

/// The bytes of `batches.json`.
pub(super) fn batches_json(heading: &Heading, view: &BatchView) -> Result<Vec<u8>, ReportError> {
    let [held, came_back, not_known] = view.swaps;
    let batches = Batches {
        schema: "buswitness/batches/1",
        pipeline: &heading.title,
        watched_from: view.watched.map(|(from, _)| from.to_string()),
        watched_to: view.watched.map(|(_, to)| to.to_string()),
        rule: FLAG_RULE,
        groups: view.groups.iter().map(group).collect(),
        nodes: view
            .nodes
            .iter()
            .map(|n| NodeJson {
                node: &n.node,
                units: n.units,
                unit_months: decimals(n.unit_months, 1e3),
                failures: decimals(n.failures, 1e6),
                groups_looked_at: n.groups,
            })
            .collect(),
        kinds: kinds(view),
        lives: view.lives.iter().map(life).collect(),
        build_weeks: view.build_weeks.iter().map(weeks).collect(),
        units_in_service: view.ahead.iter().map(unit).collect(),
        swaps: Swaps {
            held,
            came_back,
            not_known,
            list: view.diagnoses.iter().map(swap).collect(),
        },
        remarks: &view.remarks,
    };
    let mut bytes =
        serde_json::to_vec_pretty(&batches).map_err(|source| ReportError::Json { source })?;
    bytes.push(b'\n');
    Ok(bytes)
}

fn group(g: &Group) -> GroupJson<'_> {
    GroupJson {
        node: &g.node,
        by: g.by.to_string(),
        value: &g.value,
        units: g.units,
        unit_months: decimals(g.unit_months, 1e3),
        failures: decimals(g.failures, 1e6),
        expected: digits(g.expected),
        ratio: digits(g.ratio),
        ratio_low: digits(g.ratio_low),
        ratio_high: g.ratio_high.and_then(digits),
        shrunk_ratio: digits(g.shrunk_ratio),
        shrunk_low: digits(g.shrunk_low),
        shrunk_high: digits(g.shrunk_high),
        probability_above_two: digits(g.above_two),
        p_value: digits(g.p_value),
        p_adjusted: digits(g.p_adjusted),
        flagged: g.flagged,
        explained_by: g.explained_by.as_ref().map(|(by, value)| format!("{by} {value}")),
    }
}

fn kinds(view: &BatchView) -> Vec<KindJson> {
    view.kinds
        .iter()
        .map(|kind| KindJson {
            by: kind.by.to_string(),
            groups: kind.groups,
            fitted: kind.fitted,
            gammas: (kind.mixture().0.iter())
                .map(|g| GammaJson {
                    weight: digits(g.weight),
                    shape: digits(g.shape),
                    rate: digits(g.rate),
                })
                .collect(),
        })
        .collect()
}

fn life(life: &Life) -> LifeJson<'_> {
    LifeJson {
        node: &life.node,
        by: life.by.to_string(),
        value: &life.value,
        begins_months: decimals(life.begins, 1e3),
        log_rank_chi_squared: life.log_rank.as_ref().and_then(|test| digits(test.chi_squared)),
        log_rank_p: life.log_rank.as_ref().and_then(|test| digits(test.p_value)),
        same_age_share: decimals(life.same_age, 1e4),
        group: curve(&life.own),
        others: curve(&life.others),
    }
}

fn curve(own: &LifeCurve) -> CurveJson {
    let fitted = own.weibull.as_ref();
    let steps = own.curve.as_ref().map(|curve| curve.steps.as_slice()).unwrap_or_default();
    CurveJson {
        units: own.units,
        failures: decimals(own.failures, 1e6),
        weibull_shape: fitted.and_then(|w| digits(w.shape)),
        weibull_shape_low: fitted.and_then(|w| w.shape_low).and_then(digits),
        weibull_shape_high: fitted.and_then(|w| w.shape_high).and_then(digits),
        weibull_scale_months: fitted.map(|w| w.scale).or(own.scale).and_then(digits),
        curve: (steps.iter())
            .map(|step| StepJson {
                age_months: decimals(step.time, 1e3),
                at_risk: step.at_risk,
                alive: probability(step.free),
                low: step.low.and_then(probability),
                high: step.high.and_then(probability),
            })
            .collect(),
    }
}

fn weeks(weeks: &BuildWeeks) -> WeeksJson<'_> {
    WeeksJson {
        node: &weeks.node,
        unknown_units: weeks.unknown,
        change: weeks.change.as_ref().map(|change| ChangeJson {
            first_week: &change.week,
            earliest: &change.earliest,
            latest: &change.latest,
            ratio_before: digits(change.before),
            ratio_after: digits(change.after),
            log10_bayes_factor: digits(change.log10_bayes),
        }),
    }
}

fn unit(unit: &UnitAhead) -> UnitJson<'_> {
    UnitJson {
        vehicle: &unit.vehicle,
        node: &unit.node,
        by: unit.by.to_string(),
        value: &unit.value,
        part_number: unit.part_number.as_deref(),
        batch: unit.batch.as_deref(),
        site: unit.site.as_deref(),
        age_months: unit.age_months.and_then(|age| decimals(age, 1e3)),
        failed: probability(unit.failed),
        expected_failures_12_months: digits(unit.to_come),
    }
}

fn swap(swap: &Diagnosis) -> SwapJson<'_> {
    SwapJson {
        vehicle: &swap.vehicle,
        node: &swap.node,
        time: swap.time.to_string(),
        part_number: swap.part_number.as_deref(),
        batch: swap.batch.as_deref(),
        became: became(swap.became),
    }
}
