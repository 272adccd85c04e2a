//! Properties of whole drawn stills.

use super::canvas::along;
use super::marks::Ink;
use super::scene::{
    LensMarkKind, PupilDevice, ReferenceMark, ReferenceMarkKind, Reflection, ReflectionKind, Scene, Speculum,
    StretchLine,
};
use super::{AxisPlan, Difficulty, Forms, MarkVisibility, MarksShown, View, Visibility, Wanted, draw, encode, truth};
use crate::geometry::{OvalPrior, PixelPoint, Vector, axis_difference};
use image::RgbImage;

/// A plain grey field under even light, seen by a camera that is linear, sharp and free of noise.
fn bare(scene: &mut Scene) {
    const GREY: [f64; 3] = [200.0; 3];
    let s = &mut scene.sclera;
    (s.colour, s.limbus_colour, s.redness, s.vessels, s.limbus_strength) = (GREY, GREY, 0.0, 0, 0.0);
    s.blood.clear();
    s.dye.clear();
    let i = &mut scene.iris;
    (i.outer_colour, i.inner_colour, i.fibres, i.blotches, i.dark_ring, i.haze) = (GREY, GREY, 0.0, 0.0, 0.0, 0.0);
    let p = &mut scene.pupil;
    (p.device, p.ruff, p.reflex.bright, p.reflex.dull, p.reflex.clouds) = (PupilDevice::None, 0.0, GREY, GREY, 0.0);
    let lens = scene.lens.as_mut().unwrap();
    (lens.edge_reflection, lens.capsule_opening_mm, lens.folds) = (0.0, 0.0, 0);
    lens.stretch_lines.clear();
    let a = &mut scene.surroundings;
    (a.upper_lid_r, a.lower_lid_r, a.half_width_r, a.lashes, a.speculum) = (20.0, 20.0, 20.0, 0, Speculum::None);
    scene.instruments.clear();
    scene.bubbles.clear();
    scene.reflections.clear();
    let l = &mut scene.light;
    (l.gain, l.exposure, l.slope, l.outside, l.hard_rim) = ([1.0; 3], 1.0, 0.0, 1.0, false);
    let c = &mut scene.camera;
    (c.resolution, c.blur_px, c.motion_px, c.noise_levels, c.sharpening) = (1.0, 0.0, 0.0, 0.0, 0.0);
    (c.gamma, c.contrast, c.saturation, c.black) = (2.2, 1.0, 1.0, [0.0; 3]);
}

/// Darkness-weighted centroid of what `b` has and `a` has not, within `reach` px of `about`.
fn centroid_of_difference(a: &RgbImage, b: &RgbImage, about: &PixelPoint, reach: f64) -> PixelPoint {
    let (mut sum, mut weight) = (Vector::zeros(), 0.0);
    for (x, y, p) in a.enumerate_pixels() {
        let place = Vector::new(f64::from(x), f64::from(y));
        if (place - about.coords).norm() < reach {
            let ratio = (f64::from(p.0[1]) - f64::from(b.get_pixel(x, y).0[1])) / f64::from(p.0[1]).max(1.0);
            sum += place * ratio;
            weight += ratio;
        }
    }
    assert!(weight > 3.0, "hardly anything drawn: {weight}");
    PixelPoint::from(sum / weight)
}

fn mark(kind: ReferenceMarkKind, meridian_deg: f64) -> ReferenceMark {
    ReferenceMark {
        meridian_deg,
        kind,
        inner_r: 0.95,
        outer_r: 1.2,
        width_r: [0.06, 0.03],
        lean_deg: 7.0,
        softness_r: 0.006,
        opacity: 0.9,
        fading: 0.5,
        broken: 0.3,
        ink: [0.0; 3],
        seed: 9,
    }
}

