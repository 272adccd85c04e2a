//! The part of the page on cases: what several stills of one operation come to.

use crate::record::{CaseRecord, CaseStill, CaseView};
use crate::report::wording::{error_in_words, file_name, place_in_words, signed_degrees};
use maud::{Markup, html};

/// The section; nothing where no still names a case.
pub fn section(cases: &[CaseRecord]) -> Markup {
    html! {
        @if !cases.is_empty() {
            h2 #cases { "Cases" }
            p.note {
                "All stills of a case and stage together. Further stills lessen the error of reading, not what they share: \
                 the marks, the oval of the limbus, the depth of the lens, the plan. The cautions for stills hold for cases as well."
            }
            table.cases aria-labelledby="cases" {
                thead { tr {
                    th scope="col" { "Case" }
                    th scope="col" { "Stills" }
                    th scope="col" { "Error" }
                    th scope="col" { "95 % interval" }
                    th scope="col" { "Spread of the stills" }
                    th scope="col" { "Place of the lens" }
                    th scope="col" { "Remarks" }
                } }
                tbody { @for case in cases { (row(case)) } }
            }
        }
    }
}

fn row(case: &CaseRecord) -> Markup {
    let told: Vec<&str> =
        [&case.patient, &case.eye, &case.stage].into_iter().map(String::as_str).filter(|t| !t.is_empty()).collect();
    html! {
        tr {
            td {
                strong { (case.case) }
                @if !told.is_empty() { span.folder { (told.join(", ")) } }
            }
            td { @for still in &case.stills { span.folder { (still_line(still)) } } }
            @if let Some(e) = &case.estimate {
                td {
                    strong.error { (signed_degrees(e.error_deg)) }
                    span { (error_in_words(e.error_deg)) }
                    @let [low, high] = e.residual_interval95_percent;
                    span { (format!("{:.1} % of the cylinder ({low:.1} to {high:.1} %)", e.residual_percent)) }
                }
                td {
                    (signed_degrees(e.interval95_deg[0])) " to " (signed_degrees(e.interval95_deg[1]))
                    span { (format!("SD {:.2}°, of which {:.2}° shared by all stills", e.sd_deg, e.shared_sd_deg)) }
                    @if e.inflation > 1.0 { span { "Student's interval: the scatter was told by these stills alone" } }
                }
                td {
                    @if let Some(spread) = e.spread_sd_deg {
                        (format!("SD {spread:.2}°"))
                        span { (format!("{:.2}° expected from reading", e.expected_spread_sd_deg)) }
                    } @else { "one still" }
                }
            } @else {
                td colspan="3" { "no still measured" }
            }
            td { @if let Some(view) = &case.view { (place(view)) } }
            td { @for warning in &case.warnings { p { (warning) } } }
        }
    }
}

fn still_line(still: &CaseStill) -> String {
    let name = file_name(&still.path);
    match (&still.left_out, still.error_deg) {
        (Some(why), Some(error)) => format!("{name}: {}, {why}", signed_degrees(error)),
        (None, Some(error)) => format!("{name}: {}, weight {:.0} %", signed_degrees(error), 100.0 * still.weight),
        _ => format!("{name}: not measured"),
    }
}

fn place(view: &CaseView) -> Markup {
    html! {
        span { "Apparent offset " (place_in_words(view.offset_apparent_mm, None)) }
        @if let (Some(mm), sd @ Some(_)) = (view.decentration_mm, view.decentration_sd_mm) {
            span { "Decentration " (place_in_words(mm, sd)) " (SD)" }
        }
        @if let (Some(depth), Some(sd)) = (view.depth_mm, view.depth_sd_mm) {
            span { (format!("Depth behind the limbus {depth:.2} ± {sd:.2} mm (SD)")) }
        }
        @if view.decentration_mm.is_none() && view.depth_mm.is_none() {
            span { "The view changes too little to tell parallax from decentration" }
        }
    }
}
