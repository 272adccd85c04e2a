//! What an audit says: alignment by group and over time, refusals, residual cylinder, learning.

use super::estimates::{Estimate, Sample, error, reading_variances};
use super::eye::{self, Eye};
use super::figures::{Behind, Chart, Figure, Plot, Section, Series};
use super::{refusals, residual, sequences};
use crate::statistics::axial::AxialSummary;
use crate::statistics::descriptive;
use crate::statistics::jackknife::Scale;
use crate::statistics::reading_error::without_reading_error;
use std::collections::BTreeMap;

/// Name of the group of all eyes.
pub const ALL: &str = "all eyes";
/// Name of the group of eyes for which the sheet gives none.
pub const UNNAMED: &str = "(not given)";
/// Groups shown in a chart of groups.
pub const MOST_GROUPS_DRAWN: usize = 8;

/// What to ask.
#[derive(Clone, Debug)]
pub struct AuditSettings {
    /// Columns to group by.
    pub by: Vec<String>,
    /// Limits of the size of the error, degrees.
    pub limits_deg: Vec<f64>,
    /// Seed of all drawing.
    pub seed: u64,
}

/// A named group of eyes.
pub type Group<'a> = (String, Vec<&'a Eye>);

/// Eyes by a column, groups in the order of their names, those without one last.
pub fn grouped<'a>(eyes: &'a [Eye], column: &str) -> Vec<Group<'a>> {
    let mut groups: BTreeMap<(bool, String), Vec<&Eye>> = BTreeMap::new();
    for eye in eyes {
        let name = eye.group(column);
        groups.entry((name.is_empty(), name.to_owned())).or_default().push(eye);
    }
    let named = |((unnamed, name), eyes)| (if unnamed { UNNAMED.to_owned() } else { name }, eyes);
    groups.into_iter().map(named).collect()
}

/// The sections of an audit.
pub fn sections(eyes: &[Eye], settings: &AuditSettings) -> Vec<Section> {
    let all: Group = (ALL.to_owned(), eyes.iter().collect());
    let by: Vec<(String, Vec<Group>)> =
        settings.by.iter().map(|column| (column.clone(), grouped(eyes, column))).collect();
    let mut sections = vec![
        alignment(&all, &by, settings),
        limits(&all, &by, settings),
        refusals::without_figure(&all, &by),
        refusals::far_from_plan(&all, &by),
        refusals::stills(&all, &by),
    ];
    sections.extend(residual::section(&all, &by, settings));
    sections.push(sequences::over_time(&all.1, settings));
    sections.extend(sequences::drift(&all.1));
    sections.extend(sequences::learning(eyes, settings));
    sections
}

/// One line of an audit.
pub fn headline(eyes: &[Eye], limit_deg: f64) -> String {
    let sample = Sample::of(eyes, error);
    let share = sample.sizes().share(|v| v <= limit_deg).value;
    match (share, descriptive::median(&sample.sizes().values)) {
        (Some(share), Some(median)) => format!(
            "{} measured: median absolute error {median:.1}°, {:.0} % within {limit_deg}°; {} without a figure",
            people(sample.behind()),
            100.0 * share,
            eyes.len() - sample.values.len()
        ),
        _ => format!("No eye of {} has a figure", eyes.len()),
    }
}

/// All eyes, then each group by its column and name.
pub(super) fn every<'a, 'b>(
    all: &'b Group<'a>,
    by: &'b [(String, Vec<Group<'a>>)],
) -> impl Iterator<Item = (String, &'b [&'a Eye])> {
    let groups = by.iter().flat_map(|(column, groups)| {
        groups.iter().map(move |(name, eyes)| (format!("{column}: {name}"), eyes.as_slice()))
    });
    std::iter::once((all.0.clone(), all.1.as_slice())).chain(groups)
}

