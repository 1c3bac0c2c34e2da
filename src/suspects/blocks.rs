//! The blocks of evidence of one incident: the likelihood of what was seen under each hypothesis.
//!
//! Given what was silent, the blocks are taken as independent. A block that has nothing to say (no
//! log, no scan) is absent: it returns `None` and moves nothing. All values are natural logarithms.

use super::accusations::accusations;
use super::finer_blocks;
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Level as Weighted};
use super::scene::{Level, Scene};
use super::told_blocks;
use crate::numerics::logs::{ln_choose, log_sum_exp};

/// The blocks, in the order of the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Block {
    Silence,
    Restart,
    Waits,
    Order,
    Longest,
    Disturbance,
    WireErrors,
    Losses,
    Tries,
    Locks,
    Passive,
    Accusations,
    Age,
    BusDown,
    Answers,
    Supply,
}

/// All blocks, in order.
pub(super) const BLOCKS: [Block; 16] = [
    Block::Silence,
    Block::Restart,
    Block::Waits,
    Block::Order,
    Block::Longest,
    Block::Disturbance,
    Block::WireErrors,
    Block::Losses,
    Block::Tries,
    Block::Locks,
    Block::Passive,
    Block::Accusations,
    Block::Age,
    Block::BusDown,
    Block::Answers,
    Block::Supply,
];

/// ln P(block | hypothesis) with the block's own discount; `None` when the block is absent.
/// [`Manner::Other`] has a theory of silence only; elsewhere the caller gives it the mean of the rest. `told` is what
/// the accusations say at each severity, which codes and answers share.
pub(super) fn ln_likelihood(
    block: Block,
    scene: &Scene,
    h: &Hypothesis,
    told: &[f64],
) -> Option<f64> {
    match block {
        Block::Silence => silence(scene, h),
        Block::Restart => restart(scene, h),
        Block::Waits => finer_blocks::waits(scene, h),
        Block::Order => finer_blocks::order(scene, h),
        Block::Longest => longest(scene, h),
        Block::Disturbance => disturbance(scene, h),
        Block::WireErrors => finer_blocks::wire_errors(scene, h),
        Block::Losses => losses(scene, h),
        Block::Tries => finer_blocks::tries(scene, h),
        Block::Locks => finer_blocks::locks(scene, h),
        Block::Passive => finer_blocks::passive(scene, h),
        Block::Age => told_blocks::age(scene, h),
        Block::Accusations => accusations(scene, h, told).map(|l| l * rates::ACCUSATIONS_COUNT),
        Block::BusDown => told_blocks::bus_down(scene, h),
        Block::Answers => told_blocks::answers(scene, h, told).map(|l| l * rates::ANSWERS_COUNT),
        Block::Supply => told_blocks::supply(scene, h),
    }
}

pub(super) fn bernoulli(happened: bool, p: f64) -> f64 {
    if happened { p.ln() } else { (1.0 - p).ln() }
}

/// ln of a mixture over levels of severity.
pub(super) fn mixed(levels: &[Weighted], each: impl Fn(f64) -> f64) -> f64 {
    let terms: Vec<f64> = levels.iter().map(|(weight, level)| weight.ln() + each(*level)).collect();
    log_sum_exp(&terms)
}

/// How many of the others a hypothesis strikes, by severity.
pub(super) fn severities(manner: Manner) -> &'static [Weighted] {
    match manner {
        Manner::Talks | Manner::Floods | Manner::Strays => &rates::DISTURBED,
        Manner::BusOff => &rates::DISTURBED_SHORTLY,
        Manner::Wires => &rates::WIRES,
        Manner::Supply => &rates::SUPPLY,
        _ => &rates::BYSTANDER,
    }
}

