//! Small scenes drawn here: a pupil, an iris, marks at a known angle, noise.

use super::marks::{Kind, Shape};
use super::*;
use crate::geometry::{Vector, ccw_degrees, direction_of};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// Level of a shaft, 8-bit: red is clear of the greatest, and a pupil's is 70 to 250.
const SHAFT: f64 = 240.0;

/// Colour of white marks, 8-bit, as bright as a pupil may be, and the share of it that is seen.
const WHITE: [f64; 3] = [175.0, 150.0, 142.0];
const OPACITY: f64 = 0.6;

/// One spot or stroke, in limbus radii from the middle of the limbus, y down.
#[derive(Clone, Copy)]
struct Stroke {
    middle: Vector,
    /// From the middle to an end; nil for a dot.
    half: Vector,
    radius: f64,
}

struct Scene {
    size: u32,
    center: PixelPoint,
    radius: f64,
    strokes: Vec<Stroke>,
    /// Strokes that are white.
    white: Vec<Stroke>,
    /// Shafts that lie before it all, bright.
    shafts: Vec<Stroke>,
    /// Share of the light that a stroke takes.
    depth: f64,
    noise: f64,
    seed: u64,
}

impl Scene {
    fn new(strokes: Vec<Stroke>) -> Self {
        Self {
            size: 320,
            center: PixelPoint::new(161.3, 158.6),
            radius: 150.0,
            strokes,
            white: Vec::new(),
            shafts: Vec::new(),
            depth: 0.6,
            noise: 3.0,
            seed: 1,
        }
    }

    fn limbus(&self) -> Ellipse {
        Ellipse::circle(self.center, self.radius).unwrap()
    }

    /// Drawn as light, in 8-bit levels: an iris, a pupil with a reflex that falls off, strokes with edges a pixel soft.
    fn picture(&self) -> Picture {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        let noise = Normal::new(0.0, self.noise).unwrap();
        Picture::from_fn(self.size, self.size, |x, y| {
            let place = (PixelPoint::new(f64::from(x), f64::from(y)) - self.center) / self.radius;
            let distance = place.norm();
            let pupil = 1.0 / (1.0 + ((distance - 0.75) * self.radius / 1.5).exp());
            let light = 70.0 + (130.0 - 60.0 * place.y) * pupil;
            let cover = |of: &[Stroke]| of.iter().map(|s| s.cover(&place, self.radius)).fold(0.0, f64::max);
            let pupil = light * (1.0 - self.depth * cover(&self.strokes)) * if distance > 1.0 { 2.0 } else { 1.0 };
            let before = cover(&self.shafts);
            let value = pupil * (1.0 - before) + SHAFT * before;
            let white = OPACITY * cover(&self.white);
            let levels = [0, 1, 2].map(|k| value * [1.0, 0.6, 0.4][k] * (1.0 - white) + WHITE[k] * white);
            image::Rgb(levels.map(|level| ((level + noise.sample(&mut random)).clamp(0.0, 255.0) * 257.0) as u16))
        })
    }

    fn find(&self) -> Result<LensFinding, LensRefusal> {
        find_lens_marks(&self.picture(), &self.limbus())
    }
}

impl Stroke {
    fn cover(&self, place: &Vector, radius: f64) -> f64 {
        let d = place - self.middle;
        let along = if self.half.norm() > 0.0 { d.dot(&self.half) / self.half.norm_squared() } else { 0.0 };
        let distance = (d - self.half * along.clamp(-1.0, 1.0)).norm();
        1.0 / (1.0 + ((distance - self.radius) * radius / 0.4).exp())
    }
}

/// One group of each design that lenses carry, about a place on the axis.
fn group(design: &str, place: Vector, axis: Vector) -> Vec<Stroke> {
    let dot = |along: f64, radius: f64| Stroke { middle: place + axis * along, half: Vector::zeros(), radius };
    let line = |aside: f64, radius: f64| Stroke {
        middle: place + Vector::new(-axis.y, axis.x) * aside,
        half: axis * 0.055,
        radius,
    };
    match design {
        "1 dot" => vec![dot(0.0, 0.022)],
        "2 dots" => vec![dot(-0.03, 0.016), dot(0.03, 0.016)],
        "3 dots" => [-0.048, 0.0, 0.048].map(|s| dot(s, 0.015)).to_vec(),
        "4 dots" => [-0.066, -0.022, 0.022, 0.066].map(|s| dot(s, 0.012)).to_vec(),
        "dash" => vec![line(0.0, 0.012)],
        _ => vec![line(-0.018, 0.006), line(0.018, 0.006)],
    }
}

