//! What an audit says: alignment by group and over time, refusals, residual cylinder, learning.

use super::estimates::{Estimate, Sample, error, reading_variances};
use super::eye::Eye;
use super::figures::{Behind, Chart, Figure, Plot, Region, Section, Series};
use super::reading::in_words;
use super::sequences;
use crate::statistics::centroid_region::CentroidRegion;
use crate::statistics::descriptive;
use crate::statistics::jackknife::Scale;
use crate::statistics::reading_error::without_reading_error;
use std::collections::{BTreeMap, BTreeSet};

/// Name of the group of all eyes.
pub const ALL: &str = "all eyes";
/// Name of the group of eyes for which the sheet gives none.
pub const UNNAMED: &str = "(not given)";
/// Groups shown in a chart of groups.
pub const MOST_GROUPS_DRAWN: usize = 8;
/// Groups shown in the double-angle plane.
const MOST_CENTROIDS_DRAWN: usize = 4;

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
    let mut sections = vec![alignment(&all, &by, settings), limits(&all, &by, settings), without_figure(&all, &by)];
    sections.extend(residual(&all, &by, settings));
    sections.push(sequences::over_time(&all.1, settings));
    sections.extend(sequences::drift(&all.1));
    sections.extend(sequences::learning(eyes, settings));
    sections
}

/// One line of an audit.
pub fn headline(eyes: &[Eye], limit_deg: f64) -> String {
    let sample = Sample::of(eyes, error);
    let share = sample.sizes().share(|v| v <= limit_deg).value;
    let patients = sample
        .behind()
        .patients
        .map_or(String::new(), |p| format!(" of {p} {}", if p == 1 { "patient" } else { "patients" }));
    match (share, descriptive::median(&sample.sizes().values)) {
        (Some(share), Some(median)) => format!(
            "{} eyes{patients} measured: median absolute error {median:.1}°, {:.0} % within {limit_deg}°; {} without a figure",
            sample.values.len(),
            100.0 * share,
            eyes.len() - sample.values.len()
        ),
        _ => format!("No eye of {} has a figure", eyes.len()),
    }
}

