//! Values by scipy, statsmodels, astropy and pingouin: `tests/reference/statistics/make.py`, versions beside it.

use crate::close;
use crate::published::{A, B, three_groups};
use serde_json::Value;
use std::collections::HashMap;
use stillaxis::statistics::bootstrap::{Settings, bootstrap};
use stillaxis::statistics::centroid_region::CentroidRegion;
use stillaxis::statistics::effect_size::{cliffs_delta, hedges_g};
use stillaxis::statistics::intraclass::Intraclass;
use stillaxis::statistics::order_statistics::quantile_interval;
use stillaxis::statistics::rank_tests::{kruskal_wallis, mann_whitney, wilcoxon_signed_rank};
use stillaxis::statistics::{axial, clusters, descriptive, distributions, holm, power, proportion, spread_test};

fn expected(part: &str) -> Value {
    let text = include_str!("../reference/statistics/expected.json");
    let mut all: HashMap<String, Value> = serde_json::from_str(text).unwrap();
    all.remove(part).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("a number, not {value}"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn table(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

/// NumPy and scipy.stats.
#[test]
fn summaries() {
    let e = expected("descriptive");
    let values = numbers(&e["values"]);
    let sorted = descriptive::sorted(&values);
    let got = [
        ("mean", descriptive::mean(&values)),
        ("sd", descriptive::standard_deviation(&values)),
        ("median", descriptive::median(&values)),
        ("quantile_10", descriptive::quantile_of_sorted(&sorted, 0.1)),
        ("quantile_90", descriptive::quantile_of_sorted(&sorted, 0.9)),
        ("trimmed_10", descriptive::trimmed_mean(&values, 0.1)),
        ("trimmed_20", descriptive::trimmed_mean(&values, 0.2)),
        ("scaled_mad", descriptive::scaled_median_deviation(&values)),
    ];
    for (name, got) in got {
        close(got.unwrap(), number(&e[name]), 1e-12);
    }
}

/// scipy.stats.circmean and circstd, astropy.stats.circmean; the rest by NumPy and scipy.special.
#[test]
fn axes() {
    let e = expected("axial");
    let summary = axial::AxialSummary::of(&numbers(&e["axes_deg"])).unwrap();
    close(summary.mean_deg, number(&e["mean_scipy"]), 1e-11);
    close(summary.mean_deg, number(&e["mean_astropy"]), 1e-11);
    close(summary.circular_sd_deg, number(&e["sd_scipy"]), 1e-11);
    close(summary.half_width_deg(0.95).unwrap(), number(&e["half_width_deg"]), 1e-9);
    close(axial::concentration(summary.resultant).unwrap(), number(&e["kappa"]), 1e-8);
}

/// scipy.stats.
#[test]
fn quantiles_and_tails() {
    let e = expected("distributions");
    for row in table(&e["t"]) {
        close(distributions::t_quantile(row[0], row[1]) / row[2], 1.0, 1e-9);
        close(distributions::t_quantile(1.0 - row[0], row[1]) / row[2], -1.0, 1e-9);
    }
    for row in table(&e["f"]) {
        close(distributions::f_quantile(row[0], row[1], row[2]) / row[3], 1.0, 1e-8);
    }
    for row in table(&e["chi2"]) {
        close(distributions::chi_squared_quantile(row[0], row[1]) / row[2], 1.0, 1e-9);
    }
    for row in table(&e["t_two_sided"]) {
        close(distributions::t_two_sided(row[0], row[1]) / row[2], 1.0, 1e-9);
    }
    for row in table(&e["f_upper"]) {
        close(distributions::f_upper(row[0], row[1], row[2]) / row[3], 1.0, 1e-9);
    }
}

/// scipy.stats, pingouin, and full enumeration where values are tied.
#[test]
fn tests_of_groups() {
    let e = expected("groups");
    let (values, labels) = three_groups();
    let spread = spread_test::brown_forsythe(&values, &labels).unwrap();
    close(spread.f, number(&e["brown_forsythe"][0]), 1e-10);
    close(spread.p, number(&e["brown_forsythe"][1]), 1e-11);
    let h = kruskal_wallis(&values, &labels).unwrap();
    close(h.statistic, number(&e["kruskal"][0]), 1e-10);
    close(h.p, number(&e["kruskal"][1]), 1e-11);
    let u = mann_whitney(&A, &B).unwrap();
    close(u.statistic, number(&e["mann_whitney_signed"][0]), 0.0);
    close(u.p, number(&e["mann_whitney_signed"][1]), 1e-11);
    close(wilcoxon_signed_rank(&numbers(&e["paired"])).unwrap().p, number(&e["wilcoxon_exact"]), 1e-12);
    let tied = wilcoxon_signed_rank(&numbers(&e["tied"])).unwrap();
    close(tied.statistic, number(&e["wilcoxon_tied_enumerated"][0]), 0.0);
    close(tied.p, number(&e["wilcoxon_tied_enumerated"][1]), 1e-12);
    close(wilcoxon_signed_rank(&numbers(&e["many"])).unwrap().p, number(&e["wilcoxon_many_p"]), 1e-10);
    close(hedges_g(&A, &B).unwrap(), number(&e["hedges_g"]), 1e-4);
    close(cliffs_delta(&A, &B).unwrap(), number(&e["cliffs_delta_from_cles"]), 1e-12);
}

/// pingouin.intraclass_corr, whose intervals have two decimals.
#[test]
fn intraclass_intervals() {
    let e = expected("agreement");
    let icc = Intraclass::of(&table(&e["rows"])).unwrap();
    let theirs = e["intraclass_pingouin"].as_array().unwrap();
    assert_eq!(theirs.len(), 6);
    for ((_, ours), theirs) in icc.all().iter().zip(theirs) {
        close(ours.value, number(&theirs[1]), 1e-9);
        close(ours.interval.low, number(&theirs[2]), 0.005 + 1e-9);
        close(ours.interval.high, number(&theirs[3]), 0.005 + 1e-9);
    }
}

/// statsmodels.stats.proportion.
#[test]
fn shares() {
    for row in table(&expected("proportions")) {
        let (hits, trials) = (row[0], row[1]);
        let score = proportion::wilson(hits / trials, trials, 0.95).unwrap();
        close(score.low, row[2], 1e-12);
        close(score.high, row[3], 1e-12);
        let exact = proportion::clopper_pearson(hits as u64, trials as u64, 0.95).unwrap();
        close(exact.low, row[4], 1e-9);
        close(exact.high, row[5], 1e-9);
    }
}

/// statsmodels.stats.multitest.
#[test]
fn several_comparisons() {
    let e = expected("holm");
    for (ours, theirs) in holm::corrected(&numbers(&e["p"])).iter().zip(numbers(&e["corrected"])) {
        close(*ours, theirs, 1e-15);
    }
    let with_gap = holm::corrected(&[0.01, f64::NAN, 0.04]);
    close(with_gap[0], 0.02, 1e-15);
    assert!(with_gap[1].is_nan());
}

/// statsmodels.stats.power, scipy.stats.
#[test]
fn powers() {
    let e = expected("powers");
    for row in table(&e["t"]) {
        close(power::mean_power(row[0], row[1], 0.05), row[2], 1e-6);
    }
    for row in table(&e["t_needed"]) {
        let eyes = power::eyes_needed(0.8, |eyes| power::mean_power(row[0], eyes, 0.05)).unwrap();
        close(f64::from(eyes), row[1], 0.0);
    }
    for row in table(&e["f"]) {
        close(power::spread_power(row[0], row[1], 0.05), row[2], 1e-9);
    }
}

/// scipy.stats.bootstrap of the law-school correlation, both ways; ends wander with the draws.
#[test]
fn bootstrap_intervals() {
    let e = expected("bootstrap");
    let lsat = [576., 635., 558., 578., 666., 580., 555., 661., 651., 605., 653., 575., 545., 572., 594.];
    let gpa = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96];
    let correlation = |w: &[f64], out: &mut [f64]| {
        let sum = |f: &dyn Fn(usize) -> f64| (0..15).map(|k| w[k] * f(k)).sum::<f64>() / w.iter().sum::<f64>();
        let (mx, my) = (sum(&|k| lsat[k]), sum(&|k| gpa[k]));
        let (dx, dy) = (|k: usize| lsat[k] - mx, |k: usize| gpa[k] - my);
        out[0] = sum(&|k| dx(k) * dy(k)) / (sum(&|k| dx(k).powi(2)) * sum(&|k| dy(k).powi(2))).sqrt();
    };
    let settings = Settings { resamples: 100_000, widened: false, ..Settings::default() };
    let ours = bootstrap(&[0; 15], 1, correlation, &settings)[0];
    close(ours.standard_error, number(&e["standard_error"]), 1.5e-3);
    let (bca, percentile) = (ours.bca.unwrap(), ours.percentile.unwrap());
    close(bca.low, number(&e["bca"][0]), 0.02);
    close(bca.high, number(&e["bca"][1]), 2e-3);
    close(percentile.low, number(&e["percentile"][0]), 7e-3);
    close(percentile.high, number(&e["percentile"][1]), 1e-3);
}

/// statsmodels OLS with cov_type="cluster".
#[test]
fn clustered_variance() {
    let e = expected("clusters");
    let patients: Vec<usize> = numbers(&e["patient"]).iter().map(|p| *p as usize).collect();
    let ours = clusters::variance_of_mean(&numbers(&e["values"]), &patients).unwrap();
    close(ours, number(&e["variance_of_mean"]), 1e-12);
}

/// NumPy and scipy.stats; pingouin.multivariate_ttest.
#[test]
fn region_of_a_centroid() {
    let e = expected("region");
    let points: Vec<[f64; 2]> = table(&e["points"]).iter().map(|p| [p[0], p[1]]).collect();
    let alone: Vec<usize> = (0..points.len()).collect();
    let region = CentroidRegion::of(&points, &alone, 1.0).unwrap();
    for k in 0..2 {
        close(region.center[k], number(&e["center"][k]), 1e-12);
        close(region.semi_axes[k], number(&e["semi_axes"][k]), 1e-8);
    }
    close(region.angle_deg, number(&e["angle_deg"]), 1e-9);
    assert_eq!(region.excludes_origin, number(&e["t2_pingouin"]) > number(&e["bound"]));
    // Every point of the outline is as far from the centre as T^2 allows: the same points twice in a cluster change nothing.
    let twice = [&points[..], &points].concat();
    let paired: Vec<usize> = alone.iter().chain(&alone).copied().collect();
    let same = CentroidRegion::of(&twice, &paired, 1.0).unwrap();
    close(same.semi_axes[0], region.semi_axes[0], 1e-12);
    close(same.semi_axes[1], region.semi_axes[1], 1e-12);
}

/// Places of the ends among 1 to n, by scipy 1.17: the largest k with binom.cdf(k - 1, n, share) <= tail and the smallest with
/// binom.sf(k - 1, n, share) <= tail. 0.95^58 is 0.0510 and 0.95^59 0.0485: 59 is the least n of which the largest is an upper end at
/// 95 % one-sided; 0.95^71 is 0.0262 and 0.95^72 0.0249: 72 that at 97.5 %.
#[test]
fn quantile_intervals() {
    let ends = |n: u32, share: f64, coverage: f64| {
        quantile_interval(&(1..=n).map(f64::from).collect::<Vec<_>>(), share, coverage)
    };
    for (n, share, low, high) in [
        (1, 0.95, None, None),
        (2, 0.95, Some(1.0), None),
        (20, 0.95, Some(17.0), None),
        (71, 0.95, Some(63.0), None),
        (72, 0.95, Some(64.0), Some(72.0)),
        (100, 0.95, Some(90.0), Some(100.0)),
        (500, 0.95, Some(465.0), Some(485.0)),
        (5, 0.5, None, None),
        (6, 0.5, Some(1.0), Some(6.0)),
        (20, 0.5, Some(6.0), Some(15.0)),
        (100, 0.5, Some(40.0), Some(61.0)),
    ] {
        assert_eq!(ends(n, share, 0.95), [low, high], "{n} values");
    }
    assert_eq!((ends(58, 0.95, 0.9)[1], ends(59, 0.95, 0.9)[1]), (None, Some(59.0)));
    assert_eq!(quantile_interval(&[], 0.95, 0.95), [None; 2]);
}