/// The darkness in the picture lies where the truth says, within 0.1 px, for every kind of mark under tilt, squeezed
/// pixels and an oblique turn.
#[test]
fn marks_lie_where_the_truth_says() {
    let kinds = [
        ReferenceMarkKind::Line,
        ReferenceMarkKind::Stroke,
        ReferenceMarkKind::Dot,
        ReferenceMarkKind::Blot,
        ReferenceMarkKind::Crossed { angle_deg: 50.0 },
        ReferenceMarkKind::Doubled { gap_r: 0.06 },
    ];
    let mut scene = Scene::random(3, 0, &Wanted { difficulty: Difficulty::Easy, ..Wanted::default() });
    bare(&mut scene);
    let v = &mut scene.view;
    (v.width_px, v.height_px, v.limbus_center_px, v.limbus_half_width_px) = (640, 480, [318.3, 241.7], 130.0);
    (v.turn_deg, v.tilt_deg, v.tilt_direction_deg, v.pixel_aspect) = (33.0, 9.0, 70.0, 0.8);
    let lens = scene.lens.as_mut().unwrap();
    lens.marks.as_mut().unwrap().colour = [0.0; 3];
    lens.marks.as_mut().unwrap().kind = LensMarkKind::Dash { length_mm: 0.8 };
    let view = View::new(&scene.view).unwrap();
    scene.reference_marks.clear();
    let mut without = scene.clone();
    without.lens.as_mut().unwrap().marks = None;
    let ground = draw(&without).unwrap().picture;
    scene.reference_marks = (0..6).map(|k| mark(kinds[k], 60.0 * k as f64 + 11.0)).collect();
    let picture = draw(&scene).unwrap().picture;
    for m in &scene.reference_marks {
        let ink = Ink::new(m);
        let told = view.picture_of(&ink.centroid());
        let seen = centroid_of_difference(&ground, &picture, &told, ink.reach() * 140.0);
        assert!((seen - told).norm() < 0.1, "{:?}: {seen:?}, truth {told:?}", m.kind);
    }
    let lens = scene.lens.as_ref().unwrap();
    for told in super::lens::group_centers(&view, lens, lens.marks.as_ref().unwrap()).map(|c| view.picture_of(&c)) {
        let seen = centroid_of_difference(&ground, &picture, &told, 20.0);
        assert!((seen - told).norm() < 0.1, "lens: {seen:?}, truth {told:?}");
    }
}

/// By hand: 0.4 limbus radii with the middle at 0.3 along the line and 0.2 with theirs at 0.2 against it balance at 0.08 / 0.6.
#[test]
fn stretch_lines_lie_where_the_scene_says() {
    let mut scene = Scene::random(3, 0, &Wanted { difficulty: Difficulty::Easy, ..Wanted::default() });
    bare(&mut scene);
    scene.pupil.radius_r = 0.8;
    scene.lens.as_mut().unwrap().marks = None;
    let ground = draw(&scene).unwrap().picture;
    let lens = scene.lens.as_mut().unwrap();
    lens.stretch_lines = vec![StretchLine {
        direction_deg: 30.0,
        aside_r: 0.1,
        inner_r: 0.1,
        outer_r: [0.5, 0.3],
        width_r: 0.012,
        opacity: 0.9,
        colour: [0.0; 3],
    }];
    let view = View::new(&scene.view).unwrap();
    let lens = scene.lens.as_ref().unwrap();
    let center = view.lens_place(lens, &Vector::new(lens.center_mm[0], lens.center_mm[1]));
    let told = view.picture_of(&(center + along(30.0) * (0.08 / 0.6) + along(120.0) * 0.1));
    let picture = draw(&scene).unwrap().picture;
    let seen = centroid_of_difference(&ground, &picture, &told, view.px_per_radius());
    // The rounded ends of the shorter stroke weigh more: they take 0.002.
    assert!((seen - told).norm() < 0.005 * view.px_per_radius(), "{seen:?}, told {told:?}");
}

fn all_seen(scene: &Scene) -> Visibility {
    let seen = MarkVisibility { share: 1.0, contrast_levels: 50.0, signal_to_noise: 100.0 };
    Visibility { limbus: 1.0, reference_marks: vec![seen; scene.reference_marks.len()], lens_groups: vec![seen; 2] }
}

