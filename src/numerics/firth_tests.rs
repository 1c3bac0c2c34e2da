//! Firth's regression against its published examples. Test builds only.

use super::firth::*;
use super::tolerances::holds;

/// Value, ends of the interval and p of each coefficient.
type Want = (f64, f64, f64, f64);

fn compare(rows: &[Vec<f64>], hits: &[bool], want: &[Want]) {
    let effects = firth(rows, hits, 0.95).expect("a fit");
    assert_eq!(effects.len(), want.len());
    for (effect, (value, low, high, p)) in effects.iter().zip(want) {
        holds("firth::firth", effect.value, *value);
        holds("firth::firth", effect.low.expect("bounded"), *low);
        holds("firth::firth", effect.high.expect("bounded"), *high);
        holds("firth::firth", effect.p_value, *p);
    }
}

/// Neovasculization, pulsatility index, endometrium height, high grade: the 79 women of Heinze &
/// Schemper 2002 (Statistics in Medicine 21:2409), as used in Agresti 2015.
#[rustfmt::skip]
#[expect(clippy::approx_constant, reason = "a measured height of 3.14 mm")]
const ENDOMETRIAL: [(u8, u8, f64, u8); 79] = [
    (0, 13, 1.64, 0), (0, 16, 2.26, 0), (0, 8, 3.14, 0), (0, 34, 2.68, 0), (0, 20, 1.28, 0),
    (0, 5, 2.31, 0), (0, 17, 1.8, 0), (0, 10, 1.68, 0), (0, 26, 1.56, 0), (0, 17, 2.31, 0),
    (0, 8, 2.01, 0), (0, 7, 1.89, 0), (0, 20, 3.15, 0), (0, 10, 1.23, 0), (0, 18, 1.27, 0),
    (0, 16, 1.76, 0), (0, 18, 2.0, 0), (0, 8, 2.64, 1), (0, 29, 0.88, 1), (0, 12, 1.27, 1),
    (0, 20, 1.37, 1), (1, 38, 0.97, 1), (1, 22, 1.14, 1), (1, 7, 0.88, 1), (1, 25, 0.91, 1),
    (1, 15, 0.58, 1), (0, 7, 0.97, 1), (0, 28, 1.5, 0), (0, 11, 1.33, 0), (0, 19, 2.37, 0),
    (0, 10, 1.82, 0), (0, 10, 3.13, 0), (0, 18, 1.31, 0), (0, 14, 1.92, 0), (0, 21, 1.64, 0),
    (0, 11, 2.01, 0), (0, 17, 1.88, 0), (0, 25, 1.93, 0), (0, 16, 2.11, 0), (0, 19, 1.29, 0),
    (0, 15, 1.72, 0), (0, 33, 0.75, 0), (0, 24, 1.92, 0), (0, 48, 1.84, 1), (0, 12, 1.11, 1),
    (0, 19, 1.61, 1), (0, 2, 1.18, 1), (1, 22, 1.44, 1), (1, 40, 1.18, 1), (1, 5, 0.93, 1),
    (1, 0, 1.17, 1), (0, 21, 1.19, 1), (0, 15, 1.06, 1), (0, 29, 2.02, 0), (0, 15, 2.29, 0),
    (0, 12, 2.33, 0), (0, 3, 2.9, 0), (0, 20, 1.7, 0), (0, 23, 1.41, 0), (0, 12, 2.25, 0),
    (0, 22, 1.54, 0), (0, 42, 1.97, 0), (0, 15, 1.75, 0), (0, 13, 2.16, 0), (0, 14, 2.57, 0),
    (0, 19, 1.37, 0), (0, 12, 3.61, 0), (0, 13, 2.04, 0), (0, 10, 2.17, 0), (0, 12, 1.69, 1),
    (1, 49, 0.27, 1), (0, 6, 1.84, 1), (0, 5, 1.3, 1), (0, 17, 0.96, 1), (1, 11, 1.01, 1),
    (1, 21, 0.98, 1), (0, 5, 0.35, 1), (1, 19, 1.02, 1), (0, 33, 0.85, 1),
];

/// Age, oral contraceptive, condom, lubricated condom, spermicide, diaphragm; women; those with an
/// infection: the 239 women of Foxman et al. 1997 (Epidemiology 8:637) with Heinze & Schemper's
/// coding, by cells.
const INFECTIONS: [([u8; 6], u32, u32); 24] = [
    ([0, 0, 0, 0, 1, 0], 2, 1),
    ([0, 0, 1, 0, 0, 0], 16, 14),
    ([0, 0, 1, 0, 1, 0], 4, 3),
    ([0, 0, 1, 1, 0, 0], 18, 10),
    ([0, 0, 1, 1, 1, 0], 30, 12),
    ([0, 0, 1, 1, 1, 1], 1, 1),
    ([0, 1, 0, 0, 0, 0], 86, 44),
    ([0, 1, 0, 0, 0, 1], 3, 3),
    ([0, 1, 0, 0, 1, 0], 1, 0),
    ([0, 1, 1, 0, 0, 0], 16, 15),
    ([0, 1, 1, 0, 0, 1], 1, 1),
    ([0, 1, 1, 0, 1, 0], 2, 2),
    ([0, 1, 1, 1, 0, 0], 12, 7),
    ([0, 1, 1, 1, 1, 0], 9, 3),
    ([1, 0, 1, 0, 0, 0], 2, 2),
    ([1, 0, 1, 0, 1, 0], 1, 1),
    ([1, 0, 1, 0, 1, 1], 1, 1),
    ([1, 0, 1, 1, 0, 0], 3, 1),
    ([1, 0, 1, 1, 1, 0], 4, 0),
    ([1, 0, 1, 1, 1, 1], 1, 1),
    ([1, 1, 0, 0, 0, 0], 19, 5),
    ([1, 1, 0, 0, 1, 0], 1, 0),
    ([1, 1, 1, 0, 0, 0], 4, 3),
    ([1, 1, 1, 1, 1, 0], 2, 0),
];

