//! What a comparison of groups says: effects with intervals first, p-values second; mark quality; the next study.

use super::audit::{MOST_GROUPS_DRAWN, UNNAMED, grouped, people};
use super::estimates::{Sample, error, reading_variances};
use super::eye::{self, Eye};
use super::figures::{Behind, Chart, Plot, Section, Series};
use super::pair::{Pair, p_within};
use super::patients::Patients;
use super::refusals;
use super::set_up::{LEVEL, POWER};
use crate::statistics::jackknife::Scale;
use crate::statistics::power::{eyes_needed, mean_power, spread_power, with_both_eyes};
use crate::statistics::{clusters, descriptive, holm, permutation, rank_tests, spread_test};

/// Arrangements drawn by a test that cannot go through all.
pub const ARRANGEMENTS: u32 = 9999;
/// Eyes beyond which fewer are drawn, so that a test takes seconds.
const MANY_EYES: usize = 5000;
/// Ratios of spread that the next study may want to tell.
const RATIOS: [f64; 3] = [1.25, 1.5, 2.0];
/// Differences of means that the next study may want to tell, degrees.
const SHIFTS_DEG: [f64; 3] = [1.0, 2.0, 3.0];
/// Largest number of eyes a group on the power curve.
const CURVE_EYES: u32 = 200;

/// What to ask.
#[derive(Clone, Debug)]
pub struct CompareSettings {
    /// Column whose values are the groups.
    pub by: String,
    /// Limits of the size of the error, degrees.
    pub limits_deg: Vec<f64>,
    /// Seed of all drawing.
    pub seed: u64,
}

/// A mark-quality measure: name, unit, and its value of an eye.
type Quality = (&'static str, &'static str, fn(&Eye) -> Option<f64>);

const QUALITIES: [Quality; 7] = [
    ("lean from the radial direction", "°", |eye| eye.marks.lean_deg),
    ("two marks from opposite", "°", |eye| eye.marks.opposition_deg),
    ("length of a mark", "mm", |eye| eye.marks.length_mm),
    ("width of a mark", "mm", |eye| eye.marks.width_mm),
    ("width of a mark as seen from the centre", "°", |eye| eye.marks.width_deg),
    ("contrast of a mark", "", |eye| eye.marks.contrast),
    ("reading of the marks (SD)", "°", |eye| eye.marks.reading_sd_deg),
];

/// Draws of a test of so many eyes.
pub fn draws(eyes: usize) -> u32 {
    if eyes > MANY_EYES { 999 } else { ARRANGEMENTS }
}

/// The sections of a comparison, and what a reader should know.
pub fn sections(eyes: &[Eye], settings: &CompareSettings) -> (Vec<Section>, Vec<String>) {
    let mut notes = Vec::new();
    let (groups, unnamed): (Vec<_>, Vec<_>) =
        grouped(eyes, &settings.by).into_iter().partition(|(name, _)| name != UNNAMED);
    for (_, eyes) in unnamed {
        notes.push(format!("{} eyes name no {}: they are in no group.", eyes.len(), settings.by));
    }
    let mut sections = vec![group_table(&groups, settings)];
    let mut usable = Vec::new();
    for group in &groups {
        let measured = Sample::of(group.1.iter().copied(), error).values.len();
        if measured < 2 {
            let eyes = if measured == 1 { "one eye" } else { "no eye" };
            notes.push(format!("{} has {eyes} measured: no spread, and no comparison with it.", group.0));
        } else {
            usable.push((group.0.as_str(), group.1.as_slice()));
        }
    }
    if usable.len() < 2 {
        notes.push("Fewer than two groups of two eyes: nothing to compare.".to_owned());
        return (sections, notes);
    }
    let pairs: Vec<Pair> = (0..usable.len())
        .flat_map(|a| (a + 1..usable.len()).map(move |b| (a, b)))
        .map(|(a, b)| Pair::new(usable[a], usable[b]))
        .collect();
    sections.push(effects(&pairs, settings));
    sections.push(tests(&usable, &pairs, settings));
    sections.extend(paired(&pairs, settings));
    sections.push(mark_quality(&usable, settings));
    sections.push(next_study(&usable, &pairs));
    (sections, notes)
}

