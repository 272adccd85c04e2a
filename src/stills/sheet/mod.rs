//! The case sheet: what is known of a case besides its picture.

mod cells;
mod matching;
mod reading;

pub use matching::Matched;
pub use reading::{Fault, Row, Sheet, SheetError};

use super::date::Date;
use super::load::Recording;
use crate::optics::limits;
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
    /// Toric power of the lens, D; negative where it was given in minus form.
    pub lens_cylinder_d: Option<f64>,
    /// Plane that `lens_cylinder_d` holds for.
    pub cylinder_plane: Option<CylinderPlane>,
    /// Spherical equivalent power of the lens, D; for the reader of the record, nothing is reckoned with it.
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
    /// Astigmatism to be corrected, at the cornea, D; negative where it was given in minus form.
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
    /// Day of the refraction, not before that of the operation.
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
            lens_cylinder_d: cells.cylinder("lens_cylinder_d", limits::LENS_CYLINDER),
            cylinder_plane: cells
                .one_of("cylinder_plane", &[("lens", CylinderPlane::Lens), ("cornea", CylinderPlane::Cornea)]),
            lens_power_d: cells.quantity("lens_power_d", limits::LENS_POWER),
            lens_position_mm: cells.quantity("lens_position_mm", limits::LENS_POSITION),
            k_flat_d: cells.quantity("k_flat_d", limits::CORNEAL_POWER),
            k_steep_d: cells.quantity("k_steep_d", limits::CORNEAL_POWER),
            k_steep_axis_deg: cells.axis("k_steep_axis_deg"),
            k_index: cells.number("k_index", 1.3..=1.4, ""),
            target_cylinder_d: cells.cylinder("target_cylinder_d", limits::ASTIGMATISM),
            target_axis_deg: cells.axis("target_axis_deg"),
            incision_axis_deg: cells.axis("incision_axis_deg"),
            induced_d: cells.quantity("induced_d", limits::INDUCED_ASTIGMATISM),
            sphere_d: cells.quantity("sphere_d", limits::SPHERE),
            cylinder_d: cells.cylinder("cylinder_d", limits::REFRACTED_CYLINDER),
            axis_deg: cells.axis("axis_deg"),
            vertex_mm: cells.quantity("vertex_mm", limits::VERTEX),
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
        if let (Some(width), Some(height)) = (case.white_to_white_mm, case.limbus_height_mm)
            && !HEIGHT_OVER_WIDTH.contains(&(height / width))
        {
            let (least, most) = (HEIGHT_OVER_WIDTH.start() * width, HEIGHT_OVER_WIDTH.end() * width);
            cells.fault(
                "limbus_height_mm",
                format!("{least:.1} to {most:.1} mm where white_to_white_mm, the horizontal diameter, is {width}"),
            );
        }
        if let (Some(operated), Some(refracted)) = (case.date, case.refracted_on)
            && refracted < operated
        {
            cells.fault("refracted_on", format!("a day not before date, which is {operated}"));
        }
        Self { columns, ..case }
    }
}