fn every<'a, 'b>(
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
        None => format!("{} {eyes}, patients not all named", behind.eyes),
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
    let axes_deg: Vec<f64> = eyes.iter().filter_map(|eye| eye.measure?.lens_axis_deg).collect();
    let count = axes_deg.len();
    (count > 0).then(|| Chart {
        plot: Plot::Axes { axes_deg },
        caption: format!(
            "Axes of the lenses in the eye's notation, by 10 degrees; the area of a sector is its count. {count} eyes \
             whose 0 meridian is known."
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
        section.add(name, quantity, "°", e.value, None, behind);
    };
    add_point("mean absolute error, reading taken out", clean(&|v| descriptive::mean(v)));
    add_point("median absolute error, reading taken out", clean(&|v| descriptive::median(v)));
    let reading = descriptive::mean(&variances).map(f64::sqrt);
    add_point("error of reading (SD)", point(reading));
    let robust = descriptive::scaled_median_deviation(&plain.values);
    add_point("spread by the median deviation", point(robust));
    add_point(
        "circular SD",
        point(crate::statistics::axial::AxialSummary::of(&sample.values).map(|a| a.circular_sd_deg)),
    );
    add_point("trimmed mean (10 %)", point(descriptive::trimmed_mean(&plain.values, 0.1)));
}

fn why_missing(figure: &mut Figure, e: Estimate, behind: Behind) {
    if e.value.is_none() {
        figure.note = if behind.eyes == 0 { "no eye measured".to_owned() } else { "one eye has no spread".to_owned() };
    } else if e.interval.is_none() {
        figure.note = match behind.patients {
            Some(patients) if patients < 2 => "no interval from one patient".to_owned(),
            _ => "no interval: reading explains the spread, or too few patients".to_owned(),
        };
    }
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
            let percent = |e: Estimate| Estimate {
                value: e.value.map(|v| 100.0 * v),
                interval: e.interval.map(|i| crate::statistics::Interval { low: 100.0 * i.low, high: 100.0 * i.high }),
            };
            let mut add = |quantity: String, e: Estimate, behind: Behind| {
                let e = percent(e);
                let figure = section.add(&name, quantity, "%", e.value, e.interval, behind);
                if e.value.is_none() {
                    figure.note = "no eye measured".to_owned();
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

fn without_figure(all: &Group, by: &[(String, Vec<Group>)]) -> Section {
    let mut section = Section::new("Eyes without a figure");
    section.text.push(
        "An eye has no figure where every still of it was refused or could not be read. By the reason of its first refusal."
            .to_owned(),
    );
    let first_reason = |eye: &Eye| eye.refusals.first().map_or("unknown".to_owned(), Clone::clone);
    let without = all.1.iter().filter(|eye| eye.measure.is_none());
    let reasons: BTreeSet<String> = without.map(|eye| first_reason(eye)).collect();
    for (name, eyes) in every(all, by) {
        let everyone = Sample::of(eyes.iter().copied(), |eye| Some(f64::from(u8::from(eye.measure.is_none()))));
        let share = everyone.share(|v| v > 0.5);
        let scaled = share.interval.map(|i| crate::statistics::Interval { low: 100.0 * i.low, high: 100.0 * i.high });
        section.add(&name, "without a figure", "%", share.value.map(|v| 100.0 * v), scaled, everyone.behind());
        for reason in &reasons {
            let count = eyes.iter().filter(|eye| eye.measure.is_none() && first_reason(eye) == *reason).count();
            section.add(&name, in_words(reason), "eyes", Some(count as f64), None, everyone.behind());
        }
    }
    section
}

fn residual(all: &Group, by: &[(String, Vec<Group>)], settings: &AuditSettings) -> Option<Section> {
    let mut section = Section::new("Residual cylinder");
    let measured = all.1.iter().filter_map(|eye| eye.measure);
    let (mut at_cornea, mut at_lens) = (0, 0);
    for measure in measured.filter(|m| m.residual_d.is_some()) {
        if measure.at_cornea { at_cornea += 1 } else { at_lens += 1 }
    }
    let cornea = at_cornea > 0;
    if at_cornea + at_lens == 0 {
        section.text.push("In dioptres nothing can be said: the sheet gives no toric power.".to_owned());
    } else if cornea && at_lens > 0 {
        section.text.push(format!(
            "Dioptres are those at the cornea. {at_lens} eyes have theirs in the plane of the lens only, a different unit: \
             they are left out of the dioptres, not of the percentages."
        ));
    } else {
        let plane = if cornea { "at the cornea" } else { "in the plane of the lens" };
        section.text.push(format!("Dioptres hold {plane}."));
    }
    let same_plane = |eye: &Eye| eye.measure.filter(|m| m.at_cornea == cornea);
    let (mut series, mut regions) = (Vec::new(), Vec::new());
    let drawn: Vec<String> = match by.first() {
        Some((column, groups)) => {
            groups.iter().take(MOST_CENTROIDS_DRAWN).map(|(name, _)| format!("{column}: {name}")).collect()
        }
        None => vec![ALL.to_owned()],
    };
    for (name, eyes) in every(all, by) {
        let percent = Sample::of(eyes.iter().copied(), |eye| eye.measure?.residual_percent);
        let dioptres = Sample::of(eyes.iter().copied(), |eye| same_plane(eye)?.residual_d);
        for (quantity, unit, sample) in [("of the cylinder", "%", &percent), ("cylinder", "D", &dioptres)] {
            if sample.values.is_empty() {
                continue;
            }
            let mean = sample.mean(Scale::Logarithm);
            section.add(&name, format!("residual {quantity}, mean"), unit, mean.value, mean.interval, sample.behind());
            let median = sample.median(settings.seed);
            section.add(
                &name,
                format!("residual {quantity}, median"),
                unit,
                median.value,
                median.interval,
                sample.behind(),
            );
        }
        let vectors: Vec<(&Eye, [f64; 2])> =
            eyes.iter().filter_map(|eye| Some((*eye, same_plane(eye)?.power_vector_d?))).collect();
        if vectors.is_empty() {
            continue;
        }
        // Twice J0 and J45: C cos 2A and C sin 2A of the minus cylinder that corrects the residual.
        let points: Vec<[f64; 2]> = vectors.iter().map(|(_, [j0, j45])| [2.0 * j0, 2.0 * j45]).collect();
        let sample = Sample::of(vectors.iter().map(|(eye, _)| *eye), |_| Some(0.0));
        centroid(&mut section, &name, &points, &sample);
        if drawn.contains(&name) {
            if let Some(region) = CentroidRegion::of(&points, &sample.patients) {
                regions.push(Region { group: series.len(), center: region.center, outline: region.outline(72) });
            }
            series.push(Series { name, points });
        }
    }
    if section.figures.is_empty() {
        return None;
    }
    let count: usize = series.iter().map(|s| s.points.len()).sum();
    if count > 0 {
        section.charts.push(Chart {
            plot: Plot::DoubleAngle { series, regions },
            caption: format!(
                "Residual astigmatism in the double-angle plane: direction twice the axis of the minus cylinder that \
                 corrects it, distance its power. Cross: centroid; outline: its 95 % region. {count} eyes."
            ),
        });
    }
    Some(section)
}

fn centroid(section: &mut Section, name: &str, points: &[[f64; 2]], sample: &Sample) {
    let behind = sample.behind();
    let mean = |k: usize| descriptive::mean(&points.iter().map(|p| p[k]).collect::<Vec<_>>()).unwrap_or(f64::NAN);
    let (x, y) = (mean(0), mean(1));
    let axis = (y.atan2(x).to_degrees() / 2.0).rem_euclid(180.0);
    section.add(name, "centroid, power", "D", Some(x.hypot(y)), None, behind);
    section.add(name, "centroid, minus-cylinder axis", "°", Some(if axis == 0.0 { 180.0 } else { axis }), None, behind);
    let region = CentroidRegion::of(points, &sample.patients);
    let note = match region {
        Some(region) if region.excludes_origin => "0 lies outside of the region",
        Some(_) => "0 lies within the region",
        None => "no region: fewer than three patients, or all on a line",
    };
    let longer = region.map(|r| r.semi_axes[0]);
    section.add(name, "95 % region, longer semi-axis", "D", longer, None, behind).noted(note);
    section.add(name, "95 % region, shorter semi-axis", "D", region.map(|r| r.semi_axes[1]), None, behind);
}

/// How the figures were found, for quoting.
pub fn methods(settings: &AuditSettings) -> Vec<String> {
    let figures = [
        "Eyes are counted, not stills: the errors of the stills of one eye are averaged as axes. Reading variances are those \
         of the records; what stills of an eye share (the oval of the limbus) is not lessened by averaging."
            .to_owned(),
        "Mean error: mean of the doubled angles, halved (Fisher 1993), with a bias-corrected and accelerated bootstrap interval \
         over patients (2,000 resamples, beyond 5,000 eyes fewer, not below 500; Efron & Tibshirani 1993), widened for few patients (Hesterberg 2015). Median: the \
         same."
            .to_owned(),
        "Spread and mean absolute error: intervals by the jackknife over patients on the logarithm with Student's t (Miller 1974). In \
         simulation with two eyes a patient correlated by 0.5, 94 % of them held the truth at 20 eyes."
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
