//! What is read about one outline taken for the limbus, and which outline to take where its looks leave that in doubt.
//!
//! Marks stand on the limbus and within the pupil inside it. About an outline that is not the limbus, marks of both kinds are
//! hardly ever read: where an outline is doubtful and both are, they speak for it.

use super::alignment::{describe_alignment, describe_cost};
use super::cylinder::Placing;
use super::far_from_plan::too_far;
use super::interval_limits::Marks;
use super::lens_marks::found_lens;
use super::limbus::describe_limbus;
use super::mark_form::Ground;
use super::reference_marks::{chosen_marks, describe_marks};
use super::refusals::{refusal, undetermined};
use crate::alignment::{AlignmentError, LensReading, LimbusReading, Plan, align, place_marks};
use crate::geometry::{EyeMap, Meridian};
use crate::record::{Record, RefusalCode};
use crate::stills::sheet::Case;
use crate::vision::Picture;
use crate::vision::limbus::{LimbusFinding, LimbusRefusal};
use crate::vision::reference_marks::find_reference_marks;

/// What to do about a lens too far from its plan.
const FAR_HINT: &str = "see in the overlay what was taken for marks, and check intended_axis_deg and marks_denote_deg in the case \
                        sheet; if the lens was not yet turned into place, use a later still. A lens that does stand there cannot be \
                        told from a misreading: measure it by hand";

/// Probability that nothing read off a picture exceeds.
const MOST_SURE: f64 = 1.0 - 1e-6;

/// A record as far as it can be filled about one outline.
pub(super) struct Attempt {
    pub record: Record,
    /// The map between picture and plane of the limbus that the angles were taken in; `None` without a limbus.
    pub map: Option<EyeMap>,
    /// The outline, also where too little of it is seen.
    pub limbus: Option<LimbusFinding>,
    /// What speaks for the outline and for the marks of both kinds about it, log odds; `None` where marks are missing.
    evidence: Option<f64>,
}

impl Attempt {
    /// A record that was refused before a limbus was looked for.
    pub fn of_nothing(record: Record) -> Self {
        Self { record, map: None, limbus: None, evidence: None }
    }

    /// Read the marks about `limbus` into a copy of `blank`.
    pub fn about(limbus: LimbusFinding, blank: &Record, picture: &Picture, case: &Case) -> Self {
        let plan = plan_of(case);
        let mut attempt = Self::of_nothing(blank.clone());
        let limbus = &*attempt.limbus.insert(limbus);
        let record = &mut attempt.record;
        attempt.map = describe_limbus(record, limbus, &plan, case);
        let candidates = find_reference_marks(picture, &limbus.ellipse);
        let marks = chosen_marks(record, &candidates, &limbus.ellipse, case);
        let lens = found_lens(record, picture, &limbus.ellipse);
        let Some(marks) = marks else { return attempt };

        let reading = LimbusReading { ellipse: limbus.ellipse, covariance: limbus.covariance };
        let Some(placed) = place_marks(&reading, &marks.readings, &plan) else {
            record.refusals.push(undetermined(&AlignmentError::MarksWithoutDirection));
            return attempt;
        };
        let zero_deg = placed.zero_deg.unwrap_or(placed.rotation_deg);
        let doubted = placed.meridians.iter().zip(&marks.doubts_sd_deg);
        let meridians: Vec<(Meridian, f64)> =
            doubted.map(|((at, sd_deg), doubt)| (*at, sd_deg.hypot(*doubt))).collect();
        describe_marks(record, picture, &marks, &meridians, &Ground { limbus: &reading, plan: &plan, zero_deg });
        attempt.map = Some(placed.map);
        let Some(lens) = lens else { return attempt };

        attempt.evidence = Some(limbus.score + log_odds(marks.probability) + log_odds(lens.probability));
        let lens_reading = LensReading { ends: lens.ends, both_groups: lens.groups_seen == 2 };
        match align(&reading, &marks.readings, &lens_reading, &plan) {
            Ok(mut aligned) => {
                aligned.parts.reference_marks += marks.spread_deg * marks.spread_deg;
                if marks.readings.len() == 1 && marks.missing > 0 {
                    record.warnings.push("one reference mark only: the angle rests on the centre of the limbus".into());
                }
                describe_alignment(record, &aligned, &lens, Marks::of(&marks.readings, &plan), &limbus.covariance);
                let far = too_far(aligned.error_deg, marks.probability, lens.probability);
                record.refusals.extend(far.map(|far| refusal(RefusalCode::FarFromPlan, far, FAR_HINT)));
                describe_cost(record, &Placing::from(&aligned), case);
            }
            Err(cause) => record.refusals.push(undetermined(&cause)),
        }
        attempt
    }

    /// Refuse for want of a limbus; one of which too little is seen goes into the record.
    pub fn without_limbus(cause: LimbusRefusal, blank: &Record, case: &Case) -> Self {
        let mut attempt = Self::of_nothing(blank.clone());
        let message = cause.to_string();
        let (code, hint) = match cause {
            LimbusRefusal::NoCandidate | LimbusRefusal::NotFound { .. } | LimbusRefusal::NoEdge { .. } => (
                RefusalCode::LimbusNotFound,
                "use a still in which the whole cornea is in the picture, in focus and not covered",
            ),
            LimbusRefusal::TooLittleVisible { finding, .. } => {
                attempt.map = describe_limbus(&mut attempt.record, &finding, &plan_of(case), case);
                attempt.limbus = Some(*finding);
                (
                    RefusalCode::LimbusTooLittleVisible,
                    "use a still in which lids, instruments and the picture's edge leave more of the limbus free",
                )
            }
        };
        attempt.record.refusals.push(refusal(code, message, hint));
        attempt
    }

