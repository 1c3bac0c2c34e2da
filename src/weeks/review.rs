//! Brings a week together: one row a vehicle, most urgent first, and what they share.
//!
//! Urgency is probability × severity × trend: the probability that the bus has a fault at all, the mean
//! severity of its suspects (each by its probability), and the trend of `change`, 1 where nothing is
//! known. Vehicles that need a bay come first, of them those whose fault touches people's safety with a
//! probability of at least a quarter, then by urgency, then by name.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::read::{ModuleRow, SeverityRow, TestTable, VehicleRow};
use crate::repairs::Outlook;
use crate::suspects::{SuspectFinding, VehicleFinding};
use crate::vocabulary::{Instant, Network, Suspect, Verdict};

use super::booking::{Booking, OfVehicle, booking};
use super::change::{Change, Changed, changed, held};
use super::common::{Common, Member, common};
use super::need::{Need, need};
use super::seen::{LogNote, Seen, WeekCell, cells, seen, weeks};
use super::severity::{Known, Severities, Severity};
use super::span::{Span, WeekInView};

/// From this probability of a suspect that touches people's safety on, a vehicle goes first (judgement).
const SAFETY_FIRST: f64 = 0.25;

/// A fleet's week.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetWeek {
    /// The seven days.
    pub span: Span,
    /// The weeks of the pictures, oldest first; the last one is `span`.
    pub weeks: Vec<Span>,
    /// Whether anything was seen before the week; without it nothing can have changed.
    pub compared: bool,
    /// All vehicles, most urgent first.
    pub vehicles: Vec<VehicleWeek>,
    /// What several of them share, surest first.
    pub common: Vec<Common>,
    /// The table of severities, gravest first.
    pub severities: Vec<SeverityRow>,
    /// What a reader should know about how the week was chosen.
    pub remarks: Vec<String>,
}

/// One vehicle's week.
#[derive(Debug, Clone, PartialEq)]
pub struct VehicleWeek {
    /// The vehicle.
    pub vehicle: String,
    /// What it needs.
    pub need: Need,
    /// Why, in half a sentence; empty when the suspect says it.
    pub because: String,
    /// The leading suspect with its probability; `None` without incidents.
    pub leader: Option<(Suspect, f64)>,
    /// Whether the verdict names it.
    pub decided: bool,
    /// How grave a fault of the leader is.
    pub severity: Option<Severity>,
    /// Probability that the bus has a fault at all; `None` without incidents.
    pub probability: Option<f64>,
    /// Mean severity of the suspects; `None` without incidents.
    pub mean_severity: Option<f64>,
    /// Whether it goes first for people's safety.
    pub safety: bool,
    /// The most probable suspect that touches people's safety, and what may happen, where it goes first.
    pub danger: Option<(Suspect, String)>,
    /// Probability × severity × trend; `None` without incidents.
    pub urgency: Option<f64>,
    /// What became of it since the week before.
    pub changed: Changed,
    /// What was concluded a week before; `None` when nothing was seen then.
    pub was: Option<Was>,
    /// What to book.
    pub booking: Booking,
    /// What was observed.
    pub seen: Seen,
    /// Week by week, as [`FleetWeek::weeks`].
    pub cells: Vec<WeekCell>,
}

/// What was concluded a week before.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Was {
    /// The verdict.
    pub verdict: Verdict,
    /// The leading suspect with its probability.
    pub leader: Option<(Suspect, f64)>,
}

/// What was concluded of one vehicle without the inputs of the week.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Earlier {
    /// Whether it had any incident.
    pub incidents: bool,
    /// Whether its last lasting repair had held.
    pub held: bool,
    /// What was concluded; `None` without any start.
    pub was: Option<Was>,
}

