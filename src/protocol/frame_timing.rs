//! How many bits a classic CAN frame takes, and the load that follows.
//!
//! Source: ISO 11898-1 frame layout; worst-case stuffing as in Davis, Burns, Bril and Lukkien,
//! Real-Time Systems 35 (2007). Interframe space of 3 bits included throughout.

/// Bits of a frame with `length` data bytes without any stuff bit, interframe space included.
#[must_use]
pub fn bits_without_stuffing(extended: bool, length: u8) -> u32 {
    (if extended { 67 } else { 47 }) + 8 * u32::from(length.min(8))
}

/// Most bits such a frame can take.
#[must_use]
pub fn bits_at_worst(extended: bool, length: u8) -> u32 {
    (if extended { 80 } else { 55 }) + 10 * u32::from(length.min(8))
}

/// Bus load, 0 to 1, from bits seen, seconds and bit rate; `None` when a divisor is not positive.
#[must_use]
pub fn load(bits: f64, seconds: f64, bitrate: u32) -> Option<f64> {
    (seconds > 0.0 && bitrate > 0).then(|| bits / seconds / f64::from(bitrate))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FACTS 4.1: table of worst cases (Davis et al. 2007).
    #[test]
    fn worst_case_bits() {
        for (length, base, extended) in
            [(0, 55, 80), (1, 65, 90), (2, 75, 100), (4, 95, 120), (7, 125, 150), (8, 135, 160)]
        {
            assert_eq!(bits_at_worst(false, length), base);
            assert_eq!(bits_at_worst(true, length), extended);
        }
    }

    /// FACTS EX-4v: 6 × 10 ms, 8 × 20 ms, 20 × 100 ms, 10 × 1 s, 8 bytes, 500 kbit/s.
    #[test]
    fn load_of_a_published_set() {
        let rate = 6.0 * 100.0 + 8.0 * 50.0 + 20.0 * 10.0 + 10.0;
        let worst = load(rate * f64::from(bits_at_worst(false, 8)), 1.0, 500_000).unwrap();
        let least = load(rate * f64::from(bits_without_stuffing(false, 8)), 1.0, 500_000).unwrap();
        assert!((worst - 0.3267).abs() < 5e-5, "{worst}");
        assert!((least - 0.2686).abs() < 5e-5, "{least}");
        assert_eq!(load(1.0, 0.0, 500_000), None);
    }
}
