//! The ranking: priors, blocks of evidence pooled over incidents in log space, and a ledger that adds up.
//!
//! For each block in turn the posterior is worked out with all blocks so far. A suspect's weight of a
//! block is how many decibans that block moved its probability: 10 log10 of prior probability plus all
//! weights is 10 log10 of the stated probability, exactly.

use super::accusations::by_severity;
use super::blocks::{self, BLOCKS, Block};
use super::hypotheses::{Hypothesis, Manner, Space};
use super::interventions::{self, Outcome};
use super::pooling::{Trust, pool};
use super::rates;
use super::scene::Scene;
use crate::conditions::Exposure;
use crate::numerics::logs::{decibans, log_sum_exp, normalise};
use crate::read::ServiceNote;
use crate::vocabulary::{Mechanism, Suspect};

/// A source of weight in the ledger.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Source {
    Block(Block),
    /// A service note, by position.
    Note(usize, Outcome),
}

/// One suspect of the ranking.
#[derive(Debug, Clone)]
pub(super) struct Ranked {
    pub suspect: Suspect,
    pub prior: f64,
    pub probability: f64,
    pub mechanisms: Vec<(Mechanism, f64)>,
    /// Weights in decibans, in the order of the sources.
    pub weights: Vec<f64>,
}

/// The ranking of one vehicle.
#[derive(Debug, Clone)]
pub(super) struct Ranking {
    pub sources: Vec<Source>,
    pub suspects: Vec<Ranked>,
    /// Posterior of every hypothesis, as in the space.
    pub posterior: Vec<f64>,
    /// Log likelihood of each incident, all its blocks together, under every hypothesis.
    pub by_incident: Vec<Vec<f64>>,
    /// The posterior as it would be without one source of weight, in the order of the sources.
    pub without: Vec<Vec<f64>>,
}

/// Ranks the suspects of one vehicle from its incidents (as scenes) and service notes.
pub(super) fn rank(
    space: &Space,
    scenes: &[Scene],
    notes: &[ServiceNote],
    exposures: &[Exposure],
) -> Ranking {
    let hypotheses = &space.hypotheses;
    let ln_prior: Vec<f64> = hypotheses.iter().map(|h| h.prior.ln()).collect();
    let mut totals = vec![vec![0.0; hypotheses.len()]; scenes.len()];
    let mut stages = vec![ln_prior.clone()];
    let mut sources = Vec::new();
    let mut parts: Vec<Vec<Vec<f64>>> = Vec::new();
    let told: Vec<Vec<Vec<f64>>> = scenes
        .iter()
        .map(|scene| hypotheses.iter().map(|h| by_severity(scene, h)).collect())
        .collect();
    for block in BLOCKS {
        let mut present = false;
        let mut part = vec![vec![0.0; hypotheses.len()]; scenes.len()];
        let share = match block {
            Block::Restart | Block::Order | Block::Longest | Block::Waits | Block::BusDown => {
                (rates::PROPERTY_COUNTS / scenes.len().max(1) as f64).min(1.0)
            }
            Block::Tries | Block::Locks | Block::Passive | Block::WireErrors => {
                (rates::SIGNS_COUNT / scenes.len().max(1) as f64).min(1.0)
            }
            Block::Losses => (rates::LOSS_COUNTS / scenes.len().max(1) as f64).min(1.0),
            _ => 1.0,
        };
        let each = scenes.iter().zip(&told).zip(&mut totals).zip(&mut part);
        for (((scene, told), total), own) in each {
            if let Some(values) = block_values(block, scene, hypotheses, told) {
                present = true;
                for ((sum, kept), value) in total.iter_mut().zip(own).zip(values) {
                    *sum += share * value;
                    *kept = share * value;
                }
            }
        }
        if present {
            parts.push(part);
            sources.push(Source::Block(block));
            stages.push(pooled(&ln_prior, &totals, hypotheses));
        }
    }
    let mut noted: Vec<Vec<f64>> = Vec::new();
    for (place, note) in notes.iter().enumerate() {
        let Some(outcome) = interventions::outcome(note, notes, exposures) else { continue };
        let values: Vec<f64> = hypotheses
            .iter()
            .map(|h| {
                let cures = interventions::cures(note, h, &space.nodes);
                log_sum_exp(&[cures.ln() + outcome.if_cured, (1.0 - cures).ln() + outcome.if_not])
            })
            .collect();
        let mut next = stages.last().cloned().unwrap_or_else(|| ln_prior.clone());
        add(&mut next, &values);
        noted.push(values);
        sources.push(Source::Note(place, outcome));
        stages.push(next);
    }
    let without = left_out(&ln_prior, &totals, hypotheses, &parts, &noted);
    let stages: Vec<Vec<f64>> = stages.iter().filter_map(|s| normalise(s)).collect();
    let suspects = by_suspect(hypotheses, &stages);
    let posterior = stages.last().cloned().unwrap_or_default();
    Ranking { sources, suspects, posterior, by_incident: totals, without }
}

