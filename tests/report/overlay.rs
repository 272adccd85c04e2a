//! The overlay, on pictures of one grey so that every drawn pixel shows. Places are computed from the map alone.

use crate::fixture::{ALL_CODES, Scene, WIDTH_MM, all_kinds};
use image::{Rgb, RgbImage};
use stillaxis::geometry::{Ellipse, EyeMap, PixelPoint, Vector, direction_of};
use stillaxis::record::{MarkKind, Record, RefusalCode};
use stillaxis::report::overlay::{draw, draw_thumbnail};

const GREY: u8 = 128;
/// The limbus of the scenes is round in its own plane.
const LIMBUS_MM: f64 = WIDTH_MM / 2.0;

fn drawn(scene: &Scene, record: &Record) -> RgbImage {
    draw(&scene.flat(GREY), record, Some(&scene.map))
}

/// Largest departure from the grey within `reach` px of `at`.
fn ink_near(picture: &RgbImage, at: &PixelPoint, reach: i64) -> u8 {
    let (x, y) = (at.x.round() as i64, at.y.round() as i64);
    let mut most = 0;
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let Rgb(pixel) = picture.get_pixel((x + dx) as u32, (y + dy) as u32);
            most = most.max(pixel.map(|v| v.abs_diff(GREY)).into_iter().max().unwrap());
        }
    }
    most
}

/// Middle of the lens in the plane of the limbus, mm.
fn middle(scene: &Scene, record: &Record) -> Vector {
    let sum: Vector = record.lens_marks.iter().map(|mark| scene.map.to_eye(&PixelPoint::from(mark.center_px))).sum();
    sum / record.lens_marks.len() as f64
}

#[test]
fn both_axes_lie_where_the_map_puts_them() {
    let scene = Scene::new();
    let record = scene.measured("a.jpg", 31.0, 64.0);
    let picture = drawn(&scene, &record);
    let center = middle(&scene, &record);
    for mm in [-4.0, -1.5, 1.5, 4.0, 6.3] {
        let lens = scene.map.to_picture(&(center + direction_of(95.0) * mm));
        assert!(ink_near(&picture, &lens, 1) > 60, "lens axis at {mm} mm");
        for aside in [-0.35, 0.35] {
            let place = scene.map.to_picture(&(center + direction_of(95.0) * mm + direction_of(5.0) * aside));
            if mm.abs() < 3.9 {
                assert_eq!(ink_near(&picture, &place, 1), 0, "{aside} mm beside the lens axis at {mm} mm");
            }
        }
    }
    // Dashes: within the length of a dash and its gap there is both ink and none.
    for start in [-3.9, 1.0, 2.5] {
        let along: Vec<u8> =
            (0..30).map(|k| ink_near(&picture, &scene.place(31.0, start + 0.03 * f64::from(k)), 0)).collect();
        assert!(along.iter().any(|ink| *ink > 60) && along.contains(&0), "intended axis from {start} mm: {along:?}");
    }
    assert_eq!(ink_near(&picture, &scene.place(140.0, 2.0), 8), 0);
}

/// With a lens that follows the marks, the line stops at each mark and its frame is empty but for the centroid.
#[test]
fn marks_stay_visible() {
    let scene = Scene::new();
    for error in [0.0, 1.0] {
        let record = scene.measured("a.jpg", 31.0, error);
        let picture = drawn(&scene, &record);
        for mark in &record.reference_marks {
            let lean = mark.meridian_deg + mark.lean_deg.unwrap();
            let center = scene.map.to_eye(&PixelPoint::from(mark.center_px));
            assert!(ink_near(&picture, &PixelPoint::from(mark.center_px), 0) > 60, "its centroid is marked");
            for mm in [-0.6, -0.4, -0.2, 0.2, 0.4, 0.6] {
                let place = scene.map.to_picture(&(center + direction_of(lean) * mm));
                assert_eq!(ink_near(&picture, &place, 0), 0, "{mm} mm from the centroid");
            }
            let frame = scene.map.to_picture(&(center + direction_of(lean) * (mark.length_mm / 2.0)));
            assert!(ink_near(&picture, &frame, 6) > 60, "its frame");
        }
    }
}

