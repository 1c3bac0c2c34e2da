//! Chance: one repeatable stream of draws per named purpose.
//!
//! In: the scenario's seed and a few names (vehicle, start, purpose). Out: draws. Two purposes
//! never share a stream, so what one vehicle draws cannot shift what another one gets, and the
//! number of threads cannot matter.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng as _;

/// A stream of draws.
pub(crate) struct Chance(Pcg64);

impl Chance {
    /// The stream that belongs to a seed and a list of names.
    pub(crate) fn of(seed: u64, names: &[&str]) -> Chance {
        let state = u128::from(blend(seed, names, 0xCBF2_9CE4_8422_2325));
        let low = u128::from(blend(seed, names, 0x9E37_79B9_7F4A_7C15));
        let stream = u128::from(blend(seed, names, 0x2545_F491_4F6C_DD1D));
        Chance(Pcg64::new((state << 64) | low, stream))
    }

    /// 32 random bits.
    pub(crate) fn bits(&mut self) -> u32 {
        self.0.next_u32()
    }

    /// A number in `[0, 1)`.
    pub(crate) fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    /// A number between the two ends of a range.
    pub(crate) fn within(&mut self, range: [f64; 2]) -> f64 {
        range[0] + (range[1] - range[0]) * self.unit()
    }

    /// Whether something of this probability happens.
    pub(crate) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A place in a list of `count` things; 0 for an empty list.
    pub(crate) fn index(&mut self, count: usize) -> usize {
        let wide = u64::from(self.bits()) * u64::try_from(count).unwrap_or(0);
        usize::try_from(wide >> 32).unwrap_or(0)
    }

    /// A whole number from `low` to `high`, both included.
    pub(crate) fn whole(&mut self, low: u32, high: u32) -> u32 {
        let width = u64::from(high.saturating_sub(low)) + 1;
        low + u32::try_from((u64::from(self.bits()) * width) >> 32).unwrap_or(0)
    }

    /// A waiting time with this mean.
    pub(crate) fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }

    /// A draw from the standard normal distribution (sum of twelve, good to three deviations).
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// Mixes the seed and the names into 64 bits (FNV-1a, then a finishing scramble).
fn blend(seed: u64, names: &[&str], basis: u64) -> u64 {
    let mut hash = basis;
    let mut eat = |byte: u8| hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3);
    seed.to_le_bytes().into_iter().for_each(&mut eat);
    for name in names {
        name.bytes().for_each(&mut eat);
        eat(0xFF);
    }
    hash = (hash ^ (hash >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    hash = (hash ^ (hash >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    hash ^ (hash >> 31)
}

#[cfg(test)]
mod tests {
    use super::Chance;

    #[test]
    fn a_name_has_one_stream() {
        let mut first = Chance::of(7, &["a", "b"]);
        let mut again = Chance::of(7, &["a", "b"]);
        let mut other = Chance::of(7, &["ab"]);
        let draws: Vec<u32> = (0..8).map(|_| first.bits()).collect();
        assert_eq!(draws, (0..8).map(|_| again.bits()).collect::<Vec<_>>());
        assert_ne!(draws, (0..8).map(|_| other.bits()).collect::<Vec<_>>());
    }

    #[test]
    fn draws_stay_in_range() {
        let mut chance = Chance::of(1, &["range"]);
        for _ in 0..1000 {
            assert!(chance.index(3) < 3);
            assert!((2..=4).contains(&chance.whole(2, 4)));
            assert!((0.0..1.0).contains(&chance.unit()));
        }
    }
}
