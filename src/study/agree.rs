//! What a study of agreement says: program against readers, reader against reader, repeat against repeat.

use super::audit::people;
use super::eye::numbers;
use super::figures::decimal;
use super::figures::{Behind, Chart, Plot, Section, Series};
use super::patients::Patients;
use super::reading::StillRead;
use super::readings::{OfReader, Readings};
use crate::geometry::axis_difference;
use crate::statistics::axial::{mean_difference, unwrapped};
use crate::statistics::bland_altman::{Limits, lacking_in_means, limits_clustered};
use crate::statistics::descriptive::variance;
use crate::statistics::intraclass::Intraclass;
use crate::statistics::repeatability::{Repeatability, concordance};
use std::collections::BTreeMap;

/// Name of the program among the raters.
pub const PROGRAM: &str = "program";
/// Charts of pairs that are drawn.
const MOST_CHARTS: usize = 8;

/// All that is compared.
pub struct Agreement<'a> {
    stills: &'a [StillRead],
    /// Eye of each still, numbers from 0.
    eye_of: Vec<usize>,
    /// Program first, then the readers.
    raters: Vec<(String, OfReader)>,
}

/// Differences between two raters.
struct Compared {
    name: String,
    /// One list an eye.
    by_eye: Vec<Vec<f64>>,
    /// Patient of each eye.
    patients: Patients,
    /// Repeated readings of each eye's stills, by both raters.
    repeats: Vec<[Repeats; 2]>,
    /// Mean and difference of each still.
    points: Vec<[f64; 2]>,
    /// Readings of both.
    pairs: Vec<[f64; 2]>,
    repeated: bool,
}

/// How repeated readings of stills scatter, and how many a mean is of.
#[derive(Clone, Copy, Default)]
struct Repeats {
    squares: f64,
    freedom: f64,
    /// Sum over stills of one over the number of readings.
    inverse: f64,
    stills: f64,
}

impl Repeats {
    fn add(&mut self, readings: &[f64]) {
        let count = readings.len() as f64;
        let about = mean_difference(readings).unwrap_or(readings[0]);
        let unwrapped = unwrapped(readings, about);
        self.squares += variance(&unwrapped).map_or(0.0, |v| v * (count - 1.0));
        self.freedom += count - 1.0;
        self.inverse += 1.0 / count;
        self.stills += 1.0;
    }

    /// What means of repeats lack of the variance of single readings.
    fn lacking(all: impl Iterator<Item = Self>) -> f64 {
        let whole = all.fold(Self::default(), |sum, one| Self {
            squares: sum.squares + one.squares,
            freedom: sum.freedom + one.freedom,
            inverse: sum.inverse + one.inverse,
            stills: sum.stills + one.stills,
        });
        if whole.freedom > 0.0 {
            lacking_in_means(whole.squares / whole.freedom, whole.inverse / whole.stills)
        } else {
            0.0
        }
    }
}

impl Compared {
    /// Variance that a single difference has beyond those of means of repeats, from the eyes that count.
    fn more_variance(&self, counts: &dyn Fn(usize) -> bool) -> f64 {
        let of = |rater: usize| {
            Repeats::lacking((0..self.repeats.len()).filter(|eye| counts(*eye)).map(|eye| self.repeats[eye][rater]))
        };
        of(0) + of(1)
    }

    fn limits(&self) -> Option<Limits> {
        let limits = limits_clustered(&self.by_eye, &self.patients.numbers, |counts| self.more_variance(counts))?;
        Some(limits.widened(self.patients.inflation()))
    }
}

impl<'a> Agreement<'a> {
    /// From the stills that count and the readings of them.
    pub fn new(stills: &'a [StillRead], readings: &Readings) -> Self {
        let (eye_of, _) = numbers(stills);
        let program: OfReader = stills
            .iter()
            .enumerate()
            .filter_map(|(at, still)| Some((at, vec![still.result.as_ref().ok()?.reading.error_deg])))
            .collect();
        let mut raters = vec![(PROGRAM.to_owned(), program)];
        raters.extend(readings.readers.iter().map(|(name, of)| (name.clone(), of.clone())));
        Self { stills, eye_of, raters }
    }

