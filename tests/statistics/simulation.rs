//! Tests and intervals do what they claim, on data drawn with known truth. Seeds are fixed; both eyes of a patient are
//! correlated by 0.5.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use stillaxis::statistics::bland_altman::{limits, limits_clustered};
use stillaxis::statistics::bootstrap::{Settings, bootstrap};
use stillaxis::statistics::clusters::effective_trials;
use stillaxis::statistics::intraclass::Intraclass;
use stillaxis::statistics::jackknife::{self, Scale};
use stillaxis::statistics::proportion::wilson;
use stillaxis::statistics::spread_test::{brown_forsythe, brown_forsythe_by_patient};

const SEED: u64 = 20_260_914;
/// Correlation of the two eyes of a patient.
const CORRELATION: f64 = 0.5;

/// Both eyes of `patients` patients, standard normal, and the patient of each.
fn eyes(patients: usize, rng: &mut ChaCha8Rng) -> (Vec<f64>, Vec<usize>) {
    let mut normal = || -> f64 { StandardNormal.sample(rng) };
    let mut values = Vec::with_capacity(2 * patients);
    for _ in 0..patients {
        let shared = CORRELATION.sqrt() * normal();
        let own = (1.0 - CORRELATION).sqrt();
        values.extend([shared + own * normal(), shared + own * normal()]);
    }
    (values, (0..2 * patients).map(|eye| eye / 2).collect())
}

fn rng(run: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    rng.set_stream(run);
    rng
}

/// Share of runs in which two groups of the same spread, 30 patients with both eyes in each, are said to differ at 5 %:
/// 0.04 to 0.06 by patient; ignoring patients it is more.
#[test]
fn comparison_of_spreads_keeps_its_level() {
    const RUNS: u64 = 6000;
    const DRAWS: u32 = 299;
    let labels = [vec![0; 60], vec![1; 60]].concat();
    let claims: Vec<[bool; 2]> = (0..RUNS)
        .into_par_iter()
        .map(|run| {
            let (values, patients) = eyes(60, &mut rng(run));
            let by_patient = brown_forsythe_by_patient(&values, &labels, &patients, DRAWS, run).unwrap();
            [by_patient.p <= 0.05, brown_forsythe(&values, &labels).unwrap().p <= 0.05]
        })
        .collect();
    let share = |k: usize| claims.iter().filter(|claim| claim[k]).count() as f64 / RUNS as f64;
    println!("comparison of spreads: type I error {:.4} by patient, {:.4} ignoring patients", share(0), share(1));
    assert!((0.04..=0.06).contains(&share(0)), "by patient: {}", share(0));
    assert!(share(1) > 0.06, "ignoring patients: {}", share(1));
}

/// Share of runs in which the 95 % intervals of mean (BCa), standard deviation, mean size, ratio of two standard deviations (all by jackknife) and share within 1
/// (Wilson) hold the truth, at 20,
/// 60 and 200 eyes of half as many patients: 0.93 to 0.97.
#[test]
fn intervals_cover_the_truth() {
    const RUNS: u64 = 2000;
    // Of a standard normal variable: E|t| = sqrt(2/pi), P(|t| <= 1).
    let truth = [0.0, 1.0, std::f64::consts::FRAC_2_PI.sqrt(), 0.682_689_492_137, 1.0];
    for count in [20, 60, 200] {
        let covered: Vec<[bool; 5]> = (0..RUNS)
            .into_par_iter()
            .map(|run| {
                let patients = count / 2;
                let (values, patient) = eyes(patients, &mut rng(run + 1_000_000 * count as u64));
                let sums = |weights: &[f64]| {
                    values.iter().zip(&patient).fold([0.0; 4], |[n, sum, squares, sizes], (value, at)| {
                        let w = weights[*at];
                        [n + w, sum + w * value, squares + w * value * value, sizes + w * value.abs()]
                    })
                };
                let mean = |weights: &[f64]| sums(weights)[1] / sums(weights)[0];
                let spread = |weights: &[f64]| {
                    let [n, sum, squares, _] = sums(weights);
                    ((squares - sum * sum / n) / (n - 1.0)).sqrt()
                };
                let size = |weights: &[f64]| sums(weights)[3] / sums(weights)[0];
                let settings = Settings { resamples: 999, seed: run, ..Settings::default() };
                let of_mean = bootstrap(&vec![0; patients], 1, |w, out| out[0] = mean(w), &settings)[0];
                let by_jackknife =
                    |of: &dyn Fn(&[f64]) -> f64| jackknife::interval(patients, 0.95, Scale::Logarithm, of);
                let (others, other_patient) = eyes(patients, &mut rng(run + 2_000_000_000 + count as u64 * 1_000_000));
                let both = |weights: &[f64]| {
                    let (first, second) = weights.split_at(patients);
                    let sd = |values: &[f64], patient: &[usize], weights: &[f64]| {
                        let [n, sum, squares] = values.iter().zip(patient).fold([0.0; 3], |[n, s, q], (v, at)| {
                            [n + weights[*at], s + weights[*at] * v, q + weights[*at] * v * v]
                        });
                        ((squares - sum * sum / n) / (n - 1.0)).sqrt()
                    };
                    sd(&values, &patient, first) / sd(&others, &other_patient, second)
                };
                let of_ratio = jackknife::interval(2 * patients, 0.95, Scale::Logarithm, both);
                let hits: Vec<bool> = values.iter().map(|v| v.abs() <= 1.0).collect();
                let share = hits.iter().filter(|hit| **hit).count() as f64 / count as f64;
                let of_share = wilson(share, effective_trials(&hits, &patient), 0.95);
                let intervals = [of_mean.bca, by_jackknife(&spread), by_jackknife(&size), of_share, of_ratio];
                std::array::from_fn(|k| intervals[k].is_some_and(|i| i.low <= truth[k] && truth[k] <= i.high))
            })
            .collect();
        for (k, name) in
            ["mean", "standard deviation", "mean size", "share within 1", "ratio of spreads"].iter().enumerate()
        {
            let share = covered.iter().filter(|c| c[k]).count() as f64 / RUNS as f64;
            println!("{count} eyes, {name}: {share:.4} of the intervals hold the truth");
            assert!((0.93..=0.97).contains(&share), "{count} eyes, {name}: {share}");
        }
    }
}

