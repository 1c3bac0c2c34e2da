//! What to test next: expected information a minute, what each outcome would mean, and the best tests in a row.
//!
//! In: the posterior of one vehicle, its risk at a start, the table of tests. Out: at most five tests, best first,
//! and a sequence. `outcomes` says what a test shows under each hypothesis, `risk` how likely an incident is with
//! and without a set-up, `weights` what an outcome leaves, `safety` what must not be touched. Information is
//! H(h) − Σ P(o) H(h|o) over suspects (Lindley 1956). The rates are guesses: each test says whether its place in the
//! order holds when its own rates are halved or doubled.

mod outcomes;
mod risk;
mod safety;
mod sequence;
mod weights;
mod words;

use std::rc::Rc;

use self::outcomes::Link;
use self::risk::Risk;
use self::safety::Care;
pub use self::safety::{module_caution, untouched};
use self::weights::Weights;
use super::findings::{NextTest, TestOutcome, TestStep};
use super::hypotheses::{Manner, Space};
use crate::conditions::{ConditionRisk, Exposure};
use crate::read::{OnSafety, TestKind, TestTable};
use crate::vocabulary::{Network, Suspect};

/// Tests listed.
const MOST: usize = 5;
/// Suspects for which tests are made up.
const LEADERS: usize = 6;
/// Tests that a sequence is chosen from.
const POOL: usize = 8;
/// Less information than this is not worth listing, bits.
const LEAST_BITS: f64 = 0.005;

/// What the choice of a test rests on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    pub space: &'a Space,
    /// Posterior of every hypothesis, as in the space.
    pub posterior: &'a [f64],
    /// The suspects, most probable first.
    pub leaders: &'a [Suspect],
    pub network: Option<&'a Network>,
    pub conditions: &'a [ConditionRisk],
    pub exposures: &'a [Exposure],
    pub table: &'a TestTable,
}

/// One test in one form.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    kind: TestKind,
    target: Suspect,
    /// Starts asked for; 0 for a measurement.
    starts: u32,
    /// Minutes without the set-up.
    minutes: f64,
    setting_up: Option<TestKind>,
    /// The condition as the end of a sentence.
    condition: Option<String>,
    beta: (f64, f64),
    links: Rc<Vec<Link>>,
    likelihood: Vec<f64>,
    bits: f64,
}

impl Candidate {
    fn setup_minutes(&self, table: &TestTable) -> f64 {
        self.setting_up.map_or(0.0, |kind| table.of(kind).setup_minutes)
    }

    fn all_minutes(&self, table: &TestTable) -> f64 {
        self.minutes + self.setup_minutes(table)
    }

    /// Bits a minute, the set-up counted.
    fn pace(&self, table: &TestTable) -> f64 {
        self.bits / self.all_minutes(table).max(0.1)
    }
}

/// The best tests for a ranking, and the best of them in a row.
pub(super) fn next_tests(asked: &Asked<'_>) -> (Vec<NextTest>, Vec<TestStep>) {
    let table = asked.table;
    let weights = Weights::new(asked.space, asked.posterior);
    let risk = Risk::new(asked.conditions, asked.exposures, table);
    let mut all = candidates(asked, &weights, &risk);
    all.retain(|c| c.bits >= LEAST_BITS);
    all.sort_by(|a, b| {
        let by_pace = b.pace(table).total_cmp(&a.pace(table));
        by_pace
            .then_with(|| (a.kind, &a.target, a.starts).cmp(&(b.kind, &b.target, b.starts)))
            .then_with(|| a.setting_up.cmp(&b.setting_up))
    });
    let mut listed: Vec<&Candidate> = Vec::new();
    for candidate in &all {
        // Of several forms of one test the best is enough.
        if !listed.iter().any(|l| l.kind == candidate.kind && l.target == candidate.target) {
            listed.push(candidate);
        }
    }
    let shown = shown(&listed);
    let tests = shown
        .iter()
        .map(|place| (*place, listed[*place]))
        .map(|(place, c)| told(asked, &weights, c, holds(&weights, table, &listed, place)))
        .collect();
    let pool = pool(&all, &listed);
    let steps = sequence::best(&weights, &pool, table)
        .into_iter()
        .filter_map(|step| {
            let candidate = *pool.get(step.test)?;
            Some(TestStep {
                test: words::test(candidate, care_of(&candidate.target, asked.network)),
                target: candidate.target.clone(),
                minutes: candidate.minutes + step.setup,
                setup_minutes: step.setup,
                decided: step.decided,
            })
        })
        .collect();
    (tests, steps)
}