    /// The sections.
    pub fn sections(&self) -> Vec<Section> {
        vec![
            self.between("Program against readers", true),
            self.between("Reader against reader", false),
            self.repeats(),
            self.correlations(),
        ]
    }

    /// One line of it.
    pub fn headline(&self, sections: &[Section]) -> String {
        let readers = match self.raters.len() - 1 {
            1 => "1 reader".to_owned(),
            count => format!("{count} readers"),
        };
        let low = sections.iter().flat_map(|s| &s.figures).find(|figure| figure.quantity == "lower limit");
        let high = sections.iter().flat_map(|s| &s.figures).find(|figure| figure.quantity == "upper limit");
        let limits = low.zip(high).and_then(|(low, high)| Some((low.value?, high.value?, &low.group)));
        match limits {
            Some((low, high, pair)) => {
                format!(
                    "{readers}; 95 % of the differences {pair} between {}° and {}°",
                    decimal(low, 2),
                    decimal(high, 2)
                )
            }
            None => format!("{readers}; no limits of agreement can be given"),
        }
    }

    /// Patients of eyes, each told by one of its stills.
    fn patients(&self, stills: impl Iterator<Item = usize>) -> Patients {
        let patient = |still: usize| self.stills[still].columns.get("patient").map(|cell| cell.trim());
        Patients::of(stills.map(|still| (self.eye_of[still], patient(still).filter(|name| !name.is_empty()))))
    }

    fn behind(&self, stills: impl Iterator<Item = usize>) -> Behind {
        let eyes: BTreeMap<usize, usize> = stills.map(|still| (self.eye_of[still], still)).collect();
        self.patients(eyes.into_values()).behind()
    }

    fn compared(&self, first: usize, second: usize) -> (Compared, Behind) {
        let ((name_a, a), (name_b, b)) = (&self.raters[first], &self.raters[second]);
        let both: Vec<usize> = a.keys().filter(|still| b.contains_key(still)).copied().collect();
        let mut by_eye: BTreeMap<usize, (usize, Vec<f64>, [Repeats; 2])> = BTreeMap::new();
        let (mut points, mut pairs) = (Vec::new(), Vec::new());
        for still in &both {
            let of = |readings: &[f64]| mean_difference(readings).unwrap_or(readings[0]);
            let (x, y) = (of(&a[still]), of(&b[still]));
            let difference = axis_difference(y, x);
            let new = || (*still, Vec::new(), [Repeats::default(); 2]);
            let (_, differences, repeats) = by_eye.entry(self.eye_of[*still]).or_insert_with(new);
            differences.push(difference);
            repeats[0].add(&a[still]);
            repeats[1].add(&b[still]);
            points.push([y + difference / 2.0, difference]);
            pairs.push([y + difference, y]);
        }
        let compared = Compared {
            name: format!("{name_a} − {name_b}"),
            patients: self.patients(by_eye.values().map(|(still, ..)| *still)),
            repeats: by_eye.values().map(|(.., repeats)| *repeats).collect(),
            repeated: by_eye.values().any(|(_, differences, _)| differences.len() > 1),
            by_eye: by_eye.into_values().map(|(_, differences, _)| differences).collect(),
            points,
            pairs,
        };
        (compared, self.behind(both.into_iter()))
    }