/// One line of a comparison.
pub fn headline(sections: &[Section]) -> String {
    let ratio = sections.iter().flat_map(|s| &s.figures).find(|figure| figure.quantity == SPREAD_RATIO);
    match ratio.and_then(|figure| Some((figure, figure.value?))) {
        Some((figure, value)) => {
            let interval = figure.interval95.map_or(String::new(), |[low, high]| format!(" ({low:.2} to {high:.2})"));
            format!("Spread of the error, {}: ratio {value:.2}{interval}", figure.group.replace(" − ", " over "))
        }
        None => "Nothing to compare".to_owned(),
    }
}

const SPREAD_RATIO: &str = "spread, ratio";

fn group_table(groups: &[(String, Vec<&Eye>)], settings: &CompareSettings) -> Section {
    let mut section = Section::new("Groups");
    for (name, eyes) in groups {
        let sample = Sample::of(eyes.iter().copied(), error);
        let behind = sample.behind();
        if behind.eyes == 0 {
            section.add(name, "mean error", "°", None, None, behind).noted("no eye measured: all refused");
            continue;
        }
        let plain = sample.unwrapped();
        let variances = reading_variances(eyes.iter().copied());
        let mut add = |quantity: &str, e: super::estimates::Estimate| {
            section.add(name, quantity, "°", e.value, e.interval, behind);
        };
        add("mean error", sample.axial_mean(settings.seed));
        add("spread (SD)", plain.spread());
        add("spread (SD), reading taken out", plain.true_spread(&variances));
        add("mean absolute error", sample.sizes().mean(Scale::Logarithm));
        let reading = descriptive::mean(&variances);
        section.add(name, "error of reading (SD)", "°", reading.map(f64::sqrt), None, behind);
        let part = reading.zip(descriptive::variance(&plain.values)).map(|(r, v)| 100.0 * r / v);
        section.add(name, "part of the variance that is reading", "%", part, None, behind);
        refusals::share_without_figure(&mut section, name, eyes);
        let refused = refusals::refused_percent(eyes);
        section.add(name, "refused stills", "%", refused.value, refused.interval, refusals::people_of(eyes));
        refusals::count_far_from_plan(&mut section, name, eyes);
    }
    let drawn = groups.iter().take(MOST_GROUPS_DRAWN);
    let values = |(name, eyes): &(String, Vec<&Eye>)| (name.clone(), Sample::of(eyes.iter().copied(), error).values);
    let shown = groups.iter().take(MOST_GROUPS_DRAWN).flat_map(|(_, eyes)| eyes.iter().copied());
    let total = Sample::of(shown, error).behind();
    if total.eyes > 0 {
        section.charts.push(Chart {
            plot: Plot::Strips {
                groups: drawn.map(values).collect(),
                y_label: "error, degrees".to_owned(),
                limits: settings.limits_deg.clone(),
            },
            caption: format!(
                "Error of every eye by {}; bar: median, box: middle half. Dashed: limits. {}.",
                settings.by,
                people(total)
            ),
        });
    }
    section
}