/// Probability that a node is off the bus under a hypothesis, at a severity.
pub(super) fn off_the_bus(h: &Hypothesis, node: usize, severity: f64) -> f64 {
    let reached = h.reach[node];
    match h.manner {
        Manner::Dead | Manner::CutOff | Manner::Branch | Manner::Feed | Manner::Ground => {
            if h.struck[node] { rates::STRUCK } else { severity }
        }
        Manner::BusOff if h.struck[node] => rates::STRUCK,
        Manner::Talks if h.struck[node] => 0.02 + rates::TALKER_UNHEARD * severity,
        Manner::Floods if h.struck[node] => 0.02,
        // Stronger frames than the flood's pass as ever.
        Manner::Floods if reached => (severity * h.outranks[node]).max(0.02),
        Manner::BusOff
        | Manner::Talks
        | Manner::Floods
        | Manner::Strays
        | Manner::Wires
        | Manner::Supply => {
            if reached {
                severity
            } else {
                0.02
            }
        }
        Manner::Artefact | Manner::Stale | Manner::Other => 0.01,
    }
}

/// Whether a hypothesis stands or falls with this node: it is struck each time, not by habit.
pub(super) fn surely_struck(h: &Hypothesis, node: usize) -> bool {
    h.struck[node]
        && matches!(
            h.manner,
            Manner::Dead
                | Manner::CutOff
                | Manner::BusOff
                | Manner::Branch
                | Manner::Feed
                | Manner::Ground
        )
}

fn silence(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    scene.level?;
    let seen: Vec<(usize, bool)> =
        scene.silent.iter().enumerate().filter_map(|(n, s)| s.map(|s| (n, s))).collect();
    if seen.is_empty() {
        return None;
    }
    let (n, k) = (seen.len() as u64, scene.silent_count as u64);
    if h.manner == Manner::Other {
        // Uniform over how many, then over which.
        return Some(-((n + 1) as f64).ln() - ln_choose(n, k));
    }
    Some(mixed(severities(h.manner), |severity| {
        seen.iter()
            .map(|(node, silent)| {
                let foreseen = off_the_bus(h, *node, severity);
                let p = if surely_struck(h, *node) {
                    foreseen
                } else {
                    scene.silent_before[*node].temper(foreseen)
                };
                bernoulli(*silent, p)
            })
            .sum()
    }))
}

fn restart(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let known: Vec<(usize, bool)> =
        scene.restarted.iter().enumerate().filter_map(|(n, r)| r.map(|r| (n, r))).collect();
    if known.is_empty() {
        return None;
    }
    let (without_power, with_power) = rates::RESTARTS;
    let p = |node: usize| match h.manner {
        Manner::Dead | Manner::Feed | Manner::Ground | Manner::Supply if h.struck[node] => {
            without_power
        }
        Manner::CutOff
        | Manner::BusOff
        | Manner::Talks
        | Manner::Floods
        | Manner::Strays
        | Manner::Branch
        | Manner::Wires => with_power,
        _ => 0.5,
    };
    let mean = known.iter().map(|(n, r)| bernoulli(*r, p(*n))).sum::<f64>() / known.len() as f64;
    // Nodes that come back together tell one thing: at most two of them count.
    Some(mean * (known.len().min(2)) as f64)
}

fn longest(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let node = scene.stands_out?;
    let others = (scene.silent_count.max(2) - 1) as f64;
    let even = 1.0 / (others + 1.0);
    let stands_out = match h.manner {
        Manner::Dead | Manner::CutOff | Manner::BusOff => rates::STANDS_OUT,
        Manner::Strays => rates::FLOODER_STANDS_OUT.max(even),
        _ => even,
    };
    let p = if h.struck[node] { stands_out } else { (1.0 - stands_out) / others };
    Some(if h.struck.iter().filter(|s| **s).count() == 1 { p.ln() } else { even.ln() })
}

