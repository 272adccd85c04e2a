//! Published values. "From memory" where the value was not taken from the text of its source; all were recomputed.

use crate::close;
use stillaxis::statistics::bland_altman::{limits, limits_clustered, limits_repeated, sd_for_single_readings};
use stillaxis::statistics::bootstrap::{Bootstrapped, Settings, bootstrap};
use stillaxis::statistics::cusum::average_run_length;
use stillaxis::statistics::descriptive::{mean, standard_deviation};
use stillaxis::statistics::distributions::{f_upper, normal_cdf, t_two_sided};
use stillaxis::statistics::intraclass::Intraclass;
use stillaxis::statistics::jackknife::{self, Scale};
use stillaxis::statistics::permutation::{LabelExchange, mean_distance};
use stillaxis::statistics::power::{eyes_needed, mean_power, spread_power};
use stillaxis::statistics::proportion::{clopper_pearson, wilson};
use stillaxis::statistics::reading_error::{true_spread, without_reading_error};
use stillaxis::statistics::repeatability::{Repeatability, concordance, sd_interval};
use stillaxis::statistics::{axial, proportion, rank_tests, risk_adjusted, spread_test};

const LARGE: [[f64; 17]; 2] = [
    [494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178., 423., 427.],
    [490., 397., 512., 401., 470., 611., 415., 431., 638., 429., 420., 633., 275., 492., 165., 372., 421.],
];
const MINI: [[f64; 17]; 2] = [
    [512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259., 350., 451.],
    [525., 415., 508., 444., 500., 625., 460., 390., 642., 432., 420., 605., 227., 467., 268., 370., 443.],
];
/// Three groups made up for these checks; values by scipy 1.x or full enumeration.
pub const A: [f64; 8] = [1.2, -0.5, 3.1, 0.4, -2.2, 1.9, 0.1, -1.0];
pub const B: [f64; 9] = [4.2, -3.5, 6.1, -5.0, 2.2, -6.9, 3.1, 0.5, -2.7];
pub const C: [f64; 7] = [0.3, 0.9, -0.4, 0.2, -0.8, 1.1, 0.0];

/// A, B and C one after the other, and their labels.
pub fn three_groups() -> (Vec<f64>, Vec<usize>) {
    let labels = [vec![0; A.len()], vec![1; B.len()], vec![2; C.len()]].concat();
    ([&A[..], &B, &C].concat(), labels)
}

/// NIST StRD, univariate: NumAcc1, NumAcc4 (certified values from memory). NumAcc4's doubles themselves give 0.100000000559.
#[test]
fn nist_numerical_accuracy() {
    close(mean(&[10_000_001.0, 10_000_003.0, 10_000_002.0]).unwrap(), 10_000_002.0, 0.0);
    close(standard_deviation(&[10_000_001.0, 10_000_003.0, 10_000_002.0]).unwrap(), 1.0, 0.0);
    let mut fourth = vec![10_000_000.2];
    for _ in 0..500 {
        fourth.extend([10_000_000.1, 10_000_000.3]);
    }
    close(mean(&fourth).unwrap(), 10_000_000.2, 2e-9);
    close(standard_deviation(&fourth).unwrap(), 0.1, 1e-9);
}

