//! The curve and the log-rank test against published examples. Test builds only.

use super::survival::*;
use super::tolerances::holds;
use proptest::prelude::*;

const KM: &str = "survival::kaplan_meier";

// Weeks of remission under 6-MP and placebo: Freireich et al. 1963 Blood 21:699, table of 42
// patients as printed in Gehan 1965 and Cox & Oakes 1984.
const TREATED: [f64; 9] = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0];
const TREATED_CENSORED: [f64; 12] =
    [6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0];
const PLACEBO: [f64; 21] = [
    1.0, 22.0, 3.0, 12.0, 8.0, 17.0, 2.0, 11.0, 8.0, 12.0, 2.0, 5.0, 4.0, 15.0, 8.0, 23.0, 5.0,
    11.0, 4.0, 1.0, 8.0,
];

fn treated() -> Vec<Watched> {
    let ended = TREATED_CENSORED.map(Watched::censored);
    TREATED.map(Watched::until_event).into_iter().chain(ended).collect()
}

fn placebo() -> Vec<Watched> {
    PLACEBO.map(Watched::until_event).to_vec()
}

fn curve(subjects: &[Watched]) -> Curve {
    kaplan_meier(subjects, 0.95).expect("subjects that can be")
}

// q2.km.6-MP (printed .857 .807 .753 .690 .627 .538 .448) and q2.km.control; digits: lifelines
// 0.30.3 and R survival 3.5-3. Time, at risk, events, share free, Greenwood's standard error.
#[test]
fn published_remissions() {
    let under_treatment = [
        (6.0, 21, 3.0, 0.857_142_857_142_857, 0.076_360_354_832_121),
        (7.0, 17, 1.0, 0.806_722_689_075_630, 0.086_935_285_180_057),
        (10.0, 15, 1.0, 0.752_941_176_470_588, 0.096_349_652_994_320),
        (13.0, 12, 1.0, 0.690_196_078_431_373, 0.106_814_707_775_010),
        (16.0, 11, 1.0, 0.627_450_980_392_157, 0.114_053_865_256_753),
        (22.0, 7, 1.0, 0.537_815_126_050_420, 0.128_233_751_693_034),
        (23.0, 6, 1.0, 0.448_179_271_708_684, 0.134_591_456_755_760),
    ];
    let steps = curve(&treated()).steps;
    assert_eq!(steps.len(), under_treatment.len());
    for (step, (time, at_risk, events, free, error)) in steps.iter().zip(under_treatment) {
        assert_eq!(step.at_risk, at_risk);
        holds(KM, step.time, time);
        holds(KM, step.events, events);
        holds(KM, step.free, free);
        holds(KM, step.std_error.expect("above 0"), error);
    }
    let steps = curve(&placebo()).steps;
    let under_placebo = [
        0.904_761_904_761_905,
        0.809_523_809_523_810,
        0.761_904_761_904_762,
        0.666_666_666_666_667,
        0.571_428_571_428_571,
        0.380_952_380_952_381,
        0.285_714_285_714_286,
        0.190_476_190_476_190,
        0.142_857_142_857_143,
        0.095_238_095_238_095,
        0.047_619_047_619_048,
        0.0,
    ];
    assert_eq!(steps.len(), under_placebo.len());
    for (step, free) in steps.iter().zip(under_placebo) {
        holds(KM, step.free, free);
    }
    let last = steps.last().expect("steps");
    assert_eq!((last.std_error, last.low, last.high), (None, None, None));
}