    fn between(&self, title: &str, with_program: bool) -> Section {
        let mut section = Section::new(title);
        let count = self.raters.len();
        let pairs: Vec<(usize, usize)> = if with_program {
            (1..count).map(|reader| (0, reader)).collect()
        } else {
            (1..count).flat_map(|a| (a + 1..count).map(move |b| (a, b))).collect()
        };
        if pairs.is_empty() {
            section.text.push(if with_program { "No readings." } else { "Fewer than two readers." }.to_owned());
            return section;
        }
        section.text.push(
            "Differences of axes, first less second. Between the limits 95 % of the differences of single readings are expected."
                .to_owned(),
        );
        for (first, second) in pairs {
            let (compared, behind) = self.compared(first, second);
            let Some(limits) = compared.limits() else {
                let note = format!("{} eyes read by both: no limits", behind.eyes);
                section.add(&compared.name, "mean difference", "°", None, None, behind).noted(note);
                continue;
            };
            let stills = format!("{} stills", compared.points.len());
            let mut add = |quantity: &str, value: f64, interval| {
                section.add(&compared.name, quantity, "°", Some(value), interval, behind);
            };
            add("mean difference", limits.bias, Some(limits.bias_interval));
            add("lower limit", limits.low, Some(limits.low_interval));
            add("upper limit", limits.high, Some(limits.high_interval));
            add("SD of a difference", limits.sd, None);
            if compared.repeated {
                add("SD between eyes", limits.between_variance.sqrt(), None);
                add("SD within an eye", limits.within_variance.sqrt(), None);
            }
            let of_pair = section.figures.iter_mut().filter(|figure| figure.group == compared.name);
            let bare = of_pair.take(3).filter(|figure| figure.interval95.is_none());
            bare.for_each(|figure| figure.note = "no interval: too few patients".to_owned());
            let lin = concordance(&compared.pairs);
            section.add(&compared.name, "concordance (Lin)", "", lin, None, behind).noted(stills);
            if section.charts.len() < MOST_CHARTS {
                section.charts.push(chart(&compared, &limits, behind));
            }
        }
        section
    }

    fn repeats(&self) -> Section {
        let mut section = Section::new("Repeat against repeat");
        section.text.push(
            "Within-subject SD: of repeated readings of one still; for the program, of the stills of one eye, since it reads the \
             same still always alike. 95 % of differences of two such readings are below the repeatability coefficient."
                .to_owned(),
        );
        let mut by_eye: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        for (still, readings) in &self.raters[0].1 {
            by_eye.entry(self.eye_of[*still]).or_default().extend(readings);
        }
        let program: Vec<Vec<f64>> = by_eye.into_values().collect();
        let stills = |of: &OfReader| of.values().cloned().collect::<Vec<_>>();
        let readers = self.raters[1..].iter().map(|(name, of)| (format!("{name}, same still"), stills(of), of));
        let all = std::iter::once((format!("{PROGRAM}, stills of an eye"), program, &self.raters[0].1)).chain(readers);
        for (name, subjects, of) in all {
            let behind = self.behind(of.keys().copied());
            match Repeatability::of(&unwrapped_each(&subjects)) {
                Some(found) => {
                    let note = format!("{} subjects, {} degrees of freedom", found.subjects, found.freedom);
                    let (sd, sd_interval) = (Some(found.within_sd), Some(found.within_interval));
                    section.add(&name, "within-subject SD", "°", sd, sd_interval, behind).noted(note);
                    let (coefficient, interval) = (Some(found.coefficient), Some(found.coefficient_interval));
                    section.add(&name, "repeatability coefficient", "°", coefficient, interval, behind);
                }
                None => {
                    section.add(&name, "within-subject SD", "°", None, None, behind).noted("no repeats");
                }
            }
        }
        section
    }

