//! Published chains of inference worked through with the functions of this folder. Test builds only.

use super::logs::{decibans, ln_from_decibans, normalise};

// q3.jaynes.widgets: Jaynes 2003, Probability Theory, chapter 4: of a box of widgets either 1/3 (A)
// or 1/6 (B) are bad, and at -60 decibans nearly all (C: 99 in 100). Each bad one found speaks with
// 3.01 decibans for A against B; C, the hypothesis nobody thought of, takes over near eleven.
#[test]
fn jaynes_bad_widgets() {
    let priors = [0.090_909f64, 0.909_09, 1e-6];
    let bad = [1.0 / 3.0, 1.0 / 6.0, 0.99f64];
    let evidence = |draws: f64| -> Vec<f64> {
        let weights: Vec<f64> =
            priors.iter().zip(bad).map(|(prior, p)| prior.ln() + draws * p.ln()).collect();
        let shares = normalise(&weights).expect("three hypotheses");
        let rest = |at: usize| -> f64 {
            (0..3).filter(|other| *other != at).map(|other| shares[other]).sum()
        };
        (0..3).map(|at| decibans(shares[at].ln() - rest(at).ln())).collect()
    };
    for (draws, want) in [
        (0.0, [-10.000_004_777_241_45, 9.999_952_227_821_963, -59.999_995_657_053_01]),
        (1.0, [-6.989_728_420_097_306, 6.989_558_161_528_694, -52.640_016_816_135_07]),
        (5.0, [5.016_315_455_933_532, -5.062_525_536_551_807, -27.129_239_460_390_085]),
        (10.0, [2.238_819_164_200_324, -22.109_950_917_464_673, -2.352_629_694_930_639]),
        (11.0, [-2.429_278_232_112_483, -27.498_205_762_538_195, 2.395_986_438_196_392]),
        (16.0, [-26.054_964_728_928_095, -64.230_520_848_037_4, 26.054_300_455_047_485]),
    ] {
        for (got, want) in evidence(draws).into_iter().zip(want) {
            assert!((got - want).abs() < 1e-6, "{draws} bad: {got}, {want}");
        }
    }
    let step = decibans((bad[0] / bad[1]).ln());
    assert!((step - 3.010_299_956_639_812).abs() < 1e-12);
    assert!((ln_from_decibans(step).exp() - 2.0).abs() < 1e-12);
}