/// A limbus that nearly fills the picture, close to each of its edges in turn, and axes all around: wherever the figures
/// have to go, what lies in the frames of the marks is as without them.
#[test]
fn lettering_stays_off_the_marks_near_every_edge() {
    for [x, y] in [[450.0, 350.0], [330.0, 350.0], [570.0, 350.0], [450.0, 315.0], [450.0, 385.0]] {
        let ellipse = Ellipse::from_axes(PixelPoint::new(x, y), [320.0, 300.0], 0.0).unwrap();
        let scene = Scene { ellipse, map: EyeMap::new(&ellipse, WIDTH_MM, 1.0, 0.0).unwrap(), size: [900, 700] };
        for intended in (0..180).step_by(15).map(f64::from) {
            let mut record = scene.measured("a.jpg", intended, if intended < 90.0 { 2.8 } else { -2.8 });
            record.reference_marks =
                [0.0, 180.0].map(|turn| scene.reference_mark(intended + turn, MarkKind::Dot)).to_vec();
            let mut bare = record.clone();
            bare.alignment = None;
            let (picture, bare) = (drawn(&scene, &record), drawn(&scene, &bare));
            for center in record.reference_marks.iter().map(|mark| PixelPoint::from(mark.center_px)) {
                // The frame is a square of 8 px and more on either side; lines end at it.
                for (dx, dy) in (-5..=5).flat_map(|dy| (-5..=5).map(move |dx| (dx, dy))) {
                    let at = [(center.x.round() as i64 + dx) as u32, (center.y.round() as i64 + dy) as u32];
                    if at[0] < 900 && at[1] < 700 {
                        let [with, without] = [&picture, &bare].map(|picture| picture.get_pixel(at[0], at[1]));
                        assert_eq!(with, without, "limbus at {x}, {y}, axis {intended}, {dx}, {dy} from {center:?}");
                    }
                }
            }
        }
    }
}

/// Two marks 6.6 degrees apart: beside the frame of one, where its number is wont to stand, lies the other.
#[test]
fn a_number_stays_off_the_next_mark() {
    let scene = Scene::new();
    let mut record = scene.refused("a.jpg", RefusalCode::LensMarksMissing);
    record.reference_marks = [26.6, 20.0].map(|degrees| scene.reference_mark(degrees, MarkKind::Radial)).to_vec();
    let picture = drawn(&scene, &record);
    let mark = &record.reference_marks[1];
    let center = scene.map.to_eye(&PixelPoint::from(mark.center_px));
    for mm in [-0.6, -0.5, -0.4, -0.3, -0.2, 0.2, 0.3, 0.4, 0.5, 0.6] {
        let place = scene.map.to_picture(&(center + direction_of(20.0 + mark.lean_deg.unwrap()) * mm));
        assert_eq!(ink_near(&picture, &place, 1), 0, "{mm} mm from the centroid");
    }
}

/// Ticks every 5 degrees of the plane of the limbus, none between: in a picture tilted by some 36 degrees, directions
/// of the picture itself would be off by up to 6 degrees.
#[test]
fn the_scale_follows_the_tilt() {
    let scene = Scene::new();
    let record = scene.refused("a.jpg", RefusalCode::ReferenceMarksMissing);
    let picture = drawn(&scene, &record);
    for tick in (0..360).step_by(5) {
        let degrees = f64::from(tick);
        assert!(ink_near(&picture, &scene.place(degrees, 1.045 * LIMBUS_MM), 1) > 60, "tick {tick}");
        assert_eq!(ink_near(&picture, &scene.place(degrees + 2.5, 1.05 * LIMBUS_MM), 0), 0, "after {tick}");
    }
    // Longest at 0 and 90, short between.
    for (degrees, length) in [(0.0, 1.08), (90.0, 1.08), (30.0, 1.08)] {
        assert!(ink_near(&picture, &scene.place(degrees, length * LIMBUS_MM), 1) > 60, "{degrees}");
        assert_eq!(ink_near(&picture, &scene.place(degrees + 5.0, length * LIMBUS_MM), 1), 0, "{degrees} + 5");
    }
}

