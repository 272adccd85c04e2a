//! Numbers to estimates, intervals and tests. Pure: knows no picture, file or argument.
//!
//! - [`descriptive`]: mean, standard deviation, median, quantiles, trimmed mean, median absolute deviation
//! - [`axial`]: means and spreads of axes, modulo 180 degrees
//! - [`distributions`]: quantiles and tails, by the crate statrs
//! - [`proportion`]: shares with their intervals
//! - [`clusters`]: eyes of one patient are not independent: what that does to a variance
//! - [`bootstrap`]: percentile and BCa intervals, whole patients drawn
//! - [`jackknife`]: intervals of spreads and sizes, a patient left out at a time
//! - [`order_statistics`]: intervals of quantiles, whatever the distribution
//! - [`permutation`]: tests by exchanging labels, whole patients at a time
//! - [`spread_test`]: Brown-Forsythe, plain and by patient
//! - [`rank_tests`]: Mann-Whitney, Wilcoxon, Kruskal-Wallis
//! - [`effect_size`]: differences on a common scale
//! - [`holm`]: correction for several comparisons
//! - [`bland_altman`], [`repeatability`], [`intraclass`]: agreement
//! - [`cusum`], [`risk_adjusted`]: sequences
//! - [`centroid_region`]: 95 % region of a mean in the plane
//! - [`reading_error`]: spread and sizes with the error of reading taken out
//! - [`power`]: how many eyes the next study needs
//!
//! Values are in the unit of the arguments unless a name says otherwise. What cannot be said is `None`: a spread of one
//! value, a mean of none. Chance comes from seeds that are arguments; the same seed gives the same numbers, whatever the
//! number of threads.

pub mod axial;
pub mod bland_altman;
pub mod bootstrap;
pub mod centroid_region;
pub mod clusters;
pub mod cusum;
pub mod descriptive;
pub mod distributions;
pub mod effect_size;
pub mod holm;
pub mod intraclass;
pub mod jackknife;
pub mod order_statistics;
pub mod permutation;
pub mod power;
pub mod proportion;
pub mod rank_tests;
pub mod reading_error;
pub mod repeatability;
pub mod risk_adjusted;
pub mod spread_test;

pub use crate::normal::COVERAGE;

/// An interval, in the unit of what it is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// In percent of what it was of.
    pub fn percent(self) -> Self {
        Self { low: 100.0 * self.low, high: 100.0 * self.high }
    }
}
