//! Identifiers that run by one clock: the sender's own, which no two nodes have quite alike.
//!
//! Only differences of two identifiers are used, so that the logger's drift and its repaired steps cancel.
//! Two are of one clock when their difference keeps its slope within three standard errors of nothing *and*
//! something further agrees: the clock is told sharply, or both are sent by one task (their delays are the
//! same), or they woke together. What the log cannot tell apart stays apart. Source: Cho & Shin 2016 for
//! the clock as a mark of the sender; Moon, Skelly & Towsley 1999 for offsets and slopes.

use super::channel::Channel;
use super::period::Period;
use super::tracker::Tracker;
use crate::numerics::{centre, clusters, lines};
use crate::vocabulary::{Identifier, Instant};

/// Shortest span of looks (nanoseconds), and fewest looks, that tell a clock.
const SHORTEST: i64 = 60_000_000_000;
const FEWEST: usize = 20;
/// Identifiers compared at most; those with the least jitter relative to their period come first.
const MOST: usize = 384;
/// From so many on, comparing is shared out among hands.
const WORTH_SHARING: usize = 24;
/// Slopes are taken over the middles of so many stretches.
const STRETCHES: usize = 24;
/// A slope error (a share, not ppm) below which a clock is told sharply.
const SHARP: f64 = 0.4e-6;
/// No error is believed to be below this.
const FLOOR: f64 = 0.05e-6;
/// Two of one task: their difference scatters less than this share of what each does by itself.
const ONE_TASK: f64 = 0.4;
/// Numerators and denominators of ratios of periods.
const LARGEST_RATIO: u32 = 40;
/// Woke together, woke apart (nanoseconds).
const TOGETHER: i64 = 250_000_000;
const APART: i64 = 700_000_000;
/// Distances: alike, perhaps, perhaps not, unlike. The tree is cut between the middle two.
const ALIKE: f64 = 0.0;
const PERHAPS: f64 = 0.4;
const UNKNOWN: f64 = 0.6;
const UNLIKE: f64 = 1.0;
const CUT: f64 = 0.5;
/// From so many pairs on, this share of all is no sender's any more: one with two thirds of the identifiers makes it.
const PAIRS: usize = 45;
const MOST_TOGETHER: f64 = 0.45;
/// Clocks of nodes lie within so many parts per million of the right one (crystals; common practice, no source).
const RANGE_PPM: f64 = 100.0;

/// One identifier of a group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Member {
    pub id: Identifier,
    pub group: u32,
    /// Off the first of the group, and its standard error, parts per million.
    pub skew: (f64, f64),
    pub confidence: f64,
}

/// What is compared of one identifier.
pub(super) struct Beat {
    pub id: Identifier,
    pub period: f64,
    pub first: Instant,
    pub jitter: f64,
    /// Look, time (s), offset from the beat (ns).
    pub points: Vec<(u32, f64, f64)>,
    pub scatter: f64,
}

/// Difference of two clocks, as shares: slope, standard error; and scatter (ns) where that decides.
#[derive(Debug, Clone, Copy)]
pub(super) struct Difference {
    pub slope: f64,
    pub error: f64,
    pub scatter: Option<f64>,
}

/// Room for what is compared, used again for every pair: there are thousands.
#[derive(Debug, Default)]
struct Room {
    x: Vec<f64>,
    y: Vec<f64>,
    stretches: (Vec<f64>, Vec<f64>),
    rest: Vec<f64>,
}

/// Groups of two and more, by identifier; `hands` threads compare.
pub(super) fn find(channel: &Channel, periods: &[Option<Period>], hands: usize) -> Vec<Member> {
    let mut beats: Vec<Beat> = channel
        .trackers
        .iter()
        .zip(periods)
        .filter_map(|(tracker, period)| beat(tracker, period.as_ref()?))
        .collect();
    beats.sort_by(|a, b| {
        (a.jitter / a.period).total_cmp(&(b.jitter / b.period)).then(a.id.cmp(&b.id))
    });
    beats.truncate(MOST);
    beats.sort_by_key(|b| b.id);
    let spread = woke_apart(&beats);
    let differences = differences(&beats, hands);
    let of = |a: usize, b: usize| differences.get(a)?.get(b.checked_sub(a + 1)?).copied()?;
    let tasks = !one_for_all(&beats, &differences);
    let crowd = crowd(&beats);
    let distance = |a: usize, b: usize| {
        let told = Told { spread, tasks, crowd: crowd[a] || crowd[b] };
        distance(&beats[a], &beats[b], of(a, b), told)
    };
    let tree = clusters::average_linkage(beats.len(), distance);
    let labels = clusters::cut(beats.len(), &tree, CUT);
    members(&beats, &labels, of)
}

