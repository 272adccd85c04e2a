//! measurements.csv: tidy, one row a still, units in the headings, empty where nothing is known.
//!
//! Numbers are those of measurements.ndjson, digit for digit; of the lens marks there is only their count, of alternative
//! readings what the message says. The sheet's columns follow at the right under their own names; one that would repeat a
//! heading of ours gets `sheet_` before it.

use super::rounding::rounded;
use crate::record::Record;
use serde_json::Value;
use std::collections::BTreeSet;

/// Reference marks that get columns of their own.
const MARKS: usize = 4;

/// Heading and place in the record (a JSON pointer).
const FIELDS: [(&str, &str); 121] = [
    ("still_path", "/still/path"),
    ("still_sha256", "/still/sha256"),
    ("still_width_px", "/still/width_px"),
    ("still_height_px", "/still/height_px"),
    ("still_exif_orientation", "/still/exif_orientation"),
    ("still_mirrored", "/still/mirrored"),
    ("still_pixel_aspect", "/still/pixel_aspect"),
    ("still_taken_at", "/still/taken_at"),
    ("outcome", "/outcome"),
    ("alignment_error_deg", "/alignment/error_deg"),
    ("alignment_sd_deg", "/alignment/sd_deg"),
    ("alignment_low95_deg", "/alignment/interval95_deg/0"),
    ("alignment_high95_deg", "/alignment/interval95_deg/1"),
    ("reference_deg", "/alignment/reference_deg"),
    ("intended_deg", "/alignment/intended_deg"),
    ("lens_deg", "/alignment/lens_deg"),
    ("lens_axis_in_eye_deg", "/alignment/lens_axis_in_eye_deg"),
    ("marks_opposition_deg", "/alignment/marks_opposition_deg"),
    ("offset_apparent_x_mm", "/alignment/offset_apparent_mm/0"),
    ("offset_apparent_y_mm", "/alignment/offset_apparent_mm/1"),
    ("offset_sd_mm", "/alignment/offset_sd_mm"),
    ("variance_reference_marks_deg2", "/alignment/variance_parts_deg2/reference_marks"),
    ("variance_lens_marks_deg2", "/alignment/variance_parts_deg2/lens_marks"),
    ("variance_limbus_deg2", "/alignment/variance_parts_deg2/limbus"),
    ("variance_oval_deg2", "/alignment/variance_parts_deg2/oval"),
    ("variance_parallax_deg2", "/alignment/variance_parts_deg2/parallax"),
    ("residual_percent", "/cylinder/residual_percent"),
    ("residual_low95_percent", "/cylinder/residual_interval95_percent/0"),
    ("residual_high95_percent", "/cylinder/residual_interval95_percent/1"),
    ("residual_plane", "/cylinder/plane"),
    ("residual_d", "/cylinder/residual_d"),
    ("residual_low95_d", "/cylinder/residual_interval95_d/0"),
    ("residual_high95_d", "/cylinder/residual_interval95_d/1"),
    ("residual_axis_deg", "/cylinder/residual_axis_deg"),
    ("residual_j0_d", "/cylinder/j0_d"),
    ("residual_j45_d", "/cylinder/j45_d"),
    ("residual_j0_variance_d2", "/cylinder/j_covariance/j0_d2"),
    ("residual_j45_variance_d2", "/cylinder/j_covariance/j45_d2"),
    ("residual_j0_j45_covariance_d2", "/cylinder/j_covariance/j0_j45_d2"),
    ("residual_refraction_sphere_d", "/cylinder/refraction/sphere_d"),
    ("residual_refraction_cylinder_d", "/cylinder/refraction/cylinder_d"),
    ("residual_refraction_axis_deg", "/cylinder/refraction/axis_deg"),
    ("lens_toric_d", "/cylinder/lens_d"),
    ("lens_along_intended_d", "/cylinder/along_intended_d"),
    ("lens_oblique_d", "/cylinder/oblique_d"),
    ("astigmatism_d", "/cylinder/astigmatism_d"),
    ("astigmatism_axis_deg", "/cylinder/astigmatism_axis_deg"),
    ("astigmatism_source", "/cylinder/astigmatism_source"),
    ("residual_spectacle_d", "/cylinder/spectacle_d"),
    ("residual_spectacle_low95_d", "/cylinder/spectacle_interval95_d/0"),
    ("residual_spectacle_high95_d", "/cylinder/spectacle_interval95_d/1"),
    ("residual_spectacle_refraction_sphere_d", "/cylinder/spectacle_refraction/sphere_d"),
    ("residual_spectacle_refraction_cylinder_d", "/cylinder/spectacle_refraction/cylinder_d"),
    ("residual_spectacle_refraction_axis_deg", "/cylinder/spectacle_refraction/axis_deg"),
    ("spectacle_vertex_mm", "/cylinder/vertex_mm"),
    ("spectacle_vertex_source", "/cylinder/vertex_source"),
    ("placed_residual_d", "/cylinder/placed/residual_d"),
    ("placed_refraction_sphere_d", "/cylinder/placed/refraction/sphere_d"),
    ("placed_refraction_cylinder_d", "/cylinder/placed/refraction/cylinder_d"),
    ("placed_refraction_axis_deg", "/cylinder/placed/refraction/axis_deg"),
    ("placed_spectacle_d", "/cylinder/placed/spectacle_d"),
    ("placed_spectacle_refraction_sphere_d", "/cylinder/placed/spectacle_refraction/sphere_d"),
    ("placed_spectacle_refraction_cylinder_d", "/cylinder/placed/spectacle_refraction/cylinder_d"),
    ("placed_spectacle_refraction_axis_deg", "/cylinder/placed/spectacle_refraction/axis_deg"),
    ("placed_axis_off_deg", "/cylinder/placed/axis_off_deg"),
    ("turn_back_sense", "/turn_back/sense"),
    ("turn_back_by_deg", "/turn_back/by_deg"),
    ("turn_back_lens_clock", "/turn_back/lens_clock"),
    ("turn_back_intended_clock", "/turn_back/intended_clock"),
    ("turn_back_gain_d", "/turn_back/gain_d"),
    ("turn_back_gain_low95_d", "/turn_back/gain_interval95_d/0"),
    ("turn_back_gain_high95_d", "/turn_back/gain_interval95_d/1"),
    ("turn_back_may_gain_nothing", "/turn_back/may_gain_nothing"),
    ("best_axis_refraction_sphere_d", "/best_axis/refraction/sphere_d"),
    ("best_axis_refraction_cylinder_d", "/best_axis/refraction/cylinder_d"),
    ("best_axis_refraction_axis_deg", "/best_axis/refraction/axis_deg"),
    ("best_axis_astigmatism_d", "/best_axis/astigmatism_d"),
    ("best_axis_deg", "/best_axis/axis_deg"),
    ("best_axis_turn_deg", "/best_axis/turn_deg"),
    ("best_axis_turn_low95_deg", "/best_axis/turn_interval95_deg/0"),
    ("best_axis_turn_high95_deg", "/best_axis/turn_interval95_deg/1"),
    ("best_axis_lens_toric_d", "/best_axis/lens_d"),
    ("best_axis_lens_axis_deg", "/best_axis/lens_axis_deg"),
    ("best_axis_now_d", "/best_axis/now_d"),
    ("best_axis_left_d", "/best_axis/left_d"),
    ("best_axis_left_low95_d", "/best_axis/left_interval95_d/0"),
    ("best_axis_left_high95_d", "/best_axis/left_interval95_d/1"),
    ("best_axis_left_spectacle_d", "/best_axis/left_spectacle_d"),
    ("vector_before_source", "/vector_analysis/before_source"),
    ("target_induced_d", "/vector_analysis/target_induced/magnitude_d"),
    ("target_induced_axis_deg", "/vector_analysis/target_induced/axis_deg"),
    ("surgically_induced_d", "/vector_analysis/surgically_induced/magnitude_d"),
    ("surgically_induced_axis_deg", "/vector_analysis/surgically_induced/axis_deg"),
    ("difference_vector_d", "/vector_analysis/difference/magnitude_d"),
    ("difference_vector_axis_deg", "/vector_analysis/difference/axis_deg"),
    ("magnitude_error_d", "/vector_analysis/magnitude_error_d"),
    ("angle_error_deg", "/vector_analysis/angle_error_deg"),
    ("correction_index", "/vector_analysis/correction_index"),
    ("success_index", "/vector_analysis/success_index"),
    ("left_out_results", "/left_out/*/result"),
    ("left_out_columns", "/left_out/*/columns"),
    ("limbus_center_x_px", "/limbus/center_px/0"),
    ("limbus_center_y_px", "/limbus/center_px/1"),
    ("limbus_semi_axis_long_px", "/limbus/semi_axes_px/0"),
    ("limbus_semi_axis_short_px", "/limbus/semi_axes_px/1"),
    ("limbus_angle_deg", "/limbus/angle_deg"),
    ("limbus_radius_px", "/limbus/radius_px"),
    ("limbus_radius_sd_px", "/limbus/radius_sd_px"),
    ("limbus_center_sd_px", "/limbus/center_sd_px"),
    ("limbus_axis_ratio_sd", "/limbus/axis_ratio_sd"),
    ("limbus_visible_arc_deg", "/limbus/visible_arc_deg"),
    ("limbus_mm_per_px", "/limbus/mm_per_px"),
    ("limbus_mm_source", "/limbus/mm_source"),
    ("limbus_score", "/limbus/score"),
    ("refusal_codes", "/refusals/*/code"),
    ("refusal_messages", "/refusals/*/message"),
    ("refusal_hints", "/refusals/*/hint"),
    ("warnings", "/warnings/*"),
    ("program_version", "/program/version"),
    ("program_settings", "/program/settings"),
    ("record_schema", "/schema"),
];