/// Turning the whole scene turns both directions alike and leaves the error.
#[test]
fn turning_the_scene_turns_the_truth() {
    for still in 0..12 {
        let axis = if still % 2 == 0 { AxisPlan::OnMarks } else { AxisPlan::Anywhere };
        let mut scene = Scene::random(5, still, &Wanted { axis, ..Wanted::default() });
        scene.view.pixel_aspect = 1.0;
        let before = truth(&scene, "a", &all_seen(&scene)).unwrap();
        for turn in [1.0, 17.0, 90.0, 200.0] {
            let mut turned = scene.clone();
            turned.view.turn_deg += turn;
            turned.view.tilt_direction_deg += turn;
            let after = truth(&turned, "a", &all_seen(&turned)).unwrap();
            let moved = |a: Option<f64>, b: Option<f64>| axis_difference(a.unwrap(), b.unwrap());
            assert!((axis_difference(turn, moved(before.reference_deg, after.reference_deg))).abs() < 1e-9);
            assert!((axis_difference(turn, moved(before.lens_deg, after.lens_deg))).abs() < 1e-9);
            assert!(moved(before.alignment_error_deg, after.alignment_error_deg).abs() < 1e-9);
        }
    }
}

/// A lens turned by a degree moves the error by one; a mark moved along the limbus moves the chord by half.
#[test]
fn faults_enter_the_truth_with_their_size() {
    let mut scene = Scene::random(5, 2, &Wanted { difficulty: Difficulty::Easy, ..Wanted::default() });
    scene.lens.as_mut().unwrap().tilt_deg = 0.0;
    scene.reference_marks.truncate(2);
    for (m, meridian) in scene.reference_marks.iter_mut().zip([40.0, 220.0]) {
        *m = ReferenceMark { meridian_deg: meridian, lean_deg: 0.0, ..mark(ReferenceMarkKind::Dot, 0.0) };
    }
    scene.plan.marks_meant_deg = vec![40.0, 220.0];
    scene.plan.intended_axis_deg = 40.0;
    scene.lens.as_mut().unwrap().axis_deg = 44.0;
    let error = |s: &Scene| truth(s, "a", &all_seen(s)).unwrap().alignment_error_deg.unwrap();
    assert!((error(&scene) - 4.0).abs() < 1e-3, "{}", error(&scene));
    let mut lens_turned = scene.clone();
    lens_turned.lens.as_mut().unwrap().axis_deg += 1.0;
    assert!((error(&lens_turned) - error(&scene) - 1.0).abs() < 1e-9);
    let mut mark_moved = scene.clone();
    mark_moved.reference_marks[1].meridian_deg += 2.0;
    assert!((error(&mark_moved) - error(&scene) + 1.0).abs() < 1e-3);
}

/// The same seed gives the same bytes, on any thread; another still of the series differs.
#[test]
fn same_seed_same_bytes() {
    let wanted = Wanted { difficulty: Difficulty::Hard, ..Wanted::default() };
    let bytes = |still: u64| {
        let mut scene = Scene::random(11, still, &wanted);
        // Small, for speed; nothing else depends on the size.
        (scene.view.width_px, scene.view.height_px) = (200, 150);
        encode(&draw(&scene).unwrap().picture, &scene.camera).unwrap()
    };
    let first = bytes(0);
    let elsewhere = std::thread::scope(|s| s.spawn(|| bytes(0)).join().unwrap());
    assert!(first == elsewhere);
    assert!(first != bytes(1));
}

/// Where one mark only was put the case sheet says so in about half of the cases, and else leaves it open.
#[test]
fn a_single_mark_is_said_or_not() {
    let single =
        (0..1500).map(|k| Scene::random(4, k, &Wanted::default()).plan).filter(|p| p.marks_meant_deg.len() == 1);
    let said: Vec<bool> = single.map(|p| p.sheet_has_meridians).collect();
    let share = said.iter().filter(|s| **s).count() as f64 / said.len() as f64;
    assert!(said.len() > 20 && (0.25..0.75).contains(&share), "{share} of {}", said.len());
}

