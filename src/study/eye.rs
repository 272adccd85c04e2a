//! The stills of one eye at one operation to one figure.

use super::reading::{Columns, Dioptres, MESSAGES_OF_A_KIND, MarkQuality, Measure, StillRead};
use crate::case_estimate::combine::{MARKS_SHARED, Reading, combine};
use crate::geometry::axis_difference;
use crate::optics::PowerVector;
use crate::optics::rotation::residual_percent;
use crate::record::columns::cell;
use crate::statistics::descriptive::mean;
use crate::stills::date::Date;
use std::collections::{BTreeSet, HashMap};

/// Stages that a message names.
const MOST_STAGES_NAMED: usize = 6;

/// An eye at one operation.
#[derive(Clone, Debug)]
pub struct Eye {
    /// Patient; `None` where the sheet names none.
    pub patient: Option<String>,
    /// What tells the eye from others, for people.
    pub name: String,
    /// Columns of its first still.
    pub columns: Columns,
    /// Day of the operation.
    pub date: Option<Date>,
    /// What was measured, over its stills.
    pub measure: Option<EyeMeasure>,
    /// Codes of the refused stills.
    pub refusals: Vec<String>,
    /// Whether one of them was refused because the lens would stand too far from its plan.
    pub far_from_plan: bool,
    /// Errors of its measured stills, degrees.
    pub still_errors_deg: Vec<f64>,
    /// Paths of those that stand apart from the others and have no part in what was measured.
    pub apart: Vec<String>,
    /// Quality of its reference marks, over its stills.
    pub marks: MarkQuality,
}

/// What was measured of an eye.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EyeMeasure {
    /// Error over its stills, degrees, [-90, 90): see [`combine`].
    pub error_deg: f64,
    /// Variance of its reading, degrees squared.
    pub reading_variance_deg2: f64,
    /// Whether its stills differ by more than their errors allow; the variance of its reading is enlarged then.
    pub stills_disagree: bool,
    /// Lens axis in the eye's notation, degrees, of the first still used that has one.
    pub lens_axis_deg: Option<f64>,
    /// What that error leaves, percent of the cylinder.
    pub residual_percent: f64,
    /// What is left in dioptres, of the stills used that tell it; `None` where none does, or they tell it for different planes.
    pub dioptres: Option<Dioptres>,
    /// Whether it is for the different planes.
    pub planes_differ: bool,
}

/// Eyes, and what a reader should know of how they were put together.
#[derive(Clone, Debug, Default)]
pub struct Eyes {
    /// By day of the operation, those without one last, then in the order of the records.
    pub eyes: Vec<Eye>,
    /// What was doubtful.
    pub notes: Vec<String>,
    /// The one of the notes that says that stages were put together, without a full stop.
    pub stages: Option<String>,
}

impl Eye {
    /// Its group by a column; empty where the sheet does not say.
    pub fn group(&self, column: &str) -> &str {
        cell(&self.columns, column)
    }
}

/// Number of the eye of each still, from 0 in the order of first appearance, and how many stills stand for an eye of their
/// own because they name neither case nor patient and eye. Stills belong together by patient, eye and case, or date where
/// there is no case.
pub fn numbers(stills: &[StillRead]) -> (Vec<usize>, usize) {
    let mut known: HashMap<[String; 3], usize> = HashMap::new();
    let (mut count, mut nameless) = (0, 0);
    let numbers = stills.iter().map(|still| {
        let cell = |column: &str| cell(&still.columns, column).to_owned();
        let case = [cell("case"), cell("date")].into_iter().find(|c| !c.is_empty()).unwrap_or_default();
        let key = [cell("patient"), cell("eye").to_uppercase(), case];
        // A patient without eye and case could be either eye.
        let told = !cell("case").is_empty() || (!key[0].is_empty() && !key[1].is_empty());
        let number = if told { *known.entry(key).or_insert(count) } else { count };
        nameless += usize::from(!told);
        count = count.max(number + 1);
        number
    });
    (numbers.collect(), nameless)
}