/// NIST StRD, univariate: Mavro and Lew with their certified values.
#[test]
fn nist_observed_data() {
    // Mavro: hundred-thousandths above 2.
    let mavro = [
        180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160, 140, 130, 130, 150,
        150, 160, 150, 140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200, 200, 210, 220, 230, 240, 250, 270, 260,
        260, 260, 270, 260, 250, 240,
    ];
    let mavro = mavro.map(|v| (200_000.0 + f64::from(v)) / 100_000.0);
    close(mean(&mavro).unwrap(), 2.001856, 1e-14);
    close(standard_deviation(&mavro).unwrap() / 0.000429123454003053, 1.0, 1e-12);
    let lew = [
        -213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125, -559, 92, -21, -579,
        -52, 99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572, -8, 83, -541, -224, 180, -420, -374,
        201, -236, -531, 83, 27, -564, -112, 131, -507, -254, 199, -311, -495, 143, -46, -579, -90, 136, -472, -338,
        202, -287, -477, 169, -124, -568, 17, 48, -568, -135, 162, -430, -422, 172, -74, -577, -13, 92, -534, -243,
        194, -355, -465, 156, -81, -578, -64, 139, -449, -384, 193, -198, -538, 110, -44, -577, -6, 66, -552, -164,
        161, -460, -344, 205, -281, -504, 134, -28, -576, -118, 156, -437, -381, 200, -220, -540, 83, 11, -568, -160,
        172, -414, -408, 188, -125, -572, -32, 139, -492, -321, 205, -262, -504, 142, -83, -574, 0, 48, -571, -106,
        137, -501, -266, 190, -391, -406, 194, -186, -553, 83, -13, -577, -49, 103, -515, -280, 201, 300, -506, 131,
        -45, -578, -80, 138, -462, -361, 201, -211, -554, 32, 74, -533, -235, 187, -372, -442, 182, -147, -566, 25, 68,
        -535, -244, 194, -351, -463, 174, -125, -570, 15, 72, -550, -190, 172, -424, -385, 198, -218, -536, 96,
    ];
    let lew = lew.map(f64::from);
    close(mean(&lew).unwrap(), -177.435, 1e-12);
    close(standard_deviation(&lew).unwrap(), 277.332168044316, 1e-11);
}

/// Scipy's circmean and circstd with high=180; kappa by maximum likelihood; Mardia & Jupp's table (from memory).
#[test]
fn axial_example() {
    let axes = [5., 175., 12., 170., 1., 178., 8., 166., 3., 10.];
    let summary = axial::AxialSummary::of(&axes).unwrap();
    close(summary.mean_deg, 0.843156198833, 1e-11);
    close(summary.resultant, 0.960239088284, 1e-11);
    close(summary.circular_sd_deg, 8.160674626912, 1e-11);
    close(summary.half_width_deg(0.95).unwrap(), 5.13535, 1e-5);
    close(axial::concentration(summary.resultant).unwrap(), 12.84183, 1e-5);
    close(axial::weighted_mean([(179.0, 3.0), (1.0, 1.0)].into_iter()).unwrap().0, 179.499848, 1e-6);
    close(axial::concentration(0.5).unwrap(), 1.159320, 1e-6);
    close(axial::concentration(0.9).unwrap(), 5.304689, 1e-6);
    close(axial::mean_difference(&[-1.0, 1.0, 88.0, -88.0, 3.0]).unwrap(), 3.0, 0.5);
    assert_eq!(axial::weighted_mean([(0.0, 1.0), (90.0, 1.0)].into_iter()), None);
}