    fn correlations(&self) -> Section {
        let mut section = Section::new("Intraclass correlations");
        section.text.push(
            "The first reading of one still an eye, of eyes that all have read. (1): raters not told apart; (2): raters drawn from \
             many, agreement; (3): these raters, consistency; ,1: a single reading; ,k: the mean of all. They rise with the spread \
             of the eyes: compare them only within one set of eyes."
                .to_owned(),
        );
        let sets = [("program and readers", 0), ("readers", 1)];
        for (name, from) in sets {
            let raters = &self.raters[from..];
            if raters.len() < 2 {
                continue;
            }
            let mut rows: BTreeMap<usize, (usize, Vec<f64>)> = BTreeMap::new();
            for still in raters[0].1.keys() {
                let row: Option<Vec<f64>> = raters.iter().map(|(_, of)| of.get(still)?.first().copied()).collect();
                if let Some(row) = row {
                    rows.entry(self.eye_of[*still]).or_insert((*still, row));
                }
            }
            let behind = self.behind(rows.values().map(|(still, _)| *still));
            let patients = self.patients(rows.values().map(|(still, _)| *still)).numbers;
            let rows: Vec<Vec<f64>> = rows.into_values().map(|(_, row)| row).collect();
            match Intraclass::of_clustered(&unwrapped_each(&rows), &patients) {
                Some(found) => {
                    for (quantity, correlation) in found.all() {
                        let (value, interval) = (Some(correlation.value), Some(correlation.interval));
                        section.add(name, quantity, "", value, interval, behind);
                    }
                }
                None => {
                    let note = format!("{} eyes read by all: two are needed", behind.eyes);
                    section.add(name, "ICC(1,1)", "", None, None, behind).noted(note);
                }
            }
        }
        section
    }
}

/// Readings of each subject moved by turns of 180 to about their axial mean.
fn unwrapped_each(subjects: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let one = |readings: &Vec<f64>| match mean_difference(readings) {
        Some(middle) => unwrapped(readings, middle),
        None => readings.clone(),
    };
    subjects.iter().map(one).collect()
}

fn chart(compared: &Compared, limits: &Limits, behind: Behind) -> Chart {
    let line = |i: crate::statistics::Interval, value: f64| {
        if i.low.is_finite() && i.high.is_finite() { [i.low, value, i.high] } else { [value; 3] }
    };
    let means = compared.more_variance(&|_| true) > 0.0;
    let single = if means { " Points are means of repeated readings; the limits hold for single ones." } else { "" };
    Chart {
        plot: Plot::Difference {
            series: vec![Series { name: compared.name.clone(), points: compared.points.clone() }],
            lines: [
                line(limits.low_interval, limits.low),
                line(limits.bias_interval, limits.bias),
                line(limits.high_interval, limits.high),
            ],
            x_label: "mean of both, degrees".to_owned(),
            y_label: "difference, degrees".to_owned(),
        },
        caption: format!(
            "{}: difference against mean. Dashed: mean difference and limits of agreement; bands: their 95 % intervals.{single} {} stills \
             of {}.",
            compared.name,
            compared.points.len(),
            people(behind)
        ),
    }
}

/// How the figures were found, for quoting.
pub fn methods() -> Vec<String> {
    vec![
        "All differences are of axes, in [−90, 90) degrees.".to_owned(),
        "Limits of agreement: mean difference ± 1.96 SD of the difference of single readings. Stills of one eye are repeated \
         measurements: the variance is that between eyes plus that within (Bland & Altman 2007); where a reader read a still several \
         times, the means are compared and what they lack is added (Bland & Altman 1986)."
            .to_owned(),
        "Intervals of mean difference and limits: Bland & Altman (1999), with repeats Zou (2013); where a patient gives both eyes, \
         by the jackknife over patients (Miller 1974), mean and SD joined as by Zou (2013). In simulation with fellow eyes whose \
         differences are correlated by 0.5, 94 to 96 % of them held the truth at 20 to 200 eyes; 88 to 89 % did where fellow eyes passed \
         for separate ones."
            .to_owned(),
        "Eyes without a patient may be fellow eyes: intervals of the limits are widened by up to √2.".to_owned(),
        "Within-subject SD and repeatability coefficient (1.96 √2 SD): Bland & Altman (1986), interval by chi squared; \
         what repeats of one still or eye differ by is taken to be independent of the patient's other eye."
            .to_owned(),
        "Intraclass correlations: Shrout & Fleiss (1979), intervals by F; fellow eyes count as n / (1 + (m − 1) r²) eyes between \
         them, m eyes a patient correlated by r. Eyes without a patient are taken as independent."
            .to_owned(),
        "Nothing is drawn by chance.".to_owned(),
    ]
}