/// Put stills together by [`numbers`].
pub fn eyes(stills: &[StillRead]) -> Eyes {
    let (numbers, nameless) = numbers(stills);
    let mut members: Vec<Vec<&StillRead>> = vec![Vec::new(); numbers.iter().max().map_or(0, |most| most + 1)];
    for (still, number) in stills.iter().zip(numbers) {
        members[number].push(still);
    }
    let mut eyes: Vec<Eye> = members.iter().map(|stills| Eye::of(stills)).collect();
    eyes.sort_by_key(|eye| (eye.date.is_none(), eye.date));
    let mut notes = Vec::new();
    if nameless > 0 {
        notes.push(format!(
            "{nameless} stills name neither a case nor patient and eye: each was counted as an eye of its own."
        ));
    }
    let unknown = eyes.iter().filter(|eye| eye.patient.is_none()).count();
    if unknown > 0 {
        notes.push(format!(
            "{unknown} of {} eyes name no patient. They may be fellow eyes, so their intervals are widened as if each were \
             half an eye, and no test is made with them.",
            eyes.len()
        ));
    }
    let stages = of_several_stages(&members);
    notes.extend(stages.iter().map(|said| format!("{said}.")));
    notes.extend(apart(&eyes));
    let disagree = eyes.iter().filter(|eye| eye.measure.is_some_and(|m| m.stills_disagree)).count();
    if disagree > 0 {
        let eyes = if disagree == 1 { "eye has" } else { "eyes have" };
        notes.push(format!(
            "{disagree} {eyes} stills that differ by more than their intervals allow: the error of reading was enlarged there. Was \
             the lens turned between them?"
        ));
    }
    let differ = eyes.iter().filter(|eye| eye.measure.is_some_and(|m| m.planes_differ)).count();
    if differ > 0 {
        let eyes = if differ == 1 { "eye has" } else { "eyes have" };
        notes.push(format!("{differ} {eyes} stills with dioptres of different planes: none are given."));
    }
    Eyes { eyes, notes, stages }
}

/// What to say of stills that stand apart.
fn apart(eyes: &[Eye]) -> Option<String> {
    let paths: Vec<&str> = eyes.iter().flat_map(|eye| &eye.apart).map(String::as_str).collect();
    let shown = paths.iter().take(MESSAGES_OF_A_KIND).copied().collect::<Vec<_>>().join(", ");
    let more = if paths.len() > MESSAGES_OF_A_KIND { " and others" } else { "" };
    let count = match paths.len() {
        0 => return None,
        1 => "1 still stands apart from the others of its eye and has".to_owned(),
        n => format!("{n} stills stand apart from the others of their eyes and have"),
    };
    Some(format!("{count} no part in its figures; look at the overlay: {shown}{more}."))
}

/// What to say of eyes whose stills are of several stages: the lens may have been turned between these, so that no one error is
/// that of all.
fn of_several_stages(eyes: &[Vec<&StillRead>]) -> Option<String> {
    let stages = eyes.iter().map(|stills| stills.iter().map(|still| still.stage()).collect::<BTreeSet<&str>>());
    let several: Vec<BTreeSet<&str>> = stages.filter(|stages| stages.len() > 1).collect();
    let names: BTreeSet<&str> = several.iter().flatten().copied().collect();
    let shown = names.iter().take(MOST_STAGES_NAMED).map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ");
    let more = if names.len() > MOST_STAGES_NAMED { " and others" } else { "" };
    let have = match several.len() {
        0 => return None,
        1 => "1 eye has".to_owned(),
        n => format!("{n} eyes have"),
    };
    Some(format!(
        "{have} stills of several stages ({shown}{more}), put together although the lens may have been turned between them; \
         --stage STAGE counts the stills of one stage only"
    ))
}

impl Eye {
    fn of(stills: &[&StillRead]) -> Self {
        let first = stills[0];
        let cell = |column: &str| cell(&first.columns, column);
        let (paths, measures): (Vec<&str>, Vec<Measure>) =
            stills.iter().filter_map(|still| Some((still.path.as_str(), *still.result.as_ref().ok()?))).unzip();
        let (measure, weights) = EyeMeasure::of(&measures).unzip();
        let weights = weights.unwrap_or_default();
        let apart = paths.iter().zip(&weights).filter(|(_, weight)| **weight == 0.0).map(|(path, _)| *path);
        let name = [cell("patient"), cell("eye"), cell("case")].into_iter().filter(|part| !part.is_empty());
        let name = name.collect::<Vec<_>>().join(" ");
        let marks: Vec<MarkQuality> = stills.iter().map(|still| still.marks).collect();
        let of =
            |field: &dyn Fn(&MarkQuality) -> Option<f64>| mean(&marks.iter().filter_map(field).collect::<Vec<_>>());
        Self {
            patient: Some(cell("patient").to_owned()).filter(|patient| !patient.is_empty()),
            name: if name.is_empty() { first.path.clone() } else { name },
            columns: first.columns.clone(),
            date: Date::parse(cell("date")),
            measure,
            refusals: stills.iter().filter_map(|still| still.result.as_ref().err()).cloned().collect(),
            far_from_plan: stills.iter().any(|still| still.far_from_plan),
            still_errors_deg: measures.iter().map(|m| m.reading.error_deg).collect(),
            apart: apart.map(str::to_owned).collect(),
            marks: MarkQuality {
                lean_deg: of(&|m| m.lean_deg),
                length_mm: of(&|m| m.length_mm),
                width_mm: of(&|m| m.width_mm),
                width_deg: of(&|m| m.width_deg),
                contrast: of(&|m| m.contrast),
                opposition_deg: of(&|m| m.opposition_deg),
                reading_sd_deg: of(&|m| m.reading_sd_deg),
            },
        }
    }
}