/// Where the eye's 0 is known, the scale starts there.
#[test]
fn the_scale_is_the_eyes_where_its_zero_is_known() {
    let scene = Scene::new();
    let mut record = scene.measured("a.jpg", 31.0, 2.0);
    let inks = |record: &Record, degrees: f64| {
        ink_near(&drawn(&scene, record), &scene.place(degrees, 1.045 * LIMBUS_MM), 1) > 60
    };
    assert_eq!([100.0, 102.4].map(|degrees| inks(&record, degrees)), [true, false]);
    // 33.0 in the picture is 10.6 in the eye: its 0 lies at 22.4, a tick at 102.4.
    record.alignment.as_mut().unwrap().lens_axis_in_eye_deg = Some(10.6);
    assert_eq!([100.0, 102.4].map(|degrees| inks(&record, degrees)), [false, true]);
}

#[test]
fn the_picture_stays_as_it_is_where_nothing_is_drawn() {
    let scene = Scene::new();
    let original = scene.eye();
    let picture = draw(&original, &scene.measured("a.jpg", 31.0, 24.0), Some(&scene.map));
    let same = |x: u32, y: u32| {
        let before = original.get_pixel(x, y).0.map(|v| (v / 257) as u8);
        picture.get_pixel(x, y).0 == before
    };
    let changed = (0..750).flat_map(|y| (0..1000).map(move |x| (x, y))).filter(|(x, y)| !same(*x, *y)).count();
    assert!(changed > 2_000 && changed < 30_000, "{changed} of 750 000 pixels are drawn upon");
    let refused = draw(&original, &scene.refused("a.jpg", RefusalCode::LimbusNotFound), None);
    assert!(
        (0..750).all(
            |y| (0..1000).all(|x| refused.get_pixel(x, y).0 == original.get_pixel(x, y).0.map(|v| (v / 257) as u8))
        )
    );
}

/// Light cores show on black, dark casings on white.
#[test]
fn strokes_show_on_dark_and_on_bright_pictures() {
    let scene = Scene::new();
    let record = scene.measured("a.jpg", 31.0, 24.0);
    let center = middle(&scene, &record);
    let places = [
        ("lens axis", scene.map.to_picture(&(center + direction_of(55.0) * 1.0))),
        ("limbus", scene.place(120.0, LIMBUS_MM)),
        ("scale", scene.place(120.0, 1.06 * LIMBUS_MM)),
        ("lens mark", PixelPoint::from(record.lens_marks[0].center_px)),
        ("reference mark", PixelPoint::from(record.reference_marks[0].center_px)),
    ];
    for (ground, name) in [(0_u8, "black"), (255, "white")] {
        let picture = draw(&scene.flat(ground), &record, Some(&scene.map));
        for (what, at) in &places {
            let mut most = 0;
            for dy in -3..=3 {
                for dx in -3..=3 {
                    let pixel = picture.get_pixel((at.x as i32 + dx) as u32, (at.y as i32 + dy) as u32);
                    let [r, g, b] = pixel.0.map(u32::from);
                    let luminance = (2126 * r + 7152 * g + 722 * b) / 10_000;
                    most = most.max(luminance.abs_diff(u32::from(ground)));
                }
            }
            assert!(most > 130, "{what} on {name}: {most}");
        }
    }
}

