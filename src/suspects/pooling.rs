//! Incidents pooled in log space: one cause for all of them, each contaminated, the whole tempered.
//!
//! In: logarithms of prior and of each incident's likelihood by hypothesis. Out: logarithms of their product, not
//! normalised. (METHODS 3.3, 3.4)

use crate::numerics::logs::log_sum_exp;

/// How far incidents are believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trust {
    /// Share of incidents that have nothing to do with the cause; 0: none.
    pub contamination: f64,
    /// Power to which the product of the incidents is raised.
    pub temper: f64,
}

/// Prior and incidents together. `alien` is the hypothesis whose likelihood an incident has that is not of the cause.
pub(super) fn pool(
    ln_prior: &[f64],
    incidents: &[Vec<f64>],
    alien: Option<usize>,
    trust: Trust,
) -> Vec<f64> {
    let mut out = ln_prior.to_vec();
    let (own_share, alien_share) = ((-trust.contamination).ln_1p(), trust.contamination.ln());
    for incident in incidents {
        let foreign = alien.and_then(|o| incident.get(o)).copied().unwrap_or(f64::NEG_INFINITY);
        for (value, own) in out.iter_mut().zip(incident) {
            *value += trust.temper * log_sum_exp(&[own_share + own, alien_share + foreign]);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::logs::{decibans, ln_choose, normalise};

    const PLAIN: Trust = Trust { contamination: 0.0, temper: 1.0 };

    /// The vehicle of METHODS 3.6: A drops out, B disturbs, B drops out, branch of A and B, bus, none.
    fn hand() -> (Vec<f64>, Vec<Vec<f64>>) {
        let silent_by: [([f64; 4], f64); 5] = [
            ([0.95, 0.02, 0.02, 0.02], 0.05),
            ([0.85, 0.35, 0.85, 0.85], 0.9),
            ([0.02, 0.95, 0.02, 0.02], 0.05),
            ([0.9, 0.9, 0.03, 0.03], 0.4),
            ([0.97, 0.97, 0.97, 0.97], 0.95),
        ];
        let sets =
            [[true, false, true, true], [true, false, true, false], [true, true, true, true]];
        let incident = |set: &[bool; 4]| -> Vec<f64> {
            let mut values: Vec<f64> = silent_by
                .iter()
                .map(|(nodes, errors)| {
                    let each = set.iter().zip(nodes);
                    each.map(|(s, p)| if *s { p.ln() } else { (1.0 - p).ln() }).sum::<f64>()
                        + errors.ln()
                })
                .collect();
            let silent = set.iter().filter(|s| **s).count() as u64;
            values.push(-(5f64.ln()) - ln_choose(4, silent) + 0.5f64.ln());
            values
        };
        let prior = [0.30, 0.15, 0.30, 0.15, 0.05, 0.05f64];
        (prior.iter().map(|p| p.ln()).collect(), sets.iter().map(incident).collect())
    }

    // Outside values: METHODS 3.6, `q3.hand` (closed form).
    #[test]
    fn the_vehicle_that_can_be_checked_by_hand() {
        let (prior, incidents) = hand();
        let trust = Trust { contamination: 0.05, temper: 1.0 };
        let expected = [
            [
                0.006_930_044_943_388_51,
                0.936_304_834_542_947_6,
                0.006_833_448_779_700_355,
                0.003_500_804_598_995_943_7,
                0.023_653_050_758_775_357,
                0.022_777_816_376_192_264,
            ],
            [
                0.000_204_491_950_183_060_82,
                0.992_340_454_829_869_5,
                9.894_885_342_756_806e-5,
                0.000_111_107_313_943_589_58,
                0.000_655_868_465_176_951_7,
                0.006_589_128_587_399_272,
            ],
            [
                5.424_026_496_327_455e-6,
                0.993_696_562_553_456_2,
                2.624_559_070_867_567_4e-6,
                3.110_109_036_415_476_7e-6,
                0.002_797_077_322_215_328_4,
                0.003_495_201_429_724_849_8,
            ],
        ];
        for (upto, wanted) in expected.iter().enumerate() {
            let pooled = pool(&prior, &incidents[..=upto], Some(5), trust);
            let found = normalise(&pooled).expect("finite weights");
            for (a, b) in found.iter().zip(wanted) {
                assert!((a - b).abs() < 1e-9, "after {}: {found:?}", upto + 1);
            }
        }
        let plain = normalise(&pool(&prior, &incidents, None, PLAIN)).expect("finite weights");
        assert!((plain[1] - 0.995_536_535_628_870_2).abs() < 1e-9, "{plain:?}");
        // The ledger has each incident contaminated as it is pooled.
        let weight = |incident: &Vec<f64>| {
            let alone = pool(&[0.0; 6], std::slice::from_ref(incident), Some(5), trust);
            decibans(alone[1] - alone[4])
        };
        let ledger: Vec<f64> = incidents.iter().map(weight).collect();
        let wanted = [11.204_088_473_457_912, 15.823_138_444_884_382, -6.292_946_312_097_261_5];
        assert!(ledger.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-9), "{ledger:?}");
    }

    // Outside value: METHODS 3.3, `q3.hand`: at most 13.01 decibans beside `none`.
    #[test]
    fn one_alien_incident_costs_no_more_than_its_share() {
        let trust = Trust { contamination: 0.05, temper: 1.0 };
        let pooled = pool(&[0.0, 0.0], &[vec![-1e6, 0.0]], Some(1), trust);
        let lost = decibans(pooled[1] - pooled[0]);
        assert!((lost - 13.010_299_956_639_813).abs() < 1e-9, "{lost}");
    }

    // Outside values: METHODS 3.5, `q3.jaynes.widgets` (Jaynes 2003, chapter 4).
    #[test]
    fn the_widgets_and_the_third_hypothesis() {
        let prior: Vec<f64> = [1.0 / 11.0, 10.0 / 11.0, 1e-6f64].iter().map(|p| p.ln()).collect();
        let bad: Vec<f64> = [1.0 / 3.0, 1.0 / 6.0, 0.99f64].iter().map(|p| p.ln()).collect();
        let stands = |times: usize| -> Vec<f64> {
            let pooled = pool(&prior, &vec![bad.clone(); times], None, PLAIN);
            let p = normalise(&pooled).expect("finite weights");
            p.iter().map(|p| decibans(p.ln() - (1.0 - p).ln())).collect()
        };
        for (times, a, c) in [
            (5, 5.016_315_455_933_532, -27.129_239_460_390_085),
            (10, 2.238_819_164_200_324, -2.352_629_694_930_639),
            (11, -2.429_278_232_112_482_6, 2.395_986_438_196_392),
        ] {
            let found = stands(times);
            // The prior of A and B together is 1 less one in a million here.
            assert!(
                (found[0] - a).abs() < 1e-4 && (found[2] - c).abs() < 1e-4,
                "{times}: {found:?}"
            );
        }
    }

    #[test]
    fn an_incident_that_says_nothing_changes_nothing() {
        let (prior, mut incidents) = hand();
        let trust = Trust { contamination: 0.05, temper: 1.0 };
        let before = normalise(&pool(&prior, &incidents, Some(5), trust)).expect("finite weights");
        incidents.push(vec![-3.0; 6]);
        let after = normalise(&pool(&prior, &incidents, Some(5), trust)).expect("finite weights");
        assert!(
            before.iter().zip(&after).all(|(a, b)| (a - b).abs() < 1e-12),
            "{before:?} {after:?}"
        );
    }
}
