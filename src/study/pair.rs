//! Two groups of eyes side by side, patients kept together.

use super::estimates::error;
use super::eye::Eye;
use super::figures::Behind;
use super::patients::Patients;
use super::sums::Sums;
use crate::geometry::axis_difference;
use crate::statistics::bootstrap::{Bootstrapped, Settings, bootstrap};
use crate::statistics::clusters::effective_trials;
use crate::statistics::jackknife::{self, Scale};
use crate::statistics::permutation::{LabelExchange, mean_distance};
use crate::statistics::{COVERAGE, Interval, axial, descriptive, proportion, rank_tests, spread_test};
use std::collections::HashSet;

/// Values of two groups (or more, for tests of all at once).
pub struct Pair {
    /// `first − second`.
    pub name: String,
    /// Value of each eye: errors are unwrapped about their group's axial mean, degrees.
    pub errors: Vec<f64>,
    /// Group of each.
    pub labels: Vec<usize>,
    /// Patient of each.
    pub patients: Patients,
}

impl Pair {
    /// Errors of two groups of named eyes.
    pub fn new(first: (&str, &[&Eye]), second: (&str, &[&Eye])) -> Self {
        let mut pair = Self::by(first, second, error);
        pair.unwrap();
        pair
    }

    /// Another value of two groups.
    pub fn by(first: (&str, &[&Eye]), second: (&str, &[&Eye]), value: impl Fn(&Eye) -> Option<f64>) -> Self {
        Self { name: format!("{} − {}", first.0, second.0), ..Self::collect(&[first, second], value) }
    }

    /// Errors of all groups.
    pub fn of_all(groups: &[(&str, &[&Eye])]) -> Self {
        let mut all = Self::collect(groups, error);
        all.unwrap();
        all
    }

    fn collect(groups: &[(&str, &[&Eye])], value: impl Fn(&Eye) -> Option<f64>) -> Self {
        let (mut errors, mut labels, mut named) = (Vec::new(), Vec::new(), Vec::new());
        for (label, (_, eyes)) in groups.iter().enumerate() {
            for eye in *eyes {
                if let Some(v) = value(eye).filter(|v| v.is_finite()) {
                    named.push((named.len(), eye.patient.as_deref()));
                    errors.push(v);
                    labels.push(label);
                }
            }
        }
        Self { name: String::new(), errors, labels, patients: Patients::of(named) }
    }

    fn unwrap(&mut self) {
        for group in 0..=self.labels.iter().copied().max().unwrap_or(0) {
            let of: Vec<usize> = (0..self.labels.len()).filter(|k| self.labels[*k] == group).collect();
            let values: Vec<f64> = of.iter().map(|k| self.errors[*k]).collect();
            if let Some(mean) = axial::mean_difference(&values) {
                for (k, value) in of.iter().zip(axial::unwrapped(&values, mean)) {
                    self.errors[*k] = value;
                }
            }
        }
    }

    /// Eyes and patients.
    pub fn behind(&self) -> Behind {
        self.patients.behind()
    }

    /// Errors less the mean of their group.
    pub fn residuals(&self) -> Vec<f64> {
        let groups = self.labels.iter().max().map_or(0, |most| most + 1);
        let means: Vec<f64> = (0..groups).map(|g| descriptive::mean(&self.of(g)).unwrap_or(f64::NAN)).collect();
        self.errors.iter().zip(&self.labels).map(|(error, label)| error - means[*label]).collect()
    }

    /// Whether every patient is named and gives one eye.
    pub fn independent(&self) -> bool {
        self.patients.all_named() && self.patients.clusters == self.errors.len()
    }

    fn of(&self, group: usize) -> Vec<f64> {
        self.errors.iter().zip(&self.labels).filter(|(_, label)| **label == group).map(|(e, _)| *e).collect()
    }

    /// Whether both groups have two values.
    pub fn both_have_two(&self) -> bool {
        self.of(0).len() > 1 && self.of(1).len() > 1
    }

    /// Sizes of both groups.
    pub fn sizes(&self) -> (Vec<f64>, Vec<f64>) {
        let sizes = |group| self.of(group).iter().map(|e| e.abs()).collect();
        (sizes(0), sizes(1))
    }

    /// Ratio of the standard deviations.
    pub fn spread_ratio(&self) -> f64 {
        let sd = |group| descriptive::standard_deviation(&self.of(group)).unwrap_or(f64::NAN);
        sd(0) / sd(1)
    }

    /// Of each patient, in each group.
    fn sums(&self) -> Vec<[Sums; 2]> {
        let mut sums = vec![[Sums::default(); 2]; self.patients.clusters];
        for ((error, label), patient) in self.errors.iter().zip(&self.labels).zip(&self.patients.numbers) {
            sums[*patient][*label].add(&Sums::of(*error), 1.0);
        }
        sums
    }

    /// Patients of the first group alone, of the second alone, of both; one that would stand alone joins the most.
    fn strata(&self) -> Vec<usize> {
        let mut has = vec![[false; 2]; self.patients.clusters];
        for (label, patient) in self.labels.iter().zip(&self.patients.numbers) {
            has[*patient][*label] = true;
        }
        let mut strata: Vec<usize> = has.iter().map(|[a, b]| usize::from(*b) + usize::from(*a && *b)).collect();
        let count = |strata: &[usize], of: usize| strata.iter().filter(|s| **s == of).count();
        let most = (0..3).max_by_key(|of| count(&strata, *of)).unwrap_or(0);
        for of in 0..3 {
            if count(&strata, of) == 1 {
                strata.iter_mut().filter(|s| **s == of).for_each(|s| *s = most);
            }
        }
        strata
    }

