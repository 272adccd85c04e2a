//! A series of operations made up from a seed: for trying an audit. All names are invented.

use super::random::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};
use super::scene::{ReferenceMarkKind, Scene};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Patients of the series: moorland plants.
const PATIENTS: [&str; 40] = [
    "bilberry",
    "betony",
    "bogbean",
    "bracken",
    "bramble",
    "burnet",
    "butterbur",
    "campion",
    "catsear",
    "celandine",
    "cinquefoil",
    "clubmoss",
    "cowberry",
    "crowberry",
    "dodder",
    "eyebright",
    "fescue",
    "figwort",
    "foxtail",
    "gorse",
    "hawkbit",
    "heather",
    "juniper",
    "ladyfern",
    "ling",
    "lousewort",
    "madder",
    "meadowrue",
    "milkwort",
    "moschatel",
    "orpine",
    "pignut",
    "polypody",
    "quillwort",
    "rowan",
    "sedge",
    "sorrel",
    "sundew",
    "tormentil",
    "yarrow",
];
/// Operators: the last one is learning.
const OPERATORS: [&str; 3] = ["Beck", "Tarn", "Ghyll"];
/// Days from one operating day to the next.
const DAYS_APART: u32 = 4;
/// Operations on one day.
const A_DAY: usize = 3;
/// Correlation of the errors of a patient's eyes.
const EYES_ALIKE: f64 = 0.4;
/// How much the learning operator's spread exceeds that of the others at first, and over how many operations that falls to a third.
const LEARNING: (f64, f64) = (3.5, 9.0);
/// Share of stills that have the faults of an ordinary collection.
const ORDINARY: f64 = 0.15;
/// Pictures of the series are no wider, so that drawing takes seconds, px.
const WIDEST_PX: u32 = 1024;

/// A way of marking, with spread and mean of the lens's error, degrees.
struct Technique {
    name: &'static str,
    sd_deg: f64,
    mean_deg: f64,
}

const TECHNIQUES: [Technique; 2] =
    [Technique { name: "ink", sd_deg: 4.2, mean_deg: 0.8 }, Technique { name: "scratch", sd_deg: 2.1, mean_deg: 0.0 }];

/// A still of the series.
#[derive(Clone, Debug)]
pub struct SeriesStill {
    /// What it shows.
    pub scene: Scene,
    /// Patient, an invented name.
    pub patient: &'static str,
    /// OD or OS.
    pub eye: &'static str,
    /// Who operated.
    pub operator: &'static str,
    /// How the eye was marked.
    pub technique: &'static str,
    /// Day of the operation, counted from the first.
    pub day: u32,
    /// Number of the still of this eye, from 1.
    pub number: u32,
    /// Toric power of the lens at the cornea, D.
    pub cylinder_d: f64,
}

/// 40 patients, some with both eyes, one or two stills an eye; three operators, one of them learning; two ways of marking, of
/// different spread. The same seed gives the same series.
pub fn series(seed: u64) -> Vec<SeriesStill> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(u64::MAX);
    let normal = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
    let mut stills = Vec::new();
    let mut done = [0_u32; OPERATORS.len()];
    let mut next_scene = 0;
    for (at, patient) in PATIENTS.into_iter().enumerate() {
        let operator = at % OPERATORS.len();
        let both = rng.random::<f64>() < 0.6;
        let first = rng.random_range(0..2);
        let shared = normal(&mut rng);
        for k in 0..if both { 2 } else { 1 } {
            let technique = &TECHNIQUES[rng.random_range(0..TECHNIQUES.len())];
            let learning = if operator + 1 == OPERATORS.len() {
                1.0 + LEARNING.0 * (-f64::from(done[operator]) / LEARNING.1).exp()
            } else {
                1.0
            };
            done[operator] += 1;
            let unit = EYES_ALIKE.sqrt() * shared + (1.0 - EYES_ALIKE).sqrt() * normal(&mut rng);
            let error_deg = technique.mean_deg + learning * technique.sd_deg * unit;
            let intended = f64::from(rng.random_range(1..=180));
            let cylinder_d = 1.0 + 0.5 * f64::from(rng.random_range(0..6));
            for number in 1..=rng.random_range(1..=2) {
                let difficulty = if rng.random::<f64>() < ORDINARY { Difficulty::Mixed } else { Difficulty::Easy };
                let mut scene = fitting(seed, &mut next_scene, difficulty, technique.name);
                place(&mut scene, intended, error_deg, || 0.3 * normal(&mut rng));
                stills.push(SeriesStill {
                    scene,
                    patient,
                    eye: ["OD", "OS"][(first + k) % 2],
                    operator: OPERATORS[operator],
                    technique: technique.name,
                    // The second eye follows on the next operating day.
                    day: ((at / A_DAY + k) as u32) * DAYS_APART,
                    number,
                    cylinder_d,
                });
            }
        }
    }
    stills
}