// q2.km.loglog and lifelines 0.30.3, which prints the log(-log) interval by default.
#[test]
fn published_intervals_and_medians() {
    let curve_treated = curve(&treated());
    let at = |time| curve_treated.at(time).expect("after the first event");
    for time in [10.0, 12.9] {
        holds(KM, at(time).low.expect("above 0"), 0.503_199_510_799_956);
        holds(KM, at(time).high.expect("above 0"), 0.889_361_835_169_265);
    }
    holds(KM, at(6.0).low.expect("above 0"), 0.619_717_955_265_984);
    assert_eq!(curve_treated.at(5.9), None);
    let quantile = |time, low, high| Quantile { time, low, high };
    assert_eq!(curve_treated.quantile(0.5), quantile(Some(23.0), Some(13.0), None));
    assert_eq!(curve_treated.quantile(0.75), quantile(Some(13.0), Some(6.0), Some(22.0)));
    let curve_placebo = curve(&placebo());
    assert_eq!(curve_placebo.quantile(0.5), quantile(Some(8.0), Some(4.0), Some(11.0)));
    assert_eq!(curve_treated.quantile(0.01), quantile(None, None, None));
    assert_eq!((curve_treated.subjects, curve_treated.longest), (21, 35.0));
}

// lifelines 0.30.3, KaplanMeierFitter with `entry`; the data are invented.
#[test]
fn begun_late() {
    let rows = [
        (0.0, 4.0, 1.0),
        (0.0, 9.0, 0.0),
        (2.0, 6.0, 1.0),
        (3.0, 12.0, 1.0),
        (5.0, 7.0, 1.0),
        (5.0, 15.0, 0.0),
        (1.0, 3.0, 1.0),
        (0.0, 10.0, 1.0),
        (4.0, 9.0, 0.0),
        (2.0, 11.0, 1.0),
    ];
    let mut subjects = rows.map(|(from, to, event)| Watched { from, to, event }).to_vec();
    let want = [
        (3.0, 6, 0.833_333_333, 0.273_123, 0.974_712),
        (4.0, 6, 0.694_444_444, 0.232_049, 0.912_998),
        (6.0, 8, 0.607_638_889, 0.209_374, 0.853_236),
        (7.0, 7, 0.520_833_333, 0.173_136, 0.784_547),
        (10.0, 4, 0.390_625, 0.096_145, 0.685_706),
        (11.0, 3, 0.260_416_667, 0.040_037, 0.569_748),
        (12.0, 2, 0.130_208_333, 0.006_958, 0.433_194),
    ];
    let check = |subjects: &[Watched]| {
        let steps = curve(subjects).steps;
        assert_eq!(steps.len(), want.len());
        for (step, (time, at_risk, free, low, high)) in steps.iter().zip(want) {
            let got = [step.time, step.free, step.low.expect("low"), step.high.expect("high")];
            let close = got.iter().zip([time, free, low, high]).all(|(g, w)| (g - w).abs() < 1e-6);
            assert!(close && step.at_risk == at_risk, "{step:?}");
        }
    };
    check(&subjects);
    // Nothing of this one was watched.
    subjects.push(Watched { from: 6.0, to: 6.0, event: 1.0 });
    check(&subjects);
    // An event at the very beginning of a subject watched from there counts.
    let at_once = [Watched::until_event(0.0), Watched::censored(0.0), Watched::censored(2.0)];
    let first = curve(&at_once).steps[0];
    assert!(first.at_risk == 3 && (first.free - 2.0 / 3.0).abs() < 1e-12);
}

// By hand: a half event among four, then one among the two left: 7/8, then 7/16.
#[test]
fn events_that_count_for_less() {
    let half = Watched { from: 0.0, to: 1.0, event: 0.5 };
    let subjects =
        [half, Watched::censored(1.5), Watched::until_event(2.0), Watched::censored(3.0)];
    let steps = curve(&subjects).steps;
    holds(KM, steps[0].free, 0.875);
    holds(KM, steps[1].free, 0.4375);
    // Two halves at one time are one event.
    let halves = curve(&[half, half, Watched::censored(3.0)]).steps;
    let one = curve(&[Watched::until_event(1.0), Watched::censored(1.0), Watched::censored(3.0)]);
    assert_eq!(halves, one.steps);
}