    fn settings(&self, seed: u64) -> Settings {
        Settings { seed, inflation: self.patients.inflation(), ..Settings::default() }
    }

    /// Difference of axial means, ratio of spreads, difference of mean sizes.
    pub fn bootstrap(&self, seed: u64) -> Vec<Bootstrapped> {
        let sums = self.sums();
        let observed = difference_of_means(&whole(&sums, &vec![1.0; self.patients.clusters]));
        let statistic = |weights: &[f64], out: &mut [f64]| {
            let both = whole(&sums, weights);
            out[0] = observed + axis_difference(observed, difference_of_means(&both));
            let [a, b] = both;
            out[1] = sd(&a) / sd(&b);
            out[2] = a.mean_size() - b.mean_size();
        };
        bootstrap(&self.strata(), 3, statistic, &self.settings(seed))
    }

    /// Patients of a group.
    fn patients_of(&self, group: usize) -> usize {
        let of_group = self.patients.numbers.iter().zip(&self.labels).filter(|(_, label)| **label == group);
        of_group.map(|(patient, _)| patient).collect::<HashSet<_>>().len()
    }

    /// Interval of the ratio of spreads, by the jackknife over patients; `None` where a group has too few of them.
    pub fn spread_ratio_interval(&self) -> Option<Interval> {
        if self.patients_of(0).min(self.patients_of(1)) < jackknife::FEWEST_FOR_SPREADS {
            return None;
        }
        let sums = self.sums();
        let ratio = |weights: &[f64]| {
            let [a, b] = whole(&sums, weights);
            sd(&a) / sd(&b)
        };
        let interval = jackknife::interval(self.patients.clusters, COVERAGE, Scale::Logarithm, ratio)?;
        let factor = self.patients.inflation();
        let middle = (interval.low * interval.high).sqrt();
        let end = |end: f64| middle * (end / middle).powf(factor);
        Some(Interval { low: end(interval.low), high: end(interval.high) })
    }

    /// Difference of the shares within `limit`, each with its interval by effective number of eyes.
    pub fn share_difference(&self, limit: f64) -> Option<(f64, Interval)> {
        let of = |group: usize| {
            let here = |k: &usize| self.labels[*k] == group;
            let hits: Vec<bool> = (0..self.labels.len()).filter(here).map(|k| self.errors[k].abs() <= limit).collect();
            let patients: Vec<usize> = (0..self.labels.len()).filter(here).map(|k| self.patients.numbers[k]).collect();
            let share = hits.iter().filter(|hit| **hit).count() as f64 / hits.len() as f64;
            let trials = effective_trials(&hits, &patients) / self.patients.inflation().powi(2);
            Some((share, proportion::wilson(share, trials, COVERAGE)?))
        };
        let (first, second) = (of(0)?, of(1)?);
        Some((first.0 - second.0, proportion::difference(first, second)))
    }

    /// Difference of means.
    pub fn mean_difference(&self, seed: u64) -> Bootstrapped {
        let sums = self.sums();
        let statistic = |weights: &[f64], out: &mut [f64]| {
            let [a, b] = whole(&sums, weights);
            out[0] = a.mean() - b.mean();
        };
        bootstrap(&self.strata(), 1, statistic, &self.settings(seed))[0]
    }

    /// P-values by exchanging patients: mean error, spread, mean size, size by ranks. NaN where a patient is not named.
    pub fn p_values(&self, draws: u32, seed: u64) -> [f64; 4] {
        if !self.patients.all_named() {
            return [f64::NAN; 4];
        }
        let exchange = LabelExchange::new(&self.labels, &self.patients.numbers);
        let sizes: Vec<f64> = self.errors.iter().map(|e| e.abs()).collect();
        let spread =
            spread_test::brown_forsythe_by_patient(&self.errors, &self.labels, &self.patients.numbers, draws, seed);
        [
            exchange.test(mean_distance(&self.errors), draws, seed).p,
            spread.map_or(f64::NAN, |test| test.p),
            exchange.test(mean_distance(&sizes), draws, seed).p,
            exchange.test(rank_tests::mann_whitney_distance(&sizes), draws, seed).p,
        ]
    }

    /// Errors of those patients who have one eye in each group.
    pub fn within_patients(&self) -> Vec<[f64; 2]> {
        if !self.patients.all_named() {
            return Vec::new();
        }
        let mut eyes: Vec<[Vec<f64>; 2]> = vec![Default::default(); self.patients.clusters];
        for ((error, label), patient) in self.errors.iter().zip(&self.labels).zip(&self.patients.numbers) {
            eyes[*patient][*label].push(*error);
        }
        eyes.iter().filter(|[a, b]| a.len() == 1 && b.len() == 1).map(|[a, b]| [a[0], b[0]]).collect()
    }
}

/// P of the mean difference in size of pairs, by exchanging within each.
pub fn p_within(both: &[[f64; 2]], draws: u32, seed: u64) -> f64 {
    let sizes: Vec<f64> = both.iter().flatten().map(|e| e.abs()).collect();
    let labels: Vec<usize> = (0..sizes.len()).map(|k| k % 2).collect();
    let pairs: Vec<usize> = (0..sizes.len()).map(|k| k / 2).collect();
    LabelExchange::new(&labels, &pairs).test(mean_distance(&sizes), draws, seed).p
}

/// Both groups over all patients.
fn whole(sums: &[[Sums; 2]], weights: &[f64]) -> [Sums; 2] {
    [0, 1].map(|group| Sums::weighted(sums.iter().map(|both| &both[group]), weights))
}

fn sd(sums: &Sums) -> f64 {
    sums.variance().max(0.0).sqrt()
}

fn difference_of_means([first, second]: &[Sums; 2]) -> f64 {
    axis_difference(second.axial_mean(), first.axial_mean())
}