/// Fields of one reference mark: heading after `markN_`, and place in the mark.
const MARK_FIELDS: [(&str, &str); 20] = [
    ("meridian_deg", "/meridian_deg"),
    ("denotes_deg", "/denotes_deg"),
    ("sd_deg", "/sd_deg"),
    ("center_x_px", "/center_px/0"),
    ("center_y_px", "/center_px/1"),
    ("kind", "/kind"),
    ("length_mm", "/length_mm"),
    ("length_sd_mm", "/length_sd_mm"),
    ("length_deg", "/length_deg"),
    ("length_sd_deg", "/length_sd_deg"),
    ("width_mm", "/width_mm"),
    ("width_sd_mm", "/width_sd_mm"),
    ("width_deg", "/width_deg"),
    ("width_sd_deg", "/width_sd_deg"),
    ("lean_deg", "/lean_deg"),
    ("lean_sd_deg", "/lean_sd_deg"),
    ("contrast", "/contrast"),
    ("contrast_sd", "/contrast_sd"),
    ("from_opposite_deg", "/from_opposite_deg"),
    ("from_opposite_sd_deg", "/from_opposite_sd_deg"),
];

/// The records as CSV: a heading, then one row a record in the order given.
///
/// # Errors
/// [`csv::Error`] from the writer; none is known for writing into memory.
pub fn write(records: &[Record]) -> Result<Vec<u8>, csv::Error> {
    let mut headings: Vec<String> = FIELDS.iter().map(|(heading, _)| (*heading).to_owned()).collect();
    headings.extend(["reference_mark_count".to_owned(), "lens_mark_count".to_owned()]);
    for mark in 1..=MARKS {
        headings.extend(MARK_FIELDS.iter().map(|(heading, _)| format!("mark{mark}_{heading}")));
    }
    let sheet: BTreeSet<&str> = records.iter().flat_map(|record| record.case.keys()).map(String::as_str).collect();
    for column in &sheet {
        let mut heading = (*column).to_owned();
        while headings.contains(&heading) || heading != *column && sheet.contains(heading.as_str()) {
            heading.insert_str(0, "sheet_");
        }
        headings.push(heading);
    }

    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(&headings)?;
    for record in records {
        let value = rounded(record).map_err(|error| csv::Error::from(std::io::Error::from(error)))?;
        let mut row: Vec<String> = FIELDS.iter().map(|(_, place)| cell_at(&value, place)).collect();
        row.extend([record.reference_marks.len().to_string(), record.lens_marks.len().to_string()]);
        for mark in 0..MARKS {
            let mark = value.pointer(&format!("/reference_marks/{mark}")).unwrap_or(&Value::Null);
            row.extend(MARK_FIELDS.iter().map(|(_, place)| cell_at(mark, place)));
        }
        row.extend(sheet.iter().map(|column| record.case.get(*column).cloned().unwrap_or_default()));
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

/// The text of what stands at `place`; with `*` in it, of that place in every item of the list before, `; ` between.
pub(super) fn cell_at(value: &Value, place: &str) -> String {
    let Some((list, rest)) = place.split_once("/*") else {
        return value.pointer(place).map(cell).unwrap_or_default();
    };
    let items = value.pointer(list).and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let texts: Vec<String> = items.iter().map(|item| item.pointer(rest).map(cell).unwrap_or_default()).collect();
    texts.join("; ")
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(items) => items.iter().map(cell).collect::<Vec<_>>().join(", "),
        other => other.to_string(),
    }
}