/// The next scene of two marks on the intended axis, of the form that belongs to the technique and not too large.
fn fitting(seed: u64, next: &mut u64, difficulty: Difficulty, technique: &str) -> Scene {
    let wanted = Wanted { difficulty, marks: MarksShown::Both, axis: AxisPlan::OnMarks, forms: Forms::Usual };
    loop {
        let scene = Scene::random(seed, *next, &wanted);
        *next += 1;
        let scratch = scene.reference_marks.iter().all(|mark| mark.kind == ReferenceMarkKind::Line);
        let ink = scene.reference_marks.iter().all(|mark| {
            matches!(mark.kind, ReferenceMarkKind::Stroke | ReferenceMarkKind::Dot | ReferenceMarkKind::Blot)
        });
        let form = if technique == "scratch" { scratch } else { ink };
        if form && scene.reference_marks.len() == 2 && scene.view.width_px <= WIDEST_PX {
            return scene;
        }
    }
}

/// Turn the scene's plan, marks and lens so that the axis is the planned one and the lens stands off by `error_deg`.
///
/// - `unevenness`: how far each mark stands from its place, degrees
fn place(scene: &mut Scene, intended_deg: f64, error_deg: f64, mut unevenness: impl FnMut() -> f64) {
    let turn = intended_deg - scene.plan.intended_axis_deg;
    scene.plan.intended_axis_deg = intended_deg;
    // The picture turns the other way, so that marks and lens stay where they can be seen.
    scene.view.turn_deg = (scene.view.turn_deg - turn).rem_euclid(360.0);
    for meant in &mut scene.plan.marks_meant_deg {
        *meant = (*meant + turn).rem_euclid(360.0);
    }
    for (mark, meant) in scene.reference_marks.iter_mut().zip(&scene.plan.marks_meant_deg) {
        mark.meridian_deg = (meant + unevenness()).rem_euclid(360.0);
    }
    if let Some(lens) = &mut scene.lens {
        lens.axis_deg = intended_deg + error_deg;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// What the series is said to hold is in it, and the lens stands where its error says.
    #[test]
    fn a_series_of_operations() {
        let series = series(1);
        let of = |field: &dyn Fn(&SeriesStill) -> &'static str| series.iter().map(field).collect::<BTreeSet<_>>().len();
        assert_eq!((of(&|s| s.patient), of(&|s| s.operator), of(&|s| s.technique)), (40, 3, 2));
        let eyes: BTreeSet<(&str, &str)> = series.iter().map(|s| (s.patient, s.eye)).collect();
        assert!(eyes.len() > 45 && eyes.len() < 80 && series.len() > eyes.len());
        let spread = |technique: &str| {
            let errors: Vec<f64> = series
                .iter()
                .filter(|s| s.technique == technique)
                .map(|s| s.scene.lens.as_ref().unwrap().axis_deg - s.scene.plan.intended_axis_deg)
                .collect();
            crate::statistics::descriptive::standard_deviation(&errors).unwrap()
        };
        assert!(spread("ink") > 1.3 * spread("scratch"));
        let both = series.iter().filter(|s| s.scene.reference_marks.len() == 2).count();
        assert_eq!(both, series.len());
    }
}