impl EyeMeasure {
    /// Of the measured stills, with the weight of each, 0 for one that stands apart; `None` of none.
    fn of(stills: &[Measure]) -> Option<(Self, Vec<f64>)> {
        let readings: Vec<Reading> = stills.iter().map(|m| m.reading).collect();
        let combined = combine(&readings)?;
        let used: Vec<(&Measure, f64)> =
            stills.iter().zip(combined.weights.iter().copied()).filter(|(_, weight)| *weight > 0.0).collect();
        let known: Vec<Left> =
            used.iter().filter_map(|(m, weight)| Some((m.reading.error_deg, m.dioptres?, *weight))).collect();
        let planes_differ = known.iter().any(|(_, d, _)| d.at_cornea != known[0].1.at_cornea);
        let measure = Self {
            error_deg: combined.error_deg,
            reading_variance_deg2: combined.sd_deg().powi(2),
            stills_disagree: combined.inflation > 1.0,
            lens_axis_deg: used.iter().find_map(|(m, _)| m.lens_axis_deg),
            residual_percent: residual_percent(combined.error_deg),
            dioptres: if planes_differ { None } else { together(&known, combined.error_deg) },
            planes_differ,
        };
        Some((measure, combined.weights))
    }
}

/// Error of a still, degrees, what it leaves, and its weight.
type Left = (f64, Dioptres, f64);

/// What stills leave in one plane, put together by its direction, since what turns to either side leaves less, not more. One still
/// alone keeps what its record says.
///
/// - `error_deg`: error over the stills
fn together(stills: &[Left], error_deg: f64) -> Option<Dioptres> {
    let (_, first, _) = *stills.first()?;
    if stills.len() == 1 {
        return Some(first);
    }
    let mean_of = |of: &dyn Fn(&Left) -> Option<f64>| {
        let known: Vec<(f64, f64)> = stills.iter().filter_map(|still| Some((of(still)?, still.2))).collect();
        let total: f64 = known.iter().map(|(_, weight)| weight).sum();
        (total > 0.0).then(|| known.iter().map(|(value, weight)| value * weight).sum::<f64>() / total)
    };
    let axis = |k: usize| mean_of(&|(_, d, _)| d.power_vector_d.map(|vector| vector[k]));
    if let Some((j0, j45)) = axis(0).zip(axis(1)) {
        let residual_d = PowerVector::new(0.0, j0, j45).cylinder_d();
        return Some(Dioptres { residual_d, power_vector_d: Some([j0, j45]), ..first });
    }
    // A lens of power L that matches its eye leaves 2 L |sin t|: its direction goes by the sense of t.
    let sense = |still_deg: f64| (error_deg + axis_difference(error_deg, still_deg)).to_radians().sin().signum();
    let residual_d = mean_of(&|(still_deg, d, _)| Some(sense(*still_deg) * d.residual_d))?.abs();
    Some(Dioptres { residual_d, ..first })
}

/// How eyes are put together, for quoting.
pub(super) fn methods() -> String {
    format!(
        "Eyes are counted, not stills. The stills of one eye are put together as in cases.csv: axes weighed by their own \
         variances, those farther off less (Huber 1964), one that stands apart from most of them left out. Variances are those \
         of the records; what stills of an eye share (oval of the limbus, depth of the lens under tilt, {:.0} % of what the reference marks \
         add) is not lessened by their number; where stills differ by more than their own variances allow, these are enlarged. Of a \
         record without its variance by source, what no source accounts for is taken for the still's own.",
        100.0 * MARKS_SHARED
    )
}
