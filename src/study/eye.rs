//! The stills of one eye at one operation to one figure.

use super::reading::{Columns, MarkQuality, Measure, StillRead};
use crate::statistics::axial::{mean_difference, unwrapped};
use crate::statistics::descriptive::mean;
use crate::stills::date::Date;
use std::collections::{BTreeSet, HashMap};

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
    /// Errors of its measured stills, degrees.
    pub still_errors_deg: Vec<f64>,
    /// Quality of its reference marks, over its stills.
    pub marks: MarkQuality,
}

/// What was measured of an eye.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EyeMeasure {
    /// Axial mean of the stills' errors, degrees, [-90, 90).
    pub error_deg: f64,
    /// Variance of its reading, degrees squared: what stills share is kept whole, the rest is divided by their number.
    pub reading_variance_deg2: f64,
    /// Lens axis in the eye's notation, degrees, of the first still that has one.
    pub lens_axis_deg: Option<f64>,
    /// Residual, percent of the cylinder, mean of the stills.
    pub residual_percent: Option<f64>,
    /// Residual cylinder, D, mean of the stills.
    pub residual_d: Option<f64>,
    /// J0 and J45 of the residual refraction, D, mean of the stills.
    pub power_vector_d: Option<[f64; 2]>,
    /// Whether the dioptres hold at the cornea.
    pub at_cornea: bool,
}

/// Eyes, and what a reader should know of how they were put together.
#[derive(Clone, Debug, Default)]
pub struct Eyes {
    /// By day of the operation, those without one last, then in the order of the records.
    pub eyes: Vec<Eye>,
    /// What was doubtful.
    pub notes: Vec<String>,
}

impl Eye {
    /// Its group by a column; empty where the sheet does not say.
    pub fn group(&self, column: &str) -> &str {
        self.columns.get(column).map_or("", String::as_str).trim()
    }
}

/// Number of the eye of each still, from 0 in the order of first appearance, and how many stills stand for an eye of their
/// own because they name neither case nor patient and eye. Stills belong together by patient, eye and case, or date where
/// there is no case.
pub fn numbers(stills: &[StillRead]) -> (Vec<usize>, usize) {
    let mut known: HashMap<[String; 3], usize> = HashMap::new();
    let (mut count, mut nameless) = (0, 0);
    let numbers = stills.iter().map(|still| {
        let cell = |column: &str| still.columns.get(column).map_or("", String::as_str).trim().to_owned();
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
    let several = members.iter().filter(|stills| distinct(stills, "stage") > 1).count();
    if several > 0 {
        notes.push(format!("{several} eyes have stills of several stages, which were averaged; --stage chooses one."));
    }
    Eyes { eyes, notes }
}

fn distinct(stills: &[&StillRead], column: &str) -> usize {
    stills.iter().filter_map(|still| still.columns.get(column)).collect::<BTreeSet<_>>().len()
}

impl Eye {
    fn of(stills: &[&StillRead]) -> Self {
        let first = stills[0];
        let cell = |column: &str| first.columns.get(column).map_or("", String::as_str).trim();
        let measures: Vec<Measure> = stills.iter().filter_map(|still| still.result.as_ref().ok()).copied().collect();
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
            measure: EyeMeasure::of(&measures),
            refusals: stills.iter().filter_map(|still| still.result.as_ref().err()).cloned().collect(),
            still_errors_deg: measures.iter().map(|m| m.error_deg).collect(),
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
    fn of(stills: &[Measure]) -> Option<Self> {
        let count = stills.len() as f64;
        let errors: Vec<f64> = stills.iter().map(|m| m.error_deg).collect();
        // Two stills at right angles have no mean: the first has to do.
        let about = mean_difference(&errors).or(errors.first().copied())?;
        let error_deg = mean(&unwrapped(&errors, about))?;
        let own = stills.iter().map(|m| m.own_variance_deg2).sum::<f64>() / (count * count);
        let shared = stills.iter().map(|m| m.shared_variance_deg2).sum::<f64>() / count;
        let mean_of = |field: &dyn Fn(&Measure) -> Option<f64>| {
            let known: Vec<f64> = stills.iter().filter_map(field).collect();
            mean(&known)
        };
        let at_cornea = stills.iter().all(|m| m.at_cornea);
        let j0 = mean_of(&|m| m.power_vector_d.map(|v| v[0]));
        let j45 = mean_of(&|m| m.power_vector_d.map(|v| v[1]));
        Some(Self {
            error_deg: crate::geometry::axis_difference(0.0, error_deg),
            reading_variance_deg2: own + shared,
            lens_axis_deg: stills.iter().find_map(|m| m.lens_axis_deg),
            residual_percent: mean_of(&|m| m.residual_percent),
            residual_d: mean_of(&|m| m.residual_d),
            power_vector_d: j0.zip(j45).map(|(j0, j45)| [j0, j45]),
            at_cornea,
        })
    }
}