fn effects(pairs: &[Pair], settings: &CompareSettings) -> Section {
    let mut section = Section::new("Differences");
    section.text.push("First group less, or over, the second; with 95 % intervals by patient.".to_owned());
    let limit = settings.limits_deg.first().copied().unwrap_or(5.0);
    for pair in pairs {
        let drawn = pair.bootstrap(settings.seed);
        let behind = pair.behind();
        let mut add = |quantity: &str, unit, value: f64, interval| {
            let figure = section.add(&pair.name, quantity, unit, Some(value), interval, behind);
            if figure.interval95.is_none() {
                figure.note = "no interval: too few patients".to_owned();
            }
        };
        add("mean error, difference", "°", drawn[0].value, drawn[0].bca);
        add(SPREAD_RATIO, "", drawn[1].value, pair.spread_ratio_interval());
        add("spread, ratio, bootstrap interval", "", drawn[1].value, drawn[1].bca);
        add("mean absolute error, difference", "°", drawn[2].value, drawn[2].bca);
        if let Some((share, i)) = pair.share_difference(limit) {
            add(&format!("within {limit}°, difference"), "%", 100.0 * share, Some(i.percent()));
        }
        let (a, b) = pair.sizes();
        let mut bare = |quantity: &str, value: Option<f64>| {
            section.add(&pair.name, quantity, "", value, None, behind);
        };
        bare("mean absolute error, Hedges' g", crate::statistics::effect_size::hedges_g(&a, &b));
        bare("absolute error, Cliff's delta", crate::statistics::effect_size::cliffs_delta(&a, &b));
    }
    section
}

fn tests(groups: &[(&str, &[&Eye])], pairs: &[Pair], settings: &CompareSettings) -> Section {
    let mut section = Section::new("Tests");
    section.text.push(
        "P-values by exchanging the groups of whole patients. They say how unusual a difference would be if there were none, \
         not how large it is."
            .to_owned(),
    );
    let count: usize = groups.iter().map(|(_, eyes)| eyes.len()).sum();
    let draws = draws(count);
    if groups.len() > 2 {
        let all = Pair::of_all(groups);
        if all.patients.all_named() {
            let spread = spread_test::brown_forsythe_by_patient(
                &all.errors,
                &all.labels,
                &all.patients.numbers,
                draws,
                settings.seed,
            );
            let name = "all groups";
            section.add(name, "p, spread (Brown-Forsythe)", "", spread.map(|p| p.p), None, all.behind());
            let sizes: Vec<f64> = all.errors.iter().map(|e| e.abs()).collect();
            let exchange = permutation::LabelExchange::new(&all.labels, &all.patients.numbers);
            let kruskal = exchange.test(rank_tests::kruskal_statistic(&sizes), draws, settings.seed);
            section.add(name, "p, absolute error (Kruskal-Wallis)", "", Some(kruskal.p), None, all.behind());
        }
    }
    let names = [
        "p, mean error (permutation)",
        "p, spread (Brown-Forsythe)",
        "p, mean absolute error (permutation)",
        "p, absolute error (Mann-Whitney)",
    ];
    let found: Vec<[f64; 4]> = pairs.iter().map(|pair| pair.p_values(draws, settings.seed)).collect();
    let corrected: Vec<Vec<f64>> =
        (0..names.len()).map(|k| holm::corrected(&found.iter().map(|p| p[k]).collect::<Vec<_>>())).collect();
    for (at, pair) in pairs.iter().enumerate() {
        for (k, name) in names.iter().enumerate() {
            let note = match pair.patients.unnamed {
                0 => String::new(),
                unnamed => format!("not given: {unnamed} eyes name no patient"),
            };
            section.add(&pair.name, *name, "", Some(found[at][k]), None, pair.behind()).noted(note);
            if pairs.len() > 1 {
                let p = Some(corrected[k][at]);
                section.add(&pair.name, format!("{name}, Holm over {} pairs", pairs.len()), "", p, None, pair.behind());
            }
        }
        if let Some(test) =
            pair.independent().then(|| spread_test::brown_forsythe(&pair.errors, &pair.labels)).flatten()
        {
            let figure =
                section.add(&pair.name, "p, spread (Brown-Forsythe, by F)", "", Some(test.p), None, pair.behind());
            figure.noted(format!("F {:.3}, {} and {} degrees of freedom", test.f, test.freedom[0], test.freedom[1]));
        }
    }
    section
}

