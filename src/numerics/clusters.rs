//! Grouping by likeness: distances of yes-and-no rows, average linkage, and how well two groupings agree.
//!
//! In: rows, or distances of all pairs. Out: distances, the merges of a tree, labels, an index of
//! agreement. Ties go to the pair that stands first. Refuses rows of unequal length.

/// One merge of a tree: two clusters, the distance at which they join, and how many members they have.
///
/// Clusters below the number of members are members; the n-th merge makes cluster `members + n`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Merge {
    /// The cluster with the smaller number.
    pub left: usize,
    /// The other.
    pub right: usize,
    /// Mean distance of their members.
    pub distance: f64,
    /// Members of both.
    pub size: usize,
}

/// One less the share of common hits among all places at which either row has one (Jaccard 1901).
///
/// Two rows without any hit are at distance 0; `None` when their lengths differ.
#[must_use]
pub fn jaccard_distance(a: &[bool], b: &[bool]) -> Option<f64> {
    if a.len() != b.len() {
        return None;
    }
    let both = a.iter().zip(b).filter(|(a, b)| **a && **b).count();
    let either = a.iter().zip(b).filter(|(a, b)| **a || **b).count();
    Some(if either == 0 { 0.0 } else { (either - both) as f64 / either as f64 })
}

/// The tree of average linkage (Sokal & Michener 1958). `distance(a, b)` is asked for a < b.
///
/// Takes time with the cube and room with the square of `members`; the caller bounds them.
#[must_use]
pub fn average_linkage(members: usize, distance: impl Fn(usize, usize) -> f64) -> Vec<Merge> {
    // Live clusters: number, size, and a row of distances to all live clusters.
    let mut live: Vec<(usize, usize, Vec<f64>)> = (0..members)
        .map(|a| {
            let to = |b: usize| if a == b { 0.0 } else { distance(a.min(b), a.max(b)) };
            (a, 1, (0..members).map(to).collect())
        })
        .collect();
    let mut tree = Vec::with_capacity(members.saturating_sub(1));
    while let Some((a, b, at)) = nearest(&live) {
        let (right, right_size, right_row) = live.remove(b);
        let Some((left, left_size, left_row)) = live.get(a).cloned() else { break };
        let size = left_size + right_size;
        tree.push(Merge { left: left.min(right), right: left.max(right), distance: at, size });
        let joined: Vec<f64> = left_row
            .iter()
            .zip(&right_row)
            .map(|(l, r)| (l * left_size as f64 + r * right_size as f64) / size as f64)
            .collect();
        for (place, (_, _, row)) in live.iter_mut().enumerate() {
            let old = if place < b { place } else { place + 1 };
            if let (Some(cell), Some(new)) = (row.get_mut(a), joined.get(old)) {
                *cell = *new;
            }
            row.remove(b);
        }
        if let Some(cluster) = live.get_mut(a) {
            let mut row = joined;
            row.remove(b);
            *cluster = (members + tree.len() - 1, size, row);
        }
    }
    tree
}

/// The first of the nearest pairs.
fn nearest(live: &[(usize, usize, Vec<f64>)]) -> Option<(usize, usize, f64)> {
    let mut best: Option<(usize, usize, f64)> = None;
    for (a, (_, _, row)) in live.iter().enumerate() {
        for (b, d) in row.iter().enumerate().skip(a + 1) {
            if best.is_none_or(|(_, _, at)| d.total_cmp(&at).is_lt()) {
                best = Some((a, b, *d));
            }
        }
    }
    best
}

/// Labels from a tree cut at a distance: members that merge at or below `at` share one.
///
/// Labels count from 0 in the order of the first member of each group.
#[must_use]
pub fn cut(members: usize, tree: &[Merge], at: f64) -> Vec<usize> {
    let mut owner: Vec<usize> = (0..members + tree.len()).collect();
    for (n, merge) in tree.iter().enumerate().filter(|(_, m)| m.distance <= at) {
        for child in [merge.left, merge.right] {
            if let Some(cell) = owner.get_mut(child) {
                *cell = members + n;
            }
        }
    }
    let root = |mut n: usize| {
        while let Some(up) = owner.get(n).copied().filter(|up| *up != n) {
            n = up;
        }
        n
    };
    let mut seen: Vec<usize> = Vec::new();
    (0..members)
        .map(|member| {
            let top = root(member);
            seen.iter().position(|s| *s == top).unwrap_or_else(|| {
                seen.push(top);
                seen.len() - 1
            })
        })
        .collect()
}