/// Height over width of a limbus that may be entered: 0.94 +- 0.03 (from memory; see [`OvalPrior::AVERAGE`]) within four
/// standard deviations. Of entries that changed places, or that are of something else, the axis would come out degrees off.
///
/// [`OvalPrior::AVERAGE`]: crate::geometry::OvalPrior::AVERAGE
const HEIGHT_OVER_WIDTH: std::ops::RangeInclusive<f64> = 0.82..=1.06;

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::{Path, PathBuf};

    fn sheet(text: &str) -> Sheet {
        Sheet::parse(Path::new("cases.csv"), text.as_bytes()).expect("a sheet without faults")
    }

    fn cases(text: &str, stills: &[&str]) -> Matched {
        let stills: Vec<PathBuf> = stills.iter().map(PathBuf::from).collect();
        sheet(text).matched(&stills).expect("no still in doubt")
    }

    #[test]
    fn every_column_reaches_its_field() {
        let values = [
            ("still", "x.png"),
            ("case", "c1"),
            ("patient", "p"),
            ("eye", "os"),
            ("operator", "o"),
            ("technique", "t"),
            ("date", "2024-02-29"),
            ("stage", "end"),
            ("marks_denote_deg", "\"0; 180\""),
            ("zero_direction_deg", "355"),
            ("intended_axis_deg", "180"),
            ("lens_cylinder_d", "3.75"),
            ("cylinder_plane", "Cornea"),
            ("lens_power_d", "-5"),
            ("lens_position_mm", "4.5"),
            ("k_flat_d", "42"),
            ("k_steep_d", "44.5"),
            ("k_steep_axis_deg", "91"),
            ("k_index", "1.3375"),
            ("target_cylinder_d", "2.5"),
            ("target_axis_deg", "92"),
            ("incision_axis_deg", "93"),
            ("induced_d", "0.3"),
            ("sphere_d", "-0.25"),
            ("cylinder_d", "-0.75"),
            ("axis_deg", "94"),
            ("vertex_mm", "12"),
            ("refracted_on", "2024-03-30"),
            ("white_to_white_mm", "11.9"),
            ("limbus_height_mm", "11.1"),
            ("pixel_aspect", "1.067"),
            ("mirrored", "TRUE"),
            ("exclude", "false"),
            ("exclude_reason", "\"blurred, twice\""),
        ];
        assert_eq!(values.map(|(column, _)| column), COLUMNS);
        let text = format!("{}\n{}\n", values.map(|v| v.0).join(","), values.map(|v| v.1).join(","));
        let row = &sheet(&text).rows[0];
        let said = |text: &str| Some(text.to_owned());
        let expected = Case {
            columns: values.map(|(column, cell)| (column.to_owned(), cell.trim_matches('"').to_owned())).into(),
            still: said("x.png"),
            case: said("c1"),
            patient: said("p"),
            eye: Some(Eye::Left),
            operator: said("o"),
            technique: said("t"),
            date: Date::new(2024, 2, 29),
            stage: said("end"),
            marks_denote_deg: vec![0.0, 180.0],
            zero_direction_deg: Some(355.0),
            intended_axis_deg: Some(180.0),
            lens_cylinder_d: Some(3.75),
            cylinder_plane: Some(CylinderPlane::Cornea),
            lens_power_d: Some(-5.0),
            lens_position_mm: Some(4.5),
            k_flat_d: Some(42.0),
            k_steep_d: Some(44.5),
            k_steep_axis_deg: Some(91.0),
            k_index: Some(1.3375),
            target_cylinder_d: Some(2.5),
            target_axis_deg: Some(92.0),
            incision_axis_deg: Some(93.0),
            induced_d: Some(0.3),
            sphere_d: Some(-0.25),
            cylinder_d: Some(-0.75),
            axis_deg: Some(94.0),
            vertex_mm: Some(12.0),
            refracted_on: Date::new(2024, 3, 30),
            white_to_white_mm: Some(11.9),
            limbus_height_mm: Some(11.1),
            pixel_aspect: Some(1.067),
            mirrored: Some(true),
            exclude: Some(false),
            exclude_reason: said("blurred, twice"),
        };
        assert_eq!(row.case, expected);
        assert_eq!(row.case.recording(), Recording { pixel_aspect: 1.067, mirrored: true });
    }

    #[test]
    fn spreadsheets_write_marks_blanks_capitals_and_carriage_returns() {
        let text = "\u{feff}Still , Intended_Axis_Deg,Note,,\r\n x.png ,31, keep  me ,,\r\n,,,,\r\n\r\ny.png\r\n";
        let sheet = sheet(text);
        assert_eq!(sheet.unknown, ["Note"]);
        assert_eq!(sheet.rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 5]);
        let first = &sheet.rows[0].case;
        assert_eq!((first.still.as_deref(), first.intended_axis_deg), (Some("x.png"), Some(31.0)));
        assert_eq!(first.columns["Note"], "keep  me");
        assert_eq!(sheet.rows[1].case.columns["intended_axis_deg"], "");
    }

    #[test]
    fn own_columns_may_have_any_name_that_is_no_slip() {
        let own =
            ["age", "note", "surgeon", "mark", "states", "lens", "axis_planned", "dates_seen", "k", "cylinder_note"];
        assert_eq!(sheet(&format!("still,{}\nx.png\n", own.join(","))).unknown, own);
        for slip in [
            "Intended axis deg",
            "intended-axis",
            "intendedaxisdeg",
            "intened_axis_deg",
            "intneded_axis_deg",
            "mirored",
            "white_to_white",
            "mirroredd",
            "axis",
        ] {
            let text = format!("still,{slip}\nx.png\n");
            assert!(Sheet::parse(Path::new("cases.csv"), text.as_bytes()).is_err(), "{slip}");
        }
    }

    /// Column, value and range are named, all at once; cylinders may be in either form, but not of an impossible size.
    #[test]
    fn powers_out_of_range_are_named() {
        let text = "still,lens_cylinder_d,lens_position_mm,k_flat_d,target_cylinder_d,induced_d,sphere_d,cylinder_d,vertex_mm\n\
                    a.png,0,0.005,7.8,-25,-1,40,NaN,x\nb.png,-2.25,4.5,43,-2,0.5,-12,-3,0\n";
        let error = Sheet::parse(Path::new("cases.csv"), text.as_bytes()).expect_err("a row of faults").to_string();
        let faults = [
            "column lens_cylinder_d: \"0\", expected a cylinder of a lens from 0.1 to 20 D, or the same with a minus (",
            "column lens_position_mm: \"0.005\", expected a lens position behind the corneal vertex from 1 to 10 mm (",
            "column k_flat_d: \"7.8\", expected a corneal power from 20 to 80 D (",
            "column target_cylinder_d: \"-25\", expected a corneal astigmatism from 0 to 20 D, or the same with a minus (",
            "column induced_d: \"-1\", expected an astigmatism induced by an incision from 0 to 5 D (",
            "column sphere_d: \"40\", expected a sphere of a refraction from -30 to 30 D (",
            "column cylinder_d: \"NaN\", expected a cylinder of a refraction from 0 to 20 D, or the same with a minus (",
            "column vertex_mm: \"x\", expected a vertex distance from 0 to 20 mm (",
        ];
        for fault in faults {
            assert!(error.contains(&format!("cases.csv: line 2, {fault}")), "{fault}\nnot in\n{error}");
        }
        assert_eq!(error.lines().count(), faults.len());
    }

    /// 11 x 12.2 mm stands on its side: 0.82 x 11 = 9.02, 1.06 x 11 = 11.66.
    #[test]
    fn a_limbus_higher_than_wide_is_a_slip() {
        let parse = |cells: &str| {
            let text = format!("still,white_to_white_mm,limbus_height_mm\na.png,{cells}\n");
            Sheet::parse(Path::new("cases.csv"), text.as_bytes())
        };
        let expected = "cases.csv: line 2, column limbus_height_mm: \"12.2\", expected 9.0 to 11.7 mm where \
                        white_to_white_mm, the horizontal diameter, is 11";
        assert_eq!(parse("11,12.2").expect_err("on its side").to_string(), expected);
        assert!(parse("16,8").is_err());
        for sound in ["12.2,11", "11.7,11.7", "11.9,", ",11.1"] {
            assert!(parse(sound).is_ok(), "{sound}");
        }
    }

    #[test]
    fn rows_find_their_stills_by_the_end_of_the_path() {
        let text = "still,intended_axis_deg\nx.png,1\nb/y.png,2\n../stills/a/y.png,3\nz.png,4\nng,5\n";
        let matched = cases(text, &["/s/x.png", "/s/a/y.png", "/s/b/y.png", "/s/a/ax.png"]);
        let axes: Vec<Option<f64>> = matched.cases.iter().map(|case| case.as_ref()?.intended_axis_deg).collect();
        assert_eq!(axes, [Some(1.0), None, Some(2.0), None]);
        let unused = [(4, "../stills/a/y.png"), (5, "z.png"), (6, "ng")];
        assert_eq!(matched.unused, unused.map(|(line, name)| (line, name.to_owned())));
    }

    #[test]
    fn a_row_without_a_still_speaks_for_its_whole_case() {
        let text =
            "still,case,intended_axis_deg,eye\n,c1,31,OD\nx.png,c1,,\ny.png,c1,32,\nz.png,c2,,\n,c3,33,OS\n,c4,34,\n";
        let matched = cases(text, &["/s/x.png", "/s/y.png", "/s/z.png", "/c3/w.png", "/s/v.png"]);
        let axis = |at: usize| matched.cases[at].as_ref().map(|case| (case.intended_axis_deg, case.eye));
        assert_eq!(axis(0), Some((Some(31.0), Some(Eye::Right))));
        assert_eq!(axis(1), Some((Some(32.0), Some(Eye::Right))));
        assert_eq!(axis(2), Some((None, None)));
        assert_eq!(axis(3), Some((Some(33.0), Some(Eye::Left))));
        assert_eq!(axis(4), None);
        assert_eq!(matched.cases[0].as_ref().map(|case| case.columns["still"].as_str()), Some("x.png"));
        assert_eq!(matched.unused, [(7, "c4".to_owned())]);
    }

    /// 42 and 41 D are each possible, but flat is not steeper than steep.
    #[test]
    fn a_row_and_its_case_may_not_disagree() {
        let text = "still,case,k_flat_d,k_steep_d\n,c1,42,\nx.png,c1,,41\n";
        let error = sheet(text).matched(&[PathBuf::from("x.png")]).expect_err("flat above steep");
        let expected = "cases.csv: line 3, column k_flat_d: \"42\", expected no more than k_steep_d, which is 41";
        assert_eq!(error.to_string(), expected);
    }
}