/// Share of runs in which the 95 % intervals of bias and upper limit of agreement hold the truth (0 and 1.96), at 20, 60 and 200
/// eyes of half as many patients: 0.93 to 0.97 by patient; where fellow eyes pass for separate ones, fewer for the bias.
#[test]
fn agreement_keeps_fellow_eyes_together() {
    const RUNS: u64 = 4000;
    const UPPER: f64 = 1.959_963_985;
    for count in [20, 60, 200] {
        let covered: Vec<[bool; 3]> = (0..RUNS)
            .into_par_iter()
            .map(|run| {
                let (values, patient) = eyes(count / 2, &mut rng(run + 5_000_000 * count as u64));
                let subjects: Vec<Vec<f64>> = values.iter().map(|v| vec![*v]).collect();
                let by_patient = limits_clustered(&subjects, &patient, |_| 0.0).unwrap();
                let apart = limits(&values).unwrap();
                let holds = |i: stillaxis::statistics::Interval, truth: f64| i.low <= truth && truth <= i.high;
                [
                    holds(by_patient.bias_interval, 0.0),
                    holds(by_patient.high_interval, UPPER),
                    holds(apart.bias_interval, 0.0),
                ]
            })
            .collect();
        let share = |k: usize| covered.iter().filter(|c| c[k]).count() as f64 / RUNS as f64;
        println!(
            "{count} eyes: {:.4} of the intervals of the bias hold the truth, {:.4} of those of the upper limit; {:.4} ignoring patients",
            share(0),
            share(1),
            share(2)
        );
        assert!((0.93..=0.97).contains(&share(0)), "{count} eyes, bias: {}", share(0));
        assert!((0.93..=0.97).contains(&share(1)), "{count} eyes, upper limit: {}", share(1));
        assert!(share(2) < 0.92, "{count} eyes, ignoring patients: {}", share(2));
    }
}

/// Share of runs in which the 95 % intervals of ICC(3,1) and ICC(1,1) hold the truth, 0.8: three readers whose readings of an eye
/// scatter by half its spread. Both eyes of a patient are alike by 0.5, then wholly: 0.93 to 0.97; where fellow eyes pass for
/// separate ones, fewer.
#[test]
fn intraclass_intervals_keep_fellow_eyes_together() {
    const RUNS: u64 = 4000;
    for (count, whole) in [(20, false), (60, false), (200, false), (60, true)] {
        let covered: Vec<[bool; 3]> = (0..RUNS)
            .into_par_iter()
            .map(|run| {
                let mut rng = rng(run + 7_000_000 * count as u64);
                let (mut values, patient) = eyes(count / 2, &mut rng);
                if whole {
                    (0..count).for_each(|k| values[k] = values[k / 2 * 2]);
                }
                let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
                let rows: Vec<Vec<f64>> = values.iter().map(|v| (0..3).map(|_| v + 0.5 * noise()).collect()).collect();
                let holds =
                    |c: stillaxis::statistics::intraclass::Correlation| c.interval.low <= 0.8 && 0.8 <= c.interval.high;
                let by_patient = Intraclass::of_clustered(&rows, &patient).unwrap();
                let apart = Intraclass::of(&rows).unwrap();
                [holds(by_patient.three_single()), holds(by_patient.one_single()), holds(apart.three_single())]
            })
            .collect();
        let share = |k: usize| covered.iter().filter(|c| c[k]).count() as f64 / RUNS as f64;
        println!(
            "{count} eyes{}: {:.4} of the intervals of ICC(3,1) hold the truth, {:.4} of ICC(1,1); {:.4} ignoring patients",
            if whole { ", fellow eyes alike" } else { "" },
            share(0),
            share(1),
            share(2)
        );
        assert!((0.93..=0.97).contains(&share(0)), "{count} eyes, ICC(3,1): {}", share(0));
        assert!((0.93..=0.97).contains(&share(1)), "{count} eyes, ICC(1,1): {}", share(1));
        // Eyes alike by half cost few readers' correlations much; wholly alike they must be seen to leave the band.
        assert!(share(2) < share(0), "{count} eyes, ignoring patients: {}", share(2));
        assert!(!whole || share(2) < 0.93, "{count} eyes, ignoring patients: {}", share(2));
    }
}
