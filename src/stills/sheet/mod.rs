//! The case sheet: what is known of a case besides its picture.

mod cells;
mod matching;
mod reading;

pub use matching::Matched;
pub use reading::{Fault, Row, Sheet, SheetError};

use super::date::Date;
use super::load::Recording;
use cells::Cells;
use std::collections::BTreeMap;

/// The columns that stillaxis knows. A sheet may have others, which are carried through.
pub const COLUMNS: [&str; 34] = [
    "still",
    "case",
    "patient",
    "eye",
    "operator",
    "technique",
    "date",
    "stage",
    "marks_denote_deg",
    "zero_direction_deg",
    "intended_axis_deg",
    "lens_cylinder_d",
    "cylinder_plane",
    "lens_power_d",
    "lens_position_mm",
    "k_flat_d",
    "k_steep_d",
    "k_steep_axis_deg",
    "k_index",
    "target_cylinder_d",
    "target_axis_deg",
    "incision_axis_deg",
    "induced_d",
    "sphere_d",
    "cylinder_d",
    "axis_deg",
    "vertex_mm",
    "refracted_on",
    "white_to_white_mm",
    "limbus_height_mm",
    "pixel_aspect",
    "mirrored",
    "exclude",
    "exclude_reason",
];

/// One row of the case sheet, checked. All but the names may be missing.
///
/// Axes are degrees, 0 to 180, and meridians degrees, 0 to 360, in the eye's own notation unless said otherwise.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Case {
    /// Every column as written, unknown ones among them.
    pub columns: BTreeMap<String, String>,
    /// File name of the still, or the end of its path.
    pub still: Option<String>,
    /// Operation that the still belongs to.
    pub case: Option<String>,
    /// Pseudonym of the patient. A missing one says nothing about independence.
    pub patient: Option<String>,
    /// Which eye.
    pub eye: Option<Eye>,
    /// Who operated.
    pub operator: Option<String>,
    /// How the eye was marked.
    pub technique: Option<String>,
    /// Day of the operation.
    pub date: Option<Date>,
    /// When in the operation the still was taken.
    pub stage: Option<String>,
    /// Meridians the reference marks stand for, degrees; empty: the marks stand on the intended axis.
    pub marks_denote_deg: Vec<f64>,
    /// Rough direction in the picture of the eye's 0 meridian, degrees.
    pub zero_direction_deg: Option<f64>,
    /// Axis the lens was planned at, degrees.
    pub intended_axis_deg: Option<f64>,
    /// Toric power of the lens, D.
    pub lens_cylinder_d: Option<f64>,
    /// Plane that `lens_cylinder_d` holds for.
    pub cylinder_plane: Option<CylinderPlane>,
    /// Spherical equivalent power of the lens, D.
    pub lens_power_d: Option<f64>,
    /// From the corneal vertex to the plane of the lens, mm.
    pub lens_position_mm: Option<f64>,
    /// Keratometry, flat meridian, D.
    pub k_flat_d: Option<f64>,
    /// Keratometry, steep meridian, D.
    pub k_steep_d: Option<f64>,
    /// Steep meridian of the cornea, degrees.
    pub k_steep_axis_deg: Option<f64>,
    /// Index that the keratometer turns radii into dioptres by.
    pub k_index: Option<f64>,
    /// Astigmatism to be corrected, at the cornea, D.
    pub target_cylinder_d: Option<f64>,
    /// Its steep meridian, degrees.
    pub target_axis_deg: Option<f64>,
    /// Meridian of the incision, degrees.
    pub incision_axis_deg: Option<f64>,
    /// Astigmatism that the incision is expected to induce, D.
    pub induced_d: Option<f64>,
    /// Refraction after surgery: sphere, D.
    pub sphere_d: Option<f64>,
    /// Refraction after surgery: cylinder, D, of either sign.
    pub cylinder_d: Option<f64>,
    /// Refraction after surgery: axis of that cylinder, degrees.
    pub axis_deg: Option<f64>,
    /// Vertex distance of the refraction, mm.
    pub vertex_mm: Option<f64>,
    /// Day of the refraction.
    pub refracted_on: Option<Date>,
    /// Horizontal diameter of the limbus, mm.
    pub white_to_white_mm: Option<f64>,
    /// Vertical diameter of the limbus, mm.
    pub limbus_height_mm: Option<f64>,
    /// Pixel width over height, in the upright picture.
    pub pixel_aspect: Option<f64>,
    /// Whether left and right are exchanged in the upright picture.
    pub mirrored: Option<bool>,
    /// Whether an audit leaves the still out.
    pub exclude: Option<bool>,
    /// Why.
    pub exclude_reason: Option<String>,
}

