//! Cost of a placing as the record has it, from sheet values.

use super::after::{best_axis, vector_analysis};
use super::cylinder::{Cost, Placing, cost};
use crate::geometry::Axis;
use crate::record::{AstigmatismSource, LeftOut, Sense, ValueSource};
use crate::stills::sheet::{Case, Sheet};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::path::Path;

/// A row of the sheet, from `column=value` with spaces between.
fn case(cells: &str) -> Case {
    let pairs: Vec<(&str, &str)> = cells.split_whitespace().map(|cell| cell.split_once('=').unwrap()).collect();
    let (headings, values): (Vec<_>, Vec<_>) = pairs.into_iter().unzip();
    let text = format!("still,{}\nx.png,{}\n", headings.join(","), values.join(","));
    Sheet::parse(Path::new("cases.csv"), text.as_bytes()).unwrap().rows.remove(0).case
}

fn axis(degrees: f64) -> Axis {
    Axis::from_degrees(degrees).unwrap()
}

/// A lens `error_deg` from an intended axis of 90, in an eye turned by 20 degrees in the picture.
fn placing(error_deg: f64, sd_deg: f64) -> Placing {
    Placing { error_deg, sd_deg, lens: axis(110.0 + error_deg), lens_in_eye: Some(axis(90.0 + error_deg)) }
}

fn close(got: Option<f64>, expected: f64, within: f64) {
    let got = got.unwrap_or(f64::NAN);
    assert!((got - expected).abs() <= within, "{got} is not {expected}");
}

fn columns(left_out: &[LeftOut], result: &str) -> Vec<String> {
    left_out.iter().find(|left| left.result == result).map_or_else(Vec::new, |left| left.columns.clone())
}

const PLAN_ALONE: &str = "what the plan leaves, apart from the placing";
const AT_CORNEA: &str = "dioptres at the corneal and the spectacle plane";
/// The lens that cancels 2.00 D over a flat meridian of 43.50 D at 5.0 mm (recomputed twice with numpy).
const EYE: &str = "intended_axis_deg=90 lens_cylinder_d=2.879196 cylinder_plane=lens lens_position_mm=5.0 k_flat_d=43.5 \
                   k_steep_d=45.5 k_steep_axis_deg=90";
/// A cornea of 2.00 D steep at 90.
const CORNEA: &str = "intended_axis_deg=90 cylinder_plane=cornea target_cylinder_d=2 target_axis_deg=90";

/// 10 degrees leave 34.7296 % of 2.00 D (table of rotation, recomputed twice with numpy), at an axis of A + t/2 + 45.
#[test]
fn a_lens_in_its_own_plane() {
    let Cost { cylinder, turn_back, left_out, warnings } = cost(&placing(10.0, 0.5), &case(EYE));
    assert_eq!((cylinder.plane.as_str(), warnings.len(), left_out.len()), ("cornea", 0, 0));
    close(cylinder.lens_d, 2.0, 5e-7);
    close(cylinder.astigmatism_d, 2.0, 1e-12);
    assert_eq!(cylinder.astigmatism_source, Some(AstigmatismSource::Keratometry));
    close(Some(cylinder.residual_percent), 34.7296, 5e-5);
    close(cylinder.residual_d, 0.694592, 5e-6);
    close(cylinder.residual_axis_deg, 140.0, 1e-4);
    close(cylinder.along_intended_d, 1.879385, 5e-6);
    close(cylinder.oblique_d, 0.684040, 5e-6);
    // S = M - C/2 with M = 0.
    let refraction = cylinder.refraction.unwrap();
    close(Some(refraction.sphere_d), 0.347296, 5e-6);
    close(Some(refraction.cylinder_d), -0.694592, 5e-6);
    // F / (1 + d F) in both meridians, by hand.
    let spectacles = |f: f64| f / (1.0 + 0.012 * f);
    close(cylinder.spectacle_d, spectacles(0.347296) - spectacles(-0.347296), 5e-6);
    assert_eq!((cylinder.vertex_mm, cylinder.vertex_source), (Some(12.0), Some(ValueSource::Assumed)));
    let placed = cylinder.placed.unwrap();
    close(Some(placed.residual_d), 0.0, 5e-7);
    assert_eq!(placed.refraction.axis_deg, None);

    assert_eq!((turn_back.sense, turn_back.may_gain_nothing), (Sense::Clockwise, false));
    close(Some(turn_back.by_deg), 10.0, 0.0);
    close(turn_back.gain_d, 0.694592, 5e-6);
    // 120 degrees counter-clockwise from 3 o'clock is 11 o'clock, 110 is 20 minutes on.
    assert_eq!((turn_back.lens_clock.as_str(), turn_back.intended_clock.as_str()), ("11:00", "11:20"));
}

