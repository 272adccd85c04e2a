//! Vector analysis of astigmatism as ophthalmic journals report it, for one eye and for groups.
//!
//! Sources: Alpins (1993), J Cataract Refract Surg 19:524-533; Alpins & Goggin (2004), Surv Ophthalmol 49:109-122; Eydelman et al.
//! (2006), J Refract Surg 22:81-95 (all from memory). The double-angle plane and centroid: Holladay et al. (2001), J
//! Cataract Refract Surg 27:61-79 (from memory).

use super::PowerVector;
use crate::geometry::{Axis, axis_difference};
use nalgebra::{Matrix2, Vector2};

/// Vectors smaller than this, D, have no direction and divide nothing: far below what any instrument shows.
const NO_VECTOR_D: f64 = 1e-9;

/// An astigmatism as a vector of the double-angle plane: (C cos 2A, C sin 2A), D, C steep at A.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Astigmatism(Vector2<f64>);

impl Astigmatism {
    /// `magnitude_d` (D, as plus), steep at `steep`.
    pub fn new(magnitude_d: f64, steep: Axis) -> Self {
        let (sin, cos) = (2.0 * steep.degrees()).to_radians().sin_cos();
        Self(Vector2::new(cos, sin) * magnitude_d)
    }

    /// Size, D.
    pub fn magnitude_d(&self) -> f64 {
        self.0.norm()
    }

    /// Steep meridian; `None` where there is no astigmatism.
    pub fn steep(&self) -> Option<Axis> {
        let axis = Axis::from_degrees(self.0.y.atan2(self.0.x).to_degrees() / 2.0);
        axis.filter(|_| self.magnitude_d() > NO_VECTOR_D)
    }

    /// The change that leads from this to `after`.
    pub fn change_to(self, after: Self) -> Self {
        Self(after.0 - self.0)
    }
}

impl std::ops::Add for Astigmatism {
    type Output = Self;
    /// Both at once, at one plane.
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

/// The astigmatism that a refraction corrects: its plus cylinder lies on the steep meridian.
impl From<PowerVector> for Astigmatism {
    fn from(power: PowerVector) -> Self {
        Self(Vector2::new(power.j0_d, power.j45_d) * -2.0)
    }
}

/// One eye's vector analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VectorAnalysis {
    /// Target induced astigmatism: the change that was intended, target - before.
    pub target_induced: Astigmatism,
    /// Surgically induced astigmatism: the change that came about, after - before.
    pub surgically_induced: Astigmatism,
    /// Difference vector: the change still missing, target - after.
    pub difference: Astigmatism,
    /// Magnitude of error, |SIA| - |TIA|, D: positive is overcorrected.
    pub magnitude_error_d: f64,
    /// Angle of error, axis of SIA - axis of TIA, degrees in [-90, 90): positive is counter-clockwise of the
    /// intended axis. `None` where either has no direction.
    pub angle_error_deg: Option<f64>,
    /// Correction index, |SIA| / |TIA|: 1 is ideal. `None` where nothing was intended.
    pub correction_index: Option<f64>,
    /// Index of success, |DV| / |TIA|: 0 is ideal. `None` where nothing was intended.
    pub success_index: Option<f64>,
}

impl VectorAnalysis {
    /// From the astigmatism before, as intended, and after, all at one plane.
    pub fn new(before: Astigmatism, target: Astigmatism, after: Astigmatism) -> Self {
        let target_induced = before.change_to(target);
        let surgically_induced = before.change_to(after);
        let difference = after.change_to(target);
        let (intended_d, done_d) = (target_induced.magnitude_d(), surgically_induced.magnitude_d());
        let relative = |part: f64| (intended_d > NO_VECTOR_D).then(|| part / intended_d);
        let angle = |to: Axis, from: Axis| axis_difference(from.degrees(), to.degrees());
        Self {
            target_induced,
            surgically_induced,
            difference,
            magnitude_error_d: done_d - intended_d,
            angle_error_deg: surgically_induced.steep().zip(target_induced.steep()).map(|(to, from)| angle(to, from)),
            correction_index: relative(done_d),
            success_index: relative(difference.magnitude_d()),
        }
    }
}