/// An axis at 178 and a lens at 0 are 2 degrees apart, not 178: the arc must not be drawn the long way round.
#[test]
fn the_angle_is_drawn_across_the_wrap() {
    let scene = Scene::new();
    for (intended, error) in [(178.0, 2.0), (1.0, -2.5), (170.0, 30.0), (10.0, -30.0)] {
        let record = scene.measured("a.jpg", intended, error);
        let picture = drawn(&scene, &record);
        let center = middle(&scene, &record);
        let ink_at = |degrees: f64| {
            (0..2).any(|half| {
                // Between 0.7 and 0.95 of the limbus lie the arc and the bar.
                let direction = direction_of(degrees + 180.0 * f64::from(half));
                (0..40).any(|k| {
                    let place = scene.map.to_picture(&(center + direction * (4.1 + 0.03 * f64::from(k))));
                    ink_near(&picture, &place, 1) > 60
                })
            })
        };
        assert!(!ink_at(90.0) && !ink_at(60.0) && !ink_at(120.0), "{intended} {error:+}");
        if error.abs() > 20.0 {
            assert!(ink_at(intended + error / 2.0), "{intended} {error:+}: the arc itself");
            assert!(!ink_at(intended - error / 2.0), "{intended} {error:+}: on the wrong side");
        }
    }
}

/// The arc lies on the half of the lens axis that carries its figures, also where the two axes lie on either side of 180.
#[test]
fn the_angle_lies_beside_its_figures() {
    let scene = Scene::new();
    for (intended, error) in [(170.0, 30.0), (10.0, -30.0), (60.0, 30.0)] {
        let record = scene.measured("a.jpg", intended, error);
        let picture = drawn(&scene, &record);
        let center = middle(&scene, &record);
        let lens = record.alignment.as_ref().unwrap().lens_deg;
        let ink = |degrees: f64, from_mm: f64, to_mm: f64| {
            let places = (0..60).map(|k| from_mm + (to_mm - from_mm) * f64::from(k) / 60.0);
            let places = places.map(|mm| scene.map.to_picture(&(center + direction_of(degrees) * mm)));
            places.filter(|place| ink_near(&picture, place, 2) > 60).count()
        };
        let halves = [0.0, 180.0].map(|half| (ink(lens + half, 7.0, 8.2), ink(lens + half - error / 2.0, 4.0, 4.6)));
        let lettered = usize::from(halves[1].0 > halves[0].0);
        assert!(halves[lettered].0 > 20 && halves[1 - lettered].0 < 10, "{intended} {error:+}: {halves:?}");
        assert!(halves[lettered].1 > 0 && halves[1 - lettered].1 == 0, "{intended} {error:+}: {halves:?}");
    }
}

/// The bar ends where the interval does.
#[test]
fn the_interval_is_drawn() {
    let scene = Scene::new();
    let mut record = scene.measured("a.jpg", 31.0, 24.0);
    record.alignment.as_mut().unwrap().interval95_deg = [14.0, 34.0];
    let picture = drawn(&scene, &record);
    let center = middle(&scene, &record);
    let ink_at = |degrees: f64| {
        [0.0, 180.0].into_iter().any(|half| {
            (0..24).any(|k| {
                let mm = 4.55 + 0.02 * f64::from(k);
                let place = scene.map.to_picture(&(center + direction_of(degrees + half) * mm));
                ink_near(&picture, &place, 0) > 60
            })
        })
    };
    assert!(ink_at(31.0 + 15.0) && ink_at(31.0 + 33.0));
    assert!(!ink_at(31.0 + 11.0) && !ink_at(31.0 + 37.0));
}

