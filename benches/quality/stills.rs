//! Stills drawn, or found in a folder, measured and judged.

use super::score::{Judged, Known};
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use stillaxis::measurement::measure;
use stillaxis::phantom::{self, Scene, Wanted};
use stillaxis::stills::load::{Loaded, load};
use stillaxis::stills::sheet::{Case, Sheet};
use stillaxis::vision::Picture;
use stillaxis::vision::lens_marks::find_lens_marks;
use stillaxis::vision::limbus::find_limbus;
use stillaxis::vision::reference_marks::choose::readings;
use stillaxis::vision::reference_marks::find_reference_marks;

/// Readings of the reference marks nearer than this say the same axis, degrees.
const SAME_AXIS_DEG: f64 = 3.0;

/// Draw `count` stills of a seed and judge what is measured in them.
///
/// - `closely`: also what other limits go by, which takes longer
pub fn drawn(seed: u64, count: u64, wanted: &Wanted, closely: bool) -> Vec<Judged> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let one = |number: u64| {
        let scene = Scene::random(seed, number, wanted);
        let drawing = phantom::draw(&scene)?;
        let ending = if scene.camera.jpeg_quality.is_some() { "jpg" } else { "png" };
        let name = format!("{number}.{ending}");
        let truth = phantom::truth(&scene, &name, &drawing.visibility)?;
        // As a user would have it: through the file.
        let path = folder.path().join(&name);
        std::fs::write(&path, phantom::encode(&drawing.picture, &scene.camera).ok()?).ok()?;
        let meridians = scene.plan.sheet_has_meridians;
        let case = Case {
            intended_axis_deg: Some(scene.plan.intended_axis_deg),
            marks_denote_deg: if meridians { scene.plan.marks_meant_deg.clone() } else { Vec::new() },
            zero_direction_deg: scene.plan.zero_direction_deg,
            ..Case::default()
        };
        let known = serde_json::from_value(serde_json::to_value(&truth).ok()?).ok()?;
        let judged = judged(&path, &case, known, closely);
        std::fs::remove_file(&path).ok()?;
        judged
    };
    (0..count).into_par_iter().filter_map(one).collect()
}

/// Judge the stills of a folder by its truth.json, with its cases.csv where there is one.
///
/// # Errors
/// What is wrong with the folder, for people.
pub fn of_folder(folder: &Path) -> Result<Vec<Judged>, String> {
    let at = |path: &Path, error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
    let file = folder.join("truth.json");
    let bytes = std::fs::read(&file).map_err(|e| at(&file, &e))?;
    let known: Vec<Known> = serde_json::from_slice(&bytes).map_err(|e| at(&file, &e))?;
    let paths: Vec<PathBuf> = known.iter().map(|k| folder.join(&k.still)).collect();
    if let Some(missing) = paths.iter().find(|path| !path.is_file()) {
        return Err(at(missing, &"named by truth.json, but there is no such still"));
    }
    let sheet = folder.join("cases.csv");
    let cases = if sheet.exists() {
        Sheet::read(&sheet).and_then(|s| s.matched(&paths)).map_err(|e| e.to_string())?.cases
    } else {
        vec![None; paths.len()]
    };
    let jobs: Vec<_> = paths.into_iter().zip(cases).zip(known).collect();
    Ok(jobs
        .into_par_iter()
        .filter_map(|((path, case), known)| judged(&path, &case.unwrap_or_default(), known, true))
        .collect())
}

/// `None` where the file is no picture.
fn judged(path: &Path, case: &Case, known: Known, closely: bool) -> Option<Judged> {
    let Loaded { picture, still, .. } = load(path, case.recording()).ok()?;
    let measured = measure(&picture, still, case);
    let confidence = if closely { confidence(&picture, case) } else { [None; 3] };
    Some(Judged::of(known, &measured.record, measured.found.as_ref(), confidence))
}

/// Limbus score, probability of the reference marks, score of the lens marks.
fn confidence(picture: &Picture, case: &Case) -> [Option<f64>; 3] {
    let Ok(limbus) = find_limbus(picture) else { return [None; 3] };
    let on_axis = [0.0, 180.0];
    let denoted = &case.marks_denote_deg;
    let (pattern, hint) = if denoted.is_empty() {
        (&on_axis[..], case.zero_direction_deg.zip(case.intended_axis_deg).map(|(zero, axis)| zero + axis))
    } else {
        (denoted.as_slice(), case.zero_direction_deg)
    };
    let findings = find_reference_marks(picture, &limbus.ellipse);
    let all = readings(&findings, &limbus.ellipse, pattern, hint);
    let best = all.iter().max_by(|a, b| a.evidence.total_cmp(&b.evidence));
    let probability = best.map(|best| {
        let odds = |evidence: f64| (evidence - best.evidence).exp();
        let same = |zero: f64| stillaxis::geometry::axis_difference(best.zero_deg, zero).abs() <= SAME_AXIS_DEG;
        let agreeing: f64 = all.iter().filter(|r| same(r.zero_deg)).map(|r| odds(r.evidence)).sum();
        agreeing / (all.iter().map(|r| odds(r.evidence)).sum::<f64>() + odds(0.0))
    });
    let lens = find_lens_marks(picture, &limbus.ellipse).ok().map(|lens| lens.probability);
    [Some(limbus.score), probability, lens]
}
