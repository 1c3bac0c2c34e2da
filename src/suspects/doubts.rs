//! What would change the verdict, and which incidents the leader does not explain.

use super::blocks::Block;
use super::findings::OtherCause;
use super::habit::remember;
use super::hypotheses::{Manner, Space};
use super::ranking::{Ranked, Ranking, Source, rank};
use super::rates;
use super::scene::Scene;
use crate::numerics::logs::decibans;
use crate::vocabulary::Suspect;

/// An incident that favours another suspect by more than this is not the leader's, decibans. (METHODS 3.4)
const NOT_ITS_OWN_DB: f64 = 10.0;
/// Less than this does not tell two suspects apart, decibans. (METHODS 3.5: below 3 "nothing"; a sum of several may)
const TELLS_APART_DB: f64 = 1.0;
/// Sentences on what would change the verdict, at most.
const MOST: usize = 3;

/// The causes that remain when the leader's incidents are taken away: those that it cannot explain are
/// ranked anew without it, again and again while they name somebody.
pub(super) fn other_causes(space: &Space, ranking: &Ranking, scenes: &[Scene]) -> Vec<OtherCause> {
    let mut causes = Vec::new();
    let Some(first) = ranking.suspects.first() else { return causes };
    let mut explained = vec![first.suspect.clone()];
    let mut left: Vec<usize> = unexplained(space, ranking, &explained);
    // Two incidents at least: a single odd one is covered by the contamination that every suspect pays.
    while left.len() >= 2 && causes.len() < 2 {
        let mut own: Vec<Scene> = left.iter().filter_map(|n| scenes.get(*n).cloned()).collect();
        remember(&mut own);
        let next = rank(space, &own, &[], &[]);
        let Some(leader) = next.suspects.iter().find(|s| !explained.contains(&s.suspect)) else {
            break;
        };
        if leader.probability < rates::DECIDED {
            break;
        }
        let of_leader = unexplained(space, &next, std::slice::from_ref(&leader.suspect));
        let covered = left.len() - of_leader.len();
        if covered < 2 {
            break;
        }
        causes.push(OtherCause {
            suspect: leader.suspect.clone(),
            probability: leader.probability,
            incidents: covered,
            of: scenes.len(),
        });
        explained.push(leader.suspect.clone());
        left = of_leader.iter().filter_map(|n| left.get(*n).copied()).collect();
    }
    causes
}

/// How many incidents the leader explains: all but those that favour another suspect clearly.
pub(super) fn explained_by_leader(space: &Space, ranking: &Ranking) -> usize {
    let Some(first) = ranking.suspects.first() else { return 0 };
    let not = unexplained(space, ranking, std::slice::from_ref(&first.suspect)).len();
    ranking.by_incident.len() - not
}

/// Positions of the incidents that favour somebody else than `names` by more than the limit.
fn unexplained(space: &Space, ranking: &Ranking, names: &[Suspect]) -> Vec<usize> {
    let mine = |suspect: &Suspect| names.contains(suspect);
    let best = |logs: &[f64], own: bool| {
        space
            .hypotheses
            .iter()
            .zip(logs)
            .filter(|(h, _)| mine(&h.suspect) == own)
            .map(|(h, l)| h.prior.ln() + l)
            .fold(f64::NEG_INFINITY, f64::max)
    };
    ranking
        .by_incident
        .iter()
        .enumerate()
        .filter(|(_, logs)| decibans(best(logs, false) - best(logs, true)) > NOT_ITS_OWN_DB)
        .map(|(n, _)| n)
        .collect()
}

/// Whether `none` stands mostly for a cause that is not among the suspects.
pub(super) fn is_open(space: &Space, ranking: &Ranking) -> bool {
    let of_none = || {
        let all = space.hypotheses.iter().zip(&ranking.posterior);
        all.filter(|(h, _)| h.suspect == Suspect::None)
    };
    let other: f64 = of_none().filter(|(h, _)| h.manner == Manner::Other).map(|(_, p)| p).sum();
    2.0 * other > of_none().map(|(_, p)| p).sum()
}