/// Places of the tests to show: the best for their minutes, and last what tells most, whatever it takes: by the
/// minute alone nothing that needs a cold night would ever be proposed.
fn shown(listed: &[&Candidate]) -> Vec<usize> {
    let mut places: Vec<usize> = (0..listed.len().min(MOST)).collect();
    let most = (0..listed.len())
        .max_by(|a, b| listed[*a].bits.total_cmp(&listed[*b].bits).then_with(|| b.cmp(a)));
    if let Some(most) = most.filter(|most| !places.contains(most)) {
        places.pop();
        places.push(most);
    }
    places
}

/// The listed tests, then what tells most, whatever it takes: a slow test may be the one that decides.
fn pool<'c>(all: &'c [Candidate], listed: &[&'c Candidate]) -> Vec<&'c Candidate> {
    let mut pool: Vec<&Candidate> = listed.iter().copied().take(MOST).collect();
    let mut telling: Vec<&Candidate> = all.iter().collect();
    telling.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    for candidate in telling {
        if pool.len() < POOL && !pool.iter().any(|p| std::ptr::eq(*p, candidate)) {
            pool.push(candidate);
        }
    }
    pool
}

fn care_of(target: &Suspect, network: Option<&Network>) -> Care {
    match target {
        Suspect::Node(name) => safety::care(name, network),
        _ => Care::Ordinary,
    }
}

fn kinds(target: &Suspect) -> &'static [TestKind] {
    match target {
        Suspect::Node(_) => &[
            TestKind::Disconnect,
            TestKind::Swap,
            TestKind::ModuleSupply,
            TestKind::ModuleConnector,
        ],
        Suspect::Branch(_) => &[TestKind::Wiggle],
        Suspect::Feed(_) | Suspect::Ground(_) => &[TestKind::SupplyLine],
        Suspect::Bus(_) => &[TestKind::BusResistance],
        Suspect::Supply => &[TestKind::CrankingVoltage],
        Suspect::None => &[TestKind::SecondTester],
    }
}

/// Every allowed test on the leaders, in every form.
fn candidates(asked: &Asked<'_>, weights: &Weights, risk: &Risk) -> Vec<Candidate> {
    let mut found = Vec::new();
    for target in asked.leaders.iter().take(LEADERS) {
        let care = care_of(target, asked.network);
        for &kind in kinds(target) {
            let allowed = match (care, asked.table.of(kind).on_safety) {
                (Care::Untouched, _) => false,
                (Care::Standing | Care::Unnamed, OnSafety::No) => false,
                (Care::Unnamed, _) => kind != TestKind::Swap,
                _ => true,
            };
            if allowed {
                forms(asked, weights, risk, kind, target, &mut found);
            }
        }
    }
    found
}

fn forms(
    asked: &Asked<'_>,
    weights: &Weights,
    risk: &Risk,
    kind: TestKind,
    target: &Suspect,
    found: &mut Vec<Candidate>,
) {
    let terms = asked.table.of(kind);
    let link = |at: &usize| {
        let h = asked.space.hypotheses.get(*at);
        h.map_or(Link::Elsewhere, |h| outcomes::link(kind, target, h, asked.space))
    };
    let links: Rc<Vec<Link>> = Rc::new(weights.at.iter().map(link).collect());
    let mut form = |starts: u32, beta, setting_up, condition: Option<&str>| {
        let rates = outcomes::rates(terms, starts, beta);
        let likelihood = weights.likelihood(&links, &rates);
        found.push(Candidate {
            kind,
            target: target.clone(),
            starts,
            minutes: terms.minutes + terms.minutes_per_start * f64::from(starts),
            setting_up,
            condition: condition.map(str::to_owned),
            beta,
            links: Rc::clone(&links),
            bits: weights.information(&likelihood),
            likelihood,
        });
    };
    if !matches!(kind, TestKind::Disconnect | TestKind::Swap) {
        form(0, risk.now, None, None);
        return;
    }
    let mut lengths = vec![terms.starts, terms.more_starts];
    lengths.dedup();
    for starts in lengths {
        form(starts, risk.now, None, None);
        for trigger in &risk.under {
            form(starts, trigger.beta, Some(trigger.setting_up), Some(&trigger.words));
        }
    }
}