fn disturbance(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let level = match scene.level? {
        Level::None => 0,
        Level::Low => 1,
        Level::High => 2,
    };
    let table = match h.manner {
        Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays => rates::LEVELS_DISTURBER,
        Manner::Dead | Manner::CutOff => rates::LEVELS_DROP_OUT,
        Manner::Feed | Manner::Ground => rates::LEVELS_UNPOWERED,
        Manner::Branch => rates::LEVELS_BRANCH,
        Manner::Wires => rates::LEVELS_WIRES,
        Manner::Supply => rates::LEVELS_SUPPLY,
        Manner::Artefact | Manner::Stale | Manner::Other => rates::LEVELS_NONE,
    };
    let (floods, disturbs, otherwise) = rates::FLOOD_SEEN;
    let seen = match h.manner {
        Manner::Floods | Manner::Strays => floods,
        Manner::Talks | Manner::BusOff => disturbs,
        _ => otherwise,
    };
    let owner = if scene.flood { flood_owner(scene, h) } else { 0.0 };
    let strength = if level == 0 && !scene.error_channel {
        // All such incidents show one and the same logger.
        let (none, all) = (rates::NO_ERROR_CHANNEL, scene.calm.max(1) as f64);
        (none * unnoticed(h.manner).powf(all) + (1.0 - none) * table[0].powf(all)).ln() / all
    } else {
        table[level].ln()
    };
    Some(strength + bernoulli(scene.flood, seen) + owner)
}

/// That a log without error frames shows nothing of a disturbance.
fn unnoticed(manner: Manner) -> f64 {
    let (disturber, wires, otherwise) = rates::UNNOTICED;
    match manner {
        Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays => disturber,
        Manner::Wires => wires,
        _ => otherwise,
    }
}

/// Whose identifier floods.
fn flood_owner(scene: &Scene, h: &Hypothesis) -> f64 {
    let table = match h.manner {
        Manner::Floods => rates::FLOOD_BY_OWN,
        Manner::Strays => rates::FLOOD_BY_STRAY,
        _ => {
            let (somebody, nobody) = rates::FLOOD_BY_CHANCE;
            return if scene.floods.is_some() { somebody } else { nobody }.ln();
        }
    };
    let [own, other, nobody] = table;
    match scene.floods {
        Some(node) if h.struck[node] => own.ln(),
        Some(_) => other.ln(),
        None => nobody.ln(),
    }
}

/// Who lost fewer or more frames than its rate explains while the bus was disturbed.
fn losses(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    // A flood starves the low priorities, whoever sends them: losses then tell nothing of the sender.
    if scene.flood || scene.loss.iter().flatten().count() < 5 {
        return None;
    }
    let own: &[(f64, f64, f64)] = match h.manner {
        Manner::Talks => &rates::LOSS_TALKER,
        Manner::BusOff
        | Manner::Dead
        | Manner::CutOff
        | Manner::Branch
        | Manner::Feed
        | Manner::Ground => &rates::LOSS_STRUCK,
        // A dip may strike any node: what each loses says nothing.
        Manner::Supply => return Some(f64::NAN),
        _ => {
            let (middle, wide) = rates::OTHERS_LOSE;
            return Some(student((scene.others_lose / middle).ln() / wide, wide));
        }
    };
    let (middle, wide) = match h.manner {
        Manner::BusOff => rates::OTHERS_LOSE_SHORTLY,
        _ => rates::OTHERS_LOSE,
    };
    let others = student((scene.others_lose / middle).ln() / wide, wide);
    let mut total = 0.0;
    let mut struck = 0;
    for loss in scene.loss.iter().zip(&h.struck).filter(|(_, s)| **s).filter_map(|(l, _)| *l) {
        let terms: Vec<f64> = own
            .iter()
            .map(|(share, mean, spread)| {
                let spread = spread.hypot(loss.error);
                share.ln() + student((loss.off - mean) / spread, spread)
            })
            .collect();
        let scatter = rates::LOSS_BYSTANDER.hypot(loss.error);
        total += log_sum_exp(&terms) - student(loss.off / scatter, scatter) + loss.relief;
        struck += 1;
    }
    if struck == 0 {
        return Some(others);
    }
    Some(others + (total / f64::from(struck)).clamp(-rates::MOST_BY_LOSS, rates::MOST_BY_LOSS))
}

/// ln density, up to a constant, of Student's t with four degrees of freedom and a scale.
pub(super) fn student(z: f64, scale: f64) -> f64 {
    -2.5 * (1.0 + z * z / 4.0).ln() - scale.ln()
}