fn beat(tracker: &Tracker, period: &Period) -> Option<Beat> {
    if !period.cyclic {
        return None;
    }
    let kept = &tracker.points.kept;
    let (first, last) = (kept.first()?.1, kept.last()?.1);
    if kept.len() < FEWEST || last.0 - first.0 < SHORTEST {
        return None;
    }
    let times: Vec<f64> = kept.iter().map(|(_, t)| (t.0 - first.0) as f64).collect();
    // A second pass with the period that the first one gives: the index is then sure.
    let mut mean = period.mean;
    for _ in 0..2 {
        let index = lines::cumulative_index(&times, mean)?;
        let slope = stretched_slope(&index, &times)?;
        mean = if (slope / mean - 1.0).abs() < 0.01 { slope } else { mean };
    }
    let index = lines::cumulative_index(&times, mean)?;
    let offsets: Vec<f64> = times.iter().zip(&index).map(|(t, n)| t - n * mean).collect();
    let scatter = centre::mad(&offsets)?;
    let points = kept
        .iter()
        .zip(&times)
        .zip(&offsets)
        .map(|(((look, _), t), o)| (*look, (first.0 as f64 + t) / 1e9, *o))
        .collect();
    Some(Beat {
        id: tracker.id,
        period: mean,
        first: tracker.first,
        jitter: period.jitter as f64,
        points,
        scatter,
    })
}

/// The middle slope over the middles of stretches: robust, and quick for many points. `x` rises.
fn stretched_slope(x: &[f64], y: &[f64]) -> Option<f64> {
    let (mut sx, mut sy, mut y) = (Vec::new(), Vec::new(), y.to_vec());
    stretches(x, &mut y, (&mut sx, &mut sy));
    lines::median_slope(&sx, &sy)
}

/// The middles of at most [`STRETCHES`] stretches of points; within a stretch `y` is put in another order.
fn stretches(x: &[f64], y: &mut [f64], into: (&mut Vec<f64>, &mut Vec<f64>)) {
    let size = x.len().div_ceil(STRETCHES).max(1);
    // What rises has its middle in the middle.
    let middle = |v: &[f64]| Some(f64::midpoint(*v.get((v.len() - 1) / 2)?, *v.get(v.len() / 2)?));
    into.0.clear();
    into.0.extend(x.chunks(size).filter_map(middle));
    into.1.clear();
    into.1.extend(y.chunks_mut(size).filter_map(centre::median_of));
}

