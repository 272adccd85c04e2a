//! Pictures that this program did not draw: tests/reference/scenes/draw.py made them with scikit-image and SciPy, and
//! second_opinion.py read them with scikit-image's EllipseModel and regionprops.

use serde::Deserialize;
use std::path::{Path, PathBuf};
use stillaxis::geometry::axis_difference;
use stillaxis::measurement::measure;
use stillaxis::record::{Outcome, Record};
use stillaxis::stills::load::load;
use stillaxis::stills::sheet::Sheet;

/// A limbus, in the picture's own frame.
#[derive(Deserialize)]
struct Limbus {
    center_px: [f64; 2],
    semi_axes_px: [f64; 2],
}

#[derive(Deserialize)]
struct Truth {
    still: String,
    alignment_error_deg: f64,
    limbus: Limbus,
}

#[derive(Deserialize)]
struct Opinion {
    still: String,
    alignment_error_deg: f64,
    reference_marks_px: Vec<[f64; 2]>,
    lens_marks_px: Vec<[f64; 2]>,
}

#[derive(Deserialize)]
struct Opinions {
    opinions: Vec<Opinion>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/scenes")
}

fn json<T: serde::de::DeserializeOwned>(name: &str) -> T {
    serde_json::from_str(&std::fs::read_to_string(folder().join(name)).unwrap()).unwrap()
}

