//! Time of each stage of one still, on one core.
//!
//!     cargo bench --bench stages [-- STILL]
//!
//! Without a path a drawn 1920 x 1080 JPEG is used. Prints the median of the runs in milliseconds; the overlay is not
//! part of it.

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::Instant;
use stillaxis::measurement::measure;
use stillaxis::phantom::{Difficulty, Scene, Wanted, draw, encode};
use stillaxis::stills::load::{Recording, load};
use stillaxis::stills::sheet::Case;
use stillaxis::vision::lens_marks::find_lens_marks;
use stillaxis::vision::limbus::{candidates, find_limbus};
use stillaxis::vision::reference_marks::find_reference_marks;

const RUNS: usize = 21;
const SEED: u64 = 1;

fn median_ms<T>(mut work: impl FnMut() -> T) -> f64 {
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}

/// The first easy scene of the seed that is 1920 x 1080, as a JPEG.
fn drawn(folder: &Path) -> PathBuf {
    let wanted = Wanted { difficulty: Difficulty::Easy, ..Wanted::default() };
    let mut scene = (0..)
        .map(|still| Scene::random(SEED, still, &wanted))
        .find(|s| (s.view.width_px, s.view.height_px) == (1920, 1080))
        .expect("one of the scenes is of that size");
    scene.camera.jpeg_quality.get_or_insert(90);
    let drawing = draw(&scene).expect("a scene that can be seen");
    let path = folder.join("drawn.jpg");
    std::fs::write(&path, encode(&drawing.picture, &scene.camera).expect("a JPEG")).expect("room for a still");
    path
}

fn main() {
    let given = std::env::args().skip(1).find(|a| a != "--bench").map(PathBuf::from);
    let folder = tempfile::tempdir().expect("a folder for the drawn still");
    let path = given.unwrap_or_else(|| drawn(folder.path()));
    let loaded = load(&path, Recording::default()).expect("the still can be read");
    let (picture, still) = (loaded.picture, loaded.still);
    println!("{} x {} px, medians of {RUNS} runs", picture.width(), picture.height());
    let loading = median_ms(|| load(&path, Recording::default()));
    println!("loading          {loading:7.1} ms");
    println!("limbus           {:7.1} ms", median_ms(|| find_limbus(&picture)));
    println!("  candidates     {:7.1} ms", median_ms(|| candidates(&picture)));
    if let Ok(limbus) = find_limbus(&picture) {
        println!("reference marks  {:7.1} ms", median_ms(|| find_reference_marks(&picture, &limbus.ellipse)));
        println!("lens marks       {:7.1} ms", median_ms(|| find_lens_marks(&picture, &limbus.ellipse)));
    }
    let case = Case::default();
    let measuring = median_ms(|| measure(&picture, still.clone(), &case));
    println!("measuring        {measuring:7.1} ms");
    println!("in all           {:7.1} ms", loading + measuring);
}
