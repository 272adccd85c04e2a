//! Sums over the eyes of each patient: from those of any choice of patients its statistics follow.

use crate::statistics::axial;

/// Sums over eyes.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    /// How many eyes.
    eyes: f64,
    /// Cosines of the doubled values, which are degrees here.
    cosines: f64,
    /// Sines of them.
    sines: f64,
    values: f64,
    squares: f64,
    sizes: f64,
    /// Variances of reading.
    reading: f64,
}

impl Sums {
    /// Of one eye.
    pub(super) fn of(value: f64) -> Self {
        let (sines, cosines) = (2.0 * value).to_radians().sin_cos();
        Self { eyes: 1.0, cosines, sines, values: value, squares: value * value, sizes: value.abs(), reading: 0.0 }
    }

    /// With the variance of its reading.
    pub(super) fn read_with(self, reading: f64) -> Self {
        Self { reading, ..self }
    }

    /// Add `weight` times those of others.
    pub(super) fn add(&mut self, others: &Self, weight: f64) {
        self.eyes += weight * others.eyes;
        self.cosines += weight * others.cosines;
        self.sines += weight * others.sines;
        self.values += weight * others.values;
        self.squares += weight * others.squares;
        self.sizes += weight * others.sizes;
        self.reading += weight * others.reading;
    }

    /// Over all patients, each with its weight.
    pub(super) fn weighted<'a>(patients: impl Iterator<Item = &'a Self>, weights: &[f64]) -> Self {
        let mut whole = Self::default();
        let drawn = patients.zip(weights).filter(|(_, weight)| **weight != 0.0);
        drawn.for_each(|(of_patient, weight)| whole.add(of_patient, *weight));
        whole
    }

    /// Axial mean, degrees; NaN where there is none.
    pub(super) fn axial_mean(&self) -> f64 {
        axial::mean_of_sums(self.cosines, self.sines, self.eyes).map_or(f64::NAN, |(mean, _)| mean)
    }

    pub(super) fn mean(&self) -> f64 {
        self.values / self.eyes
    }

    pub(super) fn mean_size(&self) -> f64 {
        self.sizes / self.eyes
    }

    /// Mean variance of reading.
    pub(super) fn reading(&self) -> f64 {
        self.reading / self.eyes
    }

    /// Variance of the values; below 0 by rounding at most.
    pub(super) fn variance(&self) -> f64 {
        (self.squares - self.values * self.values / self.eyes) / (self.eyes - 1.0)
    }
}
