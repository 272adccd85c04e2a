//! A group of eyes to estimates with intervals, patients kept together.

use super::eye::{Eye, EyeMeasure};
use super::figures::Behind;
use super::patients::Patients;
use super::sums::Sums;
use crate::geometry::axis_difference;
use crate::statistics::bootstrap::{Settings, bootstrap};
use crate::statistics::clusters::effective_trials;
use crate::statistics::jackknife::{self, Scale};
use crate::statistics::proportion::wilson;
use crate::statistics::{COVERAGE, Interval, axial, descriptive};

/// Eyes drawn in all by a bootstrap: beyond, there are fewer resamples, since many eyes need less of them.
const MOST_DRAWN_EYES: usize = 10_000_000;
/// But never fewer than these.
const FEWEST_RESAMPLES: usize = 500;

/// A value with its interval.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// `None` where it cannot be said.
    pub value: Option<f64>,
    /// `None` where it cannot be said.
    pub interval: Option<Interval>,
}

impl Estimate {
    /// In percent of what it was of.
    pub fn percent(self) -> Self {
        Self { value: self.value.map(|v| 100.0 * v), interval: self.interval.map(Interval::percent) }
    }
}

/// Values of the measured eyes of a group, and who they belong to.
#[derive(Clone, Debug, Default)]
pub struct Sample {
    /// One an eye.
    pub values: Vec<f64>,
    /// Patient of each.
    pub patients: Patients,
}

