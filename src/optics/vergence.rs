//! Powers from plane to plane by vergence: lens, cornea, spectacles.
//!
//! Paraxial. The cornea is one thin surface, the spectacle lens is thin; the lens in the eye is thin but in
//! [`ThickLens`]. All powers here belong to one principal meridian, and the two are carried each by itself.

use super::SpheroCylinder;

/// Refractive index of aqueous and vitreous, as schematic eyes have it (common practice).
pub const AQUEOUS_INDEX: f64 = 1.336;
/// Index by which keratometers turn a radius into a power, unless the sheet gives its own (common practice).
pub const KERATOMETER_INDEX: f64 = 1.3375;
/// Distance of the spectacle plane from the cornea where none is given, mm (common practice).
pub const USUAL_VERTEX_MM: f64 = 12.0;

/// Vergence (D) after a gap: V / (1 - (d/n) V).
///
/// `gap_mm` may be negative, which goes back against the light. Source: the vergence relation of any optics textbook.
fn after_gap(vergence_d: f64, gap_mm: f64, index: f64) -> f64 {
    vergence_d / (1.0 - gap_mm / 1000.0 / index * vergence_d)
}

/// Vergence (D) that light from afar has `position_mm` behind a cornea of `corneal_d`: v(K) = n / (n/K - d).
///
/// Source: the vergence relation, n = [`AQUEOUS_INDEX`]; thin cornea.
pub fn at_lens_plane(corneal_d: f64, position_mm: f64) -> f64 {
    after_gap(corneal_d, position_mm, AQUEOUS_INDEX)
}

/// Power of the cornea (D) behind which light from afar has `vergence_d` at `position_mm`: the inverse of [`at_lens_plane`].
pub fn at_corneal_plane(vergence_d: f64, position_mm: f64) -> f64 {
    after_gap(vergence_d, -position_mm, AQUEOUS_INDEX)
}

/// Toric power (D) that a thin lens must have to cancel an astigmatism at the cornea: v(K + dK) - v(K).
///
/// - `k_flat_d`: power of the flat meridian, D
/// - `astigmatism_d`: at the cornea, D, as plus
/// - `position_mm`: of the lens, from the corneal vertex
///
/// Source: the vergence relation in both principal meridians.
pub fn toric_at_lens(k_flat_d: f64, astigmatism_d: f64, position_mm: f64) -> f64 {
    at_lens_plane(k_flat_d + astigmatism_d, position_mm) - at_lens_plane(k_flat_d, position_mm)
}

/// Corneal astigmatism (D) that a thin lens of `toric_d` cancels over a flat meridian of `k_flat_d`: the inverse of
/// [`toric_at_lens`].
pub fn toric_at_cornea(k_flat_d: f64, toric_d: f64, position_mm: f64) -> f64 {
    at_corneal_plane(at_lens_plane(k_flat_d, position_mm) + toric_d, position_mm) - k_flat_d
}

/// A keratometer's reading (D) by one index as it would be by another: K (to - 1) / (from - 1), same radius.
///
/// Source: definition of keratometry, K = (index - 1) / radius.
pub fn keratometry_by_index(reading_d: f64, from: f64, to: f64) -> f64 {
    reading_d * (to - 1.0) / (from - 1.0)
}

/// A refraction at the corneal plane as the spectacle lens `vertex_mm` before it that does the same: F / (1 + d F).
///
/// Source: the vergence relation in air, in both principal meridians.
pub fn cornea_to_spectacles(refraction: &SpheroCylinder, vertex_mm: f64) -> SpheroCylinder {
    refraction.carried(|power| after_gap(power, -vertex_mm, 1.0))
}

/// A spectacle refraction as it acts at the cornea, `vertex_mm` behind it: F / (1 - d F).
///
/// Source: the vergence relation in air, in both principal meridians.
pub fn spectacles_to_cornea(refraction: &SpheroCylinder, vertex_mm: f64) -> SpheroCylinder {
    refraction.carried(|power| after_gap(power, vertex_mm, 1.0))
}