// q2.logrank.freireich (printed 16.79, O 9 and 21, E 19.25 and 10.75): lifelines 0.30.3, R
// survdiff; E from exact fractions. The three groups: lifelines multivariate_logrank_test. The
// strata (first ten and rest of either arm, in the order printed): exact fractions, scipy 1.17.1.
#[test]
fn published_log_rank() {
    let (treated, placebo) = (treated(), placebo());
    let test = log_rank(&[&treated, &placebo]).expect("two groups");
    holds("survival::log_rank", test.chi_squared, 16.792_940_989_216_55);
    holds("survival::log_rank", test.p_value, 4.168_809_109_334_51e-5);
    holds("survival::log_rank", test.expected[0], 19.250_500_948_031_13);
    assert_eq!((test.observed, test.freedom), (vec![9.0, 21.0], 1));

    let third =
        [(2.0, 1.0), (4.0, 1.0), (6.0, 0.0), (9.0, 1.0), (13.0, 1.0), (20.0, 0.0), (5.0, 1.0)]
            .map(|(to, event)| Watched { from: 0.0, to, event });
    let test = log_rank(&[&treated, &placebo, &third]).expect("three groups");
    holds("survival::log_rank", test.chi_squared, 17.061_219_880_060_186);
    holds("survival::log_rank", test.p_value, 1.973_345_709_562_893e-4);
    assert_eq!(test.freedom, 2);
    // A group that is never there changes nothing.
    let with_nobody = log_rank(&[&treated, &[], &placebo, &third]).expect("three groups");
    holds("survival::log_rank", with_nobody.chi_squared, 17.061_219_880_060_186);
    assert_eq!(with_nobody.freedom, 2);
}

/// Years from diagnosis to death, and of those who lived to the last word of them, by stage: 90 men with cancer
/// of the larynx (Kardaun 1983; Klein & Moeschberger 2003, section 1.8).
const DIED: [&[f64]; 4] = [
    &[0.6, 1.3, 2.4, 3.2, 3.3, 3.5, 3.5, 4.0, 4.0, 4.3, 5.3, 6.0, 6.4, 6.5, 7.4],
    &[0.2, 1.8, 2.0, 3.6, 4.0, 6.2, 7.0],
    &[0.3, 0.3, 0.5, 0.7, 0.8, 1.0, 1.3, 1.6, 1.8, 1.9, 1.9, 3.2, 3.5, 5.0, 6.3, 6.4, 7.8],
    &[0.1, 0.3, 0.4, 0.8, 0.8, 1.0, 1.5, 2.0, 2.3, 3.6, 3.8],
];
const LIVED: [&[f64]; 4] = [
    &[2.5, 3.2, 3.3, 4.5, 4.5, 5.5, 5.9, 5.9, 6.1, 6.2, 6.5, 6.7, 7.0, 7.4, 8.1, 8.1, 9.6, 10.7],
    &[2.2, 2.6, 3.3, 3.6, 4.3, 4.3, 5.0, 7.5, 7.6, 9.3],
    &[3.7, 4.5, 4.8, 4.8, 5.0, 5.1, 6.5, 8.0, 9.3, 10.1],
    &[2.9, 4.3],
];

// q6.logrank.larynx: published 22.8 on 3 degrees of freedom (Klein & Moeschberger 2003, ch. 7); digits by
// lifelines 0.30.3, R's survdiff prints 22.8.
#[test]
fn published_log_rank_of_four_stages() {
    let stages: Vec<Vec<Watched>> = DIED
        .iter()
        .zip(LIVED)
        .map(|(died, lived)| {
            let ends = died.iter().map(|to| Watched::until_event(*to));
            ends.chain(lived.iter().map(|to| Watched::censored(*to))).collect()
        })
        .collect();
    let groups: Vec<&[Watched]> = stages.iter().map(Vec::as_slice).collect();
    let test = log_rank(&groups).expect("four stages");
    assert_eq!((test.freedom, test.observed.as_slice()), (3, &[15.0, 7.0, 17.0, 11.0][..]));
    holds("survival::log_rank", test.chi_squared, 22.762_757_064_648_177);
    holds("survival::log_rank", test.p_value, 4.525_211_220_445_884e-5);
    let expected = [
        22.566_039_844_488_657,
        10.011_697_005_528_635,
        14.084_547_723_127_413,
        3.337_715_426_855_299,
    ];
    for (got, want) in test.expected.iter().zip(expected) {
        holds("survival::log_rank", *got, want);
    }
}