impl Sample {
    /// Of the eyes for which `value` is known.
    pub fn of<'a>(eyes: impl IntoIterator<Item = &'a Eye>, value: impl Fn(&Eye) -> Option<f64>) -> Self {
        let known: Vec<(f64, Option<&str>)> = eyes
            .into_iter()
            .filter_map(|eye| value(eye).filter(|v| v.is_finite()).map(|v| (v, eye.patient.as_deref())))
            .collect();
        let patients = Patients::of(known.iter().map(|(_, patient)| *patient).enumerate());
        Self { values: known.iter().map(|(value, _)| *value).collect(), patients }
    }

    /// With other values, one an eye.
    pub fn with(&self, values: Vec<f64>) -> Self {
        Self { values, ..self.clone() }
    }

    /// Eyes and patients.
    pub fn behind(&self) -> Behind {
        self.patients.behind()
    }

    fn settings(&self, seed: u64) -> Settings {
        let usual = Settings::default();
        let affordable = (MOST_DRAWN_EYES / self.values.len().max(1)).max(FEWEST_RESAMPLES) as u32;
        Settings { seed, inflation: self.patients.inflation(), resamples: usual.resamples.min(affordable), ..usual }
    }

    fn widened(&self, interval: Interval, value: f64, scale: Scale) -> Interval {
        let factor = self.patients.inflation();
        match scale {
            Scale::Plain => Interval {
                low: value + factor * (interval.low - value),
                high: value + factor * (interval.high - value),
            },
            Scale::Logarithm => Interval {
                low: value * (interval.low / value).powf(factor),
                high: value * (interval.high / value).powf(factor),
            },
        }
    }

    /// Axial mean of errors, with its BCa interval.
    pub fn axial_mean(&self, seed: u64) -> Estimate {
        let sums = self.sums(|eye| Sums::of(self.values[eye]));
        let Some(whole) = axial::mean_difference(&self.values) else { return Estimate::default() };
        let statistic = |weights: &[f64], out: &mut [f64]| {
            out[0] = whole + axis_difference(whole, Sums::weighted(sums.iter(), weights).axial_mean());
        };
        let settings = self.settings(seed);
        let drawn = bootstrap(&vec![0; self.patients.clusters], 1, statistic, &settings)[0];
        Estimate { value: Some(whole), interval: drawn.bca }
    }

    /// Errors moved by turns of 180 to within 90 of their axial mean: ordinary numbers.
    pub fn unwrapped(&self) -> Self {
        match axial::mean_difference(&self.values) {
            Some(mean) => self.with(axial::unwrapped(&self.values, mean)),
            None => self.clone(),
        }
    }

    /// Sizes.
    pub fn sizes(&self) -> Self {
        self.with(self.values.iter().map(|v| v.abs()).collect())
    }

    /// Mean, with its interval by the jackknife over patients, on the logarithm where all values are positive and `scale`
    /// says so.
    pub fn mean(&self, scale: Scale) -> Estimate {
        let sums = self.sums(|eye| Sums::of(self.values[eye]));
        let statistic = |weights: &[f64]| Sums::weighted(sums.iter(), weights).mean();
        self.estimate(descriptive::mean(&self.values), scale, statistic)
    }

    /// Median, with its BCa interval.
    pub fn median(&self, seed: u64) -> Estimate {
        let mut order: Vec<usize> = (0..self.values.len()).collect();
        order.sort_by(|a, b| self.values[*a].total_cmp(&self.values[*b]));
        let sorted: Vec<(f64, usize)> = order.iter().map(|at| (self.values[*at], self.patients.numbers[*at])).collect();
        let statistic = |weights: &[f64], out: &mut [f64]| {
            let total: f64 = sorted.iter().map(|(_, at)| weights[*at]).sum();
            let mut below = 0.0;
            let (mut low, mut high) = (f64::NAN, f64::NAN);
            for (value, at) in &sorted {
                below += weights[*at];
                if low.is_nan() && below >= total / 2.0 {
                    low = *value;
                }
                if below > total / 2.0 {
                    high = *value;
                    break;
                }
            }
            out[0] = f64::midpoint(low, high);
        };
        let settings = self.settings(seed);
        let drawn = bootstrap(&vec![0; self.patients.clusters], 1, statistic, &settings);
        Estimate { value: descriptive::median(&self.values), interval: drawn[0].bca }
    }

    /// Standard deviation, with its interval by the jackknife over patients.
    pub fn spread(&self) -> Estimate {
        let sums = self.about_mean(|_| 0.0);
        // Not set to 0: a spread that vanishes when a patient is left out has no interval on the logarithm.
        let statistic = |weights: &[f64]| Sums::weighted(sums.iter(), weights).variance().sqrt();
        self.estimate(descriptive::standard_deviation(&self.values), Scale::Logarithm, statistic)
    }

    /// The same with the variances of reading taken out, one an eye. Where reading explains all of it, it is 0 without interval.
    pub fn true_spread(&self, variances: &[f64]) -> Estimate {
        let value = crate::statistics::reading_error::true_spread(&self.values, variances);
        let sums = self.about_mean(|eye| variances[eye]);
        let statistic = |weights: &[f64]| {
            let whole = Sums::weighted(sums.iter(), weights);
            (whole.variance() - whole.reading()).sqrt()
        };
        self.estimate(value, Scale::Logarithm, statistic)
    }

    /// Of each patient.
    fn sums(&self, of: impl Fn(usize) -> Sums) -> Vec<Sums> {
        let mut sums = vec![Sums::default(); self.patients.clusters];
        self.patients.numbers.iter().enumerate().for_each(|(eye, at)| sums[*at].add(&of(eye), 1.0));
        sums
    }

    /// The same of values less their mean, for the sake of rounding, with the variance of each reading.
    fn about_mean(&self, reading: impl Fn(usize) -> f64) -> Vec<Sums> {
        let middle = descriptive::mean(&self.values).unwrap_or(0.0);
        self.sums(|eye| Sums::of(self.values[eye] - middle).read_with(reading(eye)))
    }

    fn estimate(&self, value: Option<f64>, scale: Scale, statistic: impl Fn(&[f64]) -> f64) -> Estimate {
        let scale = if value.is_some_and(|v| v > 0.0) { scale } else { Scale::Plain };
        let interval = jackknife::interval(self.patients.clusters, COVERAGE, scale, statistic);
        Estimate { value, interval: value.zip(interval).map(|(v, i)| self.widened(i, v, scale)) }
    }

    /// Share of values that `is` holds for, with Wilson's interval on the effective number of eyes.
    pub fn share(&self, is: impl Fn(f64) -> bool) -> Estimate {
        let hits: Vec<bool> = self.values.iter().map(|v| is(*v)).collect();
        if hits.is_empty() {
            return Estimate::default();
        }
        let share = hits.iter().filter(|hit| **hit).count() as f64 / hits.len() as f64;
        let trials = effective_trials(&hits, &self.patients.numbers) / self.patients.inflation().powi(2);
        Estimate { value: Some(share), interval: wilson(share, trials, COVERAGE) }
    }
}

/// Error of an eye, degrees.
pub fn error(eye: &Eye) -> Option<f64> {
    eye.measure.map(|m| m.error_deg)
}

/// Reading variance of the measured ones of `eyes`, degrees squared, in order.
pub fn reading_variances<'a>(eyes: impl IntoIterator<Item = &'a Eye>) -> Vec<f64> {
    eyes.into_iter().filter_map(|eye| eye.measure).map(|m: EyeMeasure| m.reading_variance_deg2).collect()
}