/// Centroid of a group of astigmatisms with their spread, in the double-angle plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Centroid {
    /// How many.
    pub count: usize,
    /// Vector mean.
    pub mean: Astigmatism,
    /// Covariance of (C cos 2A, C sin 2A) over the group, divisor n - 1, D^2; `None` for a group of one.
    pub covariance_d2: Option<Matrix2<f64>>,
    /// Mean of the sizes, D, directions left out.
    pub mean_magnitude_d: f64,
}

impl Centroid {
    /// Of a group; `None` of an empty one.
    pub fn of(group: &[Astigmatism]) -> Option<Self> {
        if group.is_empty() {
            return None;
        }
        let count = group.len();
        let mean = group.iter().map(|a| a.0).sum::<Vector2<f64>>() / count as f64;
        let squares: Matrix2<f64> = group.iter().map(|a| (a.0 - mean) * (a.0 - mean).transpose()).sum();
        Some(Self {
            count,
            mean: Astigmatism(mean),
            covariance_d2: (count > 1).then(|| squares / (count - 1) as f64),
            mean_magnitude_d: group.iter().map(Astigmatism::magnitude_d).sum::<f64>() / count as f64,
        })
    }
}

/// A group's vector analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroupAnalysis {
    /// Target induced astigmatisms.
    pub target_induced: Centroid,
    /// Surgically induced astigmatisms.
    pub surgically_induced: Centroid,
    /// Difference vectors.
    pub difference: Centroid,
    /// Mean magnitude of error, D.
    pub magnitude_error_d: f64,
    /// Mean angle of error, degrees, over the eyes that have one.
    pub angle_error_deg: Option<f64>,
    /// Mean size of the angle of error, degrees, over the eyes that have one.
    pub absolute_angle_error_deg: Option<f64>,
    /// Geometric mean of the correction indices, over the eyes that have one; the index is a ratio, so that 0.5 and 2 balance.
    pub correction_index: Option<f64>,
    /// Mean index of success, over the eyes that have one. Arithmetic: 0 is its best value.
    pub success_index: Option<f64>,
}

impl GroupAnalysis {
    /// Of a group of eyes, each counted once; `None` of an empty one.
    pub fn of(eyes: &[VectorAnalysis]) -> Option<Self> {
        let centroid = |of: fn(&VectorAnalysis) -> Astigmatism| Centroid::of(&eyes.iter().map(of).collect::<Vec<_>>());
        let over = |of: &dyn Fn(&VectorAnalysis) -> Option<f64>| mean(eyes.iter().filter_map(of));
        Some(Self {
            target_induced: centroid(|eye| eye.target_induced)?,
            surgically_induced: centroid(|eye| eye.surgically_induced)?,
            difference: centroid(|eye| eye.difference)?,
            magnitude_error_d: over(&|eye| Some(eye.magnitude_error_d))?,
            angle_error_deg: over(&|eye| eye.angle_error_deg),
            absolute_angle_error_deg: over(&|eye| eye.angle_error_deg.map(f64::abs)),
            correction_index: over(&|eye| eye.correction_index.map(f64::ln)).map(f64::exp),
            success_index: over(&|eye| eye.success_index),
        })
    }
}