/// The differences of each to those behind it.
pub(super) fn differences(beats: &[Beat], hands: usize) -> Vec<Vec<Option<Difference>>> {
    let rows_of = |first: usize, step: usize| {
        let mut room = Room::default();
        let own = (first..beats.len()).step_by(step);
        own.map(|n| {
            let behind = beats.get(n + 1..).unwrap_or_default();
            behind.iter().map(|b| difference(&beats[n], b, &mut room)).collect()
        })
        .collect::<Vec<Vec<_>>>()
    };
    if hands < 2 || beats.len() < WORTH_SHARING {
        return rows_of(0, 1);
    }
    // Every so many rows, as rows grow shorter.
    let mut shares: Vec<_> = std::thread::scope(|scope| {
        let others: Vec<_> =
            (1..hands).map(|first| scope.spawn(move || rows_of(first, hands))).collect();
        let own = rows_of(0, hands).into_iter();
        // A panic of another hand goes on here.
        let others = others.into_iter().map(|hand| hand.join().map(Vec::into_iter));
        std::iter::once(Ok(own))
            .chain(others)
            .map(|rows| rows.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    (0..beats.len()).filter_map(|n| shares.get_mut(n % hands)?.next()).collect()
}

/// `None` when the periods have no simple ratio or too few looks are common.
fn difference(a: &Beat, b: &Beat, room: &mut Room) -> Option<Difference> {
    let ratio = ratio_off(a.period / b.period)?;
    let Room { x, y, stretches: (sx, sy), rest } = room;
    x.clear();
    y.clear();
    let mut others = b.points.iter().peekable();
    for (look, time, offset) in &a.points {
        while others.next_if(|(other, _, _)| other < look).is_some() {}
        if let Some((_, _, other)) = others.next_if(|(other, _, _)| other == look) {
            x.push(*time);
            y.push(offset - other);
        }
    }
    let span = x.last()? - x.first()?;
    if x.len() < FEWEST || span * 1e9 < SHORTEST as f64 {
        return None;
    }
    // The order of `y` is wanted again.
    rest.clear();
    rest.extend_from_slice(y);
    stretches(x, rest, (sx, sy));
    let slope = lines::median_slope(sx, sy)?;
    rest.clear();
    rest.extend(sx.iter().zip(&*sy).map(|(x, y)| y - slope * x));
    let count = rest.len() as u64;
    let sigma = centre::mad_of(rest)?;
    let error = (lines::slope_precision(sigma, count, span)? * 1e-9).max(FLOOR);
    let off = slope * 1e-9 + ratio;
    let decides = off.abs() <= 3.0 * error && error > SHARP;
    let scatter = decides
        .then(|| {
            rest.clear();
            rest.extend(x.iter().zip(&*y).map(|(x, y)| y - slope * x));
            centre::mad_of(rest)
        })
        .flatten();
    Some(Difference { slope: off, error, scatter })
}

/// How far (as a share) a ratio lies off the nearest simple one; `None` when none is near.
fn ratio_off(ratio: f64) -> Option<f64> {
    const NEAR: f64 = 3e-3;
    (1..=LARGEST_RATIO).find_map(|q| {
        let p = (ratio * f64::from(q)).round();
        let off = ratio * f64::from(q) / p - 1.0;
        let small = p >= 1.0 && (p <= f64::from(LARGEST_RATIO) || q == 1);
        // The larger the numbers, the nearer it must be to be no chance.
        (small && off.abs() <= NEAR / (p.min(f64::from(LARGEST_RATIO)) * f64::from(q)).sqrt())
            .then_some(off)
    })
}

/// Whether the identifiers woke in more than one step, so that waking together tells something.
fn woke_apart(beats: &[Beat]) -> bool {
    let mut firsts: Vec<i64> = beats.iter().map(|b| b.first.0).collect();
    firsts.sort_unstable();
    firsts.windows(2).any(|w| w[1] - w[0] > APART)
}

/// Which identifiers woke with most of the others: waking with a crowd tells nothing of the sender.
pub(super) fn crowd(beats: &[Beat]) -> Vec<bool> {
    let with = |own: &Beat| {
        let near = beats.iter().filter(|b| (b.first.0 - own.first.0).abs() <= TOGETHER);
        near.count() * 2 > beats.len()
    };
    beats.iter().map(with).collect()
}

/// What a log can tell two senders apart by.
#[derive(Debug, Clone, Copy)]
struct Told {
    /// Identifiers woke in more than one step …
    spread: bool,
    /// … and one of the two with most of the others.
    crowd: bool,
    /// Delays that go together mean one task.
    tasks: bool,
}

/// Whether the delays of most pairs go together. Senders do not wait for each other: it is the log's own clock that
/// wanders, or a bench that sent all of it, and delays that agree say nothing of a task.
pub(super) fn one_for_all(beats: &[Beat], differences: &[Vec<Option<Difference>>]) -> bool {
    let mut together = 0usize;
    for (n, row) in differences.iter().enumerate() {
        for (b, d) in beats.iter().skip(n + 1).zip(row) {
            together += usize::from(d.is_some_and(|d| one_task(&beats[n], b, &d)));
        }
    }
    let pairs = differences.iter().map(Vec::len).sum::<usize>();
    together >= PAIRS && together as f64 > MOST_TOGETHER * pairs as f64
}

/// Whether the delays of two go together; asked only where their clocks are alike and not told sharply.
fn one_task(a: &Beat, b: &Beat, d: &Difference) -> bool {
    d.scatter.is_some_and(|s| s <= ONE_TASK * a.scatter.min(b.scatter))
}

fn distance(a: &Beat, b: &Beat, difference: Option<Difference>, told: Told) -> f64 {
    let slack = a.period.max(b.period);
    let woke = (a.first.0 - b.first.0).abs();
    let apart = told.spread && woke as f64 > APART as f64 + 1.5 * slack;
    let Some(d) = difference else { return if apart { UNLIKE } else { UNKNOWN } };
    let same = d.slope.abs() <= 3.0 * d.error;
    let task = told.tasks && one_task(a, b, &d);
    if d.slope.abs() > 5.0 * d.error || apart {
        UNLIKE
    } else if same && (d.error <= SHARP || task) {
        ALIKE
    } else if same && told.spread && !told.crowd && woke <= TOGETHER {
        PERHAPS
    } else {
        UNKNOWN
    }
}

/// The groups of two and more, with how sure they are: how likely no other of the clocks found lies as near
/// by chance (birthday problem on ±100 ppm).
fn members(
    beats: &[Beat],
    labels: &[usize],
    of: impl Fn(usize, usize) -> Option<Difference>,
) -> Vec<Member> {
    let groups = labels.iter().max().map_or(0, |m| m + 1);
    let mut found = Vec::new();
    let mut number = 0;
    for group in 0..groups {
        let own: Vec<usize> = (0..beats.len()).filter(|n| labels.get(*n) == Some(&group)).collect();
        let [first, rest @ ..] = own.as_slice() else { continue };
        if rest.is_empty() {
            continue;
        }
        let skew = |n: usize| {
            of(*first.min(&n), *first.max(&n)).map_or((0.0, SHARP * 1e6), |d| {
                let sign = if n > *first { -1.0 } else { 1.0 };
                (sign * d.slope * 1e6, d.error * 1e6)
            })
        };
        let errors: Vec<f64> = rest.iter().map(|n| skew(*n).1).collect();
        let near = 3.0 * centre::median(&errors).unwrap_or(SHARP * 1e6);
        let by_chance = (near / RANGE_PPM).min(1.0);
        let others = i32::try_from(groups.saturating_sub(1)).unwrap_or(i32::MAX);
        let confidence = (1.0 - by_chance).powi(others);
        found.push(Member { id: beats[*first].id, group: number, skew: (0.0, 0.0), confidence });
        for n in rest {
            found.push(Member { id: beats[*n].id, group: number, skew: skew(*n), confidence });
        }
        number += 1;
    }
    found.sort_by_key(|m| m.id);
    found
}