/// Dark pixels below the picture: words are drawn, by the embedded font.
#[test]
fn the_panel_says_what_the_record_says() {
    let scene = Scene::new();
    let panel = |record: &Record| {
        let picture = drawn(&scene, record);
        let height = picture.height() - 750;
        image::imageops::crop_imm(&picture, 0, 750, 1000, height).to_image()
    };
    let dark = |picture: &RgbImage| picture.pixels().filter(|pixel| pixel.0.iter().all(|v| *v < 90)).count();
    let record = scene.measured("one.jpg", 31.0, 24.0);
    let first = panel(&record);
    assert!(dark(&first) > 4_000, "{}", dark(&first));
    let mut changed = record.clone();
    changed.still.path = "other.jpg".into();
    assert_ne!(panel(&changed), first);
    changed = record.clone();
    changed.alignment.as_mut().unwrap().error_deg = 24.1;
    assert_ne!(panel(&changed), first);
    changed = record.clone();
    changed.warnings = vec!["a warning".into()];
    assert!(panel(&changed).height() > first.height());
    changed = record.clone();
    changed.still.mirrored = true;
    assert!(panel(&changed).height() > first.height());
    let panels: Vec<RgbImage> = ALL_CODES.map(|code| panel(&scene.refused("a.jpg", code))).to_vec();
    for (index, one) in panels.iter().enumerate() {
        assert!(panels[index + 1..].iter().all(|other| other != one), "{:?}", ALL_CODES[index]);
    }
}

/// Where two readings fit alike both are ringed, and the key names the rings.
#[test]
fn both_readings_are_ringed() {
    let scene = Scene::new();
    let record = scene.refused("a.jpg", RefusalCode::ReferenceMarksAmbiguous);
    let [one, other] = &record.refusals[0].alternatives[..] else { panic!("two readings") };
    let picture = drawn(&scene, &record);
    let mut bare = record.clone();
    bare.refusals[0].alternatives.clear();
    let without = drawn(&scene, &bare);
    for center in one.centers_px.iter().chain(&other.centers_px) {
        let changed = |dx: i64, dy: i64| {
            let (x, y) = ((center[0].round() as i64 + dx) as u32, (center[1].round() as i64 + dy) as u32);
            picture.get_pixel(x, y) != without.get_pixel(x, y)
        };
        assert!((-14..=14).any(|d| changed(d, 0)) && (-14..=14).any(|d| changed(0, d)), "no ring about {center:?}");
    }
    assert!(picture.height() >= without.height());
}

/// Neither limbus, ticks nor figures of the scale (at 30, 120, ... by the size of this picture) lie over what would be marks.
#[test]
fn what_would_be_marks_stays_visible() {
    let scene = Scene::new();
    let mut record = scene.refused("a.jpg", RefusalCode::ReferenceMarksAmbiguous);
    for mm in [LIMBUS_MM, 6.3, 6.7, 7.0] {
        for (alternative, degrees) in record.refusals[0].alternatives.iter_mut().zip([30.0, 120.0]) {
            alternative.centers_px = [0.0, 180.0].map(|turn| scene.place(degrees + turn, mm).coords.into()).to_vec();
        }
        let picture = drawn(&scene, &record);
        for center in record.refusals[0].alternatives.iter().flat_map(|alternative| &alternative.centers_px) {
            assert_eq!(ink_near(&picture, &PixelPoint::from(*center), 3), 0, "{mm} mm out, {center:?}");
        }
    }
}

#[test]
fn every_kind_of_record_can_be_drawn() {
    let scene = Scene::new();
    let picture = scene.flat(GREY);
    for record in all_kinds() {
        let map = record.limbus.as_ref().map(|_| &scene.map);
        let drawn = draw(&picture, &record, map);
        assert_eq!(drawn.width(), 1000);
        assert!(drawn.height() > 800 && drawn.height() < 1000, "{}: {}", record.still.path, drawn.height());
        assert_eq!(draw_thumbnail(&picture, &record, map, 96).dimensions(), (96, 72));
    }
    let mut odd = scene.measured("a\u{0}\u{1b}[31m\u{fffe}\n.jpg", 20.0, 3.0);
    odd.reference_marks = vec![scene.reference_mark(20.0, MarkKind::Dot)];
    odd.lens_marks.truncate(3);
    let alignment = odd.alignment.as_mut().unwrap();
    alignment.interval95_deg = [f64::NEG_INFINITY, 400.0];
    assert!(drawn(&scene, &odd).height() > 800);
}

