//! How probable a reading of the marks is, given how far from its plan the lens would stand.
//!
//! A thing taken for a mark lies anywhere, so that the error it gives is any one between -90 and 90 degrees. Lenses are
//! turned into place by eye and stand near their plan. An error far from it speaks for a misreading, the more the farther; one
//! near it is never held to speak for a reading: what looks doubtful does not become right by agreeing with the plan.

use std::fmt;

use statrs::distribution::{Continuous, StudentsT};

/// How far lenses stand from their plan: Student's t with this scale in degrees and so many degrees of freedom. Its median is 2.9
/// degrees and 95 % lie within 15; of 40 stills of real operations these were 2.5 and 14.4.
const SCALE_DEG: f64 = 3.5;
const FREEDOM: f64 = 2.0;
/// Least probability of a reading with the place of the lens held against it. By the risk curve over 1418 drawn stills and 38 real ones
/// with an angle: one was grossly wrong (a fold's shadow taken for lens marks: -45 degrees, 0.98 by its looks, 0.5 there), and
/// it costs two right ones beside it; 0.9 costs ten.
const LEAST_PROBABILITY: f64 = 0.8;

/// Farthest a lens is believed to stand from the axis its marks denote, degrees, however sure the marks. Beyond it the lens is
/// nearer to the meridian at right angles, and a mark taken for another thing (a hook, a vessel, the mark of another
/// meridian) is likelier than the reading.
const FARTHEST_ERROR_DEG: f64 = 45.0;

/// A lens so far from its plan that its marks or the reference marks were more likely misread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TooFar {
    /// Lens axis less intended axis as read, degrees.
    pub error_deg: f64,
    /// Probability that the marks are what they were taken for, with the error held against it.
    pub probability: f64,
    /// Whether the lens marks are the less sure by their looks, not the reference marks.
    rather_lens_marks: bool,
}

impl fmt::Display for TooFar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the lens would stand {:+.1}° from the intended axis", self.error_deg)?;
        if self.error_deg.abs() > FARTHEST_ERROR_DEG {
            write!(f, ", more than {FARTHEST_ERROR_DEG:.0}°")?;
        } else {
            let Self { probability, .. } = self;
            write!(
                f,
                ", where few stand: its marks are read right with a probability of {probability:.2}, need {LEAST_PROBABILITY:.2}"
            )?;
        }
        let less_sure = if self.rather_lens_marks { "lens marks" } else { "reference marks" };
        write!(
            f,
            "; something else may have been taken for marks (the {less_sure} are the less sure), or the sheet be wrong"
        )
    }
}

/// Whether a reading puts the lens too far from its plan.
///
/// - `error_deg`: lens axis less intended axis, degrees, [-90, 90)
/// - `reference_marks`, `lens_marks`: probabilities that they are what they were taken for, by their looks
pub fn too_far(error_deg: f64, reference_marks: f64, lens_marks: f64) -> Option<TooFar> {
    let by_looks = reference_marks * lens_marks;
    let probability = probability_there(error_deg, by_looks);
    let far = TooFar { error_deg, probability, rather_lens_marks: lens_marks < reference_marks };
    // What looks doubtful near the plan has been judged by its looks.
    let doubted = far.probability < by_looks && far.probability < LEAST_PROBABILITY;
    (doubted || error_deg.abs() > FARTHEST_ERROR_DEG).then_some(far)
}

/// Probability of a reading that is `by_looks` probable, where it puts the lens `error_deg` degrees from its plan.
fn probability_there(error_deg: f64, by_looks: f64) -> f64 {
    let anywhere = 1.0 / 180.0;
    // The parameters are valid, so that this is always some.
    let Ok(right) = StudentsT::new(0.0, SCALE_DEG, FREEDOM) else { return by_looks };
    let against = right.pdf(error_deg) / anywhere;
    if against >= 1.0 {
        return by_looks;
    }
    by_looks * against / (by_looks * against + 1.0 - by_looks)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Near the plan nothing changes; far from it the looks must be the surer.
    #[test]
    fn far_from_the_plan_looks_must_be_surer() {
        for by_looks in [0.5, 0.9, 0.99] {
            for near in [0.0, -5.0, 11.0] {
                assert!((probability_there(near, by_looks) - by_looks).abs() < 1e-12);
            }
            let far: Vec<f64> = [13.0, 20.0, -30.0, 44.0].map(|e| probability_there(e, by_looks)).to_vec();
            assert!(by_looks > far[0] && far.is_sorted_by(|a, b| a > b), "{far:?}");
        }
    }

    #[test]
    fn sure_marks_are_believed_farther() {
        for (error, by_looks, far) in [
            (-44.9, 0.979, true),
            (25.0, 0.979, false),
            (25.0, 0.9, true),
            (44.9, 0.9999, false),
            (45.1, 1.0, true),
            (-89.0, 1.0, true),
            (3.0, 0.7, false),
        ] {
            assert_eq!(too_far(error, 1.0, by_looks).is_some(), far, "{error} at {by_looks}");
        }
        let far = [too_far(-44.9, 1.0, 0.979), too_far(60.0, 0.99, 1.0)].map(Option::unwrap);
        assert_eq!(far.map(|far| far.rather_lens_marks), [true, false]);
        let why = far.map(|far| far.to_string());
        assert!(
            why[0].contains("-44.9°") && why[0].contains("need 0.80") && why[1].contains("more than 45°"),
            "{why:?}"
        );
    }

    /// Density of Student's t with two degrees of freedom, (2 + x^2)^(-3/2) (closed form, from memory).
    #[test]
    fn the_prior_is_students_t() {
        let x: f64 = 30.0 / SCALE_DEG;
        let against = 180.0 * (2.0 + x * x).powf(-1.5) / SCALE_DEG;
        assert!((probability_there(30.0, 0.5) - against / (1.0 + against)).abs() < 1e-12);
    }
}
