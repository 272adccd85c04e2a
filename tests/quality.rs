//! A small part of `cargo bench --bench quality`, with a fixed seed, as a guard: what is wrong here would mislead a surgeon.

#[path = "../benches/quality/score.rs"]
#[allow(dead_code)]
mod score;
#[path = "../benches/quality/stills.rs"]
#[allow(dead_code)]
mod stills;

use score::{Figures, Judged};
use stillaxis::phantom::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};

const SEED: u64 = 4_242;

/// Of 144 drawn stills of three difficulties most are measured, to a tenth of a degree in the middle, none wrongly, and the intervals
/// hold. None wrong, median 0.10 and 95th percentile 0.6 are what is aimed at for 2,000 stills, here with room for chance; share measured
/// and coverage only guard against falling back. The truth is that of the drawing.
#[test]
fn drawn_stills_are_read_rightly() {
    let set: Vec<Judged> = [Difficulty::Easy, Difficulty::Mixed, Difficulty::Hard]
        .into_iter()
        .zip(0_u64..)
        .flat_map(|(difficulty, k)| stills::drawn(SEED + k, 48, &Wanted { difficulty, ..Wanted::default() }, false))
        .collect();
    let figures = Figures::of(set.iter());
    println!("{figures:#?}");
    assert_eq!(figures.stills, 144);
    assert_eq!(figures.wrong, 0, "{figures:#?}");
    assert!(figures.limbus_wrong <= 1, "{figures:#?}");
    assert!(figures.measured >= 0.7, "{figures:#?}");
    assert!(figures.off_deg[0] <= 0.12 && figures.off_deg[1] <= 0.8, "{figures:#?}");
    assert!(figures.coverage >= 0.9, "{figures:#?}");
}

/// No angle is given for stills that lack one kind of mark or both; and the axis laid off from marks on 0 and 180 is right to the
/// 0.6 degrees asked for.
#[test]
fn nothing_is_invented() {
    for (k, marks) in [(10, MarksShown::None), (11, MarksShown::ReferenceOnly), (12, MarksShown::LensOnly)] {
        let set = stills::drawn(SEED + k, 10, &Wanted { marks, ..Wanted::default() }, false);
        let figures = Figures::of(set.iter());
        assert_eq!((figures.stills, figures.marked, figures.invented), (10, 0, 0), "{marks:?}: {figures:#?}");
    }
    let set = stills::drawn(SEED + 20, 16, &Wanted { axis: AxisPlan::Anywhere, ..Wanted::default() }, false);
    let figures = Figures::of(set.iter());
    assert!(figures.wrong == 0 && figures.off_deg[0] <= 0.6, "{figures:#?}");
}

/// Forms, sizes and inks that are seldom met with are refused more often, but not read wrongly.
#[test]
fn marks_of_any_form_mislead_nothing() {
    let set = stills::drawn(SEED + 30, 30, &Wanted { forms: Forms::Any, ..Wanted::default() }, false);
    let figures = Figures::of(set.iter());
    assert_eq!(figures.wrong, 0, "{figures:#?}");
    assert!(figures.measured >= 0.55 && figures.off_deg[0] <= 0.2, "{figures:#?}");
}
