//! How likely each of several readings is that exclude one another, nothing being there one of them.

/// Readings with their probabilities.
pub(super) struct Posterior<'a, R> {
    readings: &'a [R],
    /// Of each reading against the strongest, so that nothing overflows.
    odds: Vec<f64>,
    /// Of all together, and of there being nothing.
    all: f64,
}

impl<'a, R> Posterior<'a, R> {
    /// - `evidence`: natural logarithm of the odds of a reading against there being nothing
    pub(super) fn new(readings: &'a [R], evidence: impl Fn(&R) -> f64) -> Self {
        let strongest = readings.iter().map(&evidence).fold(f64::NEG_INFINITY, f64::max);
        let odds: Vec<f64> = readings.iter().map(|reading| (evidence(reading) - strongest).exp()).collect();
        let all = odds.iter().sum::<f64>() + (-strongest).exp();
        Self { readings, odds, all }
    }

    fn of(&self, which: impl Fn(&R) -> bool) -> impl Iterator<Item = (&R, f64)> {
        self.readings.iter().zip(self.odds.iter().copied()).filter(move |(reading, _)| which(reading))
    }

    /// Probability that one of these readings is right.
    pub(super) fn probability(&self, which: impl Fn(&R) -> bool) -> f64 {
        self.of(which).map(|(_, odds)| odds).sum::<f64>() / self.all
    }

    /// Root mean square of what these readings are `off` by, each by its probability.
    pub(super) fn spread(&self, which: impl Fn(&R) -> bool, off: impl Fn(&R) -> f64) -> f64 {
        let (squares, total) =
            self.of(which).fold((0.0, 0.0), |(s, t), (reading, odds)| (s + odds * off(reading).powi(2), t + odds));
        (squares / total).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: odds of 6, 3 and 2 against nothing share 12 with its 1: probabilities 1/2, 1/4, 1/6 and 1/12.
    #[test]
    fn probabilities_by_hand() {
        let readings = [(6.0, 0.0), (3.0, 2.0), (2.0, 40.0)];
        let posterior = Posterior::new(&readings, |r: &(f64, f64)| r.0.ln());
        assert!((posterior.probability(|r| r.1 == 0.0) - 0.5).abs() < 1e-12);
        assert!((posterior.probability(|r| r.1 > 0.0) - 5.0 / 12.0).abs() < 1e-12);
        // A third of the first two is 2 off.
        assert!((posterior.spread(|r| r.1 < 10.0, |r| r.1) - (4.0f64 / 3.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn strong_and_weak_evidence_overflow_nothing() {
        for (evidence, probability) in [(1e4, 0.5), (-1e4, 0.0)] {
            let posterior = Posterior::new(&["first", "second"], |_| evidence);
            let first = posterior.probability(|r| *r == "first");
            assert!((first - probability).abs() < 1e-12, "{evidence}: {first}");
        }
        assert_eq!(Posterior::new(&[], |e: &f64| *e).probability(|_| true), 0.0);
    }
}
