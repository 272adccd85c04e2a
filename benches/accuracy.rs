//! Error of the places of drawn marks over the least possible one.
//!
//!     cargo bench --bench accuracy [-- TRIALS] [-- MARK...]
//!
//! MARK is the beginning of a mark's name, where not all are wanted.
//!
//! A mark is drawn on a plain ground, white noise is added alike to red, green and blue, and the mark is found as in a still. The
//! bound (Cramer-Rao) is for what a reader could know at best: the mark's form, and that ground and depth of its ink are unknown.
//! It follows from how the drawn pixels change as the mark is moved, which is first checked on a Gaussian line of known formula.
//! Printed is the root mean square error over the bound: across the ray for a reference mark, direction of the axis for two
//! groups of lens marks.
//!
//! The truth is the centroid of the drawn ink; what the noise does not explain (sampling, thresholds) is in the error.

use image::{ImageBuffer, Rgb, RgbImage};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;
use stillaxis::geometry::{Ellipse, PixelPoint, Vector, axis_difference};
use stillaxis::phantom::scene::{LensMarkKind, ReferenceMark, ReferenceMarkKind};
use stillaxis::phantom::{self, Difficulty, MarksShown, Scene, View, Wanted};
use stillaxis::vision::Picture;
use stillaxis::vision::lens_marks::find_lens_marks;
use stillaxis::vision::reference_marks::find_reference_marks;

const SEED: u64 = 2_718;
/// Measurements of each cell.
const TRIALS: u64 = 60;
/// Of which so many share a place of the mark, with noise of their own.
const A_PLACE: u64 = 6;
/// The grid: its middle is the second of each.
const NOISE: [f64; 3] = [2.0, 4.0, 8.0];
const BLUR_PX: [f64; 3] = [0.7, 1.3, 2.6];
const RADIUS_PX: [f64; 3] = [100.0, 200.0, 400.0];
/// Half a step for derivatives, px.
const STEP_PX: f64 = 0.5;
/// The drawn limbus over that about which marks stand, so that all of the ring is plain iris.
const WIDER: f64 = 1.6;

fn main() {
    let trials = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(TRIALS);
    let wanted: Vec<String> =
        std::env::args().skip(1).filter(|a| a != "--bench" && a.parse::<u64>().is_err()).collect();
    let wants = |name: &str| wanted.is_empty() || wanted.iter().any(|w| name.starts_with(w.as_str()));
    gaussian_line();
    println!("\nroot mean square error over the bound; {trials} marks a figure, seed {SEED}; found, where not all");
    let line = ReferenceMarkKind::Line;
    for (name, kind, width_r) in [
        ("line (across)", line, 0.02),
        ("broad stroke (across)", ReferenceMarkKind::Stroke, 0.05),
        ("dot (across)", ReferenceMarkKind::Dot, 0.07),
        ("blot (across)", ReferenceMarkKind::Blot, 0.1),
        ("double line (across)", ReferenceMarkKind::Doubled { gap_r: 0.06 / WIDER }, 0.02),
        ("cross (across)", ReferenceMarkKind::Crossed { angle_deg: 60.0 }, 0.02),
    ] {
        if wants(name) {
            table(name, |noise, blur, radius| reference_mark(kind, width_r, noise, blur, radius, trials));
        }
    }
    for (name, kind) in [
        ("two groups of three dots (axis)", LensMarkKind::Dots { count: 3, pitch_mm: 0.32 }),
        ("two dots (axis)", LensMarkKind::Dots { count: 1, pitch_mm: 0.0 }),
        ("two dashes (axis)", LensMarkKind::Dash { length_mm: 0.7 }),
    ] {
        if wants(name) {
            table(name, |noise, blur, radius| lens_marks(kind, noise, blur, radius, trials));
        }
    }
}

/// The bound for a Gaussian line of depth 40, sd 2.5 px and noise 6 (computed independently): 0.251935 px a row.
fn gaussian_line() {
    let (depth, sd, noise): (f64, f64, f64) = (40.0, 2.5, 6.0);
    let at = |x: f64| depth * (-(x / sd).powi(2) / 2.0).exp();
    let slopes = (-40..=40).map(f64::from).map(|x| (at(x - STEP_PX) - at(x + STEP_PX)) / (2.0 * STEP_PX));
    let bound = noise / slopes.map(|v| v * v).sum::<f64>().sqrt();
    println!("Gaussian line, depth 40, sd 2.5 px, noise 6: {bound:.4} px a row by difference, 0.2519 by formula");
}

