//! How close each statistic must come to its outside value, and why not closer. Test builds only.
//!
//! One row a public function of `numerics`. A test reads the folder's sources and fails when a
//! function has no row, a row has no function, or no test ever asks for the row. A difference is
//! measured against the outside value where that is above 1 in size, else absolutely.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// One row: file and function, tolerance, what limits it, where the statistic is defined.
struct Row {
    statistic: &'static str,
    tolerance: f64,
    reason: &'static str,
    source: &'static str,
}

const fn row(
    statistic: &'static str,
    tolerance: f64,
    reason: &'static str,
    source: &'static str,
) -> Row {
    Row { statistic, tolerance, reason, source }
}

const SUMS: &str = "a short sum of logarithms, each right to the last places";
const LARGE: &str = "differences of logarithms near one million lose six places of sixteen";
const PRINTED: &str = "the outside value is printed with eight places";
const ROUND: &str = "a few roundings";
const BISECTION: &str = "bisection on the logarithm of the ratio, stopped at 1e-12";
const CLOCK: &str = "slopes in parts per million from times of sixty seconds";
const INCOMPLETE: &str = "the library's incomplete gamma and beta functions";
const QUANTILE: &str = "the library's inverse of the incomplete beta function";

const TABLE: [Row; 97] = [
    row("beta_binomial::clean_needed", 0.0, "a whole number", "Bayes predictive, Geisser 1993"),
    row("beta_binomial::ln_ordered", 1e-9, SUMS, "Skellam 1948"),
    row("beta_binomial::ln_pmf", 1e-9, SUMS, "Skellam 1948"),
    row("beta_binomial::predictive_clean", 1e-11, SUMS, "Laplace 1774; Geisser 1993"),
    row("beta_binomial::probability_greater", 1e-11, "one rounding a step", "Thompson 1933"),
    row("beta_binomial::success_run", 0.0, "a whole number", "Lipson & Sheth 1973"),
    row("centre::mad", 1e-12, ROUND, "Hampel 1974; R stats::mad"),
    row("centre::mad_of", 1e-12, ROUND, "Hampel 1974; R stats::mad"),
    row("centre::median", 0.0, "an element, or the mean of two", "order statistics"),
    row("centre::median_of", 0.0, "an element, or the mean of two", "order statistics"),
    row("centre::quantile", 1e-12, ROUND, "Hyndman & Fan 1996, type 7"),
    row("circular::shift_p", 1e-12, "a ratio of whole numbers", "Lotwick & Silverman 1982"),
    row(
        "clustered::clustered_curve",
        1e-11,
        "a short sum of fractions",
        "Efron 1981; Cochran 1977",
    ),
    row("exact::fisher", 1e-12, SUMS, "Fisher 1935; Fagerland et al. 2017"),
    row("exact::ln_hypergeometric", 1e-8, LARGE, "hypergeometric distribution"),
    row("exact::mid_p", 1e-12, SUMS, "Lancaster 1961; Fagerland et al. 2017"),
    row("exact::smallest_mid_p", 1e-12, SUMS, "least table of the margins"),
    row("exact::upper_mid_p", 1e-12, SUMS, "Lancaster 1961"),
    row("exact::upper_p", 1e-12, SUMS, "Fisher 1935"),
    row("information::cheapest_order", 0.0, "whole numbers", "Kadane & Simon 1977"),
    row("information::entropy", 1e-12, SUMS, "Shannon 1948; MacKay 2003"),
    row("information::expected_information", 1e-12, SUMS, "Lindley 1956; MacKay 2003"),
    row("information::least_loss", 1e-12, ROUND, "Raiffa & Schlaifer 1961"),
    row("information::order_cost", 1e-12, ROUND, "Kadane & Simon 1977"),
    row("information::perfect_value", 1e-12, ROUND, "Raiffa & Schlaifer 1961"),
    row("information::sample_value", 1e-12, ROUND, "Raiffa & Schlaifer 1961"),
    row("logs::decibans", 1e-14, ROUND, "Good 1950"),
    row("logs::ln_beta", 1e-12, SUMS, "Euler's beta function"),
    row("logs::ln_choose", 1e-12, LARGE, "binomial coefficient"),
    row("logs::ln_factorial", 1e-14, "the library's series", "gamma function"),
    row("logs::ln_from_decibans", 1e-14, ROUND, "Good 1950"),
    row("logs::log_sum_exp", 1e-14, ROUND, "definition"),
    row("logs::normalise", 1e-8, PRINTED, "definition"),
    row("proportion::clopper_pearson", 1e-9, QUANTILE, "Clopper & Pearson 1934"),
    row("proportion::jeffreys", 1e-9, QUANTILE, "Brown, Cai & DasGupta 2001"),
    row("proportion::wilson", 1e-9, "the library's normal quantile", "Wilson 1927"),
    row("ratio::koopman", 1e-7, BISECTION, "Koopman 1984"),
    row("ratio::miettinen_nurminen", 1e-7, BISECTION, "Miettinen & Nurminen 1985"),
    row("ratio::risk_ratio", 1e-14, ROUND, "definition"),
    row("ratio::shrunk_ratio", 1e-12, ROUND, "means of the Jeffreys posteriors"),
    row("circular::count_shifts", 0.0, "whole numbers", "definition"),
    row("scoring::brier", 1e-12, ROUND, "Brier 1950; scikit-learn brier_score_loss"),
    row("scoring::calibration_error", 1e-12, ROUND, "Naeini, Cooper & Hauskrecht 2015"),
    row("scoring::corp", 1e-12, ROUND, "Dimitriadis, Gneiting & Jordan 2021"),
    row("scoring::log_score", 1e-12, ROUND, "Good 1952; scikit-learn log_loss"),
    row("scoring::reliability", 1e-12, ROUND, "definition"),
    row(
        "smooth::leave_one_out",
        1e-8,
        "a small matrix is inverted",
        "Rasmussen & Williams 2006, 5.4.2",
    ),
    row("proportion::posterior_median", 1e-9, QUANTILE, "Jeffreys posterior"),
    row("binomial::ln_upper", 1e-12, SUMS, "binomial distribution"),
    row("clusters::adjusted_rand", 1e-12, ROUND, "Hubert & Arabie 1985"),
    row("clusters::average_linkage", 1e-12, ROUND, "Sokal & Michener 1958"),
    row("clusters::cut", 0.0, "whole numbers", "definition"),
    row("clusters::jaccard_distance", 1e-12, ROUND, "Jaccard 1901"),
    row("cusum::lower", 1e-9, "sums of values printed with three places", "Page 1954"),
    row("cusum::run_length", 1e-9, "elimination in 120 unknowns", "Brook & Evans 1972"),
    row("cusum::upper", 1e-9, "sums of values printed with three places", "Page 1954"),
    row("lines::cumulative_index", 1e-9, CLOCK, "sums of rounded steps"),
    row("lines::least_squares", 9e-7, CLOCK, "Gauss 1809"),
    row("lines::lower_hull_slope", 9e-7, CLOCK, "Moon, Skelly & Towsley 1999"),
    row("lines::median_slope", 1e-12, ROUND, "Theil 1950; Sen 1968"),
    row("lines::slope_precision", 1e-12, ROUND, "variance of a uniform design"),
    row("lines::some_pair_within", 1e-12, ROUND, "birthday problem"),
    row("waiting::exceeds", 1e-12, ROUND, "Wilks 1941"),
    row("waiting::quiet_for", 1e-12, ROUND, "exponential distribution"),
    row("waiting::silence_factor", 0.0, "a whole number", "independent losses"),
    row("waiting::stopped_before", 1e-12, "differences of times near ten", "two uniform times"),
    row("beta_binomial::first_hit_within", 0.0, "a whole number", "Geisser 1993"),
    row("beta_binomial::probability_fell_to", 1e-9, "quadrature of 256 panels", "definition"),
    row("firth::firth", 1e-7, "bisection to 1e-9 on a fitted profile", "Heinze & Schemper 2002"),
    row("max_selected::best_cut", 1e-12, SUMS, "Miller & Siegmund 1982"),
    row("max_selected::shift_p", 1e-12, "a ratio of whole numbers", "Lotwick & Silverman 1982"),
    row("rate::constant_rate_p", 1e-11, SUMS, "exact multinomial test"),
    row("rate::equal_rates_p", 1e-10, SUMS, "Przyborowski & Wilenski 1940"),
    row("rate::garwood", 1e-9, "the library's inverse of chi-squared", "Garwood 1936"),
    row("rate::higher_rate_p", 1e-10, SUMS, "Przyborowski & Wilenski 1940"),
    row("sequential::sprt_lines", 1e-12, ROUND, "Wald 1947; NIST e-Handbook 6.2.6"),
    row("sequential::unchanged_against_cured", 1e-9, SUMS, "Ville 1939; Wald 1947"),
    row("strata::upper_mid_p", 1e-9, SUMS, "Gart 1970; Lancaster 1961"),
    row("strata::upper_p", 1e-9, SUMS, "Gart 1970"),
    row("survival::kaplan_meier", 1e-12, "a product of fractions", "Kaplan & Meier 1958"),
    row("survival::log_rank", 1e-11, "a short sum of fractions", "Mantel 1966"),
    row("survival::stratified_log_rank", 1e-11, "a short sum of fractions", "Mantel 1966"),
    row("change_point::single_change", 1e-9, SUMS, "Raftery & Akman 1986"),
    row("multiple::benjamini_hochberg", 1e-12, ROUND, "Benjamini & Hochberg 1995"),
    row("multiple::holm", 1e-12, ROUND, "Holm 1979"),
    row("multiple::weighted_benjamini_hochberg", 1e-12, ROUND, "Genovese et al. 2006"),
    row("shrinkage::ln_likelihood", 1e-9, SUMS, "negative binomial distribution"),
    row("shrinkage::mostly_alike", 1e-12, ROUND, "Gelman 2006; Laplace 1774"),
    row("shrinkage::shrink", 1e-9, "the root of the distribution function", "DuMouchel 1999"),
    row(
        "shrinkage::together",
        1e-8,
        "a sum over sixty steps in place of an integral",
        "George et al. 1993",
    ),
    row(
        "shrinkage::weigh",
        1e-8,
        "a sum over sixty steps in place of an integral",
        "George et al. 1993",
    ),
    row("soft_counts::funnel_limits", 1e-12, "whole numbers", "Spiegelhalter 2005"),
    row("soft_counts::higher_rate_mid_p", 1e-10, INCOMPLETE, "Przyborowski & Wilenski 1940"),
    row("soft_counts::rate_ratio_range", 1e-9, INCOMPLETE, "Clopper & Pearson 1934"),
    row("soft_counts::upper_mid_p", 1e-12, INCOMPLETE, "Lancaster 1961"),
    row("weibull::fit_weibull", 1e-9, "bisection of the slope", "NIST e-Handbook 8.4.1.3"),
    row("weibull::scale_at_shape", 1e-12, ROUND, "Nelson 1985"),
];

