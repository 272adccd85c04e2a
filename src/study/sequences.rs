//! Operations in their order: portions, drift of the mean error, learning of each operator.

use super::audit::{ALL, AuditSettings, MOST_GROUPS_DRAWN, UNNAMED, grouped, people};
use super::estimates::{Sample, error};
use super::eye::Eye;
use super::figures::{Chart, Plot, Section, Series};
use crate::statistics::jackknife::Scale;
use crate::statistics::{cusum, descriptive, risk_adjusted};
use std::collections::BTreeMap;

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
/// Portions into which a run of operations is cut to be seen over time.
const PORTIONS: usize = 4;

/// Portions of the measured eyes in order of operation.
pub fn over_time(eyes: &[&Eye], settings: &AuditSettings) -> Section {
    let mut section = Section::new("Over time");
    let measured: Vec<&Eye> = eyes.iter().copied().filter(|eye| eye.measure.is_some()).collect();
    if measured.len() < 2 * PORTIONS {
        section.text.push(format!(
            "Too few eyes to be seen over time: {} measured, {} needed.",
            measured.len(),
            2 * PORTIONS
        ));
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
            let share = sizes.share(|v| v <= *limit).percent();
            section.add(&name, format!("within {limit}°"), "%", share.value, share.interval, behind);
        }
    }
    section
}

/// Does the mean error leave 0? A plain two-sided cumulative sum in units of the spread.
pub fn drift(eyes: &[&Eye]) -> Option<Section> {
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
pub fn learning(eyes: &[Eye], settings: &AuditSettings) -> Option<Section> {
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

/// How these figures were found, for quoting.
pub fn methods() -> [String; 2] {
    [
        format!(
            "Drift: two-sided cumulative sum of the error over its spread (Page 1954), allowance {}, limit {} standard deviations.",
            PLAIN.0, PLAIN.1
        ),
        format!(
            "Learning sequence: risk-adjusted cumulative sum (Steiner et al. 2000), odds ratio {ODDS_RATIO}; limit by up to \
             {RUNS} drawn sequences of the same risks."
        ),
    ]
}
