//! report.html of a study: one file that needs nothing else, no script.

use super::charts;
use crate::report::wording::CAUTION;
use crate::study::figures::{Figure, Section, Study, decimal};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::io;

const STYLE: &str = include_str!("style.css");
/// Columns of a table; more go into a further one.
const MOST_COLUMNS: usize = 5;
/// Rows beyond which a table is cut, and the rest left to the CSV.
const MOST_ROWS: usize = 200;

/// The page.
///
/// # Errors
/// Those of drawing; none is known.
pub fn html(study: &Study) -> io::Result<String> {
    let sections: Vec<Markup> = study.sections.iter().map(section).collect::<io::Result<_>>()?;
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                link rel="icon" href="data:,";
                title { (study.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    h1 { (study.title) }
                    p.headline { (study.headline) }
                }
                p.caution { strong { "Caution. " } (CAUTION) }
                @for note in &study.notes { p.note { (note) } }
                section {
                    h2 { "Records" }
                    table.inclusions {
                        caption { "What became of every record" }
                        thead { tr { th scope="col" { "Records" } th scope="col" { "Number" } } }
                        tbody {
                            @for inclusion in &study.inclusions {
                                tr { th scope="row" { (inclusion.what) } td data-label="Number" { (inclusion.records) } }
                            }
                        }
                    }
                }
                @for section in &sections { (section) }
                section.methods {
                    h2 { "Methods" }
                    ul { @for method in &study.methods { li { (method) } } }
                    p {
                        "stillaxis " (study.version) ", seed " (study.seed) ". Intervals are 95 % intervals. The same numbers \
                         stand, with all digits, in "
                        code { (study.command) ".json" } " and " code { (study.command) ".csv" } "."
                    }
                }
            }
        }
    };
    Ok(page.into_string())
}

fn section(section: &Section) -> io::Result<Markup> {
    let figures: Vec<Markup> = section
        .charts
        .iter()
        .map(|chart| {
            let drawn = charts::draw(&chart.plot)?;
            let caption = format!("{} {}", chart.caption, drawn.note);
            Ok(html! {
                figure {
                    div role="img" aria-label=(chart.caption) { (PreEscaped(drawn.svg)) }
                    figcaption { (caption.trim_end()) }
                }
            })
        })
        .collect::<io::Result<_>>()?;
    Ok(html! {
        section {
            h2 { (section.title) }
            @for text in &section.text { p { (text) } }
            (table(section))
            @if !figures.is_empty() {
                div.charts { @for figure in &figures { (figure) } }
            }
        }
    })
}

fn distinct<'a>(of: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut seen = Vec::new();
    for name in of {
        if !seen.contains(&name) {
            seen.push(name);
        }
    }
    seen
}

fn table(section: &Section) -> Markup {
    let figures = &section.figures;
    let groups = distinct(figures.iter().map(|figure| figure.group.as_str()));
    let quantities = distinct(figures.iter().map(|figure| figure.quantity.as_str()));
    let at = |group: &str, quantity: &str| {
        figures.iter().find(|figure| figure.group == group && figure.quantity == quantity)
    };
    if figures.is_empty() {
        return html! {};
    }
    if groups.len() <= MOST_COLUMNS && groups.len() <= quantities.len() {
        return html! {
            table.across {
                thead { tr { th scope="col" { "Figure" } @for group in &groups { th scope="col" { (head(group, figures)) } } } }
                tbody {
                    @for quantity in &quantities {
                        tr {
                            th scope="row" { (*quantity) }
                            @for group in &groups { (cell(at(group, quantity), group, behind(group, figures), true)) }
                        }
                    }
                }
            }
        };
    }
    html! {
        @for part in quantities.chunks(quantities.len().div_ceil(quantities.len().div_ceil(MOST_COLUMNS))) {
            table.across {
                thead { tr { th scope="col" { "Group" } @for quantity in part { th scope="col" { (*quantity) } } } }
                tbody {
                    @for group in groups.iter().take(MOST_ROWS) {
                        tr {
                            th scope="row" { (head(group, figures)) }
                            @for quantity in part { (cell(at(group, quantity), quantity, behind(group, figures), false)) }
                        }
                    }
                }
            }
        }
        @if groups.len() > MOST_ROWS { p { (groups.len() - MOST_ROWS) " further groups are in the CSV." } }
    }
}

/// Eyes and patients of the first figure of a group.
fn behind(group: &str, figures: &[Figure]) -> (usize, Option<usize>) {
    figures.iter().find(|figure| figure.group == group).map_or((0, None), |figure| (figure.eyes, figure.patients))
}

fn counted(eyes: usize, patients: Option<usize>) -> String {
    let some = |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    match patients {
        Some(patients) => format!("{}, {}", some(eyes, "eye"), some(patients, "patient")),
        None => some(eyes, "eye"),
    }
}

fn head(group: &str, figures: &[Figure]) -> Markup {
    let (eyes, patients) = behind(group, figures);
    html! { (group) " " span.behind { (counted(eyes, patients)) } }
}

/// A cell of a table.
///
/// - `expected`: eyes and patients that its group's heading tells of; others are said in the cell
/// - `hides`: whether a narrow screen, where cells stand below each other, hides that heading
fn cell(figure: Option<&Figure>, label: &str, expected: (usize, Option<usize>), hides: bool) -> Markup {
    let Some(figure) = figure else { return html! { td data-label=(label) { span.value { "–" } } } };
    let other = (figure.eyes, figure.patients) != expected;
    let class = if other { "behind" } else { "behind narrow" };
    html! {
        td data-label=(label) {
            @match figure.value {
                Some(value) => span.value { (with_unit(value, figure)) },
                None => span.value { "–" },
            }
            @if let Some([low, high]) = figure.interval95 {
                " " span.interval { (shown(low, figure)) " to " (shown(high, figure)) }
            }
            @if other || hides { " " span class=(class) { (counted(figure.eyes, figure.patients)) } }
            @if !figure.note.is_empty() { " " span.behind { (figure.note) } }
        }
    }
}

fn with_unit(value: f64, figure: &Figure) -> String {
    match figure.unit {
        "°" => format!("{}°", shown(value, figure)),
        "" => shown(value, figure),
        "eyes" | "stills" if value == 1.0 => format!("1 {}", figure.unit.trim_end_matches('s')),
        unit => format!("{} {unit}", shown(value, figure)),
    }
}

/// As many decimals as the unit deserves.
fn shown(value: f64, figure: &Figure) -> String {
    let whole = value.fract() == 0.0 && figure.interval95.is_none();
    if figure.quantity.starts_with("p,") || figure.quantity.starts_with("p ") {
        return if value < 0.0001 { "< 0.0001".to_owned() } else { format!("{value:.4}") };
    }
    let decimals = match figure.unit {
        "eyes" | "stills" | "patients" if whole => 0,
        "eyes" | "stills" | "patients" | "%" => 1,
        _ if whole && figure.unit.is_empty() => 0,
        _ => 2,
    };
    decimal(value, decimals)
}