/// Bland & Altman (1986), Lancet i:307-310, first readings of the large and the mini meter; the paper has limits at 2 sd:
/// -2.1, 38.8, -79.7, 75.5. Second readings from memory: within-subject 15.3 and 19.9, 37.7 corrected for repeats.
#[test]
fn bland_altman_1986() {
    let differences: Vec<f64> = LARGE[0].iter().zip(MINI[0]).map(|(large, mini)| large - mini).collect();
    let agreement = limits(&differences).unwrap();
    close(agreement.bias, -2.1176, 5e-5);
    close(agreement.sd, 38.7651, 5e-5);
    close(agreement.bias - 2.0 * agreement.sd, -79.648, 5e-4);
    close(agreement.bias + 2.0 * agreement.sd, 75.413, 5e-4);
    close(agreement.high, agreement.bias + 1.959964 * agreement.sd, 1e-4);
    // The paper: bias -22.0 to 17.8; lower limit -114.3 to -45.1, by 2 sd and a standard error of sqrt(3 / n) sd, which ours
    // refines to (1/n + 1.96^2 / 2(n - 1)).
    close(agreement.bias_interval.low, -22.0, 0.1);
    close(agreement.bias_interval.high, 17.8, 0.1);
    close(
        agreement.low_interval.low,
        agreement.low - 2.119905 * agreement.sd * (1.0_f64 / 17.0 + 3.841459 / 32.0).sqrt(),
        1e-3,
    );
    close(agreement.low_interval.low, -114.3, 2.0);
    close(agreement.low_interval.high, -45.1, 3.0);

    let subjects = |method: &[[f64; 17]; 2]| (0..17).map(|k| vec![method[0][k], method[1][k]]).collect::<Vec<_>>();
    let within = [&LARGE, &MINI].map(|method| Repeatability::of(&subjects(method)).unwrap());
    close(within[0].within_sd, 15.306670, 1e-6);
    close(within[1].within_sd, 19.910831, 1e-6);
    close(within[0].coefficient, 2.0_f64.sqrt() * 1.959964 * 15.306670, 1e-4);
    let of_means: Vec<f64> = (0..17).map(|k| (LARGE[0][k] + LARGE[1][k] - MINI[0][k] - MINI[1][k]) / 2.0).collect();
    let sd = sd_for_single_readings(&of_means, within.map(|w| (w.within_sd.powi(2), 2.0))).unwrap();
    close(sd, 37.654779, 1e-6);
    let repeated = limits_repeated(
        &of_means.iter().map(|d| vec![*d]).collect::<Vec<_>>(),
        within.iter().map(|w| w.within_sd.powi(2) / 2.0).sum(),
    );
    close(repeated.unwrap().sd, 37.654779, 1e-6);
    let pairs: Vec<[f64; 2]> = (0..17).map(|k| [LARGE[0][k], MINI[0][k]]).collect();
    close(concordance(&pairs).unwrap(), 0.942742, 1e-6);
    // Pearson's correlation, recomputed: that of the standardized readings' products.
    let standardized = |method: &[f64; 17]| {
        let (middle, sd) = (mean(method).unwrap(), standard_deviation(method).unwrap());
        method.map(|v| (v - middle) / sd)
    };
    let (x, y) = (standardized(&LARGE[0]), standardized(&MINI[0]));
    close(x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>() / 16.0, 0.943279, 1e-6);
    // Pitman-Morgan, recomputed with scipy.
    let spread = spread_test::pitman_morgan(&pairs).unwrap();
    close(spread.correlation, 0.0836797, 1e-7);
    close(spread.t, 0.325231, 1e-6);
    close(spread.p, 0.749499, 1e-6);
}

/// By hand: both eyes of four patients, whose means are 1, 2, 3 and 6: mean 3 ± t(3) sqrt(14 / 12), t(3) 3.182446 by the table.
/// Four patients tell no interval of a spread, nor of the limits. What numbers the patients have, and whether others were not
/// read, does not matter.
#[test]
fn limits_by_patient() {
    let mut subjects: Vec<Vec<f64>> = [0.5, 1.5, 1.0, 3.0, 2.5, 3.5, 4.0, 8.0].map(|d| vec![d]).into();
    let patients = [0, 0, 1, 1, 2, 2, 3, 3];
    let half = 3.182_446 * (14.0_f64 / 12.0).sqrt();
    let few = limits_clustered(&subjects, &patients, |_| 0.0).unwrap();
    close(few.bias_interval.low, 3.0 - half, 1e-5);
    close(few.bias_interval.high, 3.0 + half, 1e-5);
    assert!(few.low_interval.low.is_nan() && few.high_interval.high.is_nan(), "{few:?}");
    // NaN is not NaN, so what is printed is compared.
    let printed = |subjects: &[Vec<f64>], patients: &[usize]| {
        format!("{:?}", limits_clustered(subjects, patients, |_| 0.0).unwrap())
    };
    assert_eq!(printed(&subjects, &patients.map(|at| 10 * at + 7)), format!("{few:?}"));
    let unread = [subjects.clone(), vec![Vec::new(); 2]].concat();
    assert_eq!(printed(&unread, &[0, 0, 1, 1, 2, 2, 3, 3, 4, 5]), format!("{few:?}"));
    subjects.extend([2.0, 2.5, 0.0, 1.0].map(|d| vec![d]));
    let patients = [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5];
    let six = printed(&subjects, &patients);
    assert!(!six.contains("NaN"), "{six}");
    assert_eq!(printed(&subjects, &patients.map(|at| 10 * at)), six);
}