/// Lenses that do not match the cornea, recomputed twice with numpy.
#[test]
fn planning_and_placing_are_told_apart() {
    for (lens, error, left, at) in
        [(1.6, 10.0, 0.738896, 156.108), (2.4, 10.0, 0.859622, 126.363), (2.4, 0.0, 0.4, 90.0)]
    {
        let cylinder = cost(&placing(error, 0.3), &case(&format!("{CORNEA} lens_cylinder_d={lens}"))).cylinder;
        close(cylinder.residual_d, left, 5e-7);
        close(cylinder.residual_axis_deg, at, 5e-4);
        let placed = cylinder.placed.unwrap();
        close(Some(placed.residual_d), 0.4, 1e-9);
        close(placed.refraction.axis_deg, if lens < 2.0 { 180.0 } else { 90.0 }, 1e-9);
        assert_eq!(placed.axis_off_deg, 0.0);
        assert_eq!(cylinder.astigmatism_source, Some(AstigmatismSource::Target));
    }
    // A plan 10 degrees off, a lens where it was planned: turning it back wins nothing, the plan leaves 2 C sin 10.
    let plan =
        case("intended_axis_deg=90 cylinder_plane=cornea lens_cylinder_d=2 target_cylinder_d=2 target_axis_deg=80");
    let Cost { cylinder, turn_back, .. } = cost(&placing(0.0, 0.3), &plan);
    close(cylinder.placed.map(|placed| placed.residual_d), 0.694593, 5e-7);
    close(cylinder.placed.map(|placed| placed.axis_off_deg), 10.0, 1e-12);
    close(turn_back.gain_d, 0.0, 1e-12);
    assert!(turn_back.may_gain_nothing);
}

/// The same cornea read by a keratometer of another index: radius (1.3375 - 1) / K = (1.332 - 1) / K', by definition.
#[test]
fn the_index_of_the_keratometer_counts() {
    let [flat, steep] = [43.5, 45.5].map(|k| k / 0.3375 * 0.332);
    let other = EYE.replace("43.5", &flat.to_string()).replace("45.5", &steep.to_string());
    let cylinder = cost(&placing(10.0, 0.5), &case(&format!("{other} k_index=1.332"))).cylinder;
    close(cylinder.lens_d, 2.0, 5e-7);
    close(cylinder.astigmatism_d, 2.0, 1e-9);
    let unsaid = cost(&placing(10.0, 0.5), &case(&other)).cylinder;
    close(unsaid.astigmatism_d, 2.0 / 0.3375 * 0.332, 1e-9);
}

/// An incision flattens its meridian (common practice), by hand; a target has it in already.
#[test]
fn the_incision_is_added_to_keratometry() {
    for (incision, expected) in [(90.0, 1.7), (0.0, 2.3)] {
        let with =
            |eye: &str| cost(&placing(0.0, 0.5), &case(&format!("{eye} incision_axis_deg={incision} induced_d=0.3")));
        close(with(EYE).cylinder.astigmatism_d, expected, 1e-9);
        close(with(&format!("{CORNEA} lens_cylinder_d=2")).cylinder.astigmatism_d, 2.0, 1e-12);
    }
}

/// Half of what the incision would take is said to be missing.
#[test]
fn half_an_incision_is_asked_for() {
    let result = "what the incision adds to the astigmatism";
    for (given, missing) in [("incision_axis_deg=90", "induced_d"), ("induced_d=0.3", "incision_axis_deg")] {
        let half = cost(&placing(0.0, 0.5), &case(&format!("{EYE} {given}")));
        close(half.cylinder.astigmatism_d, 2.0, 1e-9);
        assert_eq!(columns(&half.left_out, result), [missing]);
        let target = cost(&placing(0.0, 0.5), &case(&format!("{CORNEA} lens_cylinder_d=2 {given}")));
        assert!(columns(&target.left_out, result).is_empty());
    }
}