const DESIGNS: [&str; 6] = ["1 dot", "2 dots", "3 dots", "4 dots", "dash", "2 lines"];

/// A lens with its axis at `degrees`, its middle off that of the limbus.
fn lens(design: &str, degrees: f64, offset: Vector) -> Vec<Stroke> {
    let axis = direction_of(degrees);
    [-0.45, 0.45].iter().flat_map(|s| group(design, offset + axis * *s, axis)).collect()
}

fn axis_of(finding: &LensFinding) -> f64 {
    ccw_degrees(&(finding.ends[1].0 - finding.ends[0].0)).unwrap()
}

const OFFSET: Vector = Vector::new(0.05, -0.03);

#[test]
fn every_design_is_read_at_every_angle() {
    for design in DESIGNS {
        for k in 0..6 {
            let degrees = 7.0 + 31.0 * f64::from(k);
            let finding =
                Scene::new(lens(design, degrees, OFFSET)).find().unwrap_or_else(|e| panic!("{design} {degrees}: {e}"));
            let error = axis_difference(degrees, axis_of(&finding));
            assert!(error.abs() < 0.25, "{design} at {degrees}: off by {error}");
            assert_eq!(finding.groups_seen, 2);
            let expected = match design {
                "1 dot" | "dash" => 2,
                "3 dots" => 6,
                "4 dots" => 8,
                _ => 4,
            };
            assert_eq!(finding.marks.len(), expected, "{design} at {degrees}");
        }
    }
}

#[test]
fn two_lines_are_read_as_two_whatever_their_distance() {
    for distance in [0.034, 0.04, 0.046, 0.052, 0.06, 0.068, 0.075] {
        for degrees in [12.0, 74.0, 131.0] {
            let axis = direction_of(degrees);
            let aside = Vector::new(-axis.y, axis.x) * (distance / 2.0);
            let line = |middle: Vector| Stroke { middle, half: axis * 0.06, radius: 0.007 };
            let lines = |s: f64| [-1.0, 1.0].map(|side| line(OFFSET + axis * s + aside * side));
            let scene = Scene::new([-0.45, 0.45].into_iter().flat_map(lines).collect());
            let said = format!("{distance} apart, at {degrees}");
            let found = scene.find().unwrap_or_else(|e| panic!("{said}: {e}"));
            assert_eq!(found.marks.len(), 4, "{said}");
            let error = axis_difference(degrees, axis_of(&found));
            assert!(error.abs() < 0.25, "{said}: off by {error}");
            let middle = nalgebra::center(&found.ends[0].0, &found.ends[1].0);
            let beside = (middle - scene.center) / scene.radius - OFFSET;
            assert!(beside.norm() < 0.005, "{said}: the middle is off by {beside}");
            // One line of each pair gives another axis: nothing may speak for that.
            let patch = dark_patch(&scene.picture(), &scene.limbus());
            for reading in all_of_a_tone(&patch).iter().filter(|r| r.groups.len() == 2 && r.evidence > 0.0) {
                let off = axis_difference(degrees, reading.axis_deg);
                assert!(off.abs() < 2.0 || off.abs() > 10.0, "{said}: {:?} is {off} off", reading.groups[0].kind);
            }
        }
    }
}

#[test]
fn small_and_large_pictures_are_read_alike() {
    for (radius, size) in [(80.0, 180), (450.0, 980)] {
        for design in ["3 dots", "dash"] {
            let mut scene = Scene::new(lens(design, 63.0, OFFSET));
            (scene.radius, scene.size) = (radius, size);
            scene.center = PixelPoint::new(f64::from(size) / 2.0 + 3.2, f64::from(size) / 2.0 - 1.7);
            let error = axis_difference(63.0, axis_of(&scene.find().unwrap()));
            assert!(error.abs() < 0.4, "{design} at radius {radius}: off by {error}");
        }
    }
}

