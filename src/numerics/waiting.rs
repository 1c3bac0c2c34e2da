//! How long to wait before absence tells: losses in a row, records broken, events that may just not come,
//! and who stopped first.
//!
//! In: rates, counts and spans. Out: factors, probabilities, waits. Refuses rates that are not positive.

/// The factor k by which a gap must exceed the period so that independent losses of probability `loss` give
/// `target` false alarms in `seconds`: k = 1 + ⌈ln(target·period/seconds)/ln loss⌉.
///
/// `None` when a number is out of its range.
#[must_use]
pub fn silence_factor(period: f64, loss: f64, target: f64, seconds: f64) -> Option<f64> {
    let sound = period > 0.0 && loss > 0.0 && loss < 1.0 && target > 0.0 && seconds > 0.0;
    sound.then(|| 1.0 + ((target * period / seconds).ln() / loss.ln()).ceil())
}

/// Probability that some of `further` exchangeable gaps exceeds the `rank`-th largest of `seen` gaps (Wilks 1941).
///
/// `rank` counts from 1. `None` when there are fewer gaps than that.
#[must_use]
pub fn exceeds(seen: u64, further: u64, rank: u64) -> Option<f64> {
    if rank == 0 || rank > seen {
        return None;
    }
    // ln of the product of (n − i)/(n + m − i); one less a number near one, so expm1.
    let ln: f64 =
        (0..rank).map(|i| (-(further as f64) / (seen + further - i) as f64).ln_1p()).sum();
    Some(-ln.exp_m1())
}

/// How long nothing must come from events of a rate before that has probability `p`: −ln p / rate.
#[must_use]
pub fn quiet_for(rate: f64, p: f64) -> Option<f64> {
    (rate > 0.0 && p > 0.0 && p < 1.0).then(|| -p.ln() / rate)
}

/// Probability that the first of two stopped before the second, when each stopped at a time uniform on
/// (last sign, last sign + span): 1 − (1/Tₐ)∫F_b.
///
/// Each is (last sign, span). `None` when a span is not positive.
#[must_use]
pub fn stopped_before(first: (f64, f64), second: (f64, f64)) -> Option<f64> {
    let ((from_a, span_a), (from_b, span_b)) = (first, second);
    if !(span_a > 0.0 && span_b > 0.0) {
        return None;
    }
    // The integral of the second's distribution function up to z.
    let integral = |z: f64| {
        let u = z - from_b;
        if u <= 0.0 {
            0.0
        } else if u <= span_b {
            u * u / (2.0 * span_b)
        } else {
            span_b / 2.0 + (u - span_b)
        }
    };
    let share = (integral(from_a + span_a) - integral(from_a)) / span_a;
    Some((1.0 - share).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::tolerances::holds;

    // q7.silence.k_loss: one false alarm in 1000 h.
    #[test]
    fn factor_of_silence() {
        for (period, loss, want) in [
            (0.01, 1e-4, 4.0),
            (0.01, 1e-3, 4.0),
            (0.01, 0.02, 7.0),
            (0.1, 1e-4, 3.0),
            (0.1, 1e-3, 4.0),
            (0.1, 0.02, 6.0),
            (1.0, 1e-4, 3.0),
            (1.0, 1e-3, 4.0),
            (1.0, 0.02, 5.0),
        ] {
            let got = silence_factor(period, loss, 1.0, 3_600_000.0).expect("a factor");
            holds("waiting::silence_factor", got, want);
        }
        assert_eq!(silence_factor(0.01, 0.0, 1.0, 1.0), None);
    }

    // q7.silence.exchangeable and q7.silence.poisson_event_id: closed forms.
    #[test]
    fn records_and_events() {
        holds(
            "waiting::exceeds",
            exceeds(180_000, 1000, 1).expect("gaps"),
            0.005_524_861_878_453_038_4,
        );
        holds(
            "waiting::exceeds",
            exceeds(180_000, 1000, 2).expect("gaps"),
            0.011_019_230_013_755_155,
        );
        holds("waiting::quiet_for", quiet_for(0.2, 1e-4).expect("a rate"), 46.051_701_859_880_91);
        assert_eq!(exceeds(1, 1, 2), None);
        assert_eq!(quiet_for(0.0, 0.1), None);
    }

    // q7.order: closed form; the last case is a node of one second, which can hardly be ordered.
    #[test]
    fn who_stopped_first() {
        for (a, b, want) in [
            ((10.0, 0.1), (10.02, 0.02), 0.3),
            ((10.0, 0.01), (10.5, 0.1), 1.0),
            ((10.0, 0.1), (10.0, 0.1), 0.5),
            ((10.05, 0.02), (10.0, 1.0), 0.94),
        ] {
            let p = stopped_before(a, b).expect("spans");
            holds("waiting::stopped_before", p, want);
            holds("waiting::stopped_before", stopped_before(b, a).expect("spans"), 1.0 - want);
        }
        assert_eq!(stopped_before((0.0, 0.0), (0.0, 1.0)), None);
    }
}
