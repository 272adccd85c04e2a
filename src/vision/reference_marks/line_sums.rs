//! A straight line by weighted least squares, from running sums.

/// Sums over what a line is laid through.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LineSums {
    /// Of the weights, and of these times the place along the line and its square.
    weights: [f64; 3],
    /// Of weight times how far aside it lies, and of that times the place along the line.
    moments: [f64; 2],
}

impl LineSums {
    /// - `along`: place along the line as it is supposed
    /// - `weight`: what it counts
    /// - `moment`: `weight` times how far aside of the line it lies
    pub fn add(&mut self, along: f64, weight: f64, moment: f64) {
        self.weights[0] += weight;
        self.weights[1] += weight * along;
        self.weights[2] += weight * along * along;
        self.moments[0] += moment;
        self.moments[1] += moment * along;
    }

    /// Weighted mean of the places along the line.
    pub fn middle(&self) -> f64 {
        self.weights[1] / self.weights[0]
    }

    /// How far aside the best line lies at place 0, and its slope; `None` where all is in one place.
    pub fn line(&self) -> Option<(f64, f64)> {
        let ([w0, w1, w2], [m0, m1]) = (self.weights, self.moments);
        let determinant = w0 * w2 - w1 * w1;
        let defined = w0 > 0.0 && determinant > 0.0;
        defined.then(|| ((m0 * w2 - m1 * w1) / determinant, (m1 * w0 - m0 * w1) / determinant))
    }
}

#[cfg(test)]
mod tests {
    use super::LineSums;

    /// What `numpy.polyfit` (2.4.6) gives for the points below, the roots of their weights being its weights.
    const AT_ZERO: f64 = 0.249865711727842;
    const SLOPE: f64 = -0.5380483437779764;

    #[test]
    fn a_line_through_weighted_points() {
        let points = [(-2.0, 1.3, 1.0), (0.5, 0.2, 3.0), (1.0, -0.4, 2.0), (4.0, -2.9, 1.0), (6.5, -3.1, 4.0)];
        let mut sums = LineSums::default();
        for (along, aside, weight) in points {
            sums.add(along, weight, weight * aside);
        }
        let (at_zero, slope) = sums.line().unwrap();
        assert!((at_zero - AT_ZERO).abs() < 1e-12 && (slope - SLOPE).abs() < 1e-12, "{at_zero} {slope}");
        assert!((sums.middle() - 31.5 / 11.0).abs() < 1e-12);
    }

    #[test]
    fn points_in_one_place_make_no_line() {
        let mut sums = LineSums::default();
        assert_eq!(sums.line(), None);
        sums.add(2.0, 1.0, 0.5);
        assert_eq!(sums.line(), None);
    }
}