/// A limbus that is off by some percent says where to look only: the axis must not follow it.
#[test]
fn a_limbus_that_is_off_moves_nothing() {
    let scene = Scene::new(lens("3 dots", 20.0, OFFSET));
    let picture = scene.picture();
    let off = [([1.05, 1.05], [0.0, 0.0]), ([0.95, 0.95], [0.03, 0.0]), ([1.04, 0.97], [0.0, -0.04])];
    for (size, shift) in off {
        let center = scene.center + Vector::new(shift[0], shift[1]) * scene.radius;
        let limbus = Ellipse::from_axes(center, size.map(|s| s * scene.radius), 30.0).unwrap();
        let error = axis_difference(20.0, axis_of(&find_lens_marks(&picture, &limbus).unwrap()));
        assert!(error.abs() < 0.25, "{size:?} {shift:?}: off by {error}");
    }
}

#[test]
fn the_answer_follows_turns_mirrors_and_shifts() {
    let scene = Scene::new(lens("2 dots", 34.0, OFFSET));
    let (picture, side) = (scene.picture(), f64::from(scene.size) - 1.0);
    let plain = axis_of(&scene.find().unwrap());
    let PixelPoint { coords: c } = scene.center;
    let circle = |x: f64, y: f64| Ellipse::circle(PixelPoint::new(x, y), scene.radius).unwrap();

    let turned = image::imageops::rotate90(&picture); // clockwise as seen
    let found = axis_of(&find_lens_marks(&turned, &circle(side - c.y, c.x)).unwrap());
    assert!(axis_difference(plain - 90.0, found).abs() < 0.05, "turned: {plain} became {found}");

    let mirrored = image::imageops::flip_horizontal(&picture);
    let found = axis_of(&find_lens_marks(&mirrored, &circle(side - c.x, c.y)).unwrap());
    assert!(axis_difference(-plain, found).abs() < 0.05, "mirrored: {plain} became {found}");

    let mut shifted = Picture::new(400, 400);
    image::imageops::replace(&mut shifted, &picture, 61, 17);
    let found = axis_of(&find_lens_marks(&shifted, &circle(c.x + 61.0, c.y + 17.0)).unwrap());
    assert!(axis_difference(plain, found).abs() < 0.02, "shifted: {plain} became {found}");
}

#[test]
fn bright_marks_are_read_too() {
    for design in ["3 dots", "dash"] {
        let mut scene = Scene::new(lens(design, 101.0, OFFSET));
        scene.depth = -0.45;
        let error = axis_difference(101.0, axis_of(&scene.find().unwrap()));
        assert!(error.abs() < 0.3, "{design}: off by {error}");
    }
}

/// Rows of dots whose twin is hidden give their own direction, as surely as they say.
#[test]
fn white_marks_are_read_on_a_reflex_that_is_about_as_bright() {
    for design in ["2 dots", "3 dots", "dash"] {
        for degrees in [12.0, 74.0, 131.0] {
            let white = lens(design, degrees, OFFSET);
            let found = Scene { white, ..Scene::new(Vec::new()) }.find();
            let found = found.unwrap_or_else(|e| panic!("{design} at {degrees}: {e}"));
            assert_eq!(found.groups_seen, 2, "{design} at {degrees}");
            let error = axis_difference(degrees, axis_of(&found));
            assert!(error.abs() < 0.4, "{design} at {degrees}: off by {error}");
        }
    }
}

#[test]
fn a_group_whose_twin_is_hidden_is_read_by_itself() {
    for (design, kept) in [("3 dots", 3), ("4 dots", 4)] {
        for degrees in [8.0, 77.0, 141.0] {
            let mut strokes = lens(design, degrees, OFFSET);
            strokes.truncate(kept);
            let finding = Scene::new(strokes).find().unwrap();
            assert_eq!((finding.groups_seen, finding.marks.len()), (1, kept), "{design} at {degrees}");
            let error = axis_difference(degrees, axis_of(&finding));
            let chord = finding.ends[1].0 - finding.ends[0].0;
            let across = Vector::new(-chord.y, chord.x).normalize();
            let variance: f64 = finding.ends.iter().map(|(_, c)| across.dot(&(c * across))).sum();
            let sd = (variance.sqrt() / chord.norm()).to_degrees();
            assert!((0.6..1.0).contains(&sd), "{design} at {degrees}: states {sd}");
            assert!(error.abs() < 2.0 * sd, "{design} at {degrees}: off by {error}, states {sd}");
        }
    }
}

/// A patch with clear marks at 20 degrees, and the reading of both groups.
fn clear_pair(design: &str) -> (Patch, Reading) {
    let scene = Scene::new(lens(design, 20.0, OFFSET));
    let patch = dark_patch(&scene.picture(), &scene.limbus());
    let (_, readings) = at_a_glance(&patch, &Tries::new(&patch));
    let pair = readings.into_iter().max_by(|a, b| a.evidence.total_cmp(&b.evidence)).unwrap();
    (patch, pair)
}