/// Limbi vary as the interval takes them to, their tails too: those are what turns an angle most.
#[test]
fn limbi_are_drawn_as_oval_as_they_are_held_to_be() {
    const COUNT: u32 = 3000;
    let OvalPrior { height_over_width, sd } = OvalPrior::AVERAGE;
    let scenes = (0..u64::from(COUNT)).map(|k| Scene::random(4, k, &Wanted::default()));
    let away: Vec<f64> = scenes.map(|s| (s.view.limbus_height_over_width - height_over_width) / sd).collect();
    let count = f64::from(COUNT);
    let mean = away.iter().sum::<f64>() / count;
    let spread = (away.iter().map(|d| d * d).sum::<f64>() / count).sqrt();
    assert!(mean.abs() < 0.05 && (spread - 1.0).abs() < 0.03, "mean {mean}, spread {spread}");
    // Of a normal distribution 1.4 % lie beyond 2.2 standard deviations on each side.
    for side in [-1.0, 1.0] {
        let share = away.iter().filter(|d| **d * side > 2.2).count() as f64 / count;
        assert!((0.009..0.020).contains(&share), "{share} on the side of {side}");
    }
}

/// What is asked for is drawn, and a kind of mark that is missing leaves no error in the truth.
#[test]
fn missing_marks_leave_no_error() {
    for (marks, missing) in [
        (MarksShown::ReferenceOnly, Some("lens")),
        (MarksShown::LensOnly, Some("reference")),
        (MarksShown::None, Some("both")),
        (MarksShown::Both, None),
    ] {
        for still in 0..20 {
            let scene = Scene::random(2, still, &Wanted { marks, ..Wanted::default() });
            let seen = MarkVisibility { share: 1.0, contrast_levels: 50.0, signal_to_noise: 100.0 };
            let groups = if scene.lens.as_ref().is_some_and(|l| l.marks.is_some()) { 2 } else { 0 };
            let visibility = Visibility {
                limbus: 1.0,
                reference_marks: vec![seen; scene.reference_marks.len()],
                lens_groups: vec![seen; groups],
            };
            let truth = truth(&scene, "a", &visibility).unwrap();
            assert_eq!(truth.missing.as_deref(), missing);
            assert_eq!(truth.alignment_error_deg.is_some(), missing.is_none());
            let json = serde_json::to_value(&truth).unwrap();
            assert_eq!(json.get("alignment_error_deg").is_some(), missing.is_none());
            assert_eq!(json["limbus"]["semi_axes_px"].as_array().unwrap().len(), 2);
            assert!(json["limbus"]["angle_deg"].is_f64() && json["limbus"]["center_px"][1].is_f64());
        }
    }
}

/// A dark dash in each half of a wide grey pupil.
fn dashes() -> Scene {
    let mut scene = Scene::random(3, 0, &Wanted { difficulty: Difficulty::Easy, ..Wanted::default() });
    bare(&mut scene);
    scene.pupil.radius_r = 0.7;
    let marks = scene.lens.as_mut().unwrap().marks.as_mut().unwrap();
    (marks.kind, marks.colour, marks.opacity) = (LensMarkKind::Dash { length_mm: 0.8 }, [150.0; 3], 1.0);
    scene
}

/// Light that comes over a mark takes contrast from it; the light itself is no contrast.
#[test]
fn a_veil_over_a_mark_is_no_contrast() {
    let mut scene = dashes();
    let plain = draw(&scene).unwrap().visibility.lens_groups;
    scene.reflections = vec![Reflection {
        center_r: [0.0, 0.0],
        kind: ReflectionKind::Veil,
        size_r: [1.0, 1.0],
        direction_deg: 0.0,
        brightness: 2.0,
    }];
    for (plain, veiled) in plain.iter().zip(draw(&scene).unwrap().visibility.lens_groups) {
        assert!((40.0..80.0).contains(&plain.contrast_levels), "{plain:?}");
        assert!(veiled.contrast_levels < 0.9 * plain.contrast_levels, "{veiled:?}, without veil {plain:?}");
    }
}

