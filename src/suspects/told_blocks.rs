//! The blocks of evidence that rest on reports: how old the codes are, who says that the bus was down, who answered the
//! tester, and the supply. As in `blocks`: natural logarithms, `None` when the block is absent.

use super::accusations::severities_told;
use super::blocks::{bernoulli, mixed, off_the_bus, severities, surely_struck};
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Level as Weighted};
use super::scene::Scene;
use crate::numerics::logs::{ln_choose, log_sum_exp};

/// Whether codes that were history at first sight, perhaps after a repair, tell of an old fault.
pub(super) fn age(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let all = scene.all_history?;
    let pick = |(stale, living): (f64, f64)| if h.manner == Manner::Stale { stale } else { living };
    let noted = scene.repaired_before.filter(|_| all);
    let repaired = noted.map_or(0.0, |noted| bernoulli(noted, pick(rates::REPAIRED_BEFORE)));
    let repeats = f64::from(scene.repeats) * pick(rates::REPEATED).ln();
    let alone = if all { alone(scene, h) } else { 0.0 };
    Some(bernoulli(all, pick(rates::ALL_HISTORY)) + repaired + repeats + alone)
}

/// Whether an incident that only old codes or missing answers tell of is the vehicle's only one.
fn alone(scene: &Scene, h: &Hypothesis) -> f64 {
    let (stale, tester, living) = rates::ALONE;
    let p = match h.manner {
        Manner::Stale => stale,
        Manner::Artefact => tester,
        _ => living,
    };
    bernoulli(scene.alone, p)
}

pub(super) fn bus_down(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    if scene.says_down.is_empty() {
        return None;
    }
    let (whole, cut, otherwise) = rates::SAYS_DOWN;
    let p = |node: usize| match h.manner {
        Manner::Talks | Manner::BusOff | Manner::Wires if h.reach[node] => whole,
        Manner::CutOff | Manner::Branch if h.struck[node] => cut,
        // Valid frames send nobody bus-off.
        Manner::Supply | Manner::Floods | Manner::Strays => otherwise * 2.0,
        _ => otherwise,
    };
    let sum: f64 = scene.says_down.iter().map(|(n, says)| bernoulli(*says, p(*n))).sum();
    // Many networks have no module that stores such codes at all.
    let never: f64 = scene.says_down.iter().map(|(_, says)| bernoulli(*says, otherwise)).sum();
    let share = rates::NEVER_SAYS_DOWN;
    // Copies of one event, like accusations.
    Some(log_sum_exp(&[share.ln() + never, (1.0 - share).ln() + sum]) * rates::ACCUSATIONS_COUNT)
}

/// `told` is what the accusations say at each severity.
pub(super) fn answers(scene: &Scene, h: &Hypothesis, told: &[f64]) -> Option<f64> {
    let (tester, living) = rates::UNCORROBORATED;
    let word = match (scene.uncorroborated, h.manner) {
        (false, _) => 0.0,
        (true, Manner::Artefact) => tester.ln() + alone(scene, h),
        (true, _) => living.ln() + alone(scene, h),
    };
    mute(scene, h, told).map(|ln| ln + word)
}

/// Which of the asked nodes were mute.
fn mute(scene: &Scene, h: &Hypothesis, told: &[f64]) -> Option<f64> {
    if scene.answers.is_empty() {
        return None;
    }
    let (struck_mute, else_mute) = rates::MUTE;
    let plain = || scene.answers.iter().filter(|a| a.is_plain());
    let silent = plain().filter(|a| a.mute).count() as u64;
    let asked = plain().count() as u64;
    if h.manner == Manner::Artefact {
        // The tester's own trouble: any number, any nodes.
        let some = if silent == 0 { 0.3f64.ln() } else { (0.7 / asked.max(1) as f64).ln() };
        return Some(some - ln_choose(asked, silent));
    }
    let after: f64 = scene.answers.iter().map(|a| a.share * bernoulli(a.mute, else_mute)).sum();
    if h.manner == Manner::Stale {
        return Some(after);
    }
    let levels = if severities(h.manner) == rates::BYSTANDER {
        rates::BYSTANDER_MUTE.to_vec()
    } else {
        // One severity makes codes and missing answers alike.
        severities_told(h, told)
    };
    let during = mixed(&levels, |severity| {
        scene
            .answers
            .iter()
            .map(|a| {
                // An answer to a tester mostly has a weak identifier, whoever sends it.
                let off = match h.manner {
                    Manner::Floods if h.reach[a.node] && !h.struck[a.node] => severity,
                    _ => off_the_bus(h, a.node, severity),
                };
                let foreseen = else_mute.max(struck_mute * off);
                let p = if surely_struck(h, a.node) {
                    foreseen
                } else {
                    scene.mute_before[a.node].temper(foreseen)
                };
                a.share * bernoulli(a.mute, p)
            })
            .sum()
    });
    let share = rates::SCAN_DURING;
    Some(log_sum_exp(&[share.ln() + during, (1.0 - share).ln() + after]))
}

pub(super) fn supply(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    if scene.voltage.is_none() && scene.own_supply.is_empty() && scene.early.is_none() {
        return None;
    }
    let mut total = 0.0;
    if let Some(level) = scene.voltage {
        let table = match h.manner {
            Manner::Supply => rates::VOLTAGE_SUPPLY,
            Manner::Feed | Manner::Ground => rates::VOLTAGE_FEED,
            _ => rates::VOLTAGE_OTHER,
        };
        total += table[level].ln();
    }
    total += own_supply(scene, h) * rates::ACCUSATIONS_COUNT;
    if let Some(early) = scene.early {
        let (cranking, otherwise) = rates::EARLY;
        total += bernoulli(early, if h.manner == Manner::Supply { cranking } else { otherwise });
    }
    Some(total)
}

/// Who stored a code about its own supply: under a dip many may, under a lost feed or ground those on it.
fn own_supply(scene: &Scene, h: &Hypothesis) -> f64 {
    let levels: &[Weighted] = match h.manner {
        Manner::Supply => &rates::OWN_SUPPLY_DIP,
        Manner::Feed | Manner::Ground => &rates::OWN_SUPPLY_LINE,
        _ => &rates::OWN_SUPPLY_CHANCE,
    };
    mixed(levels, |level| {
        let each = scene.own_supply.iter().map(|(node, says)| {
            let reached = h.manner == Manner::Supply || h.struck[*node];
            bernoulli(*says, if reached { level } else { rates::OWN_SUPPLY_FALSE })
        });
        each.sum()
    })
}