/// A mark stands alone: a spot or dash from which a line leads away, at whatever angle, is the end of something.
#[test]
fn a_tail_is_told_from_a_mark_that_stands_alone() {
    let place = Vector::new(0.4, -0.1);
    let axis = direction_of(14.0);
    for (design, kind, end) in [("1 dot", Kind::Dots(1), 0.0), ("dash", Kind::Dash, 0.055)] {
        for turn in [None, Some(0.0), Some(70.0), Some(-40.0)] {
            let mut strokes = group(design, place, axis);
            let half = turn.map_or(Vector::zeros(), |turn| direction_of(14.0 + turn) * 0.1);
            strokes.extend(turn.map(|_| Stroke { middle: place + axis * end + half, half, radius: 0.012 }));
            let scene = Scene::new(strokes);
            let patch = dark_patch(&scene.picture(), &scene.limbus());
            let group = group_at(&patch, kind, &place);
            let tail = terms::tail(&patch, &group);
            match turn {
                None => assert!(tail < 0.4, "{design} alone: {tail}"),
                Some(turn) => assert!(tail > 0.9, "{design} at a line of {turn} degrees: {tail}"),
            }
        }
    }
}

/// A group of `kind` as it would be fitted to what is drawn at `place`, in limbus radii from the middle.
fn group_at(patch: &Patch, kind: Kind, place: &Vector) -> Group {
    let angle = -14.0_f64.to_radians();
    let place = Vector::new(patch.middle(), patch.middle()) + place * patch.scale;
    let shape = Shape { place, angle, extent: 0.05 * patch.scale, sigma: 0.01 * patch.scale, gap: 1.0 };
    Group {
        kind,
        shape,
        depth: 0.5,
        explained: 1.0,
        seen: 1.0,
        signal: 50.0,
        place_covariance: Matrix::zeros(),
        angle_variance: 0.0,
    }
}

/// A pair says more than one of its groups, and is taken where there is about as much to be said for it.
#[test]
fn a_pair_is_read_rather_than_one_of_its_groups() {
    let (_, pair) = clear_pair("3 dots");
    for (evidence, groups) in [([7.0, 5.0], 2), ([7.0, 6.9], 2), ([6.9, 7.0], 2), ([5.0, 7.0], 2), ([4.0, 7.0], 1)] {
        let pair = Reading { evidence: evidence[0], ..pair.clone() };
        let one = Reading { evidence: evidence[1], groups: vec![pair.groups[0]], ..pair.clone() };
        for readings in [[pair.clone(), one.clone()], [one, pair]] {
            let chosen = chosen(&readings).unwrap();
            assert_eq!(chosen.best.groups.len(), groups, "{evidence:?}");
            assert!(chosen.probability > 0.99 && chosen.rival.is_none(), "{evidence:?}: they say the same");
        }
    }
}

/// Two readings 2 degrees apart and alike probable: the root mean square about the better is the root of 2, and the ends'
/// covariances say as much more.
#[test]
fn readings_that_say_about_the_same_leave_a_spread() {
    let (patch, pair) = clear_pair("dash");
    let turned = Reading { axis_deg: pair.axis_deg + 1.999, ..pair.clone() };
    let variance = |readings: &[Reading]| {
        let found = chosen(readings).unwrap().finding(&patch);
        let chord = found.ends[1].0 - found.ends[0].0;
        let across = Vector::new(-chord.y, chord.x).normalize();
        found.ends.iter().map(|(_, c)| across.dot(&(c * across))).sum::<f64>() / chord.norm_squared()
    };
    let added_deg2 = (variance(&[pair.clone(), turned]) - variance(&[pair])).sqrt().to_degrees().powi(2);
    assert!((added_deg2 - 2.0).abs() < 0.01, "{added_deg2}");
}

/// What is drawn with two bright shafts before it, one across each group of marks, `turned` degrees from the axis and with
/// edges as dark as the marks.
fn behind_shafts(mut strokes: Vec<Stroke>, degrees: f64, turned: f64) -> Scene {
    let shaft = |sign: f64, radius: f64| Stroke {
        middle: OFFSET + direction_of(degrees) * (sign * 0.45),
        half: direction_of(degrees + turned) * 0.25,
        radius,
    };
    strokes.extend([shaft(1.0, 0.032), shaft(-1.0, 0.032)]);
    let mut scene = Scene::new(strokes);
    scene.shafts = vec![shaft(1.0, 0.02), shaft(-1.0, 0.02)];
    scene
}