impl Earlier {
    /// What is to be remembered of a finding and its outlook.
    #[must_use]
    pub fn of(finding: &VehicleFinding, outlook: Option<&Outlook>) -> Earlier {
        Earlier {
            incidents: !finding.incidents.is_empty(),
            held: held(outlook),
            was: (!finding.exposures.is_empty()).then(|| Was {
                verdict: finding.verdict.clone(),
                leader: leader(finding).map(|l| (l.suspect.clone(), l.probability)),
            }),
        }
    }
}

/// What was concluded of every vehicle without the inputs of the week, by its name.
pub type Before = BTreeMap<String, Earlier>;

/// What the papers say of vehicles, modules, tests and severities.
pub struct Papers<'a> {
    /// The network description of a vehicle.
    pub network_of: &'a (dyn Fn(&str) -> Option<&'a Network> + Sync),
    /// The vehicles table.
    pub vehicles: &'a [VehicleRow],
    /// The modules table.
    pub modules: &'a [ModuleRow],
    /// What tests take.
    pub tests: &'a TestTable,
    /// How grave faults are.
    pub severities: &'a Severities,
    /// What each log gave, by vehicle.
    pub logs: &'a BTreeMap<String, Vec<LogNote>>,
    /// The pipeline's zone.
    pub zone: Tz,
}

/// The week of all vehicles.
#[must_use]
pub fn review<'a>(
    in_view: WeekInView,
    findings: &'a [VehicleFinding],
    outlooks: &'a [Outlook],
    before: &Before,
    papers: &Papers<'a>,
) -> FleetWeek {
    let WeekInView { span, remarks } = in_view;
    let first = findings.iter().flat_map(|f| f.exposures.first()).map(|e| e.start).min();
    let weeks = weeks(span, first, papers.zone);
    let compared = first.is_some_and(|first| first < span.begin);
    let now = by_name(outlooks);
    let mut modules: BTreeMap<&str, Vec<&ModuleRow>> = BTreeMap::new();
    for row in papers.modules {
        modules.entry(row.vehicle.as_str()).or_default().push(row);
    }
    let of = |vehicle: &str| modules.get(vehicle).cloned().unwrap_or_default();
    let mut severities = Known::new(papers.severities);
    let rows: Vec<VehicleWeek> = findings
        .iter()
        .map(|finding| {
            let name = finding.vehicle.as_str();
            let judged = (finding, now.get(name).copied());
            one(judged, before.get(name), &weeks, span, (papers, &of(name), &mut severities))
        })
        .collect();
    let common = shared(findings, &rows, papers.vehicles, of);
    let mut vehicles = rows;
    vehicles.sort_by(|a, b| {
        let urgency = |v: &VehicleWeek| v.urgency.unwrap_or(0.0);
        (a.need.cmp(&b.need))
            .then_with(|| b.safety.cmp(&a.safety))
            .then_with(|| urgency(b).total_cmp(&urgency(a)))
            .then_with(|| a.vehicle.cmp(&b.vehicle))
    });
    let severities = papers.severities.rows().into_iter().cloned().collect();
    FleetWeek { span, weeks, compared, vehicles, common, severities, remarks }
}

type Judged<'a> = (&'a VehicleFinding, Option<&'a Outlook>);

fn by_name(outlooks: &[Outlook]) -> BTreeMap<&str, &Outlook> {
    outlooks.iter().map(|outlook| (outlook.vehicle.as_str(), outlook)).collect()
}

