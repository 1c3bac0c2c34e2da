//! Pauses that the managing of addresses makes on a J1939 or marine network; they are no silence.
//!
//! A node that is asked for its address claim sends the claim, and may hold its cyclic traffic until it is sure
//! of its address (SAE J1939-81: 250 ms; gateways and displays take longer). While somebody asks all of them in
//! turn, slow nodes fall behind with everything and then send at once what they held up. Excused is only what
//! this explains: a pause that begins when the node is asked and ends soon after its answer, or one within such
//! a round of which nothing was lost, only late. A claim that nobody asked for is a restart and excuses nothing.

use super::diagnostics::ClaimWord;
use super::gaps::Gap;
use super::period::Period;
use crate::protocol::j1939::{self, claim};
use crate::vocabulary::{Identifier, Instant};

/// The longest wait of a talk on the bus, T2 and T3 of SAE J1939-21 (nanoseconds).
const WAIT: i64 = 1_250_000_000;

/// Whether a gap of an identifier is such a pause; `words` are all words about claims, in order of time.
pub(super) fn explains(words: &[ClaimWord], id: Identifier, gap: &Gap, period: &Period) -> bool {
    let Some(header) = j1939::header(id) else { return false };
    let begin = words.partition_point(|w| w.time.0 < gap.from.0.saturating_sub(WAIT));
    let end = words.partition_point(|w| w.time.0 <= gap.to.0.saturating_add(WAIT));
    let near = words.get(begin..end).unwrap_or_default();
    own_claim(near, header.source, gap, period)
        || (near.iter().any(|w| w.asked) && made_good(gap, period))
}

/// The node is asked, by some request, when its next frame but one was due at the latest, and is back soon after its
/// last claim.
fn own_claim(near: &[ClaimWord], source: u8, gap: &Gap, period: &Period) -> bool {
    let asks = |w: &&ClaimWord| {
        w.asked && (w.address == source || w.address == claim::EVERYBODY) && w.time < gap.to
    };
    near.iter().filter(asks).any(|asked| claimed(near, asked, source, gap, period))
}

/// Whether this request and the claims that follow it explain the pause.
fn claimed(near: &[ClaimWord], asked: &ClaimWord, source: u8, gap: &Gap, period: &Period) -> bool {
    let mut last = asked.time;
    let mut answered = false;
    for word in near.iter().filter(|w| !w.asked && w.address == source && w.time >= asked.time) {
        if word.time.0.saturating_sub(last.0) > WAIT {
            break;
        }
        (last, answered) = (word.time, true);
    }
    let soon = |from: Instant, to: Instant| to.0.saturating_sub(from.0) <= WAIT;
    answered
        && gap.from.0.saturating_add(2 * period.nanos) >= asked.time.0
        && soon(asked.time, gap.from)
        && soon(last, gap.to)
}

/// Three of four frames that a gap held up at least came at its end, one right behind the other.
fn made_good(gap: &Gap, period: &Period) -> bool {
    let beats = (gap.nanos() as f64 / period.mean).round();
    beats >= 2.0 && (1.0 + f64::from(gap.late)) * 4.0 >= beats * 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    fn gap(from_ms: i64, to_ms: i64, late: u32) -> Gap {
        let at = |ms: i64| Instant(ms * MS);
        Gap { from: at(from_ms), to: at(to_ms), line: 1, seen: 1, before: 0, after: 0, late }
    }

    /// An identifier of address 7 with a period of 100 ms.
    fn held(words: &[(i64, u8, bool)], gap: &Gap) -> bool {
        let words: Vec<ClaimWord> = words
            .iter()
            .map(|(ms, address, asked)| ClaimWord {
                time: Instant(ms * MS),
                address: *address,
                asked: *asked,
            })
            .collect();
        let period =
            Period { cyclic: true, nanos: 100 * MS, mean: 1e8, jitter: MS, silent_after: 304 * MS };
        explains(&words, Identifier::extended(0x18FE_F107), gap, &period)
    }

    #[test]
    fn a_node_that_is_asked_for_its_claim_may_pause_until_it_is_sure() {
        let talk = [(10_050, 7, true), (10_060, 7, false), (10_200, 7, false)];
        assert!(held(&talk, &gap(10_000, 10_500, 0)));
        assert!(!held(&talk, &gap(9_000, 10_500, 0)), "it had been gone before it was asked");
        assert!(!held(&talk, &gap(10_000, 12_000, 0)), "it stays away long after its claim");
        assert!(!held(&talk[..1], &gap(10_000, 10_500, 0)), "it did not answer");
        assert!(!held(&talk[1..], &gap(10_000, 10_500, 0)), "nobody asked: it restarted");
        let other = [(10_050, 8, true), (10_060, 8, false)];
        assert!(!held(&other, &gap(10_000, 10_500, 0)), "another was asked");
        let twice = [(8_950, 7, true), (8_960, 7, false), (10_050, 7, true), (10_060, 7, false)];
        assert!(held(&twice, &gap(10_000, 10_500, 0)), "asked before, too, and answered");
        let all = [(10_050, claim::EVERYBODY, true), (10_060, 7, false)];
        assert!(held(&all, &gap(10_000, 10_500, 0)));
    }

    #[test]
    fn what_comes_late_in_a_round_of_claims_was_held_up_and_not_lost() {
        let round = [(10_050, 8, true), (10_060, 8, false), (10_150, 9, true)];
        assert!(held(&round, &gap(10_000, 10_500, 3)));
        assert!(!held(&round, &gap(10_000, 10_500, 1)), "frames were lost");
        assert!(!held(&[], &gap(10_000, 10_500, 4)), "nobody asks for claims");
        assert!(!held(&round, &gap(13_000, 13_500, 4)), "long after the round");
    }
}