/// Shrout & Fleiss (1979), Psychol Bull 86:420-428: .17 .29 .71 .44 .62 .91.
#[test]
fn shrout_fleiss_1979() {
    let rows =
        [[9., 2., 5., 8.], [6., 1., 3., 2.], [8., 4., 6., 8.], [7., 1., 2., 6.], [10., 5., 6., 9.], [6., 2., 4., 7.]];
    let icc = Intraclass::of(&rows.map(|row| row.to_vec())).unwrap();
    close(icc.between, 11.2417, 5e-5);
    close(icc.within, 6.2639, 5e-5);
    close(icc.judges, 32.4861, 5e-5);
    close(icc.residual, 1.0194, 5e-5);
    let expected = [0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316];
    for ((name, correlation), expected) in icc.all().into_iter().zip(expected) {
        assert!((correlation.value - expected).abs() < 1e-6, "{name}: {}", correlation.value);
        assert!(correlation.interval.low < expected && expected < correlation.interval.high, "{name}");
    }
}

/// Newcombe (1998), Stat Med 17:857-872, method 3; Clopper-Pearson recomputed.
#[test]
fn newcombe_1998() {
    let table: [(u64, u64, [f64; 2], [f64; 2]); 4] = [
        (81, 263, [0.2553, 0.3662], [0.252737, 0.367622]),
        (15, 148, [0.0624, 0.1605], [0.057844, 0.161650]),
        (0, 20, [0.0, 0.1611], [0.0, 0.168433]),
        (1, 29, [0.0061, 0.1718], [0.000873, 0.177644]),
    ];
    for (hits, trials, score, exact) in table {
        let interval = wilson(hits as f64 / trials as f64, trials as f64, 0.95).unwrap();
        close(interval.low, score[0], 5e-5);
        close(interval.high, score[1], 5e-5);
        let interval = clopper_pearson(hits, trials, 0.95).unwrap();
        close(interval.low, exact[0], 1e-6);
        close(interval.high, exact[1], 1e-6);
    }
}

/// Newcombe (1998), Stat Med 17:873-890, method 10, from memory: 56/70 less 48/80, 5/56 less 0/29.
#[test]
fn newcombe_1998_differences() {
    for (a, n, b, m, expected) in
        [(56.0, 70.0, 48.0, 80.0, [0.0524, 0.3339]), (5.0, 56.0, 0.0, 29.0, [-0.0381, 0.1926])]
    {
        let of = |hits: f64, trials: f64| (hits / trials, wilson(hits / trials, trials, 0.95).unwrap());
        let interval = proportion::difference(of(a, n), of(b, m));
        close(interval.low, expected[0], 5e-5);
        close(interval.high, expected[1], 5e-5);
    }
}

/// Correlation of the law schools, each taken as often as its weight says.
fn law_school_correlation(weights: &[f64]) -> f64 {
    let lsat = [576., 635., 558., 578., 666., 580., 555., 661., 651., 605., 653., 575., 545., 572., 594.];
    let gpa = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96];
    let total: f64 = weights.iter().sum();
    let of = |x: &[f64]| weights.iter().zip(x).map(|(w, x)| w * x).sum::<f64>() / total;
    let (mx, my) = (of(&lsat), of(&gpa));
    let sum = |f: &dyn Fn(f64, f64) -> f64| -> f64 { (0..15).map(|k| weights[k] * f(lsat[k] - mx, gpa[k] - my)).sum() };
    sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt()
}

fn law_school(resamples: u32) -> Bootstrapped {
    let correlation = |weights: &[f64], out: &mut [f64]| out[0] = law_school_correlation(weights);
    let settings = Settings { resamples, widened: false, seed: 1993, ..Settings::default() };
    bootstrap(&[0; 15], 1, correlation, &settings)[0]
}

/// Efron & Tibshirani (1993), law-school data: r 0.776, BCa by 2,000,000 resamples 0.3331 to 0.9418, bootstrap standard error
/// 0.1335, acceleration -0.0757.
#[test]
fn law_school_bootstrap() {
    let r = law_school(400_000);
    close(r.value, 0.776374, 1e-6);
    close(r.acceleration, -0.0756716, 1e-6);
    close(r.standard_error, 0.1335, 7e-4);
    close(r.bca.unwrap().low, 0.3331, 0.008);
    close(r.bca.unwrap().high, 0.9418, 0.001);
    assert_eq!(law_school(500), law_school(500));
    // Jackknife standard error 0.142519 (recomputed): the interval's half-width over Student's t with 14 degrees of freedom.
    let interval = jackknife::interval(15, 0.95, Scale::Plain, law_school_correlation).unwrap();
    close((interval.high - interval.low) / 2.0 / 2.144786688, 0.142519, 1e-6);
}

