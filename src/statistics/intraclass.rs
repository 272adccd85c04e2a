//! The six intraclass correlations of Shrout & Fleiss.
//!
//! Source: Shrout & Fleiss (1979), Psychol Bull 86:420-428; intervals as there and in McGraw & Wong (1996), Psychol Methods
//! 1:30-46 (from memory).

use super::clusters::correlation_within;
use super::distributions::f_quantile;
use super::{COVERAGE, Interval};

/// One correlation with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// The correlation.
    pub value: f64,
    /// Its interval.
    pub interval: Interval,
}

/// Mean squares of targets by judges, and what follows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intraclass {
    /// Between targets.
    pub between: f64,
    /// Within targets.
    pub within: f64,
    /// Between judges.
    pub judges: f64,
    /// What is left.
    pub residual: f64,
    targets: f64,
    /// Targets that would tell as much of the spread between them if none were alike.
    independent: f64,
    raters: f64,
}

impl Intraclass {
    /// From one row a target with one value a judge. `None` unless there are two targets and two judges, every row complete, and
    /// the targets differ.
    pub fn of(rows: &[Vec<f64>]) -> Option<Self> {
        let raters = rows.first()?.len();
        if rows.len() < 2 || raters < 2 || rows.iter().any(|row| row.len() != raters) {
            return None;
        }
        let (n, k) = (rows.len() as f64, raters as f64);
        let grand = rows.iter().flatten().sum::<f64>() / (n * k);
        let row_mean = |row: &[f64]| row.iter().sum::<f64>() / k;
        let between = k * rows.iter().map(|row| (row_mean(row) - grand).powi(2)).sum::<f64>();
        let within: f64 = rows.iter().flat_map(|row| row.iter().map(|v| (v - row_mean(row)).powi(2))).sum();
        let column_mean = |c: usize| rows.iter().map(|row| row[c]).sum::<f64>() / n;
        let judges = n * (0..raters).map(|c| (column_mean(c) - grand).powi(2)).sum::<f64>();
        let residual = (within - judges).max(0.0);
        (between > 0.0).then(|| Self {
            between: between / (n - 1.0),
            within: within / (n * (k - 1.0)),
            judges: judges / (k - 1.0),
            residual: residual / ((n - 1.0) * (k - 1.0)),
            targets: n,
            independent: n,
            raters: k,
        })
    }

    /// As [`Intraclass::of`], of targets that are alike in clusters, as both eyes of a patient are. Values do not change; intervals
    /// widen: squares of two normal values that are correlated by r are correlated by r squared, so the mean square between
    /// targets counts as if from n over 1 + (m - 1) r squared of them, m being the size of the clusters.
    ///
    /// - `clusters`: of each row, numbers from 0
    pub fn of_clustered(rows: &[Vec<f64>], clusters: &[usize]) -> Option<Self> {
        let found = Self::of(rows)?;
        let means: Vec<f64> = rows.iter().map(|row| row.iter().sum::<f64>() / found.raters).collect();
        let mut sizes = vec![0.0_f64; clusters.iter().max()? + 1];
        clusters.iter().for_each(|at| sizes[*at] += 1.0);
        let fellows = sizes.iter().map(|size| size * size).sum::<f64>() / found.targets - 1.0;
        let alike = correlation_within(&means, clusters).unwrap_or(0.0);
        Some(Self { independent: found.targets / (1.0 + fellows * alike * alike), ..found })
    }

    /// ICC(1,1): each target read by judges of its own; a single reading.
    pub fn one_single(&self) -> Correlation {
        let k = self.raters;
        self.by_f(self.within, self.targets * (k - 1.0), |f| (f - 1.0) / (f + k - 1.0))
    }

    /// ICC(1,k): as above; the mean of all.
    pub fn one_mean(&self) -> Correlation {
        self.by_f(self.within, self.targets * (self.raters - 1.0), |f| 1.0 - 1.0 / f)
    }

    /// ICC(2,1): judges drawn from many, agreement in the values themselves; a single reading.
    pub fn two_single(&self) -> Correlation {
        let (n, k) = (self.targets, self.raters);
        let (b, j, e) = (self.between, self.judges, self.residual);
        let value = (b - e) / (b + (k - 1.0) * e + k * (j - e) / n);
        let fj = j / e;
        let part = n * (1.0 + (k - 1.0) * value) - k * value;
        let above = (k - 1.0) * (n - 1.0) * (k * value * fj + part).powi(2);
        let below = (n - 1.0) * (k * value * fj).powi(2) + part.powi(2);
        let freedom = above / below;
        let upper = 0.5 + COVERAGE / 2.0;
        let (for_low, for_high) =
            (f_quantile(upper, self.independent - 1.0, freedom), f_quantile(upper, freedom, self.independent - 1.0));
        let rest = k * j + (k * n - k - n) * e;
        let interval = Interval {
            low: n * (b - for_low * e) / (for_low * rest + n * b),
            high: n * (for_high * b - e) / (rest + n * for_high * b),
        };
        // Judges in perfect agreement leave nothing to divide by.
        let interval = if e > 0.0 { interval } else { Interval { low: f64::NAN, high: f64::NAN } };
        Correlation { value, interval }
    }

    /// ICC(2,k): as above; the mean of all.
    pub fn two_mean(&self) -> Correlation {
        let Correlation { interval, .. } = self.two_single();
        let (b, j, e) = (self.between, self.judges, self.residual);
        let of_mean = |single: f64| self.raters * single / (1.0 + (self.raters - 1.0) * single);
        Correlation {
            value: (b - e) / (b + (j - e) / self.targets),
            interval: Interval { low: of_mean(interval.low), high: of_mean(interval.high) },
        }
    }

    /// ICC(3,1): these judges and no others, their constant differences left aside; a single reading.
    pub fn three_single(&self) -> Correlation {
        let k = self.raters;
        self.by_f(self.residual, (self.targets - 1.0) * (k - 1.0), |f| (f - 1.0) / (f + k - 1.0))
    }

    /// ICC(3,k): as above; the mean of all.
    pub fn three_mean(&self) -> Correlation {
        let freedom = (self.targets - 1.0) * (self.raters - 1.0);
        self.by_f(self.residual, freedom, |f| 1.0 - 1.0 / f)
    }

    /// All six in the order of the paper, with their names.
    pub fn all(&self) -> [(&'static str, Correlation); 6] {
        [
            ("ICC(1,1)", self.one_single()),
            ("ICC(2,1)", self.two_single()),
            ("ICC(3,1)", self.three_single()),
            ("ICC(1,k)", self.one_mean()),
            ("ICC(2,k)", self.two_mean()),
            ("ICC(3,k)", self.three_mean()),
        ]
    }

    /// Those that are a function of one F, whose interval follows from that of F.
    fn by_f(&self, error: f64, freedom: f64, from_f: impl Fn(f64) -> f64) -> Correlation {
        let f = self.between / error;
        let upper = 0.5 + COVERAGE / 2.0;
        let low = f / f_quantile(upper, self.independent - 1.0, freedom);
        let high = f * f_quantile(upper, freedom, self.independent - 1.0);
        let value = if error > 0.0 { from_f(f) } else { 1.0 };
        Correlation { value, interval: Interval { low: from_f(low), high: from_f(high) } }
    }
}
