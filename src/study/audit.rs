//! What an audit says: alignment by group and over time, refusals, residual cylinder, learning.

use super::estimates::{Estimate, Sample, error, reading_variances};
use super::eye::Eye;
use super::figures::{Behind, Chart, Figure, Plot, Region, Section, Series};
use super::reading::in_words;
use crate::statistics::centroid_region::CentroidRegion;
use crate::statistics::jackknife::Scale;
use crate::statistics::reading_error::without_reading_error;
use crate::statistics::{cusum, descriptive, risk_adjusted};
use std::collections::{BTreeMap, BTreeSet};

/// Name of the group of all eyes.
pub const ALL: &str = "all eyes";
/// Name of the group of eyes for which the sheet gives none.
pub const UNNAMED: &str = "(not given)";
/// Odds ratio that the learning sequence looks for: a doubling.
const ODDS_RATIO: f64 = 2.0;
/// Probability of a false alarm in a whole sequence.
const FALSE_ALARM: f64 = 0.05;
/// Sequences drawn to set a limit.
const RUNS: u32 = 4000;
/// Fewest eyes for a learning sequence.
const SHORTEST_SEQUENCE: usize = 10;
/// Fewest eyes of other operators that tell the risk.
const FEWEST_OTHERS: usize = 10;
/// Allowance and limit of the plain cumulative sum, standard deviations: a shift of one standard deviation is found soon.
const PLAIN: (f64, f64) = (0.5, 5.0);
/// Groups shown in a chart of groups.
const MOST_GROUPS_DRAWN: usize = 8;
/// Groups shown in the double-angle plane.
const MOST_CENTROIDS_DRAWN: usize = 4;
/// Portions into which a run of operations is cut to be seen over time.
const PORTIONS: usize = 4;

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
    sections.push(over_time(&all.1, settings));
    sections.extend(drift(&all.1));
    sections.extend(learning(eyes, settings));
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