fn alignment(all: &Group, by: &[(String, Vec<Group>)], settings: &AuditSettings) -> Section {
    let mut section = Section::new("Alignment");
    section.text.push(
        "Error: lens axis less intended axis; + is counter-clockwise as seen. Where \"reading taken out\" is said, the \
         error of reading the stills is taken out of the figure."
            .to_owned(),
    );
    for (name, eyes) in every(all, by) {
        describe(&mut section, &name, eyes, settings.seed);
    }
    let measured = Sample::of(all.1.iter().copied(), error);
    if !measured.values.is_empty() {
        let groups = by.first().map_or_else(|| vec![all.clone()], |(_, groups)| groups.clone());
        let column = by.first().map_or("", |(column, _)| column.as_str());
        section.charts.push(sequence_chart(&all.1, &groups, column, settings));
        let of_all = !groups.iter().any(|(name, _)| name == ALL);
        let drawn = groups.iter().take(MOST_GROUPS_DRAWN).chain(of_all.then_some(all));
        let values = |group: &Group| (group.0.clone(), Sample::of(group.1.iter().copied(), error).values);
        section.charts.push(Chart {
            plot: Plot::Strips {
                groups: drawn.map(values).collect(),
                y_label: "error, degrees".to_owned(),
                limits: settings.limits_deg.clone(),
            },
            caption: format!(
                "Error of every eye by group; bar: median, box: middle half. Dashed: limits. {}.",
                people(measured.behind())
            ),
        });
        section.charts.extend(axes_chart(&all.1));
    }
    section
}

/// Eyes and patients in words.
pub fn people(behind: Behind) -> String {
    let eyes = if behind.eyes == 1 { "eye" } else { "eyes" };
    match behind.patients {
        Some(1) => format!("{} {eyes} of 1 patient", behind.eyes),
        Some(patients) => format!("{} {eyes} of {patients} patients", behind.eyes),
        None => format!("{} {eyes} (patients not all named)", behind.eyes),
    }
}

fn sequence_chart(eyes: &[&Eye], groups: &[Group], column: &str, settings: &AuditSettings) -> Chart {
    let place: std::collections::HashMap<*const Eye, f64> =
        eyes.iter().enumerate().map(|(k, eye)| (std::ptr::from_ref(*eye), k as f64 + 1.0)).collect();
    let points = |group: &[&Eye]| {
        group.iter().filter_map(|eye| Some([*place.get(&std::ptr::from_ref(*eye))?, error(eye)?])).collect()
    };
    let series = groups.iter().map(|(name, group)| Series { name: name.clone(), points: points(group) }).collect();
    let dated = eyes.iter().filter(|eye| eye.date.is_some()).count();
    let order = match dated {
        0 => "in the order of the records, since the sheet gives no dates".to_owned(),
        n if n == eyes.len() => "by date of operation".to_owned(),
        n => format!("by date of operation, the {} without one last", eyes.len() - n),
    };
    let by = if column.is_empty() { String::new() } else { format!(", by {column}") };
    let behind = Sample::of(eyes.iter().copied(), error).behind();
    Chart {
        plot: Plot::Sequence {
            series,
            x_label: "operation, in order".to_owned(),
            y_label: "error, degrees".to_owned(),
            limits: settings.limits_deg.clone(),
        },
        caption: format!("Error by operation{by}, {order}. Dashed: limits. {}.", people(behind)),
    }
}

fn axes_chart(eyes: &[&Eye]) -> Option<Chart> {
    let known = Sample::of(eyes.iter().copied(), |eye| eye.measure?.lens_axis_deg);
    let behind = known.behind();
    (behind.eyes > 0).then(|| Chart {
        plot: Plot::Axes { axes_deg: known.values },
        caption: format!(
            "Axes of the lenses in the eye's notation, by 10 degrees; the area of a sector is its count. {} whose 0 \
             meridian is known.",
            people(behind)
        ),
    })
}

fn describe(section: &mut Section, name: &str, eyes: &[&Eye], seed: u64) {
    let sample = Sample::of(eyes.iter().copied(), error);
    let behind = sample.behind();
    let variances = reading_variances(eyes.iter().copied());
    let plain = sample.unwrapped();
    let sizes = sample.sizes();
    let mut add = |quantity: &str, e: Estimate| {
        why_missing(section.add(name, quantity, "°", e.value, e.interval, behind), e, behind);
    };
    add("mean error", sample.axial_mean(seed));
    add("spread (SD)", plain.spread());
    add("spread (SD), reading taken out", plain.true_spread(&variances));
    add("mean absolute error", sizes.mean(Scale::Logarithm));
    add("median absolute error", sizes.median(seed));
    let cleaned = without_reading_error(&plain.values, &variances).map(|v| sample.with(v).sizes());
    let point = |value: Option<f64>| Estimate { value, interval: None };
    let clean = |of: &dyn Fn(&[f64]) -> Option<f64>| point(cleaned.as_ref().and_then(|c| of(&c.values)));
    let mut add_point = |quantity: &str, e: Estimate| {
        let figure = section.add(name, quantity, "°", e.value, None, behind);
        if e.value.is_none() {
            figure.note = one_or_none(behind);
        }
    };
    add_point("mean absolute error, reading taken out", clean(&|v| descriptive::mean(v)));
    add_point("median absolute error, reading taken out", clean(&|v| descriptive::median(v)));
    let reading = descriptive::mean(&variances).map(f64::sqrt);
    add_point("error of reading (SD)", point(reading));
    let several = sample.values.len() > 1;
    let robust = descriptive::scaled_median_deviation(&plain.values).filter(|_| several);
    add_point("spread by the median deviation", point(robust));
    let circular = AxialSummary::of(&sample.values).map(|a| a.circular_sd_deg).filter(|_| several);
    add_point("circular SD", point(circular));
    add_point("trimmed mean (10 %)", point(descriptive::trimmed_mean(&plain.values, 0.1)));
}