fn one<'a>(
    (finding, outlook): Judged<'a>,
    was: Option<&Earlier>,
    weeks: &[Span],
    span: Span,
    (papers, modules, severities): (&Papers<'a>, &[&ModuleRow], &mut Known<'a>),
) -> VehicleWeek {
    let logs = papers.logs.get(&finding.vehicle).map(Vec::as_slice).unwrap_or_default();
    let network = (papers.network_of)(&finding.vehicle);
    let leader = leader(finding);
    let severity = leader.map(|leader| severities.of(&leader.suspect, network).clone());
    let (mut probability, mut weighted, mut touching) = (0.0, 0.0, 0.0);
    // The suspects come most probable first.
    let mut danger = None;
    for suspect in finding.suspects.iter().filter(|s| s.suspect != Suspect::None) {
        let severity = severities.of(&suspect.suspect, network);
        probability += suspect.probability;
        weighted += suspect.probability * severity.degree;
        if severity.safety {
            touching += suspect.probability;
            danger = danger.or_else(|| Some((suspect.suspect.clone(), severity.why.clone())));
        }
    }
    let some = !finding.suspects.is_empty();
    let (need, because) = need(finding, outlook, span);
    let changed = changed((finding, outlook), was, span);
    let cells = cells(&finding.exposures, weeks);
    let of_vehicle = OfVehicle { tests: papers.tests, modules, network };
    let told = |leader: &SuspectFinding| (leader.suspect.clone(), leader.probability);
    VehicleWeek {
        vehicle: finding.vehicle.clone(),
        booking: booking(finding, need, severity.as_ref(), of_vehicle),
        seen: seen(&finding.exposures, &cells, span, logs),
        need,
        because,
        decided: matches!(finding.verdict, Verdict::Suspect(_)),
        leader: leader.map(told),
        severity,
        probability: some.then_some(probability),
        mean_severity: (some && probability > 0.0).then(|| weighted / probability),
        safety: touching >= SAFETY_FIRST,
        danger: danger.filter(|_| touching >= SAFETY_FIRST),
        urgency: some.then(|| weighted * changed.trend.unwrap_or(1.0)),
        changed,
        was: was.and_then(|was| was.was.clone()),
        cells,
    }
}

/// The suspect that the verdict names, else the most probable one.
fn leader(finding: &VehicleFinding) -> Option<&SuspectFinding> {
    let named = match &finding.verdict {
        Verdict::Suspect(named) => finding.suspects.iter().find(|s| s.suspect == *named),
        Verdict::Undecided | Verdict::Quiet => None,
    };
    named.or_else(|| finding.suspects.first())
}

/// What the vehicles that still have a fault share.
fn shared<'a>(
    findings: &'a [VehicleFinding],
    rows: &[VehicleWeek],
    vehicles: &'a [VehicleRow],
    modules: impl Fn(&str) -> Vec<&'a ModuleRow>,
) -> Vec<Common> {
    // The first row of a vehicle counts, as elsewhere.
    let sites: BTreeMap<&str, Option<&str>> =
        vehicles.iter().rev().map(|v| (v.vehicle.as_str(), v.site.as_deref())).collect();
    let members: Vec<Member<'_>> = findings
        .iter()
        .zip(rows)
        .filter(|(finding, _)| finding.exposures.iter().any(|e| e.judged))
        .map(|(finding, row)| {
            // A repaired vehicle counts: what was at fault in it was at fault.
            let suspects = finding.suspects.iter().filter(|_| row.need != Need::Desk);
            let hits = finding.exposures.iter().filter(|e| e.incidents > 0).map(|e| e.start);
            let last_hit: Option<Instant> = hits.max();
            Member {
                vehicle: &finding.vehicle,
                network: finding.network.as_deref(),
                site: sites.get(finding.vehicle.as_str()).copied().flatten(),
                suspects: suspects.map(|s| (&s.suspect, s.probability)).collect(),
                last_hit,
                modules: modules(&finding.vehicle),
            }
        })
        .collect();
    common(&members)
}

impl FleetWeek {
    /// How many vehicles need something.
    #[must_use]
    pub fn needing(&self, need: Need) -> usize {
        self.vehicles.iter().filter(|v| v.need == need).count()
    }

    /// How many vehicles have changed in a way, of those with incidents ever.
    #[must_use]
    pub fn changed(&self, change: Change) -> usize {
        self.vehicles.iter().filter(|v| v.leader.is_some() && v.changed.change == change).count()
    }
}
