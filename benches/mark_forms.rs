//! How well width, length, lean, contrast and opposition of drawn reference marks are measured, and whether their sd is true.
//!
//!     cargo bench --bench mark_forms -- easy|mixed|hard SEED COUNT
//!
//! For each quantity and form of mark: how many, bias, root mean square error, root mean square of error over stated sd, share
//! of 95 % intervals that hold the truth, how many were given without an sd. The true contrast is that of the same scene
//! drawn without noise, with and without its marks.

mod recorded;

use rayon::prelude::*;
use recorded::recorded;
use std::collections::BTreeMap;
use stillaxis::geometry::{PixelPoint, Vector};
use stillaxis::measurement::measure;
use stillaxis::phantom::{self, Difficulty, MarkTruth, Scene, View, Wanted};
use stillaxis::record::ReferenceMark;
use stillaxis::stills::load::Loaded;
use stillaxis::stills::sheet::Case;

/// Errors, each with its sd, by quantity and form.
type Tables = BTreeMap<(&'static str, String), Vec<(f64, Option<f64>)>>;
/// Quantity, form, error, sd.
type Reading = (&'static str, String, f64, Option<f64>);

fn still(seed: u64, number: u64, difficulty: Difficulty) -> Option<Vec<Reading>> {
    let scene = Scene::random(seed, number, &Wanted { difficulty, ..Wanted::default() });
    let drawing = phantom::draw(&scene)?;
    let truth = phantom::truth(&scene, "", &drawing.visibility)?;
    let kind = truth.reference_kind.clone()?.split('x').next()?.to_owned();
    let Loaded { picture, still, .. } = recorded(&scene, &drawing)?;
    let case = if scene.plan.sheet_has_meridians {
        Case {
            marks_denote_deg: scene.plan.marks_meant_deg.clone(),
            zero_direction_deg: scene.plan.zero_direction_deg,
            intended_axis_deg: Some(scene.plan.intended_axis_deg),
            ..Case::default()
        }
    } else {
        Case { intended_axis_deg: Some(scene.plan.intended_axis_deg), ..Case::default() }
    };
    let record = measure(&picture, still, &case).record;
    let clean = contrasts(&scene);
    let mut readings = Vec::new();
    let of = |mark: &ReferenceMark| {
        let near = |t: &&MarkTruth| (t.center_px[0] - mark.center_px[0]).hypot(t.center_px[1] - mark.center_px[1]);
        truth.reference_marks.iter().min_by(|a, b| near(a).total_cmp(&near(b))).filter(|t| near(t) < 12.0)
    };
    for mark in &record.reference_marks {
        let Some(t) = of(mark) else { continue };
        let mut add = |name, error, sd| readings.push((name, kind.clone(), error, sd));
        add("length_mm", mark.length_mm - t.length_mm, mark.length_sd_mm);
        add("width_mm", mark.width_mm - t.width_mm, mark.width_sd_mm);
        if let (Some(lean), Some(true_lean)) = (mark.lean_deg, t.lean_deg) {
            add("lean_deg", lean - true_lean, mark.lean_sd_deg);
        }
        let opposite = truth.reference_marks.iter().find(|o| {
            let apart = (o.meridian_deg - t.meridian_deg).rem_euclid(360.0);
            (apart - 180.0).abs() < 25.0
        });
        if let (Some(apart), Some(o)) = (mark.from_opposite_deg, opposite) {
            let true_apart = (t.meridian_deg - o.meridian_deg).rem_euclid(360.0) - 180.0;
            add("from_opposite_deg", apart - true_apart, mark.from_opposite_sd_deg);
        }
        if let Some(contrast) = clean.as_ref().and_then(|c| c(t)) {
            add("contrast", mark.contrast - contrast, mark.contrast_sd);
        }
    }
    Some(readings)
}

/// Contrast of the core of a mark in the channel that shows it best, in a scene without noise.
fn contrasts(scene: &Scene) -> Option<impl Fn(&MarkTruth) -> Option<f64>> {
    let mut with = scene.clone();
    (with.camera.noise_levels, with.camera.jpeg_quality) = (0.0, None);
    let mut without = with.clone();
    without.reference_marks.clear();
    let pictures = [phantom::draw(&with)?.picture, phantom::draw(&without)?.picture];
    let view = View::new(&scene.view)?;
    Some(move |mark: &MarkTruth| {
        let unit = |degrees: f64| Vector::new(degrees.to_radians().cos(), degrees.to_radians().sin());
        let middle = view.eye_of(&PixelPoint::from(mark.center_px));
        let own = mark.meridian_deg + mark.lean_deg.unwrap_or(0.0);
        let half_length =
            mark.length_mm / 2.0 / view.mm_per_radius() * if mark.lean_deg.is_some() { 0.8 } else { 0.25 };
        let half_width = mark.width_mm / 4.0 / view.mm_per_radius();
        let (mut sums, mut count) = ([0.0; 3], 0.0);
        for (i, j) in (-20..=20).flat_map(|i| (-5..=5).map(move |j| (i, j))) {
            let place =
                unit(own) * (half_length * f64::from(i) / 20.0) + unit(own + 90.0) * (half_width * f64::from(j) / 5.0);
            let p = view.picture_of(&(middle + place));
            let [a, b] = pictures.each_ref().map(|picture| nearest(picture, &p));
            let (a, b) = (a?, b?);
            for c in 0..3 {
                sums[c] += 1.0 - f64::from(a[c]) / f64::from(b[c]).max(1.0);
            }
            count += 1.0;
        }
        sums.into_iter().map(|s| s / count).reduce(f64::max)
    })
}

fn nearest(picture: &image::RgbImage, p: &PixelPoint) -> Option<[u8; 3]> {
    let (x, y) = (p.x.round(), p.y.round());
    let inside = x >= 0.0 && y >= 0.0 && x < f64::from(picture.width()) && y < f64::from(picture.height());
    inside.then(|| picture.get_pixel(x as u32, y as u32).0)
}

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let [difficulty, seed, count] = &given[..] else {
        println!("usage: cargo bench --bench mark_forms -- easy|mixed|hard SEED COUNT");
        return;
    };
    let difficulty = match difficulty.as_str() {
        "easy" => Difficulty::Easy,
        "mixed" => Difficulty::Mixed,
        "hard" => Difficulty::Hard,
        other => panic!("{other}: expected easy, mixed or hard"),
    };
    let seed: u64 = seed.parse().expect("SEED is a whole number");
    let count: u64 = count.parse().expect("COUNT is a whole number");
    let all: Vec<Reading> = (0..count).into_par_iter().filter_map(|k| still(seed, k, difficulty)).flatten().collect();
    let mut tables: Tables = BTreeMap::new();
    for (name, kind, error, sd) in all {
        tables.entry((name, kind)).or_default().push((error, sd));
        tables.entry((name, "all".to_owned())).or_default().push((error, sd));
    }
    println!(
        "{:18} {:8} {:>5} {:>9} {:>9} {:>9} {:>8} {:>6} {:>5}",
        "quantity", "form", "n", "bias", "rms", "median", "rms/sd", "held", "no sd"
    );
    for ((name, kind), readings) in tables {
        let with: Vec<(f64, f64)> = readings.iter().filter_map(|(e, sd)| Some((*e, (*sd)?))).collect();
        let n = with.len() as f64;
        let rms =
            |values: &dyn Fn(&(f64, f64)) -> f64| (with.iter().map(|v| values(v).powi(2)).sum::<f64>() / n).sqrt();
        let mut sizes: Vec<f64> = with.iter().map(|v| v.0.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        println!(
            "{name:18} {kind:8} {:5} {:9.4} {:9.4} {:9.4} {:8.2} {:6.3} {:5}",
            with.len(),
            with.iter().map(|v| v.0).sum::<f64>() / n,
            rms(&|v| v.0),
            sizes.get(sizes.len() / 2).copied().unwrap_or(f64::NAN),
            rms(&|v| v.0 / v.1),
            with.iter().filter(|v| v.0.abs() < 1.96 * v.1).count() as f64 / n,
            readings.len() - with.len(),
        );
    }
}
