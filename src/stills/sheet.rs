//! The case sheet: what is known of a case besides its picture.

use std::collections::BTreeMap;

/// One row of the case sheet, checked. All but the names may be missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Case {
    /// Every column as written, unknown ones among them.
    pub columns: BTreeMap<String, String>,
    /// Meridians the reference marks stand for, degrees; empty: the marks stand on the intended axis.
    pub marks_denote_deg: Vec<f64>,
    /// Rough direction in the picture of the eye's 0 meridian, degrees.
    pub zero_direction_deg: Option<f64>,
    /// Axis the lens was planned at, degrees.
    pub intended_axis_deg: Option<f64>,
}