#[test]
fn minus_form_is_transposed_and_said() {
    let plus = cost(&placing(10.0, 0.5), &case(EYE));
    let minus = cost(&placing(10.0, 0.5), &case(&EYE.replace("2.879196", "-2.879196")));
    assert_eq!(plus.cylinder, minus.cylinder);
    assert!(minus.warnings[0].starts_with("lens_cylinder_d: -2.879196 D is in minus form, transposed to 2.879196 D"));
    let target = cost(&placing(10.0, 0.5), &case(&CORNEA.replace("d=2 ", "d=-2 lens_cylinder_d=2 ")));
    assert_eq!(target.warnings.len(), 1);
    close(target.cylinder.astigmatism_d, 2.0, 1e-12);
    // A plan on the flat meridian leaves twice the cylinder: an axis of a minus cylinder by mistake.
    let across = cost(
        &placing(0.0, 0.5),
        &case(
            &CORNEA
                .replace("axis_deg=90 ", "axis_deg=180 ")
                .replace("target_axis_deg=90", "target_axis_deg=180 lens_cylinder_d=2"),
        ),
    );
    assert!(across.warnings[0].contains("would leave 4.00 D"), "{:?}", across.warnings);
}

/// What a missing column would give is left out, and the record says which column.
#[test]
fn missing_columns_are_named() {
    let all = ["axis of least residual cylinder", "vector analysis"];
    for (without, result, columns_expected) in [
        ("lens_cylinder_d", "residual in dioptres", vec!["lens_cylinder_d"]),
        ("cylinder_plane", "residual in dioptres", vec!["cylinder_plane"]),
        ("lens_position_mm", AT_CORNEA, vec!["lens_position_mm"]),
        ("k_flat_d", AT_CORNEA, vec!["k_flat_d"]),
        ("k_steep_axis_deg", PLAN_ALONE, vec!["k_steep_axis_deg"]),
        ("k_steep_d", PLAN_ALONE, vec!["k_steep_d"]),
    ] {
        let rest: Vec<&str> = EYE.split_whitespace().filter(|cell| !cell.starts_with(without)).collect();
        let cost = cost(&placing(10.0, 0.5), &case(&rest.join(" ")));
        assert_eq!(columns(&cost.left_out, result), columns_expected, "{without}");
        assert!(cost.cylinder.placed.is_none(), "{without}");
        close(Some(cost.cylinder.residual_percent), 34.7296, 5e-5);
        let in_dioptres = result != "residual in dioptres";
        assert_eq!(cost.cylinder.residual_d.is_some(), in_dioptres, "{without}");
        assert_eq!(cost.cylinder.spectacle_d.is_some(), result == PLAN_ALONE, "{without}");
    }
    let bare = cost(&placing(10.0, 0.5), &case("lens_cylinder_d=2 cylinder_plane=cornea"));
    assert_eq!(columns(&bare.left_out, PLAN_ALONE), ["target_cylinder_d", "target_axis_deg"]);
    close(bare.cylinder.residual_d, 0.694593, 5e-7);
    assert_eq!(bare.cylinder.astigmatism_source, Some(AstigmatismSource::Matched));
    let half = cost(&placing(10.0, 0.5), &case("lens_cylinder_d=2 cylinder_plane=cornea target_cylinder_d=2"));
    assert_eq!(columns(&half.left_out, PLAN_ALONE), ["target_axis_deg"]);

    let none = best_axis(&placing(10.0, 0.5), &case("sphere_d=1 cylinder_d=-1")).unwrap_err();
    assert_eq!(
        (none.result.as_str(), none.columns.join(" ")),
        (all[0], "axis_deg lens_cylinder_d cylinder_plane".into())
    );
    let none = vector_analysis(&case("target_cylinder_d=2 sphere_d=0")).unwrap_err();
    assert_eq!((none.result.as_str(), none.columns.join(" ")), (all[1], "target_axis_deg cylinder_d axis_deg".into()));
    assert!(vector_analysis(&case("target_cylinder_d=2 target_axis_deg=90 sphere_d=0 cylinder_d=0")).is_ok());
}