/// Whether a test keeps its place when its rates of error, and the odds of an incident, are halved and doubled.
fn holds(weights: &Weights, table: &TestTable, listed: &[&Candidate], place: usize) -> bool {
    let Some(own) = listed.get(place) else { return false };
    let better = |pace: f64| {
        let others = listed.iter().enumerate().filter(|(at, _)| *at != place);
        others
            .filter(|(at, c)| c.pace(table) > pace || (c.pace(table) >= pace && *at < place))
            .count()
    };
    [0.5, 2.0].into_iter().all(|factor| {
        let (terms, beta) = outcomes::scaled(table.of(own.kind), own.beta, factor);
        let rates = outcomes::rates(&terms, own.starts, beta);
        let bits = weights.information(&weights.likelihood(&own.links, &rates));
        better(bits / own.all_minutes(table).max(0.1)) == place
    })
}

fn told(asked: &Asked<'_>, weights: &Weights, candidate: &Candidate, holds: bool) -> NextTest {
    let care = care_of(&candidate.target, asked.network);
    let outcomes: Vec<TestOutcome> = words::outcomes(candidate)
        .into_iter()
        .zip([true, false])
        .filter_map(|(outcome, positive)| {
            let after = Weights::after(&weights.mass, &candidate.likelihood, positive);
            let standing = weights.standing(&after);
            Some(TestOutcome {
                outcome,
                probability: standing.total.clamp(0.0, 1.0),
                leader: weights.suspects.get(standing.leader)?.clone(),
                leader_probability: standing.share,
                decided: standing.decided,
            })
        })
        .collect();
    let meaning: Vec<String> = outcomes.iter().map(meaning).collect();
    NextTest {
        test: words::test(candidate, care),
        target: Some(candidate.target.clone()),
        bits: candidate.bits,
        minutes: candidate.all_minutes(asked.table),
        setup: words::set_up(candidate.setting_up).to_owned(),
        setup_minutes: candidate.setup_minutes(asked.table),
        meaning: meaning.join(" "),
        outcomes,
        caution: caution(asked, candidate, care),
        order_holds: holds,
    }
}

fn meaning(outcome: &TestOutcome) -> String {
    format!(
        "{} ({} likely): {} leads with {}, {}.",
        words::sentence(&outcome.outcome),
        words::percent(outcome.probability),
        outcome.leader.the_in_words(),
        words::percent(outcome.leader_probability),
        if outcome.decided { "enough for a verdict" } else { "still undecided" }
    )
}

fn caution(asked: &Asked<'_>, candidate: &Candidate, care: Care) -> String {
    let mut parts: Vec<&str> = Vec::new();
    parts.extend(care.caution());
    let strikes_untouched = asked.space.hypotheses.iter().any(|h| {
        h.suspect == candidate.target
            && matches!(h.manner, Manner::Branch | Manner::Feed | Manner::Ground)
            && h.struck
                .iter()
                .zip(&asked.space.nodes)
                .any(|(struck, node)| *struck && untouched(node, asked.network))
    });
    if strikes_untouched {
        parts.push("airbag, belt or high-voltage modules hang on it: leave their part to the maker's procedure");
    }
    parts.push(&asked.table.of(candidate.kind).caution);
    parts.retain(|p| !p.is_empty());
    parts.join("; ")
}

#[cfg(test)]
mod tests;