/// Fails the running test unless `got` is as close to `want` as the statistic's row asks.
pub(super) fn holds(statistic: &str, got: f64, want: f64) {
    let row = TABLE.iter().find(|row| row.statistic == statistic);
    let row = row.unwrap_or_else(|| panic!("no row for {statistic}"));
    let allowed = row.tolerance * want.abs().max(1.0);
    let off = (got - want).abs();
    assert!(off <= allowed, "{statistic}: got {got:e}, outside value {want:e}, off by {off:e}");
}

/// The sources of this folder: file stem and text.
fn sources() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/numerics");
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the folder of this file") {
        let path = entry.expect("an entry").path();
        let stem = path.file_stem().expect("a name").to_string_lossy().into_owned();
        if stem != "mod" && stem != "tolerances" && stem != "lcg" {
            found.push((stem, fs::read_to_string(&path).expect("a source file")));
        }
    }
    found
}

#[test]
fn every_statistic_has_a_row_and_a_test_that_uses_it() {
    let mut functions = BTreeSet::new();
    let mut asked = String::new();
    for (stem, text) in sources() {
        // Free functions stand at the margin; methods and test functions are indented.
        for line in text.lines() {
            let name = line.strip_prefix("pub fn ").and_then(|rest| rest.split(['(', '<']).next());
            functions.extend(name.map(|name| format!("{stem}::{name}")));
        }
        asked.push_str(&text);
    }
    let rows: BTreeSet<String> = TABLE.iter().map(|row| row.statistic.to_owned()).collect();
    assert_eq!(rows.len(), TABLE.len(), "a statistic has two rows");
    assert_eq!(functions, rows);
    for row in &TABLE {
        assert!(asked.contains(&format!("\"{}\"", row.statistic)), "{}", row.statistic);
        assert!(!row.reason.is_empty() && !row.source.is_empty(), "{}", row.statistic);
        assert!(row.tolerance < 1e-6, "{}", row.statistic);
    }
}
