//! Pictures that hold no eye, and drawn eyes whose limbus was once taken to lie elsewhere.

use super::{distance_percent, find_limbus};
use crate::phantom::{self, Difficulty, Scene, View, Wanted};
use crate::vision::Picture;
use image::Rgb;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const WIDTH: u32 = 640;
const HEIGHT: u32 = 480;

/// A picture of `level`, each channel 0 to 1, at each place (px).
fn drawn(mut level: impl FnMut(f64, f64) -> [f64; 3]) -> Picture {
    Picture::from_fn(WIDTH, HEIGHT, |x, y| {
        Rgb(level(f64::from(x), f64::from(y)).map(|v| (v.clamp(0.0, 1.0) * 65535.0).round() as u16))
    })
}

fn grey(v: f64) -> [f64; 3] {
    [v; 3]
}

fn assert_none_found(name: &str, picture: &Picture) {
    if let Ok(found) = find_limbus(picture) {
        panic!("{name}: a limbus of score {:.2} at {}", found.score, found.ellipse.center());
    }
}

#[test]
fn none_in_gratings_and_gradients() {
    for (period, angle) in [(16.0, 0.0), (40.0, 30.0), (90.0, 75.0), (200.0, 90.0), (350.0, 135.0_f64)] {
        let (sin, cos) = angle.to_radians().sin_cos();
        let wave = |x: f64, y: f64| ((x * cos + y * sin) * std::f64::consts::TAU / period).sin();
        assert_none_found("waves", &drawn(|x, y| grey(0.5 + 0.4 * wave(x, y))));
        assert_none_found("bars", &drawn(|x, y| if wave(x, y) > 0.0 { [0.9, 0.8, 0.7] } else { [0.3, 0.15, 0.1] }));
        assert_none_found("squares", &drawn(|x, y| grey(if wave(x, y) * wave(-y, x) > 0.0 { 1.0 } else { 0.0 })));
        assert_none_found("slope", &drawn(|x, y| grey(0.5 + (x * cos + y * sin - 300.0) / 1000.0)));
    }
    assert_none_found("one level", &drawn(|_, _| [0.6, 0.4, 0.3]));
    assert_none_found("black", &drawn(|_, _| grey(0.0)));
}

#[test]
fn none_in_noise() {
    for seed in 0..4 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        assert_none_found("white noise", &drawn(|_, _| std::array::from_fn(|_| rng.random::<f64>())));
        // Sums of waves of random direction: clouds as large as an eye.
        let waves: Vec<[f64; 4]> = (0..12)
            .map(|_| {
                let (angle, period) = (rng.random_range(0.0..std::f64::consts::TAU), rng.random_range(60.0..400.0));
                let k = std::f64::consts::TAU / period;
                [k * f64::cos(angle), k * f64::sin(angle), rng.random_range(0.0..6.3), rng.random_range(-0.1..0.1)]
            })
            .collect();
        let cloud = |x: f64, y: f64| waves.iter().map(|[u, v, at, a]| a * (u * x + v * y + at).sin()).sum::<f64>();
        assert_none_found("clouds", &drawn(|x, y| [0.6, 0.45, 0.4].map(|v| v + cloud(x, y))));
    }
}

#[test]
fn none_in_discs_and_strokes() {
    for seed in 0..4 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let discs: Vec<[f64; 4]> = (0..14)
            .map(|_| {
                let (x, y) = (rng.random_range(0.0..f64::from(WIDTH)), rng.random_range(0.0..f64::from(HEIGHT)));
                [x, y, rng.random_range(15.0..120.0), rng.random_range(0.1..0.9)]
            })
            .collect();
        let top = |x: f64, y: f64| discs.iter().rev().find(|[cx, cy, r, _]| (x - cx).hypot(y - cy) < *r);
        assert_none_found("discs", &drawn(|x, y| grey(top(x, y).map_or(0.5, |d| d[3]))));
        let lines: Vec<[f64; 4]> = (0..60)
            .map(|_| {
                let (x, y) = (rng.random_range(20.0..560.0), 30.0 + 40.0 * f64::from(rng.random_range(0..11_u32)));
                [x, y, rng.random_range(4.0..40.0), rng.random_range(2.0..20.0)]
            })
            .collect();
        let inked = |x: f64, y: f64| lines.iter().any(|[l, t, w, h]| x > *l && x < l + w && y > *t && y < t + h);
        assert_none_found("strokes", &drawn(|x, y| grey(if inked(x, y) { 0.1 } else { 0.9 })));
    }
    for radius in [60.0, 120.0, 200.0] {
        let inside = |x: f64, y: f64| (x - 320.0).hypot(y - 240.0) < radius;
        assert_none_found("dark disc", &drawn(|x, y| grey(if inside(x, y) { 0.15 } else { 0.8 })));
        assert_none_found("bright disc", &drawn(|x, y| grey(if inside(x, y) { 0.8 } else { 0.15 })));
    }
}