fn people(behind: Behind) -> String {
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

fn over_time(eyes: &[&Eye], settings: &AuditSettings) -> Section {
    let mut section = Section::new("Over time");
    let measured: Vec<&Eye> = eyes.iter().copied().filter(|eye| eye.measure.is_some()).collect();
    if measured.len() < 2 * PORTIONS {
        section.text.push(format!("{} eyes measured are too few to be seen over time.", measured.len()));
        return section;
    }
    section.text.push(format!(
        "The measured eyes in order of operation, in {PORTIONS} portions of equal number; each with the days of its first and \
         last operation."
    ));
    for portion in 0..PORTIONS {
        let at = |k: usize| k * measured.len() / PORTIONS;
        let part = &measured[at(portion)..at(portion + 1)];
        let day = |eye: Option<&&Eye>| eye.and_then(|eye| eye.date).map(|date| date.to_string());
        let days = day(part.first()).zip(day(part.last())).map_or(String::new(), |(a, b)| format!(", {a} to {b}"));
        let name = format!("{} to {}{days}", at(portion) + 1, at(portion + 1));
        let sample = Sample::of(part.iter().copied(), error);
        let (plain, sizes, behind) = (sample.unwrapped(), sample.sizes(), sample.behind());
        let mean = sample.axial_mean(settings.seed);
        section.add(&name, "mean error", "°", mean.value, mean.interval, behind);
        let spread = plain.spread();
        section.add(&name, "spread (SD)", "°", spread.value, spread.interval, behind);
        let size = sizes.mean(Scale::Logarithm);
        section.add(&name, "mean absolute error", "°", size.value, size.interval, behind);
        if let Some(limit) = settings.limits_deg.first() {
            let share = sizes.share(|v| v <= *limit);
            let interval =
                share.interval.map(|i| crate::statistics::Interval { low: 100.0 * i.low, high: 100.0 * i.high });
            section.add(&name, format!("within {limit}°"), "%", share.value.map(|v| 100.0 * v), interval, behind);
        }
    }
    section
}

/// Does the mean error leave 0? A plain two-sided cumulative sum in units of the spread.
fn drift(eyes: &[&Eye]) -> Option<Section> {
    let sample = Sample::of(eyes.iter().copied(), error);
    let plain = sample.unwrapped();
    let enough = plain.values.len() >= SHORTEST_SEQUENCE;
    let sd = descriptive::standard_deviation(&plain.values).filter(|sd| enough && *sd > 0.0)?;
    let mut section = Section::new("Drift");
    section.text.push("Has the mean error of all eyes left 0 at some time, to the one side or the other?".to_owned());
    let (allowance, limit) = PLAIN;
    let standardized: Vec<f64> = plain.values.iter().map(|error| error / sd).collect();
    let sums = cusum::sums(&standardized, allowance);
    let alarm = sums.iter().position(|sums| sums.up > limit || sums.down > limit);
    let behind = sample.behind();
    let name = ALL;
    let largest = |of: fn(&cusum::Sums) -> f64| sums.iter().map(of).reduce(f64::max);
    section.add(name, "largest sum, counter-clockwise", "", largest(|s| s.up), None, behind);
    section.add(name, "largest sum, clockwise", "", largest(|s| s.down), None, behind);
    section.add(name, "limit", "", Some(limit), None, behind);
    section
        .add(name, "first operation above the limit", "", alarm.map(|k| k as f64 + 1.0), None, behind)
        .noted(if alarm.is_some() { "" } else { "never above it" });
    let run = cusum::average_run_length(allowance, limit, 0.0);
    section.add(name, "mean run to a false alarm", "eyes", run, None, behind).noted("of independent eyes");
    let curve = |name: &str, of: fn(&cusum::Sums) -> f64| Series {
        name: name.to_owned(),
        points: sums.iter().enumerate().map(|(k, s)| [k as f64 + 1.0, of(s)]).collect(),
    };
    section.charts.push(Chart {
        plot: Plot::Curves {
            series: vec![curve("counter-clockwise", |s| s.up), curve("clockwise", |s| -s.down)],
            x_label: "measured eye, in order".to_owned(),
            y_label: "cumulative sum, SD".to_owned(),
            levels: vec![(limit, "limit".to_owned()), (-limit, "limit".to_owned())],
        },
        caption: format!(
            "Cumulative sum of the error in units of its spread, allowance {allowance}: beyond a limit the mean error has left 0. {}.",
            people(behind)
        ),
    });
    Some(section)
}

/// What the expected risk goes by.
fn stratum(eye: &Eye) -> &str {
    eye.group("technique")
}

/// The learning sequence of each operator, or of all eyes where none is named.
fn learning(eyes: &[Eye], settings: &AuditSettings) -> Option<Section> {
    let limit_deg = *settings.limits_deg.first()?;
    let bad = |eye: &Eye| error(eye).map(|e| e.abs() > limit_deg);
    let mut section = Section::new("Learning sequence");
    let mut strata: BTreeMap<String, Vec<&Eye>> = BTreeMap::new();
    for eye in eyes.iter().filter(|eye| eye.measure.is_some()) {
        strata.entry(stratum(eye).to_owned()).or_default().push(eye);
    }
    // One bad and one good eye more keep the risk off 0 and 1.
    let smoothed = |count: usize, of: usize| (count as f64 + 1.0) / (of as f64 + 2.0);
    let operators = grouped(eyes, "operator");
    let adjusted = strata.len() > 1;
    section.text.push(format!(
        "A sum that rises with every error beyond {limit_deg}° and falls with every one within it, weighed by the risk that \
         was expected ({}); above its limit, errors beyond {limit_deg}° have become more frequent (odds times {ODDS_RATIO}). \
         The limit is crossed by chance in {:.0} of 100 sequences of this length. Where the others have fewer than {FEWEST_OTHERS} such \
         eyes, all eyes take their place.",
        if adjusted { "the share beyond it among the eyes of other operators that were marked alike" } else { "the share beyond it among the eyes of other operators" },
        100.0 * FALSE_ALARM
    ));
    for (name, group) in operators {
        let operator = if name == UNNAMED { "" } else { name.as_str() };
        let name = if operator.is_empty() { ALL.to_owned() } else { name.clone() };
        let measured: Vec<&Eye> = group.into_iter().filter(|eye| eye.measure.is_some()).collect();
        let sample = Sample::of(measured.iter().copied(), error);
        if measured.len() < SHORTEST_SEQUENCE {
            let figure = section.add(&name, "largest value of the sum", "", None, None, sample.behind());
            figure.noted(format!("fewer than {SHORTEST_SEQUENCE} eyes measured"));
            continue;
        }
        let risks: BTreeMap<&str, f64> = strata
            .iter()
            .map(|(stratum, alike)| {
                let own = |eye: &&&Eye| eye.group("operator") == operator;
                let mut others: Vec<&Eye> = alike.iter().filter(|eye| !own(eye)).copied().collect();
                if others.len() < FEWEST_OTHERS {
                    others.clone_from(alike);
                }
                let count = others.iter().filter(|eye| bad(eye) == Some(true)).count();
                (stratum.as_str(), smoothed(count, others.len()))
            })
            .collect();
        let outcomes: Vec<(bool, f64)> =
            measured.iter().map(|eye| (bad(eye) == Some(true), risks[stratum(eye)])).collect();
        let sums = risk_adjusted::sums(&outcomes, ODDS_RATIO);
        let expected: Vec<f64> = outcomes.iter().map(|(_, risk)| *risk).collect();
        let limit = risk_adjusted::limit(&expected, ODDS_RATIO, FALSE_ALARM, RUNS, settings.seed);
        let behind = sample.behind();
        let count = outcomes.iter().filter(|(bad, _)| *bad).count() as f64;
        section.add(&name, format!("eyes beyond {limit_deg}°"), "eyes", Some(count), None, behind);
        section.add(&name, "expected", "eyes", Some(expected.iter().sum()), None, behind);
        section.add(&name, "largest value of the sum", "", sums.iter().copied().reduce(f64::max), None, behind);
        section.add(&name, "limit", "", limit, None, behind);
        let alarm = limit.and_then(|limit| sums.iter().position(|sum| *sum > limit));
        section
            .add(&name, "first operation above the limit", "", alarm.map(|k| k as f64 + 1.0), None, behind)
            .noted(if alarm.is_some() { "" } else { "never above it" });
        if section.charts.len() < MOST_GROUPS_DRAWN {
            let points = sums.iter().enumerate().map(|(k, sum)| [k as f64 + 1.0, *sum]).collect();
            section.charts.push(Chart {
                plot: Plot::Curves {
                    series: vec![Series { name: name.clone(), points }],
                    x_label: "operation, in order".to_owned(),
                    y_label: "sum".to_owned(),
                    levels: limit.map(|limit| (limit, "limit".to_owned())).into_iter().collect(),
                },
                caption: format!("Learning sequence of {name}. {}.", people(behind)),
            });
        }
    }
    Some(section)
}

/// How the figures were found, for quoting.
pub fn methods(settings: &AuditSettings) -> Vec<String> {
    vec![
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
        format!(
            "Drift: two-sided cumulative sum of the error over its spread (Page 1954), allowance {}, limit {} standard deviations.",
            PLAIN.0, PLAIN.1
        ),
        format!(
            "Learning sequence: risk-adjusted cumulative sum (Steiner et al. 2000), odds ratio {ODDS_RATIO}; limit by up to \
             {RUNS} drawn sequences of the same risks."
        ),
        format!("All drawing by ChaCha8 with seed {}.", settings.seed),
    ]
}