fn table(name: &str, cell: impl Fn(f64, f64, f64) -> Ratio + Sync) {
    println!("\n{name:<34}{}", BLUR_PX.map(|b| format!("   blur {b:<4} px")).concat());
    for radius in RADIUS_PX {
        for noise in NOISE {
            let cells = BLUR_PX.map(|blur| cell(noise, blur, radius));
            let shown = cells.map(|c| {
                let missed = if c.found < 1.0 { format!(" ({:.0}%)", 100.0 * c.found) } else { String::new() };
                format!("{:>16}", format!("{:.2}{missed}", c.ratio))
            });
            println!("limbus {radius:>3} px, noise {noise:<3}{:>10}{}", "", shown.concat());
        }
    }
}

/// Error over bound, and share of the marks that were found.
struct Ratio {
    ratio: f64,
    found: f64,
}

impl Ratio {
    /// - `errors`: error and bound of each mark found
    fn of(errors: &[(f64, f64)], trials: u64) -> Self {
        let squares = errors.iter().map(|(error, bound)| (error / bound).powi(2)).sum::<f64>();
        Self { ratio: (squares / errors.len() as f64).sqrt(), found: errors.len() as f64 / trials as f64 }
    }
}

/// An eye of one colour, seen squarely by a plain camera.
fn plain(radius_px: f64, blur_px: f64, size: [u32; 2], center: [f64; 2], marks: MarksShown) -> Scene {
    let wanted = Wanted { difficulty: Difficulty::Easy, marks, ..Wanted::default() };
    let mut scene = Scene::random(SEED, 0, &wanted);
    scene.view.width_px = size[0];
    scene.view.height_px = size[1];
    scene.view.limbus_center_px = center;
    scene.view.limbus_half_width_px = radius_px;
    scene.view.turn_deg = 0.0;
    scene.view.tilt_deg = 0.0;
    scene.view.pixel_aspect = 1.0;
    scene.view.limbus_height_over_width = 1.0;
    let grey = [150.0; 3];
    scene.iris.outer_colour = grey;
    scene.iris.inner_colour = grey;
    (scene.iris.fibres, scene.iris.blotches, scene.iris.dark_ring, scene.iris.haze) = (0.0, 0.0, 0.0, 0.0);
    scene.pupil.center_r = [0.0, 0.0];
    scene.pupil.reflex.bright = grey;
    scene.pupil.reflex.dull = grey;
    scene.pupil.reflex.clouds = 0.0;
    scene.pupil.device = phantom::scene::PupilDevice::None;
    scene.bubbles.clear();
    scene.reflections.clear();
    scene.instruments.clear();
    scene.surroundings.lashes = 0;
    scene.surroundings.upper_lid_r = 40.0;
    scene.surroundings.lower_lid_r = 40.0;
    scene.surroundings.half_width_r = 40.0;
    scene.light.gain = [1.0; 3];
    scene.light.exposure = 1.0;
    scene.light.field_center_px = center;
    scene.light.field_radius_px = 100.0 * radius_px;
    scene.light.slope = 0.0;
    let camera = &mut scene.camera;
    (camera.resolution, camera.blur_px, camera.motion_px) = (1.0, blur_px, 0.0);
    (camera.noise_levels, camera.chroma_blur_px, camera.sharpening) = (0.0, 0.0, 0.0);
    (camera.gamma, camera.contrast, camera.saturation, camera.black) = (1.0, 1.0, 1.0, [0.0; 3]);
    camera.jpeg_quality = None;
    scene
}

fn picture(scene: &Scene) -> RgbImage {
    phantom::draw(scene).expect("a view with a limbus").picture
}

/// The still with white noise alike in all channels, as 16 bits.
fn noisy(clean: &RgbImage, noise: f64, rng: &mut ChaCha8Rng) -> Picture {
    ImageBuffer::from_fn(clean.width(), clean.height(), |x, y| {
        let grain: f64 = rng.sample(StandardNormal);
        let value =
            clean.get_pixel(x, y).0.map(|v| ((f64::from(v) + noise * grain).round().clamp(0.0, 255.0) * 257.0) as u16);
        Rgb(value)
    })
}