/// What the verdict hangs on: a source of weight without which the leader would lose the verdict, in words,
/// the heaviest loss first.
pub(super) fn hangs_on(space: &Space, ranking: &Ranking) -> Vec<String> {
    let Some(first) = ranking.suspects.first() else { return Vec::new() };
    let decided = first.probability >= rates::DECIDED;
    let mut losses: Vec<(f64, String)> = ranking
        .sources
        .iter()
        .zip(&ranking.without)
        .filter_map(|(source, posterior)| {
            let (leader, probability, own) = leader_of(space, posterior, &first.suspect)?;
            let lost = leader != first.suspect || (decided && own < rates::DECIDED);
            let gained = !decided && leader == first.suspect && own >= rates::DECIDED;
            let name = source_name(source);
            let sentence = if lost && leader == first.suspect {
                format!("without {name}, it would stand at {:.0} %: undecided", own * 100.0)
            } else if lost {
                format!(
                    "without {name}, {} would lead with {:.0} %",
                    leader.the_in_words(),
                    probability * 100.0
                )
            } else if gained {
                format!("without {name}, it would stand at {:.0} %: decided", own * 100.0)
            } else {
                return None;
            };
            Some((first.probability - own, sentence))
        })
        .collect();
    losses.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()).then_with(|| a.1.cmp(&b.1)));
    losses.into_iter().take(MOST).map(|(_, sentence)| sentence).collect()
}

/// The least and the greatest probability of a suspect with any one source of weight left out, and with
/// none left out.
pub(super) fn range(space: &Space, ranking: &Ranking, ranked: &Ranked) -> (f64, f64) {
    let own = |posterior: &Vec<f64>| -> f64 {
        let mine = space.hypotheses.iter().zip(posterior);
        mine.filter(|(h, _)| h.suspect == ranked.suspect).map(|(_, p)| p).sum()
    };
    ranking
        .without
        .iter()
        .map(own)
        .fold((ranked.probability, ranked.probability), |(low, high), p| {
            (low.min(p), high.max(p.min(1.0)))
        })
}

/// What of the evidence tells the two leaders apart, in words: for an undecided case.
pub(super) fn between_leaders(ranking: &Ranking) -> String {
    let [first, second, ..] = ranking.suspects.as_slice() else { return String::new() };
    let weights = ranking.sources.iter().zip(first.weights.iter().zip(&second.weights));
    let mut apart: Vec<(f64, String)> =
        weights.map(|(source, (a, b))| (a - b, source_name(source))).collect();
    apart.retain(|(db, _)| db.abs() >= TELLS_APART_DB);
    apart.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()).then_with(|| a.1.cmp(&b.1)));
    let told: Vec<String> = apart
        .into_iter()
        .take(MOST)
        .map(|(db, name)| {
            let favours = if db > 0.0 { &first.suspect } else { &second.suspect };
            format!("{name} ({:.0} dB for {})", db.abs(), favours.the_in_words())
        })
        .collect();
    if told.is_empty() {
        let near = |r: &&Ranked| {
            decibans(first.probability.ln() - r.probability.ln()).abs() < TELLS_APART_DB
        };
        match ranking.suspects.iter().skip(2).filter(near).count() {
            0 => "nothing that was seen tells these two apart".to_owned(),
            1 => "nothing that was seen tells these two apart, nor one more that is as probable"
                .to_owned(),
            more => format!(
                "nothing that was seen tells these two apart, nor {more} more that are as probable"
            ),
        }
    } else {
        format!("what tells these two apart: {}", told.join(", "))
    }
}

/// The leading suspect of a posterior, its probability, and that of `own`.
fn leader_of(space: &Space, posterior: &[f64], own: &Suspect) -> Option<(Suspect, f64, f64)> {
    let mut sums: std::collections::BTreeMap<&Suspect, f64> = std::collections::BTreeMap::new();
    for (h, p) in space.hypotheses.iter().zip(posterior) {
        *sums.entry(&h.suspect).or_default() += p;
    }
    let mine = sums.get(own).copied()?;
    let (leader, probability) =
        sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then_with(|| b.0.cmp(a.0)))?;
    Some((leader.clone(), probability, mine))
}

fn source_name(source: &Source) -> String {
    let name = match source {
        Source::Note(_, outcome) => return format!("the service note that {}", outcome.what),
        Source::Block(block) => match block {
            Block::Silence => "the silences in the logs",
            Block::Restart => "the way in which silent nodes came back",
            Block::Waits => "the waits after which nodes came back",
            Block::Order => "the order in which nodes fell silent",
            Block::Longest => "the length of the silences",
            Block::Disturbance => "the signs of a disturbed bus",
            Block::WireErrors => "the faults that transceivers name",
            Block::Losses => "the frames that each node lost",
            Block::Tries => "the failed tries before frames passed",
            Block::Locks => "whose schedule the errors keep",
            Block::Passive => "who said it was error passive",
            Block::Accusations => "the codes by which nodes accuse others",
            Block::Age => "the age of the codes",
            Block::BusDown => "the codes that say the bus was down",
            Block::Answers => "who answered the tester",
            Block::Supply => "the supply voltage and its codes",
        },
    };
    name.to_owned()
}
