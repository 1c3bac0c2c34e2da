//! The HTML pages: an overview and a page per vehicle that is not quiet.
//!
//! Rust works out words and coordinates; the templates hold all markup and escape every value.
//! No page needs a network, a second file, or its script, which only sorts tables.

mod batches;
mod cold_and_wet;
pub(super) mod conditions;
pub(super) mod drawing;
mod excerpt;
mod incidents;
mod intake;
mod overview;
mod policy;
mod scatter;
mod suspects;
mod timeline;
mod vehicle;
mod witnesses;

pub(super) use intake::{Intake, intake};

use std::collections::BTreeSet;

use minijinja::value::{Serde, Value};
use minijinja::{Environment, UndefinedBehavior};
use serde::Serialize;

use crate::batches::BatchView;
use crate::conditions::FAMILY;
use crate::read::Tally;
use crate::reports::outlooks;
use crate::reports::page_names::page_names;
use crate::reports::standing::{Standing, by_name, listing_order, standing};
use crate::reports::whole_file::Output;
use crate::reports::wording::shown;
use crate::reports::{Heading, ReportError, Told, View, weekly};
use crate::suspects::VehicleFinding;
use crate::weeks::FleetWeek;

/// Longest name shown on a page; the data files hold it whole.
pub(super) const NAME: usize = 60;
/// Longest sentence shown on a page.
pub(super) const SENTENCE: usize = 400;

const TEMPLATES: [(&str, &str); 18] = [
    ("frame.html", include_str!("../templates/frame.html")),
    ("pieces.html", include_str!("../templates/pieces.html")),
    ("drawing.html", include_str!("../templates/drawing.html")),
    ("overview.html", include_str!("../templates/overview.html")),
    ("weekly.html", include_str!("../templates/weekly.html")),
    ("vehicle.html", include_str!("../templates/vehicle.html")),
    ("suspects.html", include_str!("../templates/suspects.html")),
    ("conditions.html", include_str!("../templates/conditions.html")),
    ("when_more.html", include_str!("../templates/when_more.html")),
    ("ahead.html", include_str!("../templates/ahead.html")),
    ("timeline.html", include_str!("../templates/timeline.html")),
    ("witnesses.html", include_str!("../templates/witnesses.html")),
    ("intake.html", include_str!("../templates/intake.html")),
    ("cautions.html", include_str!("../templates/cautions.html")),
    ("how_to_read.html", include_str!("../templates/how_to_read.html")),
    ("reading.html", include_str!("../templates/reading.html")),
    ("calibration.html", include_str!("../templates/calibration.html")),
    ("batches.html", include_str!("../templates/batches.html")),
];

/// Most vehicles with a page of their own: more than anybody opens. The data files have all.
const MOST_PAGES: usize = 500;

/// The part of a page that comes from the pipeline.
#[derive(Debug, Clone, Serialize)]
pub(in crate::reports) struct Top {
    title: String,
    zone: String,
    period: Option<String>,
    strict: bool,
    batches: bool,
    pub(in crate::reports) remarks: Vec<String>,
}

impl Top {
    pub(in crate::reports) fn new(heading: &Heading) -> Top {
        Top {
            title: shown(&heading.title, 120),
            zone: heading.timezone.name().to_owned(),
            period: heading.period.as_deref().map(|p| shown(p, 120)),
            strict: heading.strict,
            batches: heading.view == View::Batches,
            remarks: heading.remarks.iter().map(|r| shown(r, SENTENCE)).collect(),
        }
    }
}

/// The name of the overview: in the batch view the page of the modules takes the first place.
fn overview_name(heading: &Heading) -> &'static str {
    if heading.view == View::Batches { "vehicles.html" } else { "report.html" }
}

/// The page that defines the numbers, columns and pictures of all pages.
#[derive(Serialize)]
struct Reading {
    top: Top,
    /// How many conditions are looked at.
    conditions: usize,
}