/// Efron & Tibshirani (1993), mice: difference 30.63, all 11,440 arrangements.
#[test]
fn mice() {
    let values = [94., 197., 16., 38., 99., 141., 23., 52., 104., 146., 10., 51., 30., 40., 27., 46.];
    let labels = [vec![0; 7], vec![1; 9]].concat();
    let exchange = LabelExchange::new(&labels, &(0..16).collect::<Vec<_>>());
    let both = exchange.test(mean_distance(&values), 0, 0);
    close(both.statistic, 30.634921, 1e-6);
    close(both.p, 0.278322, 1e-6);
    assert!(both.exact && both.arrangements == 11_440);
    let distance = |labels: &[usize]| {
        let of = |group: usize| -> Vec<f64> {
            values.iter().zip(labels).filter(|(_, l)| **l == group).map(|(v, _)| *v).collect()
        };
        mean(&of(0)).unwrap() - mean(&of(1)).unwrap()
    };
    close(exchange.test(distance, 0, 0).p, 1613.0 / 11440.0, 1e-12);
}

/// Fisher (1935), Darwin's maize: 863 of 32,768 sign flips one-sided. Each pot is a patient with one eye in each group.
#[test]
fn maize() {
    let differences = [49., -67., 8., 16., 6., 23., 28., 41., 14., 29., 56., 24., 75., 60., -48.];
    let values: Vec<f64> = differences.iter().flat_map(|d| [*d, 0.0]).collect();
    let labels: Vec<usize> = (0..30).map(|k| k % 2).collect();
    let pots: Vec<usize> = (0..30).map(|k| k / 2).collect();
    let test = LabelExchange::new(&labels, &pots).test(mean_distance(&values), 0, 0);
    assert!(test.exact && test.arrangements == 32_768);
    close(test.p, 2.0 * 863.0 / 32768.0, 1e-12);
    close(test.p, 0.0526733, 5e-8);
    // Student's t of the pairs, and its p.
    let t = mean(&differences).unwrap() / (standard_deviation(&differences).unwrap() / 15.0_f64.sqrt());
    close(t, 2.147987, 1e-6);
    close(t_two_sided(t, 14.0), 0.0497029, 1e-7);
}

/// Brown-Forsythe, Kruskal-Wallis, Mann-Whitney by scipy; permutation of |a| against |b| over all 24,310 splits.
#[test]
fn group_tests() {
    let (values, labels) = three_groups();
    let spread = spread_test::brown_forsythe(&values, &labels).unwrap();
    close(spread.f, 10.4317935321, 1e-9);
    close(spread.p, 0.000714529, 1e-9);
    // Levene's test, about means, by the same analysis of variance.
    let about_means: Vec<f64> = (0..values.len())
        .map(|k| {
            let own = (0..values.len()).filter(|j| labels[*j] == labels[k]).map(|j| values[j]).collect::<Vec<_>>();
            (values[k] - mean(&own).unwrap()).abs()
        })
        .collect();
    let levene = spread_test::analysis_of_variance_f(&about_means, &labels);
    close(levene, 14.0270830938, 1e-9);
    close(f_upper(levene, 2.0, 21.0), 0.000135271, 1e-9);
    let ranks = rank_tests::kruskal_wallis(&values, &labels).unwrap();
    close(ranks.statistic, 0.0528702093, 1e-9);
    close(ranks.p, 0.973911244, 1e-9);
    let sizes: Vec<f64> = values[..17].iter().map(|v| v.abs()).collect();
    let u = rank_tests::mann_whitney(&sizes[..8], &sizes[8..]).unwrap();
    close(u.statistic, 8.5, 0.0);
    close(u.p, 0.00924482, 1e-7);
    let exchange = LabelExchange::new(&labels[..17], &(0..17).collect::<Vec<_>>());
    close(exchange.test(rank_tests::mann_whitney_distance(&sizes), 0, 0).p, 0.00617030, 1e-8);
    close(exchange.test(mean_distance(&sizes), 0, 0).p, 163.0 / 24310.0, 1e-12);
}

