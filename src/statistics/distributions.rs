//! Tails and quantiles of the usual distributions, by statrs. Degrees of freedom may be fractions.
//!
//! Quantiles are found by halving on the distribution function, which statrs gives to near rounding, since its own
//! inverse of Student's t and of F stops at about 1e-5 for some arguments.

use crate::normal::root;
use statrs::distribution::{Beta, ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};

pub use crate::normal::{cdf as normal_cdf, quantile as normal_quantile};

/// Quantile of Student's t; NaN unless `freedom` > 0.
pub fn t_quantile(probability: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| reached(probability, true, |x| t.cdf(x)))
}

/// P(|T| >= |t|) for Student's t; NaN unless `freedom` > 0.
pub fn t_two_sided(t: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |d| (2.0 * d.sf(t.abs())).min(1.0))
}

/// Quantile of F; NaN unless both degrees of freedom are positive.
pub fn f_quantile(probability: f64, above: f64, below: f64) -> f64 {
    FisherSnedecor::new(above, below).map_or(f64::NAN, |f| reached(probability, false, |x| f.cdf(x)))
}

/// P(F >= f); NaN unless both degrees of freedom are positive.
pub fn f_upper(f: f64, above: f64, below: f64) -> f64 {
    FisherSnedecor::new(above, below).map_or(f64::NAN, |d| d.sf(f))
}

/// F distribution function; NaN unless both degrees of freedom are positive.
pub fn f_cdf(f: f64, above: f64, below: f64) -> f64 {
    FisherSnedecor::new(above, below).map_or(f64::NAN, |d| d.cdf(f))
}

/// Quantile of chi squared; NaN unless `freedom` > 0.
pub fn chi_squared_quantile(probability: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom).map_or(f64::NAN, |c| reached(probability, false, |x| c.cdf(x)))
}

/// P(X >= x) for chi squared; NaN unless `freedom` > 0.
pub fn chi_squared_upper(x: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom).map_or(f64::NAN, |c| c.sf(x))
}

/// Quantile of the beta distribution; NaN unless both shapes are positive.
pub fn beta_quantile(probability: f64, a: f64, b: f64) -> f64 {
    Beta::new(a, b).map_or(f64::NAN, |beta| root(0.0, 1.0, |x| beta.cdf(x) - probability))
}

/// Where a distribution function reaches `probability`; it begins at 0, or is symmetric about 0.
fn reached(probability: f64, symmetric: bool, cdf: impl Fn(f64) -> f64) -> f64 {
    if !(0.0..=1.0).contains(&probability) {
        return f64::NAN;
    }
    if symmetric && probability < 0.5 {
        return -reached(1.0 - probability, true, cdf);
    }
    let mut high = 1.0;
    while cdf(high) < probability {
        high *= 2.0;
        if high > 1e300 {
            return f64::INFINITY;
        }
    }
    root(0.0, high, |x| cdf(x) - probability)
}
