//! What the sheet says of the powers of an eye, its plan and its lens, carried to one plane.

use crate::geometry::Axis;
use crate::optics::vector_analysis::Astigmatism;
use crate::optics::vergence::{
    KERATOMETER_INDEX, USUAL_VERTEX_MM, keratometry_by_index, spectacles_to_cornea, toric_at_cornea,
};
use crate::optics::{PowerVector, SpheroCylinder};
use crate::record::{AstigmatismSource, ValueSource};
use crate::stills::sheet::{Case, CylinderPlane};

/// Toric power of a lens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lens {
    /// In `plane`, D, as plus.
    pub(super) power_d: f64,
    /// The plane it holds for.
    pub(super) plane: CylinderPlane,
}

/// Columns of the sheet that are missing.
pub(super) type Missing = Vec<&'static str>;

/// Those of `columns` that are empty.
fn missing<const N: usize>(columns: [(&'static str, bool); N]) -> Missing {
    columns.into_iter().filter_map(|(column, given)| (!given).then_some(column)).collect()
}

/// A reading of the sheet's keratometer, D, as it would be by the index that the sums are made for.
///
/// All corneal powers here are those of [`KERATOMETER_INDEX`], as published tables of toric power have them: it overstates the
/// power of the cornea by some 1 to 2 %, which changes a toric power at the cornea by less than 1 %.
fn by_usual_index(case: &Case, reading_d: f64) -> f64 {
    keratometry_by_index(reading_d, case.k_index.unwrap_or(KERATOMETER_INDEX), KERATOMETER_INDEX)
}

/// The lens, at the cornea where the sheet allows it to be carried there.
///
/// # Errors
/// The columns that would give its power.
pub(super) fn lens(case: &Case) -> Result<Lens, Missing> {
    let (Some(power), Some(plane)) = (case.lens_cylinder_d, case.cylinder_plane) else {
        let columns =
            [("lens_cylinder_d", case.lens_cylinder_d.is_some()), ("cylinder_plane", case.cylinder_plane.is_some())];
        return Err(missing(columns));
    };
    // In minus form it is the same cylinder, its axis counted from the other meridian; the marks lie where they lie.
    let power_d = power.abs();
    Ok(match (plane, case.k_flat_d, case.lens_position_mm) {
        (CylinderPlane::Lens, Some(flat), Some(position)) => {
            let at_cornea = toric_at_cornea(by_usual_index(case, flat), power_d, position);
            Lens { power_d: at_cornea, plane: CylinderPlane::Cornea }
        }
        _ => Lens { power_d, plane },
    })
}

/// The lens at the cornea, D, as plus.
///
/// # Errors
/// The columns that would give it.
pub(super) fn lens_at_cornea(case: &Case) -> Result<f64, Missing> {
    match lens(case)? {
        Lens { power_d, plane: CylinderPlane::Cornea } => Ok(power_d),
        _ => {
            Err(missing([("k_flat_d", case.k_flat_d.is_some()), ("lens_position_mm", case.lens_position_mm.is_some())]))
        }
    }
}

/// Astigmatism of the cornea by keratometry.
fn by_keratometry(case: &Case) -> Option<Astigmatism> {
    let (flat, steep) = (by_usual_index(case, case.k_flat_d?), by_usual_index(case, case.k_steep_d?));
    Some(Astigmatism::new(steep - flat, Axis::from_degrees(case.k_steep_axis_deg?)?))
}

/// What the incision is expected to add: it flattens its own meridian (common practice).
fn by_incision(case: &Case) -> Option<Astigmatism> {
    let across = Axis::from_degrees(case.incision_axis_deg?)?.turned(90.0);
    Some(Astigmatism::new(case.induced_d?, across))
}

/// What is missing of an incision that the sheet knows of.
pub(super) fn missing_of_incision(case: &Case) -> Missing {
    match (case.incision_axis_deg, case.induced_d) {
        (Some(_), None) => vec!["induced_d"],
        (None, Some(_)) => vec!["incision_axis_deg"],
        _ => Vec::new(),
    }
}

/// Astigmatism before surgery, at the cornea: the target where the sheet has one, else keratometry.
///
/// # Errors
/// The columns that would give it.
pub(super) fn before_surgery(case: &Case) -> Result<(Astigmatism, AstigmatismSource), Missing> {
    let axis = case.target_axis_deg.and_then(Axis::from_degrees);
    match (case.target_cylinder_d, axis) {
        (Some(cylinder), Some(axis)) => Ok((Astigmatism::new(cylinder.abs(), axis), AstigmatismSource::Target)),
        (None, None) if case.k_flat_d.or(case.k_steep_d).or(case.k_steep_axis_deg).is_some() => {
            by_keratometry(case).map(|k| (k, AstigmatismSource::Keratometry)).ok_or_else(|| {
                missing([
                    ("k_flat_d", case.k_flat_d.is_some()),
                    ("k_steep_d", case.k_steep_d.is_some()),
                    ("k_steep_axis_deg", case.k_steep_axis_deg.is_some()),
                ])
            })
        }
        (cylinder, axis) => {
            Err(missing([("target_cylinder_d", cylinder.is_some()), ("target_axis_deg", axis.is_some())]))
        }
    }
}

/// Astigmatism that the lens is to correct, at the cornea: the target as it is, or keratometry and what the incision
/// is expected to add.
///
/// # Errors
/// The columns that would give it.
pub(super) fn to_correct(case: &Case) -> Result<(Astigmatism, AstigmatismSource), Missing> {
    let (before, source) = before_surgery(case)?;
    let induced = by_incision(case).filter(|_| source == AstigmatismSource::Keratometry);
    Ok((induced.map_or(before, |induced| before + induced), source))
}

/// The spectacle plane before the cornea, mm.
pub(super) fn vertex(case: &Case) -> (f64, ValueSource) {
    case.vertex_mm.map_or((USUAL_VERTEX_MM, ValueSource::Assumed), |vertex| (vertex, ValueSource::Case))
}

/// Refraction after surgery, carried to the corneal plane.
///
/// # Errors
/// The columns that would give it.
pub(super) fn refraction(case: &Case) -> Result<PowerVector, Missing> {
    // Without a cylinder no axis is missed.
    let axis = case.axis_deg.or(case.cylinder_d.filter(|cylinder| *cylinder == 0.0)).and_then(Axis::from_degrees);
    let (Some(sphere), Some(cylinder), Some(axis)) = (case.sphere_d, case.cylinder_d, axis) else {
        return Err(missing([
            ("sphere_d", case.sphere_d.is_some()),
            ("cylinder_d", case.cylinder_d.is_some()),
            ("axis_deg", axis.is_some()),
        ]));
    };
    let at_cornea = spectacles_to_cornea(&SpheroCylinder::new(sphere, cylinder, axis), vertex(case).0);
    Ok(PowerVector::from(at_cornea))
}

/// What is said of cylinders that the sheet has in minus form.
pub(super) fn transposed(case: &Case) -> Vec<String> {
    let columns = [
        ("lens_cylinder_d", case.lens_cylinder_d, "intended_axis_deg stays the axis of the lens's marks"),
        ("target_cylinder_d", case.target_cylinder_d, "target_axis_deg stays the steep meridian"),
    ];
    let minus = columns.into_iter().filter_map(|(column, value, axis)| {
        let value = value.filter(|value| *value < 0.0)?;
        Some(format!("{column}: {value} D is in minus form, transposed to {} D; {axis}", -value))
    });
    minus.collect()
}
