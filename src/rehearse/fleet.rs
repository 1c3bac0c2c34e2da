//! A random fleet: each vehicle draws what is wrong with it, how often it shows, and how well
//! it was watched.

use chrono::NaiveDate;

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::invented_network::invent;
use crate::rehearse::scenario::{
    Evidence, FaultPlan, FleetPlan, How, LogPlan, Profile, ScanPlan, Scenario, SitePlan, Trigger,
    VehiclePlan,
};

/// Networks that a random fleet gets when the scenario describes none.
const INVENTED: [&str; 6] = ["N1", "N2", "N3", "N4", "N5", "N6"];

/// Completes a scenario: the told vehicles, then the random ones with their networks and site.
pub(crate) fn complete(scenario: &mut Scenario) -> Result<Vec<VehiclePlan>, RehearseError> {
    let mut plans = scenario.vehicle.clone();
    let Some(fleet) = scenario.fleet.clone() else { return Ok(plans) };
    if scenario.network.is_empty() {
        scenario.network = INVENTED.iter().map(|name| invent(scenario.seed, name)).collect();
    }
    if scenario.site.is_empty() {
        scenario.site.push(SitePlan {
            name: "yard".to_owned(),
            mean_c: 3.0,
            daily_swing_c: 6.0,
            slow_c: 3.5,
            humidity_pct: 82.0,
            rain_share: 0.15,
            wash_hour: None,
        });
    }
    scenario.evidence = evidence(fleet.profile);
    for number in 1..=fleet.random {
        plans.push(random_vehicle(scenario, &fleet, number));
    }
    Ok(plans)
}

fn evidence(profile: Profile) -> Evidence {
    let usual = Evidence { csv_reports: 0.2, ..Evidence::default() };
    match profile {
        Profile::Clear => Evidence {
            error_frames: 1.0,
            never_store: 0.05,
            codes_missing: 0.01,
            noise_codes: 0.01,
            answers_missing: 0.001,
            tester_clock_s: 2.0,
            blind_spots: 0.05,
            ..usual
        },
        Profile::Mixed => usual,
        Profile::Murky => Evidence {
            error_frames: 0.4,
            never_store: 0.35,
            codes_missing: 0.2,
            noise_codes: 0.25,
            answers_missing: 0.02,
            tester_clock_s: 240.0,
            blind_spots: 0.5,
            ..usual
        },
    }
}

/// Fault kinds and how often a random fleet has them; the rest is healthy.
const KINDS: [(How, f64); 13] = [
    (How::ErrorBursts, 0.07),
    (How::BusOff, 0.05),
    (How::Babbling, 0.04),
    (How::SupplyLost, 0.11),
    (How::ConnectorOpen, 0.11),
    (How::BranchOpen, 0.14),
    (How::FeedLost, 0.08),
    (How::GroundLost, 0.06),
    (How::WiresShorted, 0.04),
    (How::WiresNoisy, 0.03),
    (How::WeakBattery, 0.08),
    (How::BadTester, 0.05),
    (How::StaleCodes, 0.04),
];

/// Share of babbling nodes that flood with an identifier of their own. (FACTS 4.5 names both forms, this first; the
/// share: judgement)
const OWN_FLOODS: f64 = 0.65;

fn kind(chance: &mut Chance) -> Option<How> {
    let mut left = chance.unit();
    for (how, share) in KINDS {
        if left < share {
            return Some(how);
        }
        left -= share;
    }
    None
}

fn random_vehicle(scenario: &Scenario, fleet: &FleetPlan, number: u32) -> VehiclePlan {
    let name = format!("{}{number:04}", fleet.prefix);
    let mut chance = Chance::of(scenario.seed, &["random vehicle", &name]);
    let network = &scenario.network[chance.index(scenario.network.len())];
    let how = kind(&mut chance);
    let fault = how.map(|how| {
        let place = chance.index(network.node.len());
        let node = &network.node[place];
        let feed = node.feed.clone().unwrap_or_default();
        let ground = node.ground.clone().unwrap_or_default();
        let branch = node.branch.first().cloned().unwrap_or_default();
        let suspect = match how {
            How::BranchOpen => format!("branch:{branch}"),
            How::FeedLost => format!("feed:{feed}"),
            How::GroundLost => format!("ground:{ground}"),
            How::WiresShorted | How::WiresNoisy => format!("bus:{}", network.bus[0].name),
            How::WeakBattery => "supply".to_owned(),
            How::BadTester | How::StaleCodes => "none".to_owned(),
            _ => format!("node:{}", node.name),
        };
        let early = how == How::WeakBattery;
        FaultPlan {
            suspect,
            how,
            trigger: random_trigger(&mut chance),
            incidents: Some(chance.whole(1, 12)),
            onset_s: if early { [0.8, 2.0] } else { [3.0, 25.0] },
            seconds: [2.0, 14.0],
            own_identifier: Chance::of(scenario.seed, &["own flood", &name]).happens(OWN_FLOODS),
            until: None,
        }
    });
    let weak = how == Some(How::WeakBattery);
    let with_logs = fleet.with_logs.unwrap_or(match fleet.profile {
        Profile::Clear => 0.95,
        Profile::Mixed => 0.65,
        Profile::Murky => 0.35,
    });
    let logged = chance.happens(with_logs);
    let site = &scenario.site[chance.index(scenario.site.len())];
    VehiclePlan {
        name,
        network: network.name.clone(),
        site: site.name.clone(),
        in_service: NaiveDate::from_ymd_opt(2023, 1 + chance.whole(0, 11), 1).unwrap_or_default(),
        odometer_km: chance.whole(8_000, 160_000),
        starts_per_day: [2, 4],
        battery_v: if weak { 11.7 } else { chance.within([12.4, 12.8]) },
        fault: fault.into_iter().collect(),
        logs: random_logs(logged, fleet.profile, &mut chance),
        scans: random_scans(fleet.profile),
        note: Vec::new(),
        part: Vec::new(),
    }
}

fn random_trigger(chance: &mut Chance) -> Trigger {
    let mut trigger = Trigger { met: 0.6, otherwise: 0.03, ..Trigger::default() };
    match chance.index(5) {
        0 => trigger.below_c = Some(2.0),
        1 => trigger.wet = Some(true),
        2 => {
            trigger.wet = Some(true);
            trigger.below_c = Some(4.0);
        }
        3 => trigger.soak_h = Some(6.0),
        _ => trigger.otherwise = 0.6,
    }
    trigger
}

fn random_logs(logged: bool, profile: Profile, chance: &mut Chance) -> LogPlan {
    if !logged {
        return LogPlan::default();
    }
    let (incidents, healthy) = match profile {
        Profile::Clear => (12, 4),
        Profile::Mixed => (chance.whole(1, 6), 3),
        Profile::Murky => (chance.whole(1, 3), 2),
    };
    LogPlan { incidents, healthy, seconds: [15.0, 30.0] }
}

fn random_scans(profile: Profile) -> ScanPlan {
    match profile {
        Profile::Clear => ScanPlan { after: 0.9, during: 0.3, later: 0.5, weekly: true },
        Profile::Mixed => ScanPlan { after: 0.5, during: 0.15, later: 0.5, weekly: true },
        Profile::Murky => ScanPlan { after: 0.2, during: 0.05, later: 0.6, weekly: true },
    }
}