/// Marks on an axis that nobody wrote down: sizes are known, directions in the eye are not.
#[test]
fn without_the_eyes_zero_no_axis_is_given() {
    let unknown = Placing { lens_in_eye: None, ..placing(10.0, 0.5) };
    let eye = EYE.replace("intended_axis_deg=90 ", "");
    let Cost { cylinder, left_out, turn_back, .. } = cost(&unknown, &case(&eye));
    close(cylinder.residual_d, 0.694592, 5e-6);
    assert_eq!((cylinder.residual_axis_deg, cylinder.j0_d, cylinder.astigmatism_axis_deg), (None, None, None));
    assert_eq!(columns(&left_out, "axes in the eye's notation"), ["intended_axis_deg"]);
    assert_eq!(columns(&left_out, PLAN_ALONE), ["intended_axis_deg"]);
    close(turn_back.gain_d, 0.694592, 5e-6);
    let refracted = case(&format!("{eye} sphere_d=0 cylinder_d=-1 axis_deg=20"));
    assert_eq!(best_axis(&unknown, &refracted).unwrap_err().columns, ["intended_axis_deg"]);
}

/// Near 0 the axis has no meaning: J0 and J45 with their covariance stand instead.
#[test]
fn an_axis_only_where_it_means_something() {
    let near = cost(&placing(1.0, 0.8), &case(EYE)).cylinder;
    assert_eq!((near.residual_axis_deg, near.refraction.unwrap().axis_deg), (None, None));
    assert_eq!(near.residual_interval95_d.map(|[low, _]| low < 1e-6), Some(true));
    // The lens lies along 91: J0 = (L/2) (cos 182 - cos 180), J45 = (L/2) sin 182, by hand.
    close(near.j0_d, 182_f64.to_radians().cos() + 1.0, 5e-6);
    close(near.j45_d, 182_f64.to_radians().sin(), 5e-6);
    // Across the lens's direction the noise is that of an arc of L sd, along it next to nothing.
    let covariance = near.j_covariance.unwrap();
    close(Some(covariance.j45_d2.sqrt()), 2.0 * 0.8_f64.to_radians(), 5e-4);
    assert!(covariance.j0_d2 < 0.01 * covariance.j45_d2 && covariance.j0_j45_d2.abs() < 0.1 * covariance.j45_d2);
    assert!(cost(&placing(3.0, 0.8), &case(EYE)).cylinder.residual_axis_deg.is_some());
}

/// A refraction after surgery made from crossed cylinders of known outcome (table of rotation and of unmatched lenses, recomputed
/// twice with numpy), taken to spectacles by F / (1 + d F).
#[test]
fn the_best_axis_is_the_corneas() {
    for (lens, left, residual, at) in [(2.0, 0.0, 0.694593, 140.0), (2.4, 0.4, 0.859622, 126.363)] {
        let spectacles = |f: f64| f / (1.0 + 0.013 * f);
        let sphere = spectacles(-0.5 + residual / 2.0);
        let cylinder = spectacles(-0.5 - residual / 2.0) - sphere;
        let case = case(&format!(
            "{CORNEA} lens_cylinder_d={lens} sphere_d={sphere} cylinder_d={cylinder} axis_deg={at} vertex_mm=13"
        ));
        let best = best_axis(&placing(10.0, 0.5), &case).unwrap();
        close(Some(best.astigmatism_d), 2.0, 5e-6);
        close(best.axis_deg, 90.0, 5e-4);
        close(best.turn_deg, -10.0, 5e-4);
        close(Some(best.now_d), residual, 5e-7);
        close(Some(best.left_d), left, 5e-6);
        close(Some(best.left_spectacle_d), spectacles(-0.5 + left / 2.0) - spectacles(-0.5 - left / 2.0), 5e-6);
        let [low, high] = best.turn_interval95_deg.unwrap();
        assert!(low < -10.0 && -10.0 < high && high - low < 1.0, "{low} {high}");
        // Turning does not change the spherical equivalent, which the residual takes from the refraction.
        let cost = cost(&placing(10.0, 0.5), &case).cylinder;
        let left = cost.refraction.unwrap();
        close(Some(left.sphere_d + left.cylinder_d / 2.0), -0.5, 1e-9);
        close(cost.spectacle_d, -cylinder, 1e-6);
        assert_eq!(cost.vertex_source, Some(ValueSource::Case));
    }
}