/// A lens in the eye with a thickness, its front vertex at a known place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThickLens {
    /// Front vertex behind the corneal vertex, mm.
    pub front_mm: f64,
    /// Refractive index.
    pub index: f64,
    /// Centre thickness, mm.
    pub thickness_mm: f64,
    /// Power of the back surface, D, without a cylinder.
    pub back_surface_d: f64,
}

impl ThickLens {
    /// Power of the front surface (D) in a meridian where the cornea has `corneal_d`, so that light from afar comes to a focus
    /// `retina_mm` behind the corneal vertex.
    ///
    /// From the retina back: n / (distance) less the back surface, back through the thickness, less v(K).
    /// Source: the vergence relation, surface by surface.
    pub fn front_surface_d(&self, corneal_d: f64, retina_mm: f64) -> f64 {
        let behind = AQUEOUS_INDEX / ((retina_mm - self.front_mm - self.thickness_mm) / 1000.0);
        let inside = after_gap(behind - self.back_surface_d, -self.thickness_mm, self.index);
        inside - at_lens_plane(corneal_d, self.front_mm)
    }

    /// Equivalent power (D) of the lens with this front surface: F1 + F2 - (t/n) F1 F2.
    ///
    /// Source: the thick-lens equation of any optics textbook.
    pub fn equivalent_d(&self, front_surface_d: f64) -> f64 {
        let reduced_m = self.thickness_mm / 1000.0 / self.index;
        front_surface_d + self.back_surface_d - reduced_m * front_surface_d * self.back_surface_d
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Axis;

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() < within, "{got} is not {expected}");
    }

    fn power(sphere_d: f64, cylinder_d: f64) -> SpheroCylinder {
        SpheroCylinder::new(sphere_d, cylinder_d, Axis::from_degrees(20.0).unwrap())
    }

    /// Recomputed twice with numpy.
    #[test]
    fn toric_power_at_the_lens() {
        for (k, astigmatism, position, toric, ratio) in [
            (43.5, 1.0, 5.0, 1.433134, 1.4331),
            (43.5, 2.0, 5.0, 2.879196, 1.4396),
            (40.0, 2.0, 5.5, 2.894786, 1.4474),
            (47.0, 2.0, 4.5, 2.845862, 1.4229),
            (43.0, 3.0, 5.2, 4.388800, 1.4629),
        ] {
            let at_lens = toric_at_lens(k, astigmatism, position);
            close(at_lens, toric, 5e-7);
            close(at_lens / astigmatism, ratio, 5e-5);
            close(toric_at_cornea(k, toric, position), astigmatism, 5e-7);
        }
    }

    /// Recomputed twice with numpy.
    #[test]
    fn spectacle_plane() {
        for (cornea, spectacles) in [(1.0, 0.988142), (-1.0, -1.012146), (2.5, 2.427184)] {
            close(cornea_to_spectacles(&power(cornea, 0.0), 12.0).sphere_d, spectacles, 5e-7);
        }
        let cornea = spectacles_to_cornea(&power(1.0, -3.0), 12.0);
        close(cornea.sphere_d, 1.012146, 5e-7);
        close(cornea.cylinder_d, -2.965271, 5e-7);
    }

    /// Recomputed twice with numpy: cornea 43/45, retina at 23.5 mm. A thin lens at the front vertex has the same
    /// toric power.
    #[test]
    fn thick_lens() {
        let lens = ThickLens { front_mm: 4.7, index: 1.46, thickness_mm: 0.8, back_surface_d: 10.0 };
        let (flat, steep) = (lens.front_surface_d(43.0, 23.5), lens.front_surface_d(45.0, 23.5));
        close(flat, 11.374972, 5e-7);
        close(steep, 8.575290, 5e-7);
        close(flat - steep, 2.799682, 5e-7);
        close(toric_at_lens(43.0, 2.0, 4.7), 2.799682, 5e-7);
        close(lens.equivalent_d(flat) - lens.equivalent_d(steep), 2.784341, 5e-7);
    }

    /// 7.70 mm of radius reads 43.83 D by 1.3375 and 43.12 D by 1.332 (by hand from the definition).
    #[test]
    fn keratometer_index() {
        close(keratometry_by_index(0.332 / 0.0077, 1.332, KERATOMETER_INDEX), 43.8312, 5e-5);
    }
}