/// All pages, the overview (or, for a session with one vehicle, that vehicle's page) first.
pub(super) fn pages(
    heading: &Heading,
    told: &Told<'_>,
) -> Result<Vec<Output<'static>>, ReportError> {
    let Told { findings, outlooks: all_outlooks, closer, week, tally } = *told;
    let environment = environment()?;
    let sorted = by_name(findings);
    let listed = || sorted.iter().filter(|f| standing(f) <= Standing::Undecided);
    let paged = paged(listed().copied(), week);
    let mut names = page_names(paged.iter().copied());
    let single = heading.view == View::Session && sorted.len() == 1;
    let vehicle_page = |finding: &VehicleFinding, overview| {
        let outlook = outlooks::of(all_outlooks, &finding.vehicle);
        let closer = closer.get(&finding.vehicle).map_or(&[][..], Vec::as_slice);
        vehicle::page(heading, finding, outlook, closer, tally, overview)
    };
    let mut outputs = Vec::new();
    let main = match sorted.first() {
        Some(finding) if single && !finding.suspects.is_empty() => {
            let page = vehicle_page(finding, None);
            render(&environment, "vehicle.html", page)?
        }
        _ if let Some(week) = week => {
            let page = weekly::page(heading, week, tally, &names);
            render(&environment, "weekly.html", page)?
        }
        _ => {
            let page = overview::page(heading, findings, tally, &names);
            render(&environment, "overview.html", page)?
        }
    };
    outputs.push(Output::new(overview_name(heading), main));
    let reading = Reading { top: Top::new(heading), conditions: FAMILY.len() };
    outputs
        .push(Output::new("how-to-read.html", render(&environment, "how_to_read.html", reading)?));
    for finding in listed() {
        // Taken out, so that a vehicle that is listed twice still has one page.
        if let Some(name) = names.remove(&finding.vehicle) {
            let page = vehicle_page(finding, Some(overview_name(heading)));
            outputs.push(Output::new(name, render(&environment, "vehicle.html", page)?));
        }
    }
    Ok(outputs)
}

/// The vehicles that have a page: all of the listed ones, or where they are too many the most urgent of the
/// week, in another view those first in the overview.
fn paged<'a>(
    listed: impl Iterator<Item = &'a VehicleFinding>,
    week: Option<&FleetWeek>,
) -> BTreeSet<&'a str> {
    let mut listed: Vec<&VehicleFinding> = listed.collect();
    if listed.len() > MOST_PAGES {
        let ranked = weekly::ranks(week);
        let place = |f: &VehicleFinding| ranked.get(f.vehicle.as_str()).map(|(rank, _)| *rank);
        listed.sort_by(|a, b| place(a).cmp(&place(b)).then_with(|| listing_order(a, b)));
        listed.truncate(MOST_PAGES);
    }
    listed.into_iter().map(|f| f.vehicle.as_str()).collect()
}

/// The page of the batch view.
pub(super) fn batches_page(
    heading: &Heading,
    view: &BatchView,
    tally: &Tally,
) -> Result<String, ReportError> {
    render(&environment()?, "batches.html", batches::page(heading, view, tally))
}

/// The page of results of a calibration.
pub(super) fn calibration_page(page: &impl Serialize) -> Result<String, ReportError> {
    render(&environment()?, "calibration.html", page)
}

fn environment() -> Result<Environment<'static>, ReportError> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    for (name, source) in TEMPLATES {
        environment
            .add_template(name, source)
            .map_err(|source| ReportError::Page { template: name, source })?;
    }
    let (style, script) = (policy::STYLE, policy::SCRIPT);
    environment.add_global("style", Value::from_safe_string(style.to_owned()));
    environment.add_global("script", Value::from_safe_string(script.to_owned()));
    environment.add_global("policy", Value::from_safe_string(policy::policy()));
    Ok(environment)
}

fn render(
    environment: &Environment<'_>,
    template: &'static str,
    page: impl Serialize,
) -> Result<String, ReportError> {
    environment
        .get_template(template)
        .and_then(|t| t.render(Serde(page)))
        .map_err(|source| ReportError::Page { template, source })
}

/// A coordinate as it stands in a picture.
pub(super) fn at(value: f64) -> String {
    format!("{value:.1}")
}

/// A round step that cuts `range` into at most `most` parts.
pub(super) fn round_step(range: f64, most: f64) -> f64 {
    let rough = (range / most).max(1e-9);
    let power = 10_f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough).unwrap_or(rough)
}