// q6.km.nist: NIST/SEMATECH e-Handbook 8.2.1.5 and 8.4.1.3, ten of twenty failed by 500 h.
#[test]
fn published_curve_of_the_handbook() {
    let failed = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0];
    let mut all: Vec<Watched> = failed.into_iter().map(Watched::until_event).collect();
    all.extend([Watched::censored(500.0); 10]);
    let curve = curve(&all);
    let printed = [0.95, 0.90, 0.85, 0.80, 0.75, 0.70, 0.65, 0.60, 0.55, 0.50];
    assert_eq!(curve.steps.len(), printed.len());
    for (step, want) in curve.steps.iter().zip(printed) {
        holds(KM, step.free, want);
    }
}

#[test]
fn within_strata() {
    let ended = [10.0, 7.0, 32.0, 23.0, 22.0, 6.0, 16.0, 34.0, 32.0, 25.0];
    let events = [1.0, 1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0];
    let rest = [11.0, 20.0, 19.0, 6.0, 17.0, 35.0, 6.0, 13.0, 9.0, 6.0, 10.0];
    let rest_events = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0];
    let watched = |to: &[f64], event: &[f64]| -> Vec<Watched> {
        let pairs = to.iter().zip(event);
        pairs.map(|(to, event)| Watched { from: 0.0, to: *to, event: *event }).collect()
    };
    let first = [watched(&ended, &events), placebo()[..10].to_vec()];
    let second = [watched(&rest, &rest_events), placebo()[10..].to_vec()];
    let strata: [&[&[Watched]]; 2] = [&[&first[0], &first[1]], &[&second[0], &second[1]]];
    let test = stratified_log_rank(&strata).expect("strata");
    holds("survival::stratified_log_rank", test.chi_squared, 15.894_957_387_720_124);
    holds("survival::stratified_log_rank", test.p_value, 6.695_687_630_954_466e-5);
    holds("survival::stratified_log_rank", test.expected[0], 19.012_202_043_742_292);
    // Each group alone in its stratum: nothing to compare.
    let apart: [&[&[Watched]]; 2] = [&[&first[0], &[]], &[&[], &first[1]]];
    assert_eq!(stratified_log_rank(&apart), None);
}

#[test]
fn refuses_what_cannot_be() {
    let bad = [
        Watched { from: 2.0, to: 1.0, event: 1.0 },
        Watched { from: -1.0, to: 1.0, event: 1.0 },
        Watched { from: 0.0, to: f64::NAN, event: 1.0 },
        Watched { from: 0.0, to: 1.0, event: 1.5 },
    ];
    for one in bad {
        assert_eq!(kaplan_meier(&[one], 0.95), None);
        assert_eq!(log_rank(&[&placebo(), &[one]]), None);
    }
    assert_eq!(kaplan_meier(&[], 0.95), None);
    assert_eq!(kaplan_meier(&placebo(), 1.0), None);
    assert_eq!(log_rank(&[&placebo()]), None);
    assert_eq!(log_rank(&[&[Watched::censored(3.0)], &[Watched::censored(4.0)]]), None);
    assert_eq!(stratified_log_rank(&[]), None);
    assert!(curve(&[Watched::censored(4.0)]).steps.is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    // Without censoring the curve is the plain share of subjects that are still free.
    #[test]
    fn the_empirical_share_without_censoring(times in prop::collection::vec(0u8..20, 1..40)) {
        let subjects: Vec<Watched> =
            times.iter().map(|time| Watched::until_event(f64::from(*time))).collect();
        for step in curve(&subjects).steps {
            let later = times.iter().filter(|time| f64::from(**time) > step.time).count();
            prop_assert!((step.free - later as f64 / times.len() as f64).abs() < 1e-12);
            let inside = step.low.is_none_or(|low| low <= step.free)
                && step.high.is_none_or(|high| step.free <= high);
            prop_assert!(inside, "{step:?}");
        }
    }
}
