//! The blocks of evidence of one incident: the likelihood of what was seen under each hypothesis.
//!
//! Given what was silent, the blocks are taken as independent. A block that has nothing to say (no
//! log, no scan) is absent: it returns `None` and moves nothing. All values are natural logarithms.

use super::accusations::accusations;
use super::hypotheses::{Hypothesis, Manner};
use super::rates::{self, Level as Weighted};
use super::scene::{Level, Scene};
use crate::numerics::logs::{ln_choose, log_sum_exp};

/// The blocks, in the order of the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Block {
    Silence,
    Restart,
    Order,
    Disturbance,
    Losses,
    Accusations,
    Age,
    BusDown,
    Answers,
    Supply,
}

/// All blocks, in order.
pub(super) const BLOCKS: [Block; 10] = [
    Block::Silence,
    Block::Restart,
    Block::Order,
    Block::Disturbance,
    Block::Losses,
    Block::Accusations,
    Block::Age,
    Block::BusDown,
    Block::Answers,
    Block::Supply,
];

/// ln P(block | hypothesis) with the block's own discount; `None` when the block is absent.
/// [`Manner::Other`] has a theory of silence only; elsewhere the caller gives it the mean of the rest.
pub(super) fn ln_likelihood(block: Block, scene: &Scene, h: &Hypothesis) -> Option<f64> {
    match block {
        Block::Silence => silence(scene, h),
        Block::Restart => restart(scene, h),
        Block::Order => order(scene, h),
        Block::Disturbance => disturbance(scene, h),
        Block::Losses => losses(scene, h),
        Block::Age => age(scene, h),
        Block::Accusations => accusations(scene, h).map(|l| l * rates::ACCUSATIONS_COUNT),
        Block::BusDown => bus_down(scene, h),
        Block::Answers => answers(scene, h).map(|l| l * rates::ANSWERS_COUNT),
        Block::Supply => supply(scene, h),
    }
}

pub(super) fn bernoulli(happened: bool, p: f64) -> f64 {
    if happened { p.ln() } else { (1.0 - p).ln() }
}

/// ln of a mixture over levels of severity.
fn mixed(levels: &[Weighted], each: impl Fn(f64) -> f64) -> f64 {
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
fn off_the_bus(h: &Hypothesis, node: usize, severity: f64) -> f64 {
    let reached = h.reach[node];
    match h.manner {
        Manner::Dead | Manner::CutOff | Manner::Branch | Manner::Feed | Manner::Ground => {
            if h.struck[node] { rates::STRUCK } else { severity }
        }
        Manner::BusOff if h.struck[node] => rates::STRUCK,
        Manner::Talks if h.struck[node] => 0.02 + rates::TALKER_UNHEARD * severity,
        Manner::Floods if h.struck[node] => 0.02,
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
fn surely_struck(h: &Hypothesis, node: usize) -> bool {
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

fn order(scene: &Scene, h: &Hypothesis) -> Option<f64> {
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
    Some(table[level].ln() + bernoulli(scene.flood, seen) + owner)
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

/// Whether codes that were history at first sight, perhaps after a repair, tell of an old fault.
fn age(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let all = scene.all_history?;
    let pick = |(stale, living): (f64, f64)| if h.manner == Manner::Stale { stale } else { living };
    let repaired =
        if all { bernoulli(scene.repaired_before, pick(rates::REPAIRED_BEFORE)) } else { 0.0 };
    let repeats = f64::from(scene.repeats) * pick(rates::REPEATED).ln();
    Some(bernoulli(all, pick(rates::ALL_HISTORY)) + repaired + repeats)
}

fn bus_down(scene: &Scene, h: &Hypothesis) -> Option<f64> {
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

fn answers(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    let (tester, living) = rates::UNCORROBORATED;
    let word = match (scene.uncorroborated, h.manner) {
        (false, _) => 0.0,
        (true, Manner::Artefact) => tester.ln(),
        (true, _) => living.ln(),
    };
    mute(scene, h).map(|ln| ln + word)
}

/// Which of the asked nodes were mute.
fn mute(scene: &Scene, h: &Hypothesis) -> Option<f64> {
    if scene.answers.is_empty() {
        return None;
    }
    let (struck_mute, else_mute) = rates::MUTE;
    let silent = scene.answers.iter().filter(|(_, answered)| !answered).count() as u64;
    let asked = scene.answers.len() as u64;
    if h.manner == Manner::Artefact {
        // The tester's own trouble: any number, any nodes.
        let some = if silent == 0 { 0.3f64.ln() } else { (0.7 / asked as f64).ln() };
        return Some(some - ln_choose(asked, silent));
    }
    let after: f64 = scene.answers.iter().map(|(_, a)| bernoulli(!a, else_mute)).sum();
    if h.manner == Manner::Stale {
        return Some(after);
    }
    let by_manner = severities(h.manner);
    let levels = if by_manner == rates::BYSTANDER { &rates::BYSTANDER_MUTE[..] } else { by_manner };
    let during = mixed(levels, |severity| {
        scene
            .answers
            .iter()
            .map(|(node, answered)| {
                let foreseen = else_mute.max(struck_mute * off_the_bus(h, *node, severity));
                let p = if surely_struck(h, *node) {
                    foreseen
                } else {
                    scene.mute_before[*node].temper(foreseen)
                };
                bernoulli(!answered, p)
            })
            .sum()
    });
    let share = rates::SCAN_DURING;
    Some(log_sum_exp(&[share.ln() + during, (1.0 - share).ln() + after]))
}

fn supply(scene: &Scene, h: &Hypothesis) -> Option<f64> {
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