fn paired(pairs: &[Pair], settings: &CompareSettings) -> Option<Section> {
    let mut section = Section::new("Within patients");
    section.text.push("Patients with one eye in each group: each is compared with itself.".to_owned());
    for pair in pairs {
        let both = pair.within_patients();
        if both.len() < 3 {
            continue;
        }
        let behind = Behind { eyes: 2 * both.len(), patients: Some(both.len()) };
        let sizes = Sample {
            values: both.iter().map(|[a, b]| a.abs() - b.abs()).collect(),
            patients: Patients::different(both.len()),
        };
        let size = sizes.mean(Scale::Plain);
        section.add(&pair.name, "absolute error, mean difference", "°", size.value, size.interval, behind);
        let p = p_within(&both, draws(2 * both.len()), settings.seed);
        section.add(&pair.name, "p, absolute error (permutation)", "", Some(p), None, behind);
        let wilcoxon = rank_tests::wilcoxon_signed_rank(&sizes.values).map(|test| test.p);
        section.add(&pair.name, "p, absolute error (Wilcoxon signed ranks)", "", wilcoxon, None, behind);
        let morgan = spread_test::pitman_morgan(&both).map(|test| test.p);
        section.add(&pair.name, "p, spread (Pitman-Morgan)", "", morgan, None, behind);
    }
    (!section.figures.is_empty()).then_some(section)
}

fn mark_quality(groups: &[(&str, &[&Eye])], settings: &CompareSettings) -> Section {
    let mut section = Section::new("Quality of the marks");
    section.text.push("As measured in the stills, those of refused stills among them; means over eyes.".to_owned());
    let mut tested: Vec<(usize, f64)> = Vec::new();
    for (quantity, unit, of) in QUALITIES {
        for (name, eyes) in groups {
            let sample = Sample::of(eyes.iter().copied(), of);
            let mean = sample.mean(Scale::Plain);
            section.add(name, quantity, unit, mean.value, mean.interval, sample.behind());
        }
    }
    for a in 0..groups.len() {
        for b in a + 1..groups.len() {
            for (quantity, unit, of) in QUALITIES {
                let pair = Pair::by(groups[a], groups[b], of);
                if !pair.both_have_two() {
                    continue;
                }
                let mean = pair.mean_difference(settings.seed);
                section.add(&pair.name, quantity, unit, Some(mean.value), mean.bca, pair.behind());
                if pair.patients.all_named() {
                    let exchange = permutation::LabelExchange::new(&pair.labels, &pair.patients.numbers);
                    let statistic = permutation::mean_distance(&pair.errors);
                    let p = exchange.test(statistic, draws(pair.errors.len()), settings.seed).p;
                    tested.push((section.figures.len() - 1, p));
                }
            }
        }
    }
    let corrected = holm::corrected(&tested.iter().map(|(_, p)| *p).collect::<Vec<_>>());
    for ((at, p), corrected) in tested.iter().zip(&corrected) {
        section.figures[*at].note = format!("p {p:.4}, Holm over {} tests {corrected:.4}", tested.len());
    }
    section
}