#[test]
fn marks_that_bright_shafts_lie_across_are_read_beside_them() {
    let mut read = 0;
    for design in ["dash", "2 dots", "3 dots", "4 dots"] {
        for degrees in [8.0, 39.0, 70.0, 101.0, 132.0, 163.0] {
            for turned in [60.0, 90.0, 115.0] {
                if let Ok(found) = behind_shafts(lens(design, degrees, OFFSET), degrees, turned).find() {
                    let error = axis_difference(degrees, axis_of(&found));
                    assert!(error.abs() < 0.5, "{design} {degrees}, shafts at {turned}: off by {error}");
                    read += 1;
                }
            }
        }
    }
    // Of 72; 29 where the shafts count as ground.
    assert!(read >= 38, "{read}");
}

#[test]
fn bright_shafts_without_marks_are_refused() {
    for degrees in [8.0, 39.0, 70.0, 101.0, 132.0, 163.0] {
        for turned in [60.0, 90.0, 115.0] {
            if let Ok(found) = behind_shafts(Vec::new(), degrees, turned).find() {
                panic!(
                    "{degrees}, shafts at {turned}: invented {:?} with a probability of {}",
                    found.ends, found.probability
                );
            }
        }
    }
}

#[test]
fn a_pupil_without_marks_is_refused() {
    for seed in 0..10 {
        let mut scene = Scene::new(Vec::new());
        scene.seed = seed;
        assert!(matches!(scene.find(), Err(LensRefusal::Missing { .. })));
    }
}

/// Rows of dots in noise of a standard deviation of `noise` grey levels, each taking `depth` of the light: what is read of them, and
/// by how many degrees it is off.
fn errors_in_noise(noise: f64, depth: f64) -> Vec<f64> {
    let mut errors = Vec::new();
    for design in ["2 dots", "3 dots", "4 dots"] {
        for degrees in [8.0, 39.0, 70.0, 101.0, 132.0, 163.0] {
            for seed in 0..4 {
                let mut scene = Scene::new(lens(design, degrees, OFFSET));
                (scene.noise, scene.depth, scene.seed) = (noise, depth, seed);
                errors.extend(scene.find().map(|found| axis_difference(degrees, axis_of(&found)).abs()));
            }
        }
    }
    errors
}

/// Two specks of noise fit a row of dots as well as dots do: what noise gains by chance must not speak for them.
#[test]
fn noise_as_deep_as_marks_misleads_nothing() {
    for (noise, depth) in [(27.0, 0.2), (65.0, 0.33)] {
        let errors = errors_in_noise(noise, depth);
        let worst = errors.iter().copied().fold(0.0, f64::max);
        assert!(worst < 2.0, "noise {noise}, depth {depth}: {} read, off by up to {worst}", errors.len());
    }
}

#[test]
fn marks_that_stand_out_of_noise_are_read() {
    let errors = errors_in_noise(27.0, 0.33);
    let worst = errors.iter().copied().fold(0.0, f64::max);
    assert!(errors.len() >= 70 && worst < 1.0, "{} of 72 read, off by up to {worst}", errors.len());
}

/// Spots and strokes anywhere, in any direction, as many as two lenses have.
#[test]
fn scattered_spots_and_strokes_are_refused() {
    for seed in 0..25 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let strokes = (0..14)
            .map(|k| {
                let place = direction_of(random.random::<f64>() * 360.0) * (0.15 + 0.5 * random.random::<f64>());
                let half = direction_of(random.random::<f64>() * 360.0) * if k < 9 { 0.0 } else { 0.05 };
                Stroke { middle: place, half, radius: 0.010 + 0.008 * random.random::<f64>() }
            })
            .collect();
        let mut scene = Scene::new(strokes);
        scene.seed = seed;
        if let Ok(found) = scene.find() {
            panic!("seed {seed}: invented {:?} with a probability of {}", found.ends, found.probability);
        }
    }
}