/// Arithmetic mean; `None` of nothing.
fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn astigmatism(magnitude_d: f64, steep_deg: f64) -> Astigmatism {
        Astigmatism::new(magnitude_d, Axis::from_degrees(steep_deg).unwrap())
    }

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() < within, "{got} is not {expected}");
    }

    /// Recomputed twice with numpy.
    #[test]
    fn known_changes() {
        for (before, after, change, axis) in
            [((2.0, 100.0), (1.25, 80.0), 1.316160, 28.8120), ((1.5, 90.0), (0.75, 20.0), 2.129812, 6.54124)]
        {
            let got = astigmatism(before.0, before.1).change_to(astigmatism(after.0, after.1));
            close(got.magnitude_d(), change, 5e-7);
            close(got.steep().unwrap().degrees(), axis, 5e-5);
        }
    }

    /// Recomputed twice with numpy.
    #[test]
    fn known_centroid() {
        let group =
            [(1.0, 10.0), (1.5, 170.0), (0.75, 90.0), (1.25, 5.0), (0.5, 60.0)].map(|(size, at)| astigmatism(size, at));
        let centroid = Centroid::of(&group).unwrap();
        close(centroid.mean.magnitude_d(), 0.524867, 5e-7);
        close(centroid.mean.steep().unwrap().degrees(), 5.25905, 5e-6);
        let covariance = centroid.covariance_d2.unwrap();
        close(covariance[(0, 0)], 0.919670, 5e-7);
        close(covariance[(1, 1)], 0.142223, 5e-7);
        close(covariance[(0, 1)], -0.122503, 5e-7);
        close(centroid.mean_magnitude_d, 1.0, 1e-12);
        assert!(Centroid::of(&group[..1]).unwrap().covariance_d2.is_none());
        assert!(Centroid::of(&[]).is_none());
    }

    /// By hand: 2 D taken down to 0.5 D on the same meridian where 0 was wanted, and a change of the right size that
    /// came out 10 degrees counter-clockwise, which leaves 2 x 2 sin 10 (crossed cylinders).
    #[test]
    fn one_eye() {
        let eye = VectorAnalysis::new(astigmatism(2.0, 90.0), astigmatism(0.0, 0.0), astigmatism(0.5, 90.0));
        close(eye.target_induced.steep().unwrap().degrees(), 0.0, 1e-9);
        close(eye.magnitude_error_d, -0.5, 1e-12);
        close(eye.angle_error_deg.unwrap(), 0.0, 1e-9);
        close(eye.correction_index.unwrap(), 0.75, 1e-12);
        close(eye.success_index.unwrap(), 0.25, 1e-12);

        let before = astigmatism(2.0, 90.0);
        let after = Astigmatism(before.0 + astigmatism(2.0, 10.0).0);
        let eye = VectorAnalysis::new(before, astigmatism(0.0, 0.0), after);
        close(eye.angle_error_deg.unwrap(), 10.0, 1e-9);
        close(eye.magnitude_error_d, 0.0, 1e-12);
        close(eye.difference.magnitude_d(), 4.0 * 10.0_f64.to_radians().sin(), 1e-12);

        let nothing = VectorAnalysis::new(before, before, after);
        assert_eq!((nothing.correction_index, nothing.angle_error_deg), (None, None));
    }

    /// By hand: correction indices 0.5 and 2 balance.
    #[test]
    fn a_group() {
        let before = astigmatism(2.0, 30.0);
        let half = VectorAnalysis::new(before, astigmatism(1.0, 30.0), astigmatism(1.5, 30.0));
        let double = VectorAnalysis::new(before, astigmatism(1.0, 30.0), astigmatism(0.0, 0.0));
        let group = GroupAnalysis::of(&[half, double]).unwrap();
        close(group.correction_index.unwrap(), 1.0, 1e-12);
        close(group.success_index.unwrap(), 0.75, 1e-12);
        close(group.magnitude_error_d, 0.25, 1e-12);
        close(group.target_induced.mean.magnitude_d(), 1.0, 1e-12);
        close(group.target_induced.mean.steep().unwrap().degrees(), 120.0, 1e-9);
        close(group.difference.mean.magnitude_d(), 0.25, 1e-12);
        assert!(GroupAnalysis::of(&[]).is_none());
    }
}