// q1.firth.endometrial: published 3.775, 2.929, -0.035, -2.604; every woman with neovasculization
// had a high grade, so the ordinary estimate is infinite. Digits: scipy 1.17.1; firthmodels 0.8.2
// and R brglm2 0.9 agree to 1e-6.
#[test]
fn heinze_and_schempers_first_example() {
    let rows: Vec<Vec<f64>> = ENDOMETRIAL
        .iter()
        .map(|(nv, pi, eh, _)| vec![f64::from(*nv), f64::from(*pi), *eh])
        .collect();
    let hits: Vec<bool> = ENDOMETRIAL.iter().map(|row| row.3 == 1).collect();
    assert_eq!(hits.iter().filter(|hit| **hit).count(), 30);
    let want = [
        (3.774559713647, 1.0825371085, 7.209280498433, 0.004193627886),
        (2.929273353197, 0.609724436303, 7.854631713875, 0.009123667547),
        (-0.03475175987, -0.124458720781, 0.040455473421, 0.387482203566),
        (-2.604163925294, -4.365183247381, -1.232721057188, 2.506867215e-05),
    ];
    compare(&rows, &hits, &want);
}

// q1.firth.sex2: published .1203, -1.1060, -.0688, 2.2689, -2.1114, -.7883, 3.0960 (R logistf);
// all seven women with a diaphragm had an infection. Digits as above.
#[test]
fn heinze_and_schempers_second_example() {
    let (mut rows, mut hits) = (Vec::new(), Vec::new());
    for (covariates, women, infected) in INFECTIONS {
        for woman in 0..women {
            rows.push(covariates.map(f64::from).to_vec());
            hits.push(woman < infected);
        }
    }
    assert_eq!((rows.len(), hits.iter().filter(|hit| **hit).count()), (239, 130));
    let want = [
        (0.120254049134, -0.818559106279, 1.073151216025, 0.802026802337),
        (-1.105981331381, -1.973788382852, -0.307425141576, 0.006143471845),
        (-0.068816727062, -0.941436330165, 0.78920202119, 0.875191058626),
        (2.268874652239, 1.273021571204, 3.435432730915, 1.678876959e-06),
        (-2.111408185303, -3.260861117529, -1.117734946985, 1.237804763e-05),
        (-0.788316951397, -1.608087889528, 0.015184678911, 0.054497008062),
        (3.096011827352, 0.774568169217, 8.030293522191, 0.004951873386),
    ];
    compare(&rows, &hits, &want);
}

/// Trials by their three covariates: rows, hits.
fn vehicle60() -> (Vec<Vec<f64>>, Vec<bool>) {
    // cold, wet, soak, trials, hits
    let cells = [
        (1, 1, 1, 6, 5),
        (1, 1, 0, 2, 0),
        (1, 0, 1, 5, 2),
        (1, 0, 0, 5, 0),
        (0, 1, 1, 3, 0),
        (0, 1, 0, 5, 0),
        (0, 0, 1, 4, 0),
        (0, 0, 0, 30, 0),
    ];
    let (mut rows, mut hits) = (Vec::new(), Vec::new());
    for (cold, wet, soak, trials, hit) in cells {
        for trial in 0..trials {
            rows.push([cold, wet, soak].map(f64::from).to_vec());
            hits.push(trial < hit);
        }
    }
    (rows, hits)
}

// q1.logit.vehicle60: scipy 1.17.1 optimisation of the penalised likelihood; every hit is
// cold, so the ordinary estimate is infinite. The same code gives Heinze & Schemper's 3.775,
// 2.929, -0.035, -2.604 for their 79 women.
#[test]
fn a_separating_condition_stays_finite() {
    let (rows, hits) = vehicle60();
    let want = [
        (-6.446_200_589, -12.932_430_316, -3.385_932_173, 9.110_326e-15),
        (3.197_638_502, 0.713_167_765, 8.207_499_670, 0.008_244_936),
        (1.488_280_735, -0.686_002_070, 4.164_524_085, 0.181_835_629),
        (2.962_961_019, 0.504_024_482, 7.930_596_774, 0.015_067_913),
    ];
    compare(&rows, &hits, &want);
}

// Heinze & Schemper 2002, section 2: with one binary covariate the estimate is the log-odds
// ratio after 1/2 is added to each cell. 5/30 against 0/40.
#[test]
fn one_condition_in_closed_form() {
    let rows: Vec<Vec<f64>> = (0..70).map(|i| vec![f64::from(u8::from(i < 30))]).collect();
    let hits: Vec<bool> = (0..70).map(|i| i < 5).collect();
    let effects = firth(&rows, &hits, 0.95).expect("a fit");
    let want = (5.5f64 / 25.5).ln() - (0.5f64 / 40.5).ln();
    holds("firth::firth", effects[1].value, want);
}

#[test]
fn what_cannot_be_told_apart_is_refused() {
    let rows: Vec<Vec<f64>> = (0..20).map(|i| vec![f64::from(i % 2), 1.0]).collect();
    let hits: Vec<bool> = (0..20).map(|i| i % 3 == 0).collect();
    assert_eq!(firth(&rows, &hits, 0.95), None);
    let twins: Vec<Vec<f64>> = (0..20).map(|i| vec![f64::from(i % 2); 2]).collect();
    assert_eq!(firth(&twins, &hits, 0.95), None);
    assert_eq!(firth(&rows, &[false; 20], 0.95), None);
    assert_eq!(firth(&[], &[], 0.95), None);
}