/// Least sd of the first parameter, the others being unknown as well, and the ground (level and slopes).
///
/// - `derivatives`: how the green of each pixel changes with each parameter
fn bound(derivatives: &[Vec<f64>], width: u32, noise: f64) -> f64 {
    /// Changes smaller than this are rounding, levels.
    const ROUNDING: f64 = 0.6;
    let count = derivatives.len() + 3;
    let mut information = nalgebra::DMatrix::<f64>::zeros(count, count);
    // 8 bits round, with a variance of 1/12.
    let variance = noise * noise + 1.0 / 12.0;
    let pixels = derivatives[0].len();
    let near: Vec<bool> = (0..pixels).map(|k| derivatives.iter().any(|d| d[k].abs() > ROUNDING)).collect();
    for k in 0..pixels {
        let (x, y) = ((k % width as usize) as f64 / 100.0, (k / width as usize) as f64 / 100.0);
        let own = derivatives.iter().map(|d| if near[k] { d[k] } else { 0.0 });
        // The ground is known from beside the mark too: as wide again on either side.
        let ground = if near[k] || beside(&near, width, k) { [1.0, x, y] } else { [0.0; 3] };
        let row = nalgebra::DVector::from_iterator(count, own.chain(ground));
        information.ger(1.0 / variance, &row, &row, 1.0);
    }
    for k in 0..count {
        information[(k, k)] *= 1.0 + 1e-12;
    }
    information.cholesky().map_or(f64::NAN, |c| c.inverse()[(0, 0)].sqrt())
}

/// Whether a pixel lies within a few px of one that the mark changes, in its row or column.
fn beside(near: &[bool], width: u32, at: usize) -> bool {
    let width = width as usize;
    let (x, y) = ((at % width) as isize, (at / width) as isize);
    let height = (near.len() / width) as isize;
    (-8..=8).any(|step: isize| {
        let hit = |x: isize, y: isize| {
            x >= 0 && y >= 0 && x < width as isize && y < height && near[y as usize * width + x as usize]
        };
        hit(x + step, y) || hit(x, y + step)
    })
}

fn difference(ahead: &Scene, back: &Scene, per: f64) -> Vec<f64> {
    let (a, b) = (picture(ahead), picture(back));
    a.pixels().zip(b.pixels()).map(|(a, b)| (f64::from(a.0[1]) - f64::from(b.0[1])) / per).collect()
}

/// A mark to the right of the middle, its place across the ray.
fn reference_mark(kind: ReferenceMarkKind, width_r: f64, noise: f64, blur: f64, radius: f64, trials: u64) -> Ratio {
    let places = trials.div_ceil(A_PLACE);
    let errors: Vec<(f64, f64)> = (0..places)
        .into_par_iter()
        .flat_map_iter(|place| {
            let mut rng = ChaCha8Rng::seed_from_u64(SEED);
            rng.set_stream(place);
            // A window of the picture about the mark.
            let size = [(0.72 * radius) as u32, (0.8 * radius) as u32];
            let center = [-0.68 * radius + rng.random::<f64>(), 0.4 * radius + rng.random::<f64>()];
            let mut scene = plain(radius * WIDER, blur, size, center, MarksShown::ReferenceOnly);
            scene.lens = None;
            let template = scene.reference_marks[0].clone();
            let inner = [0.92, 1.16].map(|r| r / WIDER);
            scene.pupil.radius_r = 0.2;
            let mark = ReferenceMark {
                meridian_deg: rng.random_range(-6.0..6.0),
                kind,
                inner_r: inner[0],
                outer_r: inner[1],
                width_r: [width_r / WIDER; 2],
                lean_deg: 0.0,
                softness_r: 0.004,
                opacity: 0.8,
                fading: 0.0,
                broken: 0.0,
                ink: [40.0; 3],
                ..template
            };
            scene.reference_marks = vec![mark.clone()];
            let with = |change: &dyn Fn(&mut ReferenceMark)| {
                let mut moved = scene.clone();
                change(&mut moved.reference_marks[0]);
                moved
            };
            let middle_px = (inner[0] + inner[1]) / 2.0 * WIDER * radius;
            let turn = (STEP_PX / middle_px).to_degrees();
            let out = STEP_PX / (WIDER * radius);
            let lean = (STEP_PX / (0.12 * radius)).to_degrees();
            let derivatives = [
                difference(&with(&|m| m.meridian_deg += turn), &with(&|m| m.meridian_deg -= turn), 2.0 * STEP_PX),
                difference(
                    &with(&|m| (m.inner_r, m.outer_r) = (m.inner_r + out, m.outer_r + out)),
                    &with(&|m| (m.inner_r, m.outer_r) = (m.inner_r - out, m.outer_r - out)),
                    2.0 * STEP_PX,
                ),
                difference(&with(&|m| m.lean_deg += lean), &with(&|m| m.lean_deg -= lean), 2.0 * lean),
                difference(&with(&|m| m.opacity += 0.1), &with(&|m| m.opacity -= 0.1), 0.2),
            ];
            let round = matches!(kind, ReferenceMarkKind::Dot | ReferenceMarkKind::Blot);
            let derivatives: Vec<Vec<f64>> =
                derivatives.into_iter().enumerate().filter(|(k, _)| !(round && *k == 2)).map(|(_, d)| d).collect();
            let least = bound(&derivatives, size[0], noise);
            let clean = picture(&scene);
            let ellipse = Ellipse::circle(PixelPoint::new(center[0], center[1]), radius).expect("a circle");
            // The centroid of its ink, from the truth of the scene.
            let truth = phantom::ink_centroid(&View::new(&scene.view).expect("a view"), &mark);
            let across = {
                let ray = (truth - ellipse.center()).normalize();
                Vector::new(-ray.y, ray.x)
            };
            (0..A_PLACE)
                .filter_map(|_| {
                    let still = noisy(&clean, noise, &mut rng);
                    let found = find_reference_marks(&still, &ellipse);
                    let near = found.iter().map(|f| f.centroid - truth).filter(|d| d.norm() < 0.06 * radius);
                    let nearest = near.min_by(|a, b| a.norm().total_cmp(&b.norm()))?;
                    Some((nearest.dot(&across), least))
                })
                .collect::<Vec<_>>()
        })
        .collect();
    Ratio::of(&errors, places * A_PLACE)
}

