//! What each reading of the marks of drawn stills has to say for itself, for weighing them.
//!
//!     cargo bench --bench readings -- both|reference-only|lens-only|none SEED COUNT [easy|mixed|hard [usual|any]]
//!
//! Prints a line of JSON a still with a limbus: its readings of the reference marks (see `choose::Reading::terms`) and of the lens
//! marks (see `lens_marks::all_readings`), and what is true of each. `fit.py` in `tests/reference/mark_weights` and
//! `lens_weights` reads them.

mod lens_marks;
#[path = "../recorded/mod.rs"]
mod recorded;
mod reference_marks;

use std::io::Write;

use clap::ValueEnum;
use rayon::prelude::*;
use recorded::recorded;
use stillaxis::phantom::{self, Difficulty, Forms, MarksShown, Scene, View, Wanted};
use stillaxis::vision::limbus::find_limbus;

const USAGE: &str =
    "cargo bench --bench readings -- both|reference-only|lens-only|none SEED COUNT [easy|mixed|hard [usual|any]]";

fn main() {
    // As `cargo bench` runs every bench, also without being asked for anything.
    let asked: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let (marks, seed, count, difficulty, forms) = match &asked[..] {
        [marks, seed, count] => (marks, seed, count, "mixed", "usual"),
        [marks, seed, count, difficulty] => (marks, seed, count, difficulty.as_str(), "usual"),
        [marks, seed, count, difficulty, forms] => (marks, seed, count, difficulty.as_str(), forms.as_str()),
        _ => return println!("usage: {USAGE}"),
    };
    let marks = MarksShown::from_str(marks, false).expect("MARKS is one of those of `simulate --marks`");
    let difficulty = Difficulty::from_str(difficulty, false).expect("easy, mixed or hard");
    let forms = Forms::from_str(forms, false).expect("usual or any");
    let seed: u64 = seed.parse().expect("SEED is a whole number");
    let count: u64 = count.parse().expect("COUNT is a whole number");
    let wanted = Wanted { marks, difficulty, forms, ..Wanted::default() };
    (0..count).into_par_iter().filter_map(|number| still(seed, number, &wanted)).for_each(|line| {
        writeln!(std::io::stdout(), "{line}").expect("standard output takes what is written");
    });
}

/// Both kinds of readings of a still; `None` if no limbus is found, or if it has all its marks but cannot be read.
fn still(seed: u64, number: u64, wanted: &Wanted) -> Option<serde_json::Value> {
    let scene = Scene::random(seed, number, wanted);
    let drawing = phantom::draw(&scene)?;
    let truth = phantom::truth(&scene, "", &drawing.visibility)?;
    if wanted.marks == MarksShown::Both && !truth.readable {
        return None;
    }
    let picture = recorded(&scene, &drawing)?.picture;
    let limbus = find_limbus(&picture).ok()?.ellipse;
    let view = View::new(&scene.view)?;
    Some(serde_json::json!({
        "still": format!("{seed}/{number}"),
        "reference": reference_marks::readings(&picture, &limbus, &scene, &truth, &view),
        "lens": lens_marks::readings(&picture, &limbus, &scene, &truth, &view),
    }))
}

/// To so many decimals that a line stays short and tells readings apart.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