/// Mean run lengths, tables 168, 8.38, 465, 10.4 (from memory), recomputed to more digits; Steiner et al. (2000), odds ratio 2.
#[test]
fn sequences() {
    for (limit, shift, expected) in [(4.0, 0.0, 167.684), (4.0, 1.0, 8.38313), (5.0, 0.0, 465.444), (5.0, 1.0, 10.3760)]
    {
        close(average_run_length(0.5, limit, shift).unwrap() / expected, 1.0, 1e-5);
    }
    close(risk_adjusted::step(true, 0.1, 2.0), 0.597837, 1e-6);
    close(risk_adjusted::step(false, 0.1, 2.0), -0.0953102, 1e-7);
    // Bernoulli 0.05 against 0.15: an odds ratio of (0.15 / 0.85) / (0.05 / 0.95).
    let odds = 0.15 / 0.85 / (0.05 / 0.95);
    close(risk_adjusted::step(true, 0.05, odds), 1.098612, 1e-6);
    close(risk_adjusted::step(false, 0.05, odds), -0.111226, 1e-6);
}

/// The limit does what it says: the share of sequences that pass it, drawn with another seed.
#[test]
fn a_limit_is_passed_as_often_as_it_says() {
    let risks: Vec<f64> = (0..80).map(|k| 0.1 + 0.002 * f64::from(k % 40)).collect();
    let low = risk_adjusted::limit(&risks, 2.0, 0.05, 20_000, 7).unwrap();
    let other = risk_adjusted::limit(&risks, 2.0, 0.05, 20_000, 8).unwrap();
    close(low, other, 0.1);
    assert!(risk_adjusted::limit(&risks, 2.0, 0.01, 20_000, 7).unwrap() > low);
}

/// Eyes per group for an sd ratio of 1.25, 1.5, 2, two-sided F at 0.05 and power 0.8: 160, 50, 19 (recomputed). Interval
/// of an sd of 2 from 20 (recomputed).
#[test]
fn sizes_of_studies() {
    for (ratio, expected) in [(1.25, 160), (1.5, 50), (2.0, 19)] {
        assert_eq!(eyes_needed(0.8, |eyes| spread_power(ratio, eyes, 0.05)), Some(expected));
    }
    let interval = sd_interval(2.0, 19.0);
    close(interval.low, 1.520981, 1e-6);
    close(interval.high, 2.921143, 1e-6);
    // Share within 5 of a normal error about 0 with sd 2 and 3.
    for (sd, share) in [(2.0, 0.987581), (3.0, 0.904419)] {
        close(2.0 * normal_cdf(5.0 / sd) - 1.0, share, 1e-6);
    }
}

/// Variances of sums: a spread of 3 read with noise of 4 has 5, and gives 3 back; the sizes then have the mean of the truth.
#[test]
fn reading_error_comes_out() {
    let readings: Vec<f64> = (0..2001).map(|k| 1.0 + 5.0 * f64::from(k - 1000) / 577.49459).collect();
    close(standard_deviation(&readings).unwrap(), 5.0, 0.01);
    close(true_spread(&readings, &vec![16.0; 2001]).unwrap(), 3.0, 0.02);
    let taken_out = without_reading_error(&readings, &vec![16.0; 2001]).unwrap();
    close(standard_deviation(&taken_out).unwrap(), 3.0, 0.02);
    close(mean(&taken_out).unwrap(), 1.0, 1e-9);
    close(true_spread(&[1.0, 1.1, 0.9], &[1.0; 3]).unwrap(), 0.0, 0.0);
}

/// An answer is given up to a million eyes a group, not to the last power of two below. A shift of 0.005 standard deviations needs
/// 2 (1.959964 + 0.841621)^2 / 0.005^2 = 627,911 by the normal approximation, and one more for Student's t.
#[test]
fn eyes_up_to_a_million() {
    let from = |least: u32| eyes_needed(0.8, |eyes| f64::from(u8::from(eyes >= f64::from(least))));
    for least in [2, 3, 524_288, 524_289, 700_000, 1_000_000] {
        assert_eq!(from(least), Some(least));
    }
    assert_eq!(from(1_000_001), None);
    close(f64::from(eyes_needed(0.8, |eyes| mean_power(0.005, eyes, 0.05)).unwrap()), 627_912.0, 2.0);
}