/// The same eye in words of vector analysis: the right amount, 10 degrees off, 2 C sin 10 missing.
#[test]
fn the_vector_analysis_of_a_misaligned_lens() {
    let spectacles = |f: f64| f / (1.0 + 0.012 * f);
    let sphere = spectacles(0.347296);
    let cylinder = spectacles(-0.347296) - sphere;
    let refracted = format!("sphere_d={sphere} cylinder_d={cylinder} axis_deg=140");
    for before in ["target_cylinder_d=2 target_axis_deg=90", "k_flat_d=43 k_steep_d=45 k_steep_axis_deg=90"] {
        let eye = vector_analysis(&case(&format!("{before} {refracted} vertex_mm=12"))).unwrap();
        close(Some(eye.target_induced.magnitude_d), 2.0, 1e-9);
        close(eye.target_induced.axis_deg, 180.0, 1e-9);
        close(Some(eye.surgically_induced.magnitude_d), 2.0, 5e-6);
        close(eye.surgically_induced.axis_deg, 10.0, 5e-4);
        close(Some(eye.difference.magnitude_d), 0.694592, 5e-6);
        close(eye.angle_error_deg, 10.0, 5e-4);
        close(eye.correction_index, 1.0, 5e-6);
        close(eye.success_index, 0.347296, 5e-6);
        close(Some(eye.magnitude_error_d), 0.0, 5e-6);
    }
}

/// The record's intervals hold the truth 94 to 96 times of 100, also where that of the angle holds 0 and where the plan is off.
#[test]
fn intervals_of_the_record_hold_the_truth() {
    const DRAWS: usize = 10_000;
    let sd = 1.2;
    for cells in
        [EYE.to_owned(), format!("{EYE} incision_axis_deg=40 induced_d=0.3"), format!("{CORNEA} lens_cylinder_d=2.6")]
    {
        let case = case(&cells);
        for truth in [0.0, 1.1, -2.3, 7.0] {
            let real = cost(&placing(truth, sd), &case);
            let mut held = [0_usize; 4];
            let mut random = ChaCha8Rng::seed_from_u64(31);
            for reading in Normal::new(truth, sd).unwrap().sample_iter(&mut random).take(DRAWS) {
                let read = cost(&placing(reading, sd), &case);
                let within = |interval: Option<[f64; 2]>, truth: Option<f64>| {
                    let ([low, high], truth) = (interval.unwrap(), truth.unwrap());
                    usize::from(low <= truth + 1e-9 && truth <= high + 1e-9)
                };
                let (c, t) = (&read.cylinder, &real.cylinder);
                held[0] += within(Some(c.residual_interval95_percent), Some(t.residual_percent));
                held[1] += within(c.residual_interval95_d, t.residual_d);
                held[2] += within(c.spectacle_interval95_d, t.spectacle_d);
                held[3] += within(read.turn_back.gain_interval95_d, real.turn_back.gain_d);
                assert!(c.residual_interval95_d.unwrap()[0] >= 0.0);
            }
            for share in held.map(|held| held as f64 / DRAWS as f64) {
                assert!((0.94..=0.96).contains(&share), "{cells} at {truth}: {held:?}");
            }
        }
    }
}

/// Both times are of the same end: a lens at 178 degrees, 15 past its axis, is turned from 9:04 (178) back to 9:34 (163),
/// and one at 2, 15 past its axis at 167 = -13, from 2:56 (2) to 3:26 (-13).
#[test]
fn the_clock_stays_at_one_end_of_the_axis() {
    for (lens, times) in [(178.0, ["9:04", "9:34"]), (2.0, ["2:56", "3:26"])] {
        let placing = Placing { lens: axis(lens), ..placing(15.0, 0.5) };
        let turn = cost(&placing, &case("intended_axis_deg=90")).turn_back;
        assert_eq!([turn.lens_clock.as_str(), turn.intended_clock.as_str()], times);
    }
}