/// From a single pixel to more than a screen holds; a strip either way; a limbus larger than the picture.
#[test]
fn pictures_of_any_size_can_be_drawn() {
    for (size, width, least_height) in [
        ([1, 1], 480, 40),
        ([300, 225], 900, 675 + 60),
        ([599, 400], 1198, 800 + 60),
        ([1920, 1080], 1920, 1080 + 100),
        ([3000, 2000], 2560, 1707 + 100),
        ([4000, 3], 2560, 40),
        ([3, 4000], 480, 2560 + 40),
    ] {
        let scene = Scene::sized(size);
        let picture = drawn(&scene, &scene.measured("a.jpg", 31.0, 24.0));
        assert_eq!(picture.width(), width, "{size:?}");
        assert!(picture.height() >= least_height, "{size:?}: {}", picture.height());
    }
    let large = Scene::sized([2000, 1600]);
    let window = Scene { ellipse: large.ellipse, map: large.map, size: [900, 700] };
    assert_eq!(drawn(&window, &window.measured("a.jpg", 31.0, 24.0)).width(), 900);
}

/// Enlarged and reduced pictures carry their lines along: to a third of a pixel the white core of the limbus lies where
/// pixel *areas* put it, x at (x + 1/2) f - 1/2.
#[test]
fn lines_follow_the_size_of_the_drawing() {
    for (size, factor) in [([1000, 750], 1.0), ([300, 225], 3.0), ([3000, 2250], 2560.0 / 3000.0)] {
        let scene = Scene::sized(size);
        let record = scene.refused("a.jpg", RefusalCode::ReferenceMarksMissing);
        let picture = drawn(&scene, &record);
        let expected = |mm: f64, degrees: f64| {
            let on = scene.place(degrees, mm);
            PixelPoint::new((on.x + 0.5) * factor - 0.5, (on.y + 0.5) * factor - 0.5)
        };
        for degrees in [7.0, 77.0, 158.0, 249.0] {
            let at = expected(LIMBUS_MM, degrees);
            let outwards = (expected(1.01 * LIMBUS_MM, degrees) - expected(0.99 * LIMBUS_MM, degrees)).normalize();
            let (mut weight, mut moment) = (0.0, 0.0);
            for step in -40..=40 {
                let distance = f64::from(step) / 10.0;
                let light = (brightness(&picture, &(at + outwards * distance)) - f64::from(GREY)).max(0.0);
                weight += light;
                moment += light * distance;
            }
            assert!(weight > 100.0, "{size:?} at {degrees}: nothing drawn ({weight})");
            assert!((moment / weight).abs() < 0.35, "{size:?} at {degrees}: off by {} px", moment / weight);
        }
    }
}

/// Bilinear, of the first channel.
fn brightness(picture: &RgbImage, at: &PixelPoint) -> f64 {
    let (x, y) = (at.x.floor(), at.y.floor());
    let value = |dx: f64, dy: f64| f64::from(picture.get_pixel((x + dx) as u32, (y + dy) as u32).0[0]);
    let (fx, fy) = (at.x - x, at.y - y);
    (value(0.0, 0.0) * (1.0 - fx) + value(1.0, 0.0) * fx) * (1.0 - fy)
        + (value(0.0, 1.0) * (1.0 - fx) + value(1.0, 1.0) * fx) * fy
}

#[test]
fn the_same_record_gives_the_same_pixels() {
    let scene = Scene::new();
    let record = scene.measured("a.jpg", 31.0, 24.0);
    assert_eq!(drawn(&scene, &record), drawn(&scene, &record));
}