fn why_missing(figure: &mut Figure, e: Estimate, behind: Behind) {
    if e.value.is_none() {
        figure.note = one_or_none(behind);
    } else if e.interval.is_none() {
        figure.note = match behind.patients {
            Some(patients) if patients < 2 => "no interval from one patient".to_owned(),
            _ => "no interval: reading explains the spread, or too few patients".to_owned(),
        };
    }
}

/// Why a figure that needs two eyes is missing.
fn one_or_none(behind: Behind) -> String {
    if behind.eyes == 0 { "no eye measured".to_owned() } else { "one eye has no spread".to_owned() }
}

fn limits(all: &Group, by: &[(String, Vec<Group>)], settings: &AuditSettings) -> Section {
    let mut section = Section::new("Within the limits");
    section.text.push(
        "Shares of eyes whose error is no larger than the limit. \"At least\" counts every eye without a figure as \
         beyond it, so that refused stills cannot make a group look better."
            .to_owned(),
    );
    for (name, eyes) in every(all, by) {
        let sample = Sample::of(eyes.iter().copied(), error);
        let variances = reading_variances(eyes.iter().copied());
        let cleaned = without_reading_error(&sample.unwrapped().values, &variances);
        let every_eye = Sample::of(eyes.iter().copied(), |eye| Some(error(eye).map_or(f64::MAX, f64::abs)));
        for limit in &settings.limits_deg {
            let within = |v: f64| v.abs() <= *limit;
            let measured = sample.share(within);
            let mut add = |quantity: String, e: Estimate, behind: Behind| {
                let e = e.percent();
                let figure = section.add(&name, quantity, "%", e.value, e.interval, behind);
                if e.value.is_none() {
                    figure.note = one_or_none(behind);
                }
            };
            add(format!("within {limit}°"), measured, sample.behind());
            let clean = cleaned.as_ref().map(|v| sample.with(v.clone()).share(within).value);
            add(
                format!("within {limit}°, reading taken out"),
                Estimate { value: clean.flatten(), interval: None },
                sample.behind(),
            );
            add(format!("within {limit}°, at least"), every_eye.share(within), every_eye.behind());
        }
    }
    section
}

/// How the figures were found, for quoting.
pub fn methods(settings: &AuditSettings) -> Vec<String> {
    let figures = [
        eye::methods(),
        refusals::methods(),
        "Mean error: mean of the doubled angles, halved (Fisher 1993), with a bias-corrected and accelerated bootstrap interval \
         over patients (2,000 resamples, beyond 5,000 eyes fewer, not below 500; Efron & Tibshirani 1993), widened for few patients (Hesterberg 2015). Median: the \
         same."
            .to_owned(),
        "Spread and mean absolute error: intervals by the jackknife over patients on the logarithm with Student's t (Miller 1974); none \
         from fewer than 5 patients. In simulation with two eyes a patient correlated by 0.5, 94 % of them held the truth at 20 eyes."
            .to_owned(),
        "Reading taken out: spread as the root of the variance less the mean reading variance; sizes and shares from errors \
         drawn towards their mean to that spread (constrained empirical Bayes, Louis 1984)."
            .to_owned(),
        "Shares: Wilson's score interval (Newcombe 1998), the number of eyes divided by the design effect of eyes within \
         patients (Rao & Scott 1992)."
            .to_owned(),
        "Centroid of residual astigmatism: 95 % region by Hotelling's T², covariance over patients.".to_owned(),
    ];
    let drawing = format!("All drawing by ChaCha8 with seed {}.", settings.seed);
    figures.into_iter().chain(sequences::methods()).chain([drawing]).collect()
}