/// Truth, second opinion and this program's record of every scene that was measured.
fn scenes() -> Vec<(Truth, Opinion, Record)> {
    let truths: Vec<Truth> = json("truth.json");
    let opinions = json::<Opinions>("second_opinion.json").opinions;
    let paths: Vec<PathBuf> = truths.iter().map(|truth| folder().join(&truth.still)).collect();
    let cases = Sheet::read(&folder().join("cases.csv")).unwrap().matched(&paths).unwrap().cases;
    assert_eq!(truths.len(), 6);
    truths
        .into_iter()
        .zip(opinions)
        .zip(paths.iter().zip(cases))
        .map(|((truth, opinion), (path, case))| {
            assert_eq!(truth.still, opinion.still);
            let case = case.expect("every scene has a row");
            let loaded = load(path, case.recording()).unwrap();
            let record = measure(&loaded.picture, loaded.still, &case).record;
            assert_eq!(record.outcome, Outcome::Measured, "{}: {:?}", truth.still, record.refusals);
            (truth, opinion, record)
        })
        .collect()
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Largest distance from one of `places` to the nearest of `others`, px.
fn farthest(places: &[[f64; 2]], others: &[[f64; 2]]) -> f64 {
    let nearest = |place: &[f64; 2]| others.iter().map(|other| distance(*place, *other)).fold(f64::INFINITY, f64::min);
    places.iter().map(nearest).fold(0.0, f64::max)
}

/// Scenes whose angle is further than `allowed_deg`, or than 1.5 half intervals, from the truth or the second opinion.
fn wrong_angles(marks_denote_meridians: bool, allowed_deg: f64) -> Vec<String> {
    let mut wrong = Vec::new();
    for (truth, opinion, record) in scenes() {
        if record.case.get("marks_denote_deg").is_some_and(|cell| !cell.is_empty()) != marks_denote_meridians {
            continue;
        }
        let alignment = record.alignment.unwrap();
        let [low, high] = alignment.interval95_deg;
        for (name, angle) in [("truth", truth.alignment_error_deg), ("second opinion", opinion.alignment_error_deg)] {
            let off = axis_difference(angle, alignment.error_deg);
            if off.abs() > allowed_deg.min(1.5 * (high - low) / 2.0) {
                wrong.push(format!("{}: {off:+.2} from the {name}, interval {low:.2} to {high:.2}", truth.still));
            }
        }
    }
    wrong
}

/// Marks on the intended axis: half a degree.
#[test]
fn angles_from_marks_on_the_axis() {
    assert_eq!(wrong_angles(false, 0.5), Vec::<String>::new());
}

/// Marks that denote 0 and 180, the axis laid off from them in an oval that the sheet gives: one degree.
#[test]
fn angles_laid_off_from_meridians() {
    assert_eq!(wrong_angles(true, 1.0), Vec::<String>::new());
}

/// The limbus's mean radius and centre to 4 % of the radius. How far in or out along the limbus's own half millimetre of
/// gradient the edge is read, 9 % of the radius, is convention.
#[test]
fn limbus_is_the_one_drawn() {
    for (truth, _, record) in scenes() {
        let limbus = record.limbus.unwrap();
        let radius = (truth.limbus.semi_axes_px[0] * truth.limbus.semi_axes_px[1]).sqrt();
        let off = distance(limbus.center_px, truth.limbus.center_px) / radius;
        assert!(off < 0.04, "{}: centre {off:.3} of the radius off", truth.still);
        let off = (limbus.radius_px / radius - 1.0).abs();
        assert!(off < 0.04, "{}: radius {off:.3} off", truth.still);
    }
}

/// As many marks as scikit-image finds, each at its place: lens marks within a third of a
/// pixel; reference marks, which the two cut off differently along the radius, within a quarter of their length.
#[test]
fn marks_are_where_a_second_opinion_has_them() {
    for (truth, opinion, record) in scenes() {
        let lens: Vec<_> = record.lens_marks.iter().map(|mark| mark.center_px).collect();
        let marks: Vec<_> = record.reference_marks.iter().map(|mark| mark.center_px).collect();
        assert_eq!(marks.len(), opinion.reference_marks_px.len(), "{}", truth.still);
        assert_eq!(lens.len(), opinion.lens_marks_px.len(), "{}", truth.still);
        let off = farthest(&opinion.lens_marks_px, &lens);
        assert!(off < 0.3, "{}: a lens mark {off:.2} px off", truth.still);
        let off = farthest(&opinion.reference_marks_px, &marks);
        assert!(off < 8.0, "{}: a reference mark {off:.2} px off", truth.still);
    }
}

/// A second, fainter line 6.3 degrees beside a mark: what is read may be half of it, and the sd of its place and of what it is from
/// opposite says so.
#[test]
fn a_line_beside_a_mark_widens_what_is_said_of_it() {
    let path = folder().join("line_dots.jpg");
    let cases = Sheet::read(&folder().join("cases.csv")).unwrap().matched(std::slice::from_ref(&path)).unwrap().cases;
    let [Some(case)] = &cases[..] else { panic!("no row") };
    let loaded = load(&path, case.recording()).unwrap();
    let clear = measure(&loaded.picture, loaded.still.clone(), case).record;
    let (limbus, mark) = (clear.limbus.clone().unwrap(), clear.reference_marks[0].clone());
    let mut picture = loaded.picture.clone();
    let (sin, cos) = 6.3f64.to_radians().sin_cos();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let from_center = [f64::from(x) - limbus.center_px[0], f64::from(y) - limbus.center_px[1]];
        let turned = [0, 1].map(|k| {
            let [a, b] = from_center;
            limbus.center_px[k] + [cos * a - sin * b, sin * a + cos * b][k]
        });
        if distance(turned, mark.center_px) > 0.16 * limbus.radius_px {
            continue;
        }
        let other = loaded.picture.get_pixel(turned[0].round() as u32, turned[1].round() as u32);
        for (value, other) in pixel.0.iter_mut().zip(other.0) {
            *value = (0.4 * f64::from(*value) + 0.6 * f64::from(other.min(*value))) as u16;
        }
    }
    let record = measure(&picture, loaded.still, case).record;
    assert_eq!(record.reference_marks.len(), 2, "{:?}", record.refusals);
    let near = |m: &&stillaxis::record::ReferenceMark| distance(m.center_px, mark.center_px) < 0.1 * limbus.radius_px;
    let doubted = record.reference_marks.iter().find(near).unwrap();
    // Half of 6.3 over the root of 2.
    assert!((1.9..2.5).contains(&doubted.sd_deg) && mark.sd_deg < 0.1, "{} after {}", doubted.sd_deg, mark.sd_deg);
    assert!(doubted.from_opposite_sd_deg.unwrap() > 1.9, "{doubted:?}");
}