/// Cups of coffee from above under a warm light, many so bright that the cup's red is burnt out. Most were taken for eyes when no
/// more was asked of a limbus whose surroundings were restored. Those that are not burnt out still are.
#[test]
fn few_bright_cups_are_taken_for_eyes() {
    const CUPS: usize = 40;
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let mut claimed = 0;
    for _ in 0..CUPS {
        let [strong, milk, froth, bright, blue] =
            [0.6..1.6, 1.0..1.8, 0.4..0.8, 0.85..1.25, 0.7..0.95].map(|r| rng.random_range(r));
        let [radius, flat, rim] = [80.0..130.0, 0.8..1.0, 1.25..1.9].map(|r| rng.random_range(r));
        let coffee = [0.35, 0.2, 0.1].map(|v| v * strong);
        let rings = [
            (froth, coffee.map(|v| v * milk)),
            (1.0, [1.15, 1.05, blue].map(|v| v * bright)),
            (rim, [0.5, 0.35, 0.22]),
        ];
        let cup = drawn(|x, y| {
            let rho = (x - 330.0).hypot((y - 230.0) / flat) / radius;
            let light = 1.0 + (x - 330.0) / 2560.0;
            let surface = rings.iter().fold(coffee, |within, (edge, beyond)| {
                let out = ((rho - edge) * radius / 4.0 + 0.5).clamp(0.0, 1.0);
                std::array::from_fn(|c| within[c] + out * (beyond[c] - within[c]))
            });
            surface.map(|v| v * light + rng.random_range(-0.015..0.015))
        });
        claimed += usize::from(find_limbus(&cup).is_ok());
    }
    // 11, and 24 when no more was asked.
    assert!(claimed <= 15, "{claimed} of {CUPS}");
}

#[test]
fn what_a_second_look_finds() {
    for (seed, difficulty, number) in [(31_415, Difficulty::Easy, 428), (31_416, Difficulty::Mixed, 554)] {
        let scene = Scene::random(seed, number, &Wanted { difficulty, ..Wanted::default() });
        // As the recorder compresses it.
        let file = phantom::encode(&phantom::draw(&scene).unwrap().picture, &scene.camera).unwrap();
        let picture = image::load_from_memory(&file).unwrap().to_rgb16();
        let found = find_limbus(&picture).unwrap_or_else(|e| panic!("{seed} {number}: {e}")).ellipse;
        let off = distance_percent(View::new(&scene.view).unwrap().limbus(), &found);
        assert!(off < 4.0, "{seed} {number}: {off} % off");
    }
}

/// Recorded half as bright again, red and green are burnt out in iris and sclera alike: no limbus was found in the first two, one
/// 12 % of the radius off in the third.
#[test]
fn a_limbus_in_what_is_burnt_out() {
    for number in [8, 112, 49] {
        let scene = Scene::random(31_416, number, &Wanted::default());
        let file = phantom::encode(&phantom::draw(&scene).unwrap().picture, &scene.camera).unwrap();
        let mut picture = image::load_from_memory(&file).unwrap().to_rgb16();
        picture.iter_mut().for_each(|level| *level = (u32::from(*level) * 3 / 2).min(65_535) as u16);
        let found = find_limbus(&picture).unwrap_or_else(|e| panic!("{number}: {e}")).ellipse;
        let off = distance_percent(View::new(&scene.view).unwrap().limbus(), &found);
        assert!(off < 4.0, "{number}: {off} % off");
    }
}