fn add(to: &mut [f64], values: &[f64]) {
    for (sum, value) in to.iter_mut().zip(values) {
        *sum += value;
    }
}

/// The posterior without each block, then without each note.
fn left_out(
    ln_prior: &[f64],
    totals: &[Vec<f64>],
    hypotheses: &[Hypothesis],
    parts: &[Vec<Vec<f64>>],
    noted: &[Vec<f64>],
) -> Vec<Vec<f64>> {
    let finish = |mut logs: Vec<f64>, skipped: Option<usize>| {
        for (place, values) in noted.iter().enumerate() {
            if Some(place) != skipped {
                add(&mut logs, values);
            }
        }
        normalise(&logs).unwrap_or_default()
    };
    let mut out = Vec::with_capacity(parts.len() + noted.len());
    for part in parts {
        let less: Vec<Vec<f64>> = totals
            .iter()
            .zip(part)
            .map(|(total, own)| total.iter().zip(own).map(|(t, v)| t - v).collect())
            .collect();
        out.push(finish(pooled(ln_prior, &less, hypotheses), None));
    }
    if !noted.is_empty() {
        let all = pooled(ln_prior, totals, hypotheses);
        out.extend((0..noted.len()).map(|place| finish(all.clone(), Some(place))));
    }
    out
}

/// The block's log likelihood under each hypothesis; `Other`, and what has no theory of this block,
/// receives the prior-weighted mean of the rest. `told`: what the accusations say under each, by severity.
fn block_values(
    block: Block,
    scene: &Scene,
    hypotheses: &[Hypothesis],
    told: &[Vec<f64>],
) -> Option<Vec<f64>> {
    let mut values = Vec::with_capacity(hypotheses.len());
    for (h, told) in hypotheses.iter().zip(told) {
        values.push(blocks::ln_likelihood(block, scene, h, told)?);
    }
    let neutral = |h: &Hypothesis, v: f64| {
        v.is_nan() || (h.manner == Manner::Other && block != Block::Silence)
    };
    let known: Vec<f64> = hypotheses
        .iter()
        .zip(&values)
        .filter(|(h, v)| !neutral(h, **v))
        .map(|(h, v)| h.prior.ln() + v)
        .collect();
    let weight: f64 = hypotheses
        .iter()
        .zip(&values)
        .filter(|(h, v)| !neutral(h, **v))
        .map(|(h, _)| h.prior)
        .sum();
    let mean = log_sum_exp(&known) - weight.ln();
    for (h, value) in hypotheses.iter().zip(&mut values) {
        if neutral(h, *value) {
            *value = mean;
        }
    }
    Some(values)
}

/// Prior and incidents so far: contaminated, tempered, in logs, not normalised.
fn pooled(ln_prior: &[f64], totals: &[Vec<f64>], hypotheses: &[Hypothesis]) -> Vec<f64> {
    let other = hypotheses.iter().position(|h| h.manner == Manner::Other);
    let temper = rates::TEMPER + (1.0 - rates::TEMPER) / (totals.len().max(1) as f64);
    let contamination = rates::CONTAMINATION;
    pool(ln_prior, totals, other, Trust { contamination, temper, one_is_its_own: true })
}

fn by_suspect(hypotheses: &[Hypothesis], stages: &[Vec<f64>]) -> Vec<Ranked> {
    let mut names: Vec<&Suspect> = hypotheses.iter().map(|h| &h.suspect).collect();
    names.sort();
    names.dedup();
    let mut ranked: Vec<Ranked> = names
        .into_iter()
        .map(|name| {
            let own = || hypotheses.iter().enumerate().filter(|(_, h)| h.suspect == *name);
            let at: Vec<f64> =
                stages.iter().map(|s| own().map(|(n, _)| s[n]).sum::<f64>().max(1e-300)).collect();
            let last = stages.last();
            let mut mechanisms: Vec<(Mechanism, f64)> = [Mechanism::Disturbs, Mechanism::DropsOut]
                .into_iter()
                .map(|m| {
                    let share = own().filter(|(_, h)| h.mechanism() == Some(m));
                    (m, share.filter_map(|(n, _)| last.map(|l| l[n])).sum())
                })
                .filter(|(_, p): &(Mechanism, f64)| *p > 0.0)
                .collect();
            mechanisms.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            Ranked {
                suspect: name.clone(),
                prior: at.first().copied().unwrap_or(0.0),
                probability: at.last().copied().unwrap_or(0.0),
                mechanisms,
                weights: at.windows(2).map(|w| decibans(w[1].ln() - w[0].ln())).collect(),
            }
        })
        .collect();
    ranked.sort_by(|a, b| {
        b.probability.total_cmp(&a.probability).then_with(|| a.suspect.cmp(&b.suspect))
    });
    ranked
}
