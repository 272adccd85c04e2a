//! What a refused still says: its cause, and all that was found until then. The pictures are those of
//! tests/reference/scenes, which scikit-image and SciPy drew, some of them painted over here.

use image::Rgb;
use std::path::Path;
use stillaxis::geometry::{PixelPoint, Vector, axis_difference};
use stillaxis::measurement::measure;
use stillaxis::record::{Outcome, Record, Refusal, RefusalCode};
use stillaxis::stills::load::{Loaded, load};
use stillaxis::stills::sheet::{Case, Sheet};
use stillaxis::vision::Picture;

/// A scene, its row of the sheet, and its record as it is.
fn scene(still: &str) -> (Loaded, Case, Record) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/scenes");
    let path = folder.join(still);
    let sheet = Sheet::read(&folder.join("cases.csv")).unwrap();
    let [case] = sheet.matched(std::slice::from_ref(&path)).unwrap().cases.try_into().unwrap();
    let case = case.unwrap();
    let loaded = load(&path, case.recording()).unwrap();
    let record = measure(&loaded.picture, loaded.still.clone(), &case).record;
    assert_eq!(record.outcome, Outcome::Measured, "{still}: {:?}", record.refusals);
    (loaded, case, record)
}

/// The one refusal of a record.
fn only_refusal(record: &Record) -> &Refusal {
    assert_eq!(record.outcome, Outcome::Refused);
    assert!(record.alignment.is_none() && record.cylinder.is_none() && record.turn_back.is_none());
    let [refusal] = &record.refusals[..] else { panic!("{:?}", record.refusals) };
    refusal
}

/// Whether the marks stand where they did, within half a degree: paint beside them moves the limbus by a fraction of a pixel.
fn stand_alike(record: &Record, as_measured: &Record) -> bool {
    let (marks, expected) = (&record.reference_marks, &as_measured.reference_marks);
    let alike = marks.iter().zip(expected).all(|(mark, expected)| {
        axis_difference(mark.meridian_deg, expected.meridian_deg).abs() < 0.5
            && mark.denotes_deg == expected.denotes_deg
    });
    marks.len() == expected.len() && alike
}

/// `picture` with its pixels within `reach` of `center` made of their own value and that at `from` by `mixed`.
fn repainted(
    picture: &Picture,
    center: PixelPoint,
    reach: f64,
    from: impl Fn(Vector) -> Vector,
    mixed: impl Fn(u16, u16) -> u16,
) -> Picture {
    let mut painted = picture.clone();
    for (x, y, pixel) in painted.enumerate_pixels_mut() {
        let place = PixelPoint::new(f64::from(x), f64::from(y)) - center;
        if place.norm() < reach {
            let source = center + from(place);
            let other = picture.get_pixel(source.x.round() as u32, source.y.round() as u32);
            *pixel = Rgb([0, 1, 2].map(|k| mixed(pixel.0[k], other.0[k])));
        }
    }
    painted
}

/// Marks at right angles to each other, of which two are seen: their 0 may be either of four.
#[test]
fn ambiguous_reference_marks_are_named_both() {
    let (loaded, mut case, measured) = scene("meridians.jpg");
    case.marks_denote_deg = vec![0.0, 90.0, 180.0, 270.0];
    case.zero_direction_deg = None;
    let record = measure(&loaded.picture, loaded.still, &case).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::ReferenceMarksAmbiguous);
    let [one, other] = &refusal.alternatives[..] else { panic!("{refusal:?}") };
    assert!(axis_difference(one.direction_deg, other.direction_deg).abs() > 85.0, "{refusal:?}");
    assert!(one.probability >= other.probability && one.probability + other.probability <= 1.0, "{refusal:?}");
    for (alternative, letter) in refusal.alternatives.iter().zip(["A", "B"]) {
        let named = format!("{:.0}° ({letter}, probability {:.2})", alternative.direction_deg, alternative.probability);
        assert!(refusal.message.contains(&named), "{named}: {}", refusal.message);
        let mut places = alternative.centers_px.clone();
        let mut expected: Vec<[f64; 2]> = measured.reference_marks.iter().map(|mark| mark.center_px).collect();
        places.sort_by(|a, b| a[0].total_cmp(&b[0]));
        expected.sort_by(|a, b| a[0].total_cmp(&b[0]));
        assert_eq!(places, expected);
    }
    assert_eq!(record.lens_marks, measured.lens_marks);
}

/// A second lens at 70 degrees to the first, drawn over it.
#[test]
fn ambiguous_lens_marks_are_named_both() {
    let (loaded, case, measured) = scene("line_dots.jpg");
    let limbus = measured.limbus.clone().unwrap();
    let center = PixelPoint::from(limbus.center_px);
    let (sin, cos) = 70f64.to_radians().sin_cos();
    let turned = |v: Vector| Vector::new(cos * v.x - sin * v.y, sin * v.x + cos * v.y);
    let picture = repainted(&loaded.picture, center, 0.7 * limbus.radius_px, turned, u16::min);
    let record = measure(&picture, loaded.still, &case).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::LensMarksAmbiguous);
    let axes: Vec<f64> = refusal.alternatives.iter().map(|a| a.direction_deg).collect();
    let [one, other] = axes[..] else { panic!("{refusal:?}") };
    // The limbus is 6 % flatter than wide, which turns a direction by up to 1.8 degrees between picture and plane.
    assert!((axis_difference(one, other).abs() - 70.0).abs() < 4.0, "{refusal:?}");
    let lens = measured.alignment.as_ref().unwrap().lens_deg;
    assert!(axes.iter().any(|axis| axis_difference(*axis, lens).abs() < 4.0), "{axes:?}, {lens}");
    assert!(refusal.message.contains(&format!("{one:.0}°")) && refusal.message.contains(&format!("{other:.0}°")));
    assert!(stand_alike(&record, &measured), "{:?}", record.reference_marks);
}

