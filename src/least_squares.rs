//! Levenberg-Marquardt: sums of squares made least by damped Gauss-Newton steps.
//!
//! A step goes where the linearised problem has its least sum, the diagonal of the normal matrix enlarged by a share of
//! itself, the damping. A step that lessens the sum is taken and the damping eased; one that does not is thrown away and
//! the damping raised, which shortens the next and turns it downhill.
//!
//! Source: Marquardt (1963), J. SIAM 11:431-441 (from memory).

/// A sum of squares that is to be made least.
pub trait SumOfSquares {
    /// A place of the search, with what was worked out there.
    type Place;

    /// The sum at a place.
    fn sum(&self, place: &Self::Place) -> f64;

    /// Where a step leads whose normal matrix has `damping` times its diagonal added; `None` where the problem has no
    /// meaning there, which counts as no gain.
    ///
    /// # Errors
    /// [`Singular`] where the damped normal matrix has no inverse.
    fn step(&self, from: &Self::Place, damping: f64) -> Result<Option<Self::Place>, Singular>;

    /// Whether the step taken last gained so little that the search is over.
    fn settled(&self, from: &Self::Place, to: &Self::Place) -> bool;
}

/// The problem does not determine its parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the normal matrix is singular")]
pub struct Singular;

/// How a search ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The last step gained little.
    Settled,
    /// However short the step, none leads farther down: this is the minimum within rounding.
    NothingDownhill,
    /// There was still something to be gained.
    OutOfSteps,
}

/// How a search goes about it.
#[derive(Clone, Copy, Debug)]
pub struct Search {
    /// Most steps, those thrown away included.
    pub steps: usize,
    /// Damping of the first step, share of the diagonal.
    pub damping: f64,
    /// Damping at which steps are so short that the search is given up.
    pub most_damping: f64,
}

/// What the damping is multiplied by after a step that was taken and after one that was not.
const EASED: f64 = 0.2;
const RAISED: f64 = 8.0;
/// Damping below which a step is a Gauss-Newton step for all that matters.
const LEAST_DAMPING: f64 = 1e-12;

impl Search {
    /// Where a search from `start` comes to, and how it ended.
    ///
    /// # Errors
    /// [`Singular`] where a step cannot be worked out.
    pub fn run<P: SumOfSquares>(&self, problem: &P, start: P::Place) -> Result<(P::Place, End), Singular> {
        let mut place = start;
        let mut damping = self.damping;
        for _ in 0..self.steps {
            match problem.step(&place, damping)? {
                Some(next) if problem.sum(&next) <= problem.sum(&place) => {
                    let settled = problem.settled(&place, &next);
                    place = next;
                    damping = (damping * EASED).max(LEAST_DAMPING);
                    if settled {
                        return Ok((place, End::Settled));
                    }
                }
                _ => {
                    damping *= RAISED;
                    if damping > self.most_damping {
                        return Ok((place, End::NothingDownhill));
                    }
                }
            }
        }
        Ok((place, End::OutOfSteps))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Matrix2, Vector2};

    /// y = b1 (1 - exp(-b2 x)).
    struct Saturating<'a> {
        x: &'a [f64],
        y: &'a [f64],
    }

    impl Saturating<'_> {
        /// Normal matrix, gradient and sum of squares.
        fn about(&self, b: &Vector2<f64>) -> (Matrix2<f64>, Vector2<f64>, f64) {
            let (mut normal, mut gradient, mut sum) = (Matrix2::zeros(), Vector2::zeros(), 0.0);
            for (x, y) in self.x.iter().zip(self.y) {
                let left = (-b[1] * x).exp();
                let rest = y - b[0] * (1.0 - left);
                let slopes = Vector2::new(1.0 - left, b[0] * x * left);
                normal += slopes * slopes.transpose();
                gradient += slopes * rest;
                sum += rest * rest;
            }
            (normal, gradient, sum)
        }
    }

    impl SumOfSquares for Saturating<'_> {
        type Place = Vector2<f64>;

        fn sum(&self, b: &Vector2<f64>) -> f64 {
            self.about(b).2
        }

        fn step(&self, b: &Vector2<f64>, damping: f64) -> Result<Option<Vector2<f64>>, Singular> {
            let (mut normal, gradient, _) = self.about(b);
            for k in 0..2 {
                normal[(k, k)] *= 1.0 + damping;
            }
            Ok(Some(b + normal.cholesky().ok_or(Singular)?.solve(&gradient)))
        }

        fn settled(&self, from: &Vector2<f64>, to: &Vector2<f64>) -> bool {
            (to - from).component_div(to).norm() < 1e-12
        }
    }

    const SEARCH: Search = Search { steps: 100, damping: 1e-2, most_damping: 1e9 };

    /// NIST Statistical Reference Datasets, nonlinear regression, Misra1a (pressure and volume of a monomolecular
    /// adsorption; Misra 1978): certified parameters, their standard deviations and the residual sum of squares, from
    /// both starts that come with them.
    #[test]
    fn certified_values_of_misra1a() {
        let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
        let problem = Saturating { x: &x, y: &y };
        for start in [Vector2::new(500.0, 1e-4), Vector2::new(250.0, 5e-4)] {
            let (found, end) = SEARCH.run(&problem, start).unwrap();
            assert_ne!(end, End::OutOfSteps);
            let (normal, _, sum) = problem.about(&found);
            let covariance = normal.try_inverse().unwrap() * (sum / 12.0);
            for (got, certified) in [
                (found[0], 2.389_421_291_8e2),
                (found[1], 5.501_564_318_1e-4),
                (covariance.m11.sqrt(), 2.707_007_524_1),
                (covariance.m22.sqrt(), 7.266_868_843_6e-6),
                (sum, 1.245_513_889_4e-1),
            ] {
                assert!((got / certified - 1.0).abs() < 1e-7, "{got}, certified {certified}");
            }
        }
    }

    /// The full step of Gauss and Newton from the farther start goes up; the damping turns it down.
    #[test]
    fn a_step_that_gains_nothing_is_not_taken() {
        let x = [77.6, 239.9, 434.8, 760.0];
        let y = [10.07, 29.61, 50.76, 81.78];
        let problem = Saturating { x: &x, y: &y };
        let start = Vector2::new(500.0, 1e-4);
        let full = problem.step(&start, 0.0).unwrap().unwrap();
        assert!(problem.sum(&full) > problem.sum(&start));
        for steps in 1..20 {
            let search = Search { steps, damping: 1e-12, most_damping: 1e9 };
            let (place, _) = search.run(&problem, start).unwrap();
            assert!(problem.sum(&place) <= problem.sum(&start));
        }
    }

    #[test]
    fn what_is_not_determined_is_said_to_be_so() {
        let problem = Saturating { x: &[0.0, 0.0], y: &[1.0, 2.0] };
        assert_eq!(SEARCH.run(&problem, Vector2::new(1.0, 1.0)), Err(Singular));
    }
}
