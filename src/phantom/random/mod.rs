//! Scenes made up from a seed.

mod dice;
mod eye;
mod marking;
mod record;
mod surroundings;

use super::scene::Scene;
use dice::Dice;
use serde::{Deserialize, Serialize};

/// What kind of scenes are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wanted {
    /// How hard.
    pub difficulty: Difficulty,
    /// Which marks are drawn.
    pub marks: MarksShown,
    /// What the marks stand for.
    pub axis: AxisPlan,
    /// How various the marks are.
    pub forms: Forms,
}

impl Default for Wanted {
    fn default() -> Self {
        Self { difficulty: Difficulty::Mixed, marks: MarksShown::Both, axis: AxisPlan::OnMarks, forms: Forms::Usual }
    }
}

/// How hard the scenes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Difficulty {
    /// Sharp, well lit, nothing in the way.
    Easy,
    /// As a collection of stills is: everything occurs, most stills have two or three faults.
    Mixed,
    /// Every fault is common.
    Hard,
}

/// Which marks are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum MarksShown {
    /// Reference marks and lens marks.
    Both,
    /// Reference marks; the lens has none, or there is no lens.
    ReferenceOnly,
    /// Lens marks.
    LensOnly,
    /// Neither.
    None,
}

/// What the marks stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum AxisPlan {
    /// The marks stand on the intended axis.
    OnMarks,
    /// The marks stand on known meridians, the intended axis is laid off from them.
    Anywhere,
}

/// How various the marks are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Forms {
    /// As ways of marking are met with: some often, some seldom, most of them clear.
    Usual,
    /// Every form as often as any other, in any size, ink and strength that can be made out.
    Any,
}

impl Scene {
    /// A scene made up from a seed; the same for the same arguments.
    ///
    /// - `still`: number of the still, which gives each of a series its own scene
    pub fn random(seed: u64, still: u64, wanted: &Wanted) -> Self {
        let mut dice = Dice::new(seed, still, wanted.difficulty);
        let view = record::view(&mut dice);
        let half_width_px = view.limbus_half_width_px;
        let mut scene = Self {
            texture_seed: dice.seed(),
            plan: marking::plan(&mut dice, wanted, view.turn_deg),
            sclera: eye::sclera(&mut dice),
            iris: eye::iris(&mut dice),
            pupil: eye::pupil(&mut dice),
            lens: None,
            reference_marks: Vec::new(),
            surroundings: surroundings::around(&mut dice),
            instruments: Vec::new(),
            bubbles: Vec::new(),
            reflections: Vec::new(),
            light: record::light(&mut dice, &view),
            camera: record::camera(&mut dice, half_width_px),
            difficulties: Vec::new(),
            difficulty: Some(wanted.difficulty),
            view,
        };
        marking::mark(&mut dice, wanted, &mut scene);
        if dice.chance(0.85) {
            record::turn_marks_into_picture(&mut dice, &mut scene);
        }
        surroundings::put_in_the_way(&mut dice, &mut scene);
        marking::stretch_capsule(&mut dice, &mut scene);
        surroundings::shafts_across_lens_marks(&mut dice, &mut scene);
        scene.difficulties = dice.tags();
        scene
    }
}
