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
    /// Whether a cause must have made one of the incidents at least. Without any of its own it is no cause of what was
    /// seen: then it is the alien hypothesis that holds.
    pub one_is_its_own: bool,
}

/// Prior and incidents together. `alien` is the hypothesis whose likelihood an incident has that is not of the cause.
pub(super) fn pool(
    ln_prior: &[f64],
    incidents: &[Vec<f64>],
    alien: Option<usize>,
    trust: Trust,
) -> Vec<f64> {
    let (own_share, alien_share) = ((-trust.contamination).ln_1p(), trust.contamination.ln());
    let foreign: Vec<f64> = incidents
        .iter()
        .map(|i| alien_share + alien.and_then(|o| i.get(o)).copied().unwrap_or(f64::NEG_INFINITY))
        .collect();
    // Before anything is known of the incidents: that one of them is its own.
    let one_at_all = (-(alien_share * incidents.len() as f64).exp()).ln_1p();
    let joint = |place: usize| {
        let (mut some_own, mut none_own) = (f64::NEG_INFINITY, 0.0);
        for (incident, foreign) in incidents.iter().zip(&foreign) {
            let own = own_share + incident.get(place).copied().unwrap_or(f64::NEG_INFINITY);
            some_own = log_sum_exp(&[some_own + log_sum_exp(&[own, *foreign]), none_own + own]);
            none_own += foreign;
        }
        if trust.one_is_its_own && alien != Some(place) && !incidents.is_empty() {
            some_own - one_at_all
        } else {
            log_sum_exp(&[some_own, none_own])
        }
    };
    ln_prior.iter().enumerate().map(|(place, prior)| prior + trust.temper * joint(place)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::logs::{decibans, ln_choose, normalise};

    /// As METHODS 3.3 has it.
    const TRUST: Trust = Trust { contamination: 0.05, temper: 1.0, one_is_its_own: false };
    const PLAIN: Trust = Trust { contamination: 0.0, ..TRUST };

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
            let pooled = pool(&prior, &incidents[..=upto], Some(5), TRUST);
            let found = normalise(&pooled).expect("finite weights");
            for (a, b) in found.iter().zip(wanted) {
                assert!((a - b).abs() < 1e-9, "after {}: {found:?}", upto + 1);
            }
        }
        let plain = normalise(&pool(&prior, &incidents, None, PLAIN)).expect("finite weights");
        assert!((plain[1] - 0.995_536_535_628_870_2).abs() < 1e-9, "{plain:?}");
        // The ledger has each incident contaminated as it is pooled.
        let weight = |incident: &Vec<f64>| {
            let alone = pool(&[0.0; 6], std::slice::from_ref(incident), Some(5), TRUST);
            decibans(alone[1] - alone[4])
        };
        let ledger: Vec<f64> = incidents.iter().map(weight).collect();
        let wanted = [11.204_088_473_457_912, 15.823_138_444_884_382, -6.292_946_312_097_261_5];
        assert!(ledger.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-9), "{ledger:?}");
    }

    // Outside value: METHODS 3.3, `q3.hand`: at most 13.01 decibans beside `none`.
    #[test]
    fn one_alien_incident_costs_no_more_than_its_share() {
        let pooled = pool(&[0.0, 0.0], &[vec![-1e6, 0.0]], Some(1), TRUST);
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
        let before = normalise(&pool(&prior, &incidents, Some(5), TRUST)).expect("finite weights");
        incidents.push(vec![-3.0; 6]);
        let after = normalise(&pool(&prior, &incidents, Some(5), TRUST)).expect("finite weights");
        assert!(
            before.iter().zip(&after).all(|(a, b)| (a - b).abs() < 1e-12),
            "{before:?} {after:?}"
        );
    }

    /// Two incidents of plain probabilities a and b under the cause, o and q alien: of the four ways in which each is its
    /// own or alien, the one without any of its own falls away, and with it its share of the prior.
    #[test]
    fn a_cause_has_made_one_of_the_incidents() {
        let trust = Trust { one_is_its_own: true, ..TRUST };
        let (a, b, o, q, e) = (0.3f64, 1e-9f64, 0.02f64, 0.4f64, 0.05f64);
        let told = [vec![a.ln(), o.ln()], vec![b.ln(), q.ln()]];
        let pooled = pool(&[0.0, 0.0], &told, Some(1), trust);
        let own = 1.0 - e;
        let by_hand = (own * own * a * b + own * e * (a * q + b * o)) / (1.0 - e * e);
        assert!((pooled[0] - by_hand.ln()).abs() < 1e-12, "{pooled:?}");
        assert!((pooled[1] - (o * q).ln()).abs() < 1e-12, "{pooled:?}");
        // A single incident is its own or not at all: no share of alien ones holds up what the incident speaks against.
        let single = pool(&[0.0, 0.0], &[vec![-700.0, 0.0]], Some(1), trust);
        assert!((single[0] + 700.0).abs() < 1e-9, "{single:?}");
    }

    // Outside values: `q3.asia` (Lauritzen & Spiegelhalter 1988: .436, .834; recomputed by enumeration): every world of
    // the network is a hypothesis, each finding an incident.
    #[test]
    fn the_chest_clinic() {
        let odds = |yes: bool, p: f64| if yes { p } else { 1.0 - p };
        // Asia, smoker, tuberculosis, lung cancer, bronchitis.
        let worlds: Vec<[bool; 5]> =
            (0..32).map(|n| std::array::from_fn(|bit| n >> bit & 1 == 1)).collect();
        let prior: Vec<f64> = worlds
            .iter()
            .map(|[asia, smokes, tub, lung, bronc]| {
                (odds(*asia, 0.01)
                    * odds(*smokes, 0.5)
                    * odds(*tub, if *asia { 0.05 } else { 0.01 })
                    * odds(*lung, if *smokes { 0.1 } else { 0.01 })
                    * odds(*bronc, if *smokes { 0.6 } else { 0.3 }))
                .ln()
            })
            .collect();
        let finding = |p: &dyn Fn(&[bool; 5]) -> f64| worlds.iter().map(|w| p(w).ln()).collect();
        let breathless: Vec<f64> =
            finding(&|[_, _, tub, lung, bronc]| match (*tub || *lung, *bronc) {
                (true, true) => 0.9,
                (true, false) => 0.7,
                (false, true) => 0.8,
                (false, false) => 0.1,
            });
        let asia: Vec<f64> = finding(&|w| f64::from(u8::from(w[0])));
        let no_shadow: Vec<f64> = finding(&|w| if w[2] || w[3] { 0.02 } else { 0.95 });
        let told = |incidents: &[Vec<f64>]| {
            let logs = pool(&prior, incidents, None, PLAIN);
            let all = log_sum_exp(&logs).exp();
            let found = normalise(&logs).expect("finite weights");
            let sums = [2, 3, 4].map(|bit: usize| -> f64 {
                worlds.iter().zip(&found).filter(|(w, _)| w[bit]).map(|(_, p)| p).sum()
            });
            (all, sums)
        };
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} and {b}");
        let (_, [tub, lung, _]) = told(&[]);
        near(tub, 0.0104);
        near(lung, 0.055);
        let (all, [_, lung, bronc]) = told(std::slice::from_ref(&breathless));
        near(all, 0.435_970_6);
        near(lung, 0.102_759_222_754_928_87);
        near(bronc, 0.833_967_336_329_559_9);
        let (_, [tub, ..]) = told(&[breathless.clone(), asia.clone()]);
        near(tub, 0.087_750_964_982_921_88);
        let (_, [tub, ..]) = told(&[breathless, asia, no_shadow]);
        near(tub, 0.002_248_695_311_961_289_5);
    }
}