/// A lens in a plain pupil, the direction of its axis.
fn lens_marks(kind: LensMarkKind, noise: f64, blur: f64, radius: f64, trials: u64) -> Ratio {
    let places = trials.div_ceil(A_PLACE);
    let errors: Vec<(f64, f64)> = (0..places)
        .into_par_iter()
        .flat_map_iter(|place| {
            let mut rng = ChaCha8Rng::seed_from_u64(SEED + 1);
            rng.set_stream(place);
            let side = (1.6 * radius) as u32;
            let center = [0.8 * radius + rng.random::<f64>(), 0.8 * radius + rng.random::<f64>()];
            let mut scene = plain(radius, blur, [side; 2], center, MarksShown::Both);
            scene.reference_marks.clear();
            scene.pupil.radius_r = 0.78;
            let lens = scene.lens.as_mut().expect("a lens");
            lens.axis_deg = rng.random_range(0.0..180.0);
            lens.center_mm = [0.0, 0.0];
            lens.tilt_deg = 0.0;
            (lens.edge_reflection, lens.capsule_opening_mm, lens.folds) = (0.0, 0.0, 0);
            lens.stretch_lines.clear();
            lens.haptics = phantom::scene::Haptics::Hidden;
            let marks = lens.marks.as_mut().expect("marks on the lens");
            (marks.kind, marks.opacity, marks.colour) = (kind, 0.8, [40.0; 3]);
            marks.radius_mm = 2.1;
            marks.width_mm = if matches!(kind, LensMarkKind::Dash { .. }) { 0.13 } else { 0.16 };
            let with = |change: &dyn Fn(&mut phantom::scene::Lens)| {
                let mut moved = scene.clone();
                moved.lens.iter_mut().for_each(change);
                moved
            };
            let reach_mm = 2.1;
            let mm_px = 11.7 / 2.0 / radius;
            let turn = (STEP_PX * mm_px / reach_mm).to_degrees();
            let deepen = |by: f64| move |l: &mut phantom::scene::Lens| l.marks.iter_mut().for_each(|m| m.opacity += by);
            let derivatives = [
                difference(&with(&|l| l.axis_deg += turn), &with(&|l| l.axis_deg -= turn), 2.0 * turn),
                difference(&with(&|l| l.center_mm[0] += mm_px / 2.0), &with(&|l| l.center_mm[0] -= mm_px / 2.0), 1.0),
                difference(&with(&|l| l.center_mm[1] += mm_px / 2.0), &with(&|l| l.center_mm[1] -= mm_px / 2.0), 1.0),
                difference(&with(&deepen(0.1)), &with(&deepen(-0.1)), 0.2),
            ];
            let least = bound(&derivatives, side, noise);
            let clean = picture(&scene);
            let ellipse = Ellipse::circle(PixelPoint::new(center[0], center[1]), radius).expect("a circle");
            let truth = scene.lens.as_ref().map_or(0.0, |l| l.axis_deg);
            (0..A_PLACE)
                .filter_map(|_| {
                    let found = find_lens_marks(&noisy(&clean, noise, &mut rng), &ellipse).ok()?;
                    let arm = found.ends[0].0 - found.ends[1].0;
                    let error = axis_difference(truth, (-arm.y).atan2(arm.x).to_degrees());
                    // Another reading than of the marks is the business of the choice, not of the fit.
                    (error.abs() < 3.0 || error.abs() < 6.0 * least).then_some((error, least))
                })
                .collect::<Vec<_>>()
        })
        .collect();
    Ratio::of(&errors, places * A_PLACE)
}
