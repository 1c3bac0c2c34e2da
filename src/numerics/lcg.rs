//! The portable generator of the reference values (entry `q7.lcg`): for tests only.
//!
//! Knuth's MMIX multiplier and increment, 64 bits; a uniform from the top 53 bits after the step, a
//! normal as the sum of twelve uniforms less six. Any language can regenerate the same numbers.

/// The generator's state.
#[derive(Debug, Clone)]
pub(crate) struct Lcg(pub(crate) u64);

impl Lcg {
    /// Uniform on [0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// About normal, with mean 0 and variance 1.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

// q7.lcg, seed 1.
#[test]
fn first_numbers() {
    let mut lcg = Lcg(1);
    for want in [0.423_209_170_872_713, 0.509_407_442_883_721, 0.648_359_393_963_431] {
        assert!((lcg.uniform() - want).abs() < 1e-14);
    }
}