/// Folds, threads and shafts may lie as dashes do, but they do not end where a dash does.
#[test]
fn lines_that_go_on_are_refused() {
    let lines = |degrees: f64, inner: f64| {
        let stroke = |sign: f64| Stroke {
            middle: direction_of(degrees) * (sign * (0.5 + inner) / 2.0),
            half: direction_of(degrees) * ((0.5 - inner) / 2.0),
            radius: 0.011,
        };
        vec![stroke(1.0), stroke(-1.0)]
    };
    for degrees in [5.0, 38.0, 71.0, 104.0, 137.0, 170.0] {
        for inner in [0.0, 0.1] {
            if let Ok(found) = Scene::new(lines(degrees, inner)).find() {
                panic!("{degrees}, {inner}: invented {:?} with a probability of {}", found.ends, found.probability);
            }
        }
    }
}

/// One lone dot, the other hidden: where two shafts cross opposite it is no dot.
#[test]
fn a_crossing_of_shafts_is_no_lone_dot() {
    for degrees in [11.0, 52.0, 93.0, 134.0, 175.0, 216.0] {
        for (turned, radius) in [(8.0, 0.01), (25.0, 0.012), (40.0, 0.015), (60.0, 0.012), (90.0, 0.01)] {
            let axis = direction_of(degrees);
            let dot = group("1 dot", OFFSET + axis * 0.45, axis);
            let shaft = |turned: f64, radius: f64| Stroke {
                middle: OFFSET - axis * 0.45,
                half: direction_of(degrees + turned) * 0.4,
                radius,
            };
            let scene = Scene::new([dot, vec![shaft(turned, radius), shaft(turned + 70.0, 1.6 * radius)]].concat());
            if let Ok(found) = scene.find() {
                panic!("{degrees}, {turned}: invented {:?} with a probability of {}", found.ends, found.probability);
            }
        }
    }
}

#[test]
fn two_crossing_lenses_are_ambiguous() {
    let strokes = [lens("3 dots", 20.0, OFFSET), lens("3 dots", 95.0, OFFSET)].concat();
    let Err(LensRefusal::Ambiguous { readings }) = Scene::new(strokes).find() else {
        panic!("no ambiguity seen");
    };
    let mut axes = readings.map(|r| axis_of(&r).rem_euclid(180.0));
    axes.sort_by(f64::total_cmp);
    assert!((axes[0] - 20.0).abs() < 0.3 && (axes[1] - 95.0).abs() < 0.3, "{axes:?}");
}

#[test]
fn a_limbus_outside_the_picture_is_refused() {
    let picture = Scene::new(lens("3 dots", 20.0, OFFSET)).picture();
    for (x, y, radius) in [(-900.0, 40.0, 150.0), (310.0, 5000.0, 30.0), (160.0, 160.0, 1e-3), (160.0, 160.0, 1e5)] {
        let limbus = Ellipse::circle(PixelPoint::new(x, y), radius).unwrap();
        assert!(find_lens_marks(&picture, &limbus).is_err());
    }
    let limbus = Ellipse::circle(PixelPoint::new(0.0, 0.0), 5.0).unwrap();
    assert!(find_lens_marks(&Picture::new(1, 1), &limbus).is_err());
}

/// Scatter across the axis of where groups of three dots are found in 16 pictures, px, and the root mean square of their errors
/// over the standard deviations given.
///
/// - `darkness`: of a dot at a distance from its centre (px), grey levels
/// - `noise`: its standard deviation, grey levels
fn scatter_of_dots(darkness: impl Fn(f64) -> f64, noise: f64) -> (f64, f64) {
    let center = PixelPoint::new(230.4, 228.1);
    let radius = 210.0;
    let axis = direction_of(12.0);
    let across = Vector::new(-axis.y, axis.x);
    let (mut squares, mut scaled, mut count) = (0.0, 0.0, 0.0);
    for seed in 0..16 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let noise = Normal::new(0.0, noise).unwrap();
        let shift = Vector::new(random.random::<f64>(), random.random::<f64>());
        let ends = [-0.45, 0.45].map(|s| center + shift + axis * (s * radius));
        let dots: Vec<_> = ends.iter().flat_map(|e| [-11.0, 0.0, 11.0].map(|s| e + axis * s)).collect();
        let picture = Picture::from_fn(460, 460, |x, y| {
            let place = PixelPoint::new(f64::from(x), f64::from(y));
            let dark: f64 = dots.iter().map(|d| darkness((place - d).norm())).sum();
            let level = (120.0 - dark + noise.sample(&mut random)).clamp(0.0, 255.0);
            image::Rgb([(level * 257.0) as u16; 3])
        });
        let found = find_lens_marks(&picture, &Ellipse::circle(center, radius).unwrap()).unwrap();
        for (place, covariance) in &found.ends {
            let nearest = ends.iter().min_by(|a, b| (*a - place).norm().total_cmp(&(*b - place).norm())).unwrap();
            let error = (place - nearest).dot(&across);
            squares += error * error;
            scaled += error * error / across.dot(&(covariance * across));
            count += 1.0;
        }
    }
    ((squares / count).sqrt(), (scaled / count).sqrt())
}