fn next_study(groups: &[(&str, &[&Eye])], pairs: &[Pair]) -> Section {
    let mut section = Section::new("The next study");
    let all = Pair::of_all(groups);
    let residuals = all.residuals();
    // Each group has a mean of its own.
    let freedom = (residuals.len() - groups.len()) as f64;
    let sd = (residuals.iter().map(|r| r * r).sum::<f64>() / freedom).sqrt();
    let correlation = clusters::correlation_within(&residuals, &all.patients.numbers);
    let behind = all.behind();
    let name = "planned from this study";
    section.text.push(format!(
        "Eyes a group for a power of {:.0} % at 5 %, two groups of equal size and normal errors, from this study's spread within \
         groups; \"both eyes\": where every patient gives both.",
        100.0 * POWER
    ));
    section.add(name, "spread within groups (SD)", "°", Some(sd), None, behind);
    let missing = if correlation.is_none() { "no patient has both eyes measured: taken as 0.5" } else { "" };
    section.add(name, "correlation of a patient's eyes", "", correlation, None, behind).noted(missing);
    let correlation = correlation.unwrap_or(0.5);
    let observed = pairs.iter().map(|pair| pair.spread_ratio().max(1.0 / pair.spread_ratio())).fold(1.0, f64::max);
    let ratios = RATIOS.iter().map(|r| (*r, String::new())).chain([(observed, " (largest seen here)".to_owned())]);
    let mut add = |what: String, eyes: Option<u32>, share: f64| {
        let note = if eyes.is_none() { "more than a million" } else { "" };
        section.add(name, format!("{what}, one eye"), "eyes", eyes.map(f64::from), None, behind).noted(note);
        let both = eyes.map(|eyes| f64::from(with_both_eyes(eyes, 2.0, share)));
        section.add(name, format!("{what}, both eyes"), "eyes", both, None, behind).noted(note);
    };
    for (ratio, remark) in ratios.filter(|(ratio, _)| *ratio > 1.01 && ratio.is_finite()) {
        let eyes = eyes_needed(POWER, |eyes| spread_power(ratio, eyes, LEVEL));
        // Squares of two normal values correlated by r are correlated by r squared.
        add(format!("spread ratio {ratio:.2}{remark}"), eyes, correlation * correlation);
    }
    if sd > 0.0 {
        for shift in SHIFTS_DEG {
            let eyes = eyes_needed(POWER, |eyes| mean_power(shift / sd, eyes, LEVEL));
            add(format!("difference of {shift}° in the mean"), eyes, correlation);
        }
    }
    let curve = |ratio: f64| {
        let points = (3..=CURVE_EYES).step_by(4).map(|eyes| {
            let eyes = f64::from(eyes);
            [eyes, 100.0 * spread_power(ratio, eyes, LEVEL)]
        });
        Series { name: format!("ratio {ratio}"), points: points.collect() }
    };
    section.charts.push(Chart {
        plot: Plot::Curves {
            series: RATIOS.map(curve).into(),
            x_label: "independent eyes a group".to_owned(),
            y_label: "power, %".to_owned(),
            levels: vec![(100.0 * POWER, format!("{:.0} %", 100.0 * POWER))],
        },
        caption: "Power to tell two spreads of the given ratio, two-sided at 5 %, normal errors; computed, no eyes behind it."
            .to_owned(),
    });
    section
}

/// How the figures were found, for quoting.
pub fn methods(settings: &CompareSettings) -> Vec<String> {
    vec![
        eye::methods(),
        refusals::methods(),
        "Differences: bias-corrected and accelerated bootstrap over patients, drawn within those of the one group, of the other and \
         of both (2,000 resamples; Efron & Tibshirani 1993), widened for few patients (Hesterberg 2015). Ratio of \
         spreads: jackknife over patients on the logarithm with Student's t (Miller 1974); the bootstrap's interval beside \
         it is too narrow for few patients. No interval of a spread from fewer than 5 patients. Difference of shares: Newcombe (1998), \
         method 10, from intervals by effective number of eyes."
            .to_owned(),
        format!(
            "Tests: permutation of the groups of whole patients; a patient with eyes in both groups exchanges them. All \
             arrangements where they are few, else {ARRANGEMENTS} drawn (999 beyond {MANY_EYES} eyes; Phipson & Smyth 2010). Spread: F \
             of the distances from the group's median (Brown & Forsythe 1974). In simulation with two eyes a patient \
             correlated by 0.5 it claims a difference in 4 to 6 % of studies where there is none; ignoring patients, in 7 %."
        ),
        "Several comparisons: Holm (1979).".to_owned(),
        "Reading taken out: spread as the root of the variance less the mean reading variance of the records.".to_owned(),
        "Next study: F test of two variances, t test of two means; two correlated eyes of a patient enlarge the number by \
         1 + r for means, 1 + r² for spreads."
            .to_owned(),
        format!("All drawing by ChaCha8 with seed {}.", settings.seed),
    ]
}
