//! Whom eyes belong to: both eyes of a patient are alike, and count together.

use super::figures::Behind;
use crate::statistics::clusters::numbered;

/// Patients of eyes, or of their stills. An eye that names no patient has a number of its own.
#[derive(Clone, Debug, Default)]
pub struct Patients {
    /// Patient of each, numbers from 0.
    pub numbers: Vec<usize>,
    /// How many numbers.
    pub clusters: usize,
    /// How many of the eyes, or stills, name no patient.
    pub unnamed: usize,
}

impl Patients {
    /// - `named`: of each a number of the eye, and the patient it names
    pub fn of<'a>(named: impl IntoIterator<Item = (usize, Option<&'a str>)>) -> Self {
        let mut unnamed = 0;
        // Not by the eye's name: OD may be anyone's, and a case may be called as a patient is.
        let keys = named.into_iter().map(|(eye, patient)| {
            unnamed += usize::from(patient.is_none());
            patient.ok_or(eye)
        });
        let (numbers, clusters) = numbered(keys);
        Self { numbers, clusters, unnamed }
    }

    /// So many different ones, of one eye each.
    pub fn different(count: usize) -> Self {
        Self { numbers: (0..count).collect(), clusters: count, unnamed: 0 }
    }

    /// Whether every eye names one.
    pub fn all_named(&self) -> bool {
        self.unnamed == 0
    }

    /// Eyes and patients.
    pub fn behind(&self) -> Behind {
        Behind { eyes: self.numbers.len(), patients: self.all_named().then_some(self.clusters) }
    }

    /// By how much intervals are widened because eyes without a patient may be fellow eyes: with all of them unnamed the
    /// variance could be twice as large, no more, since a patient has two eyes.
    pub fn inflation(&self) -> f64 {
        (1.0 + self.unnamed as f64 / self.numbers.len().max(1) as f64).sqrt()
    }
}