/// Gaussian dots of amplitude 40 and width 2.5 px in noise of 6: no unbiased reading of one dot scatters by less than
/// 0.119683 px in a direction (Cramer-Rao bound), of the mean of three by less than that over the root of 3.
#[test]
fn centroids_scatter_little_more_than_the_bound_and_say_so() {
    let bound = 0.119683 / 3.0_f64.sqrt();
    let (scatter, z) = scatter_of_dots(|r| 40.0 * (-r * r / (2.0 * 6.25)).exp(), 6.0);
    assert!(scatter < 1.4 * bound && scatter > 0.6 * bound, "scatter {scatter}, bound {bound}");
    assert!((0.6..1.4).contains(&z), "the standard deviations given are off by {z}");
}

/// Discs are not the model's Gaussians: what that leaves of them is alike on both sides and no reason for a wide interval.
#[test]
fn a_shape_that_the_model_has_not_leaves_the_place_as_certain() {
    let disc = |r: f64| 20.0 * (5.5 - r).clamp(0.0, 3.0);
    let (scatter, z) = scatter_of_dots(disc, 2.0);
    assert!(scatter < 0.02, "scatter {scatter}");
    assert!((0.6..1.4).contains(&z), "the standard deviations given are off by {z}");
}

/// A speck and the tip of a hook opposite it: two lone dots and nothing more, were it not for the shaft that ends in one of them. (A shaft that
/// points to the middle is looked for in `lines_that_go_on_are_refused`.)
#[test]
fn a_speck_and_the_tip_of_a_hook_are_no_marks() {
    let mut tips = 0;
    for degrees in [20.0, 77.0, 134.0, 191.0, 248.0, 305.0] {
        for (turned, radius) in [(40.0, 0.018), (80.0, 0.022), (120.0, 0.026)] {
            let axis = direction_of(degrees);
            let along = direction_of(degrees + 180.0 + turned);
            let speck = Stroke { middle: axis * 0.45, half: Vector::zeros(), radius: 0.022 };
            let hook = Stroke { middle: axis * -0.45 + along * 0.25, half: along * 0.25, radius };
            match Scene::new(vec![speck, hook]).find() {
                Ok(found) => {
                    panic!("{degrees}, {turned}: invented {:?}, probability {}", found.ends, found.probability)
                }
                Err(LensRefusal::Tip) => tips += 1,
                Err(_) => {}
            }
        }
    }
    assert!(tips > 9, "{tips} of 18 are refused for what they are");
}

/// Two small dots, and thirty short strokes on one side that stand out more and of which none is opposite another.
#[test]
fn faint_dots_are_read_beside_much_that_stands_out_more() {
    for seed in 0..6 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let degrees = 25.0 + 50.0 * seed as f64;
        let axis = direction_of(degrees);
        let aside = Vector::new(-axis.y, axis.x);
        let clutter: Vec<Stroke> = (0..30)
            .map(|_| Stroke {
                half: direction_of(random.random_range(0.0..180.0)) * 0.025,
                middle: aside * random.random_range(0.25..0.6) + axis * random.random_range(-0.25..0.25),
                radius: random.random_range(0.012..0.02),
            })
            .collect();
        let scene = |strokes| Scene { depth: 0.5, ..Scene::new(strokes) };
        if let Ok(found) = scene(clutter.clone()).find() {
            panic!("{degrees}: invented {:?} with a probability of {}", found.ends, found.probability);
        }
        let dot = |at: f64| Stroke { middle: OFFSET + axis * at, half: Vector::zeros(), radius: 0.006 };
        let finding = scene([vec![dot(-0.45), dot(0.45)], clutter].concat()).find();
        let finding = finding.unwrap_or_else(|refusal| panic!("{degrees}: {refusal}"));
        let error = axis_difference(degrees, axis_of(&finding));
        assert!(error.abs() < 0.25, "{degrees}: off by {error}");
    }
}