/// An eye.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Eye {
    /// OD.
    Right,
    /// OS.
    Left,
}

/// The plane that a toric power holds for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CylinderPlane {
    /// In the plane of the lens.
    Lens,
    /// At the cornea.
    Cornea,
}

impl Case {
    /// What the row says of the recording, as [`load`](super::load::load) needs it.
    pub fn recording(&self) -> Recording {
        let usual = Recording::default();
        Recording {
            pixel_aspect: self.pixel_aspect.unwrap_or(usual.pixel_aspect),
            mirrored: self.mirrored.unwrap_or(usual.mirrored),
        }
    }

    /// Check a row's columns; `fault` is told column, value and expectation of each that is wrong.
    fn checked(columns: BTreeMap<String, String>, fault: impl FnMut(&str, &str, String)) -> Self {
        let mut cells = Cells::new(&columns, fault);
        let case = Self {
            columns: BTreeMap::new(),
            still: cells.text("still"),
            case: cells.text("case"),
            patient: cells.text("patient"),
            eye: cells.one_of("eye", &[("OD", Eye::Right), ("OS", Eye::Left)]),
            operator: cells.text("operator"),
            technique: cells.text("technique"),
            date: cells.date("date"),
            stage: cells.text("stage"),
            marks_denote_deg: cells.meridians("marks_denote_deg"),
            zero_direction_deg: cells.number("zero_direction_deg", 0.0..=360.0, "degrees"),
            intended_axis_deg: cells.axis("intended_axis_deg"),
            lens_cylinder_d: cells.number("lens_cylinder_d", 0.0..=20.0, "D"),
            cylinder_plane: cells
                .one_of("cylinder_plane", &[("lens", CylinderPlane::Lens), ("cornea", CylinderPlane::Cornea)]),
            lens_power_d: cells.number("lens_power_d", -20.0..=60.0, "D"),
            lens_position_mm: cells.number("lens_position_mm", 1.0..=10.0, "mm"),
            k_flat_d: cells.number("k_flat_d", 20.0..=80.0, "D"),
            k_steep_d: cells.number("k_steep_d", 20.0..=80.0, "D"),
            k_steep_axis_deg: cells.axis("k_steep_axis_deg"),
            k_index: cells.number("k_index", 1.3..=1.4, ""),
            target_cylinder_d: cells.number("target_cylinder_d", 0.0..=20.0, "D"),
            target_axis_deg: cells.axis("target_axis_deg"),
            incision_axis_deg: cells.axis("incision_axis_deg"),
            induced_d: cells.number("induced_d", 0.0..=5.0, "D"),
            sphere_d: cells.number("sphere_d", -30.0..=30.0, "D"),
            cylinder_d: cells.number("cylinder_d", -20.0..=20.0, "D"),
            axis_deg: cells.axis("axis_deg"),
            vertex_mm: cells.number("vertex_mm", 0.0..=20.0, "mm"),
            refracted_on: cells.date("refracted_on"),
            white_to_white_mm: cells.number("white_to_white_mm", 8.0..=16.0, "mm"),
            limbus_height_mm: cells.number("limbus_height_mm", 7.0..=16.0, "mm"),
            pixel_aspect: cells.number("pixel_aspect", 0.3..=3.0, ""),
            mirrored: cells.truth("mirrored"),
            exclude: cells.truth("exclude"),
            exclude_reason: cells.text("exclude_reason"),
        };
        if let (Some(flat), Some(steep)) = (case.k_flat_d, case.k_steep_d)
            && flat > steep
        {
            cells.fault("k_flat_d", format!("no more than k_steep_d, which is {steep}"));
        }
        Self { columns, ..case }
    }
}
