//! The refraction of an eye with a toric lens at any axis.

use super::PowerVector;
use super::SpheroCylinder;
use super::vergence::AQUEOUS_INDEX;
use nalgebra::Matrix2;

/// An eye with a thin toric lens behind a thin toric cornea.
///
/// Paraxial, and exact for crossed astigmatic elements at a distance: vergences are carried as symmetric 2 x 2 matrices,
/// so that no meridian has to be a principal one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToricEye {
    /// Power of the cornea, D; [`SpheroCylinder::of_surface`] makes it from keratometry.
    pub cornea: SpheroCylinder,
    /// Power of the lens in aqueous, D; in plus form its axis is that of its marks.
    pub lens: SpheroCylinder,
    /// Lens behind the corneal vertex, mm.
    pub lens_position_mm: f64,
    /// Retina behind the corneal vertex, mm.
    pub retina_mm: f64,
}

impl ToricEye {
    /// The refraction at the corneal plane, D: the thin lens there that brings light from afar to a point on the retina.
    ///
    /// Back from the retina: V = n/(distance) I - F_lens before the lens, V (I + (d/n) V)^-1 behind the cornea,
    /// less F_cornea before it. `None` where light from a point of the retina comes to a focus between lens and
    /// cornea, which no eye shows.
    ///
    /// Source: the vergence relation with dioptric power matrices, Keating (1981), Am J Optom Physiol Opt 58:810-819 (from memory).
    pub fn refraction(&self) -> Option<PowerVector> {
        let at_retina = AQUEOUS_INDEX / ((self.retina_mm - self.lens_position_mm) / 1000.0);
        let before_lens = Matrix2::identity() * at_retina - PowerVector::from(self.lens).matrix();
        let reduced_m = self.lens_position_mm / 1000.0 / AQUEOUS_INDEX;
        let gap = Matrix2::identity() + before_lens * reduced_m;
        let behind_cornea = before_lens * gap.try_inverse()?;
        let refraction = PowerVector::from_matrix(&behind_cornea) - PowerVector::from(self.cornea);
        refraction.strength_d().is_finite().then_some(refraction)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Axis;
    use crate::optics::rotation::{residual_d, residual_refraction};
    use crate::optics::vergence::{at_lens_plane, toric_at_lens};
    use nalgebra::Vector2;
    use proptest::prelude::*;

    fn axis(degrees: f64) -> Axis {
        Axis::from_degrees(degrees).unwrap()
    }

    /// A lens that leaves nothing behind a cornea 43.50/45.50 steep at 70, its marks turned by `turned` degrees.
    fn eye(turned: f64) -> ToricEye {
        let (position, retina) = (5.0, 23.5);
        let toric = toric_at_lens(43.5, 2.0, position);
        let needed = AQUEOUS_INDEX / ((retina - position) / 1000.0);
        let along_steep = needed - at_lens_plane(45.5, position);
        ToricEye {
            cornea: SpheroCylinder::of_surface(43.5, 45.5, axis(70.0)),
            lens: SpheroCylinder::new(along_steep, toric, axis(70.0 + turned)),
            lens_position_mm: position,
            retina_mm: retina,
        }
    }

    /// The lens that cancels 2.00 D (2.879196 D at 5.0 mm over 43.50, recomputed with numpy) leaves nothing at its place
    /// and behaves like a crossed cylinder of 2.00 D at the cornea wherever it stands.
    #[test]
    fn turned_lens_is_a_crossed_cylinder_at_the_cornea() {
        assert!(eye(0.0).refraction().unwrap().strength_d() < 1e-9);
        for turned in [-60.0, -10.0, 1.0, 5.0, 30.0, 90.0] {
            let exact = eye(turned).refraction().unwrap();
            let crossed = residual_refraction(2.0, axis(70.0), 2.0, axis(70.0 + turned));
            assert!((exact - crossed).strength_d() < 1e-9, "{turned}: {exact:?} {crossed:?}");
            assert!((exact.cylinder_d() - residual_d(2.0, 2.0, turned)).abs() < 1e-9);
        }
    }

    proptest! {
        /// By rays instead of wavefronts: with the refraction before the eye, skew rays parallel to the axis all
        /// meet it on the retina.
        #[test]
        fn corrected_eye_focuses_every_ray(
            flat in 38.0..48.0_f64, astigmatism in 0.0..5.0_f64, steep in 0.0..180.0_f64,
            sphere in 5.0..30.0_f64, toric in 0.0..9.0_f64, marks in 0.0..180.0_f64,
            position in 3.0..7.0_f64, retina in 20.0..30.0_f64, x in -1.0..1.0_f64, y in -1.0..1.0_f64,
        ) {
            let eye = ToricEye {
                cornea: SpheroCylinder::of_surface(flat, flat + astigmatism, axis(steep)),
                lens: SpheroCylinder::new(sphere, toric, axis(marks)),
                lens_position_mm: position,
                retina_mm: retina,
            };
            let refraction = eye.refraction().unwrap();
            let front = (refraction + PowerVector::from(eye.cornea)).matrix();
            // Height in mm, slope times index in mrad: a thin lens adds -F h, a gap d adds d/n times the slope.
            let height = Vector2::new(x, y);
            let slope = -(front * height);
            let at_lens = height + slope * (position / 1000.0 / AQUEOUS_INDEX);
            let slope = slope - PowerVector::from(eye.lens).matrix() * at_lens;
            let on_retina = at_lens + slope * ((retina - position) / 1000.0 / AQUEOUS_INDEX);
            prop_assert!(on_retina.norm() < 1e-9, "{on_retina}");
        }

        /// Turning cornea and lens by x turns the refraction by x.
        #[test]
        fn turning_the_eye_turns_the_refraction(turn in -360.0..360.0_f64, lens in -90.0..90.0_f64) {
            let eye = eye(lens);
            let turned = ToricEye {
                cornea: SpheroCylinder { axis: eye.cornea.axis.turned(turn), ..eye.cornea },
                lens: SpheroCylinder { axis: eye.lens.axis.turned(turn), ..eye.lens },
                ..eye
            };
            let left = turned.refraction().unwrap() - eye.refraction().unwrap().turned(turn);
            prop_assert!(left.strength_d() < 1e-9);
        }
    }
}