/// What the iris hides of a lens mark cannot be seen, and noise hides what contrast alone would show.
#[test]
fn iris_and_noise_hide_marks() {
    let mut scene = dashes();
    let seen = |scene: &Scene| draw(scene).unwrap().visibility;
    assert!(truth(&scene, "a", &seen(&scene)).unwrap().readable);
    let signal = |v: &Visibility| v.lens_groups[0].signal_to_noise;
    scene.camera.noise_levels = 2.0;
    let low = signal(&seen(&scene));
    scene.camera.noise_levels = 800.0;
    let loud = seen(&scene);
    assert!((low / signal(&loud) - 400.0).abs() < 1e-6);
    assert!(!truth(&scene, "a", &loud).unwrap().readable, "{loud:?}");
    scene.camera.noise_levels = 0.0;
    // As the pupil narrows the iris comes over a mark bit by bit.
    let half_hidden = (30..60).step_by(3).any(|hundredths| {
        scene.pupil.radius_r = f64::from(hundredths) / 100.0;
        (0.15..0.85).contains(&seen(&scene).lens_groups[0].share)
    });
    assert!(half_hidden);
    scene.pupil.radius_r = 0.15;
    let hidden = seen(&scene);
    assert!(hidden.lens_groups.iter().all(|g| g.share < 0.1), "{hidden:?}");
    assert_eq!(truth(&scene, "a", &hidden).unwrap().missing.as_deref(), Some("lens"));
}

/// A scene survives being written and read.
#[test]
fn a_scene_is_its_parameters() {
    let scene = Scene::random(8, 4, &Wanted::default());
    let read: Scene = serde_json::from_str(&serde_json::to_string(&scene).unwrap()).unwrap();
    assert_eq!(truth(&read, "a", &all_seen(&read)), truth(&scene, "a", &all_seen(&scene)));
    assert_eq!(read.reference_marks.len(), scene.reference_marks.len());
}

/// One row of dots has a direction; one dot has none, so that with its twin hidden no axis is there to be read.
#[test]
fn a_single_dot_left_of_two_leaves_no_axis() {
    for (count, missing) in [(3, None), (1, Some("lens"))] {
        let mut scene = Scene::random(3, 0, &Wanted::default());
        scene.lens.as_mut().unwrap().marks.as_mut().unwrap().kind = LensMarkKind::Dots { count, pitch_mm: 0.3 };
        let mut visibility = all_seen(&scene);
        visibility.lens_groups[1] = MarkVisibility::default();
        let truth = truth(&scene, "still", &visibility).unwrap();
        assert_eq!(truth.missing.as_deref(), missing);
        assert_eq!(truth.readable, missing.is_none());
    }
}

/// Six forms of each kind of mark: of 600 scenes 100 each, with a standard deviation of 9.
#[test]
fn any_form_is_as_often_as_any_other() {
    let wanted = Wanted { forms: Forms::Any, ..Wanted::default() };
    let scenes: Vec<Scene> = (0..600).map(|still| Scene::random(5, still, &wanted)).collect();
    let lenses = || scenes.iter().filter_map(|s| s.lens.as_ref()?.marks.as_ref());
    let reference = |form: &str| {
        let of = |mark: &ReferenceMark| format!("{:?}", mark.kind).starts_with(form);
        scenes.iter().filter(|s| s.reference_marks.iter().all(of)).count()
    };
    let lens = |form: &str| lenses().filter(|m| format!("{:?}", m.kind).starts_with(form)).count();
    for form in ["Line", "Stroke", "Dot", "Blot", "Crossed", "Doubled"] {
        assert!((60..=140).contains(&reference(form)), "{form}: {}", reference(form));
    }
    for form in ["Dots { count: 1", "Dots { count: 2", "Dots { count: 3", "Dots { count: 4", "Dash", "PairedLines"] {
        assert!((60..=140).contains(&lens(form)), "{form}: {}", lens(form));
    }
    let bright = lenses().filter(|m| m.colour[0] > 150.0).count();
    assert!((160..=260).contains(&bright), "{bright} of 600 bright");
}