/// How well two groupings agree, corrected for chance: 1 alike, 0 as by chance (Hubert & Arabie 1985).
///
/// Two groupings that are both trivial and alike give 1; `None` when the lengths differ or are 0.
#[must_use]
pub fn adjusted_rand(a: &[usize], b: &[usize]) -> Option<f64> {
    if a.len() != b.len() || a.is_empty() {
        return None;
    }
    let pairs = |n: usize| (n * n.saturating_sub(1)) as f64 / 2.0;
    let sum = |mut keys: Vec<(usize, usize)>| {
        keys.sort_unstable();
        keys.chunk_by(|x, y| x == y).map(|run| pairs(run.len())).sum::<f64>()
    };
    let both = sum(a.iter().copied().zip(b.iter().copied()).collect());
    let (of_a, of_b) =
        (sum(a.iter().map(|x| (*x, 0)).collect()), sum(b.iter().map(|x| (*x, 0)).collect()));
    let all = pairs(a.len());
    let expected = if all > 0.0 { of_a * of_b / all } else { 0.0 };
    let most = f64::midpoint(of_a, of_b);
    let room = most - expected;
    Some(if room.abs() < 1e-12 { 1.0 } else { (both - expected) / room })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    const ROWS: [[u8; 8]; 6] = [
        [1, 1, 0, 1, 0, 1, 0, 0],
        [1, 1, 0, 1, 0, 1, 0, 0],
        [1, 1, 0, 1, 0, 0, 0, 0],
        [0, 0, 1, 0, 1, 0, 0, 1],
        [0, 0, 1, 0, 1, 0, 0, 1],
        [0, 1, 1, 0, 1, 0, 1, 1],
    ];

    fn distance(a: usize, b: usize) -> f64 {
        let row = |n: usize| ROWS[n].iter().map(|x| *x == 1).collect::<Vec<bool>>();
        jaccard_distance(&row(a), &row(b)).expect("one length")
    }

    // q7.cosilence: scipy 1.17.1 pdist("jaccard"), linkage("average"), fcluster(.5, "distance").
    #[test]
    fn co_silence() {
        let wanted =
            [0.0, 0.25, 1.0, 1.0, 0.875, 0.25, 1.0, 1.0, 0.875, 1.0, 1.0, 6.0 / 7.0, 0.0, 0.4, 0.4];
        let pairs = (0..6).flat_map(|a| (a + 1..6).map(move |b| (a, b)));
        for ((a, b), want) in pairs.zip(wanted) {
            holds("clusters::jaccard_distance", distance(a, b), want);
        }
        let tree = average_linkage(6, distance);
        let wanted = [
            (0, 1, 0.0, 2),
            (3, 4, 0.0, 2),
            (2, 6, 0.25, 3),
            (5, 7, 0.4, 3),
            (8, 9, 0.956_349_206_349_206_4, 6),
        ];
        assert_eq!(tree.len(), wanted.len());
        for (merge, (left, right, at, size)) in tree.iter().zip(wanted) {
            assert_eq!((merge.left, merge.right, merge.size), (left, right, size));
            holds("clusters::average_linkage", merge.distance, at);
        }
        let labels = cut(6, &tree, 0.5);
        assert_eq!(labels, [0, 0, 0, 1, 1, 1]);
        holds("clusters::cut", labels[5] as f64, 1.0);
        assert_eq!(cut(6, &tree, 1.0), [0; 6]);
        assert_eq!(cut(6, &[], 1.0), [0, 1, 2, 3, 4, 5]);
    }

    // The pages of scikit-learn on adjusted_rand_score print 1.0, 0.57 and 0.0 for these (4/7 exactly).
    #[test]
    fn agreement_of_groupings() {
        let index = |a: &[usize], b: &[usize]| adjusted_rand(a, b).expect("one length");
        holds("clusters::adjusted_rand", index(&[0, 0, 1, 1], &[1, 1, 0, 0]), 1.0);
        holds("clusters::adjusted_rand", index(&[0, 0, 1, 2], &[0, 0, 1, 1]), 4.0 / 7.0);
        holds("clusters::adjusted_rand", index(&[0, 0, 0, 0], &[0, 1, 2, 3]), 0.0);
        holds("clusters::adjusted_rand", index(&[0, 0, 1, 1], &[0, 1, 0, 1]), -0.5);
        assert_eq!(adjusted_rand(&[0], &[]), None);
    }

    #[test]
    fn few_members() {
        assert!(average_linkage(0, |_, _| 0.0).is_empty());
        assert!(average_linkage(1, |_, _| 0.0).is_empty());
        assert_eq!(jaccard_distance(&[true], &[]), None);
        assert_eq!(jaccard_distance(&[false], &[false]), Some(0.0));
    }
}