    /// Whether the limbus or marks of either kind are missing: about another outline they might not be.
    pub fn lacks_something(&self) -> bool {
        self.evidence.is_none()
            && self.record.refusals.iter().all(|refusal| {
                matches!(
                    refusal.code,
                    RefusalCode::LimbusNotFound
                        | RefusalCode::LimbusTooLittleVisible
                        | RefusalCode::ReferenceMarksMissing
                        | RefusalCode::LensMarksMissing
                )
            })
    }
}

/// Of the attempts that leave nothing to refuse the one for which most speaks; it says that its limbus is doubtful by its looks.
pub(super) fn by_marks(attempts: impl Iterator<Item = Attempt>) -> Option<Attempt> {
    let whole = attempts.filter(|attempt| attempt.record.refusals.is_empty());
    let mut best = whole.max_by(|a, b| a.evidence.partial_cmp(&b.evidence).expect("no evidence is NaN"))?;
    best.record.warnings.insert(
        0,
        "the limbus is doubtful by its looks; it was accepted because marks of both kinds stand about it: see in the overlay whether the \
         line lies on it"
            .into(),
    );
    Some(best)
}

/// What the sheet says of the eye and the plan.
fn plan_of(case: &Case) -> Plan {
    Plan {
        intended_axis_deg: case.intended_axis_deg,
        marks_denote_meridians: !case.marks_denote_deg.is_empty(),
        white_to_white_mm: case.white_to_white_mm,
        limbus_height_mm: case.limbus_height_mm,
    }
}

fn log_odds(probability: f64) -> f64 {
    let sure = probability.min(MOST_SURE);
    (sure / (1.0 - sure)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::measure;
    use crate::phantom::{self, Difficulty, Scene, View, Wanted};
    use crate::record::{Outcome, Still};
    use crate::vision::limbus::{distance_percent, find_limbus};

    /// Eyes whose limbus cannot be told by its looks.
    const DOUBTFUL: [(u64, Difficulty, u64); 2] = [(31_416, Difficulty::Mixed, 177), (31_417, Difficulty::Hard, 43)];

    fn scene((seed, difficulty, number): (u64, Difficulty, u64)) -> Scene {
        Scene::random(seed, number, &Wanted { difficulty, ..Wanted::default() })
    }

    /// As the recorder compresses it.
    fn picture(scene: &Scene) -> Picture {
        let file = phantom::encode(&phantom::draw(scene).unwrap().picture, &scene.camera).unwrap();
        image::load_from_memory(&file).unwrap().to_rgb16()
    }

    fn still() -> Still {
        Still {
            path: "drawn".into(),
            sha256: String::new(),
            width_px: 0,
            height_px: 0,
            exif_orientation: 1,
            mirrored: false,
            pixel_aspect: 1.0,
            taken_at: None,
        }
    }

    #[test]
    fn marks_of_both_kinds_speak_for_a_doubtful_limbus() {
        for which in DOUBTFUL {
            let scene = scene(which);
            let drawn = phantom::draw(&scene).unwrap();
            let picture = picture(&scene);
            assert!(matches!(find_limbus(&picture), Err(LimbusRefusal::NotFound { .. })), "{which:?}: no doubt");
            let measured = measure(&picture, still(), &Case::default());
            let limbus = measured.limbus.expect("marks of both kinds are there").ellipse;
            let off = distance_percent(View::new(&scene.view).unwrap().limbus(), &limbus);
            assert!(off < 4.0, "{which:?}: {off} % off");
            let truth = phantom::truth(&scene, "drawn", &drawn.visibility).unwrap().alignment_error_deg.unwrap();
            let error_deg = measured.record.alignment.expect("nothing is missing").error_deg;
            assert!((error_deg - truth).abs() < 0.5, "{which:?}: {error_deg} is not {truth}");
            assert!(measured.record.warnings[0].contains("doubtful"), "{:?}", measured.record.warnings);
        }
    }

    /// One kind is not enough, and nothing is left in the record of what was tried.
    #[test]
    fn marks_of_one_kind_do_not_speak_for_a_doubtful_limbus() {
        for which in DOUBTFUL {
            let [mut without_reference, mut without_lens] = [scene(which), scene(which)];
            without_reference.reference_marks.clear();
            without_lens.lens.as_mut().unwrap().marks = None;
            for lacking in [without_reference, without_lens] {
                let record = measure(&picture(&lacking), still(), &Case::default()).record;
                assert_eq!(record.outcome, Outcome::Refused);
                assert!(record.limbus.is_none() && record.reference_marks.is_empty() && record.lens_marks.is_empty());
                assert!(record.warnings.is_empty(), "{which:?}: {:?}", record.warnings);
                let [refusal] = &record.refusals[..] else { panic!("{which:?}: {:?}", record.refusals) };
                assert_eq!(refusal.code, RefusalCode::LimbusNotFound);
            }
        }
    }

    #[test]
    fn the_outline_for_which_most_speaks_is_taken() {
        let attempt = |evidence: f64, refused: bool| {
            let mut record = Record::new(still(), Default::default(), Outcome::Refused);
            record.refusals.extend(refused.then(|| refusal(RefusalCode::IntervalTooWide, "", "")));
            Attempt { evidence: Some(evidence), ..Attempt::of_nothing(record) }
        };
        let chosen = by_marks([attempt(3.0, false), attempt(5.0, false), attempt(9.0, true)].into_iter());
        assert_eq!(chosen.unwrap().evidence, Some(5.0));
        assert!(by_marks([attempt(9.0, true)].into_iter()).is_none(), "a refused one");
    }
}
