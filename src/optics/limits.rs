//! What is physically plausible: the one table of ranges that given values are held against.
//!
//! The ranges are wide: they are to catch a slip of the decimal point, a mixed-up column or a wrong unit, not a rare
//! eye. All are from memory of what is manufactured or seen.

/// A quantity's plausible range, both ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// What it is.
    pub quantity: &'static str,
    /// Least value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
    /// Unit.
    pub unit: &'static str,
    /// Why these.
    pub reason: &'static str,
}

/// A value outside its range.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{value} {unit} is no plausible {quantity}: expected {min} to {max} {unit} ({reason})", unit = limit.unit,
    quantity = limit.quantity, min = limit.min, max = limit.max, reason = limit.reason)]
pub struct Implausible {
    /// The value.
    pub value: f64,
    /// The range it is outside of.
    pub limit: Limit,
}

impl Limit {
    const fn new(quantity: &'static str, min: f64, max: f64, unit: &'static str, reason: &'static str) -> Self {
        Self { quantity, min, max, unit, reason }
    }

    /// `value` if it is within the range.
    ///
    /// # Errors
    /// [`Implausible`] outside of it, and for what is not a number.
    pub fn check(self, value: f64) -> Result<f64, Implausible> {
        if (self.min..=self.max).contains(&value) { Ok(value) } else { Err(Implausible { value, limit: self }) }
    }
}

/// Cylinder of a toric lens, as a size.
pub const LENS_CYLINDER: Limit =
    Limit::new("cylinder of a lens", 0.1, 20.0, "D", "stock lenses have 1 to 6 D, lenses made to order some 12 D");
/// Astigmatism of a cornea, as a size.
pub const ASTIGMATISM: Limit = Limit::new("corneal astigmatism", 0.0, 20.0, "D", "grafts and ectasia reach some 15 D");
/// Astigmatism that an incision induces.
pub const INDUCED_ASTIGMATISM: Limit = Limit::new(
    "astigmatism induced by an incision",
    0.0,
    5.0,
    "D",
    "0.1 to 0.5 D by small incisions, some 3 D by large ones",
);
/// Cylinder of a refraction, as a size.
pub const REFRACTED_CYLINDER: Limit =
    Limit::new("cylinder of a refraction", 0.0, 20.0, "D", "grafts and ectasia reach some 15 D");
/// Sphere of a refraction.
pub const SPHERE: Limit = Limit::new("sphere of a refraction", -30.0, 30.0, "D", "trial cases end at 20 to 25 D");
/// Spherical equivalent power of a lens in the eye.
pub const LENS_POWER: Limit =
    Limit::new("power of a lens", -20.0, 60.0, "D", "-10 D in high myopia to some 45 D in tiny eyes");
/// Power of a cornea along one meridian.
pub const CORNEAL_POWER: Limit = Limit::new(
    "corneal power",
    20.0,
    80.0,
    "D",
    "30 D after flattening surgery to 75 D in ectasia; a radius in mm is no power",
);
/// Place of a lens behind the corneal vertex.
pub const LENS_POSITION: Limit = Limit::new(
    "lens position behind the corneal vertex",
    1.0,
    10.0,
    "mm",
    "3 mm in the anterior chamber to 8 mm in a long eye; metres or dioptres fall outside",
);
/// Vertex distance of spectacles or trial lens.
pub const VERTEX: Limit =
    Limit::new("vertex distance", 0.0, 20.0, "mm", "0 on the eye to 20 mm in a loose trial frame");
/// Turn from one axis to another, of either sign; taken modulo 180.
pub const MISALIGNMENT: Limit = Limit::new("misalignment", -180.0, 180.0, "degrees", "axes repeat every 180 degrees");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_value_and_range() {
        assert_eq!(CORNEAL_POWER.check(43.5), Ok(43.5));
        assert_eq!(VERTEX.check(0.0), Ok(0.0));
        assert!(CORNEAL_POWER.check(f64::NAN).is_err());
        let said = CORNEAL_POWER.check(7.7).unwrap_err().to_string();
        assert!(said.starts_with("7.7 D is no plausible corneal power: expected 20 to 80 D ("), "{said}");
    }
}