/// The marks are described whether there is a lens to hold against them or not.
#[test]
fn marks_are_described_without_a_lens() {
    let (loaded, case, measured) = scene("meridians.jpg");
    let mut picture = loaded.picture;
    let limbus = measured.limbus.clone().unwrap();
    for mark in &measured.lens_marks {
        // What lies about 12 px beside a mark is ground.
        let center = PixelPoint::from(mark.center_px);
        let aside = (PixelPoint::from(limbus.center_px) - center).normalize();
        let aside = Vector::new(-aside.y, aside.x) * 0.12 * limbus.radius_px;
        picture = repainted(&picture, center, 0.05 * limbus.radius_px, |v| v + aside, |_, ground| ground);
    }
    let record = measure(&picture, loaded.still, &case).record;
    assert_eq!(only_refusal(&record).code, RefusalCode::LensMarksMissing);
    assert!(stand_alike(&record, &measured), "{:?}", record.reference_marks);
}

/// Marks that denote meridians and no axis to lay off from them: the lens axis is told, and where the marks stand.
#[test]
fn a_missing_axis_leaves_all_that_was_found() {
    let (loaded, mut case, measured) = scene("meridians.jpg");
    case.intended_axis_deg = None;
    let record = measure(&loaded.picture, loaded.still, &case).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::IntendedAxisMissing);
    let lens = measured.alignment.unwrap().lens_axis_in_eye_deg.unwrap();
    assert!(refusal.message.contains(&format!("the lens axis lies at {lens:.1}°")), "{}", refusal.message);
    assert_eq!(record.reference_marks, measured.reference_marks);
    assert_eq!(record.lens_marks, measured.lens_marks);
}

/// A wrong direction of the eye's 0 is told from marks that are not there.
#[test]
fn marks_elsewhere_than_the_sheet_says_are_not_missing() {
    let (loaded, mut case, _) = scene("meridians.jpg");
    case.zero_direction_deg = Some(100.0);
    let record = measure(&loaded.picture, loaded.still, &case).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::ReferenceMarksMissing);
    assert!(refusal.message.contains("farther than 45° from where the sheet has it (100°"), "{}", refusal.message);
    assert!(refusal.hint.contains("zero_direction_deg"), "{}", refusal.hint);
}

/// Sure marks are believed far from the plan, but not nearer to the meridian at right angles than to it.
#[test]
fn a_lens_far_from_its_plan_is_doubted() {
    for still in ["meridians.jpg", "single_mark.jpg"] {
        let (loaded, mut case, measured) = scene(still);
        let axis = case.intended_axis_deg.unwrap();
        let mut planned_at = |axis_deg: f64| {
            case.intended_axis_deg = Some(axis_deg.rem_euclid(180.0));
            measure(&loaded.picture, loaded.still.clone(), &case).record
        };
        let near = planned_at(axis - 25.0);
        assert_eq!(near.outcome, Outcome::Measured, "{still}: {:?}", near.refusals);
        let far = planned_at(axis - 70.0);
        let refusal = only_refusal(&far);
        assert_eq!(refusal.code, RefusalCode::FarFromPlan);
        assert!(refusal.message.contains("more than 45°"), "{}", refusal.message);
        assert_eq!(far.lens_marks, measured.lens_marks);
        assert_eq!(far.reference_marks.len(), measured.reference_marks.len());
    }
}

/// The part of `picture` to the right of and below a place.
fn rest_of(picture: &Picture, left: u32, top: u32) -> Picture {
    let (width, height) = picture.dimensions();
    image::imageops::crop_imm(picture, left, top, width - left, height - top).to_image()
}

/// The limbus of this scene lies about (320, 240): a quarter of it is left, and it is described all the same, as uncertain as it is.
#[test]
fn a_quarter_of_a_limbus_is_too_little() {
    let (loaded, case, measured) = scene("line_dots.jpg");
    let record = measure(&rest_of(&loaded.picture, 320, 240), loaded.still, &case).record;
    assert_eq!(only_refusal(&record).code, RefusalCode::LimbusTooLittleVisible);
    let (limbus, whole) = (record.limbus.unwrap(), measured.limbus.unwrap());
    assert!((60.0..120.0).contains(&limbus.visible_arc_deg), "{limbus:?}");
    for axis in [0, 1] {
        let off = limbus.center_px[axis] + [320.0, 240.0][axis] - whole.center_px[axis];
        assert!(off.abs() < 2.0 * limbus.center_sd_px, "{limbus:?}, as a whole {whole:?}");
        assert!(limbus.center_sd_px > 10.0 * whole.center_sd_px, "{limbus:?}, as a whole {whole:?}");
    }
}

/// Half of a limbus leaves its place open, and its oval the angle from marks that a lens stands 35 degrees from: each is refused
/// with what would help.
#[test]
fn an_interval_too_wide_says_what_would_narrow_it() {
    let (loaded, case, _) = scene("line_dots.jpg");
    let record = measure(&rest_of(&loaded.picture, 320, 0), loaded.still, &case).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::IntervalTooWide);
    assert!(refusal.hint.contains("shows more of the limbus"), "{refusal:?}");

    // Its row of the sheet says that the marks are those of the meridians, which the lens was laid off from.
    let (loaded, _, _) = scene("meridians.jpg");
    let record = measure(&loaded.picture, loaded.still, &Case::default()).record;
    let refusal = only_refusal(&record);
    assert_eq!(refusal.code, RefusalCode::IntervalTooWide);
    assert!(refusal.hint.contains("marks_denote_deg") && refusal.hint.contains("oval"), "{refusal:?}");
}
