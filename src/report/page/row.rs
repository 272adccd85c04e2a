//! One row of the page.

use super::{StillPicture, cost};
use crate::record::{Cylinder, Outcome, Record, TurnBack};
use crate::report::wording::{
    cause_in_words, error_in_words, file_name, gain_in_words, interval_in_words, may_be_in_place, mirrored_back,
    outcome_in_words, plane_in_words, signed_degrees, turn_in_words,
};
use base64::Engine;
use maud::{Markup, html};

/// Columns of the sheet that tell a still from its neighbours, as shown.
const SHEET: [&str; 6] = ["case", "patient", "eye", "operator", "technique", "stage"];

/// The heading; the script adds buttons to those with `data-sort`.
pub fn heading() -> Markup {
    html! {
        thead { tr {
            th scope="col" { "Picture" }
            th scope="col" data-sort { "Still" }
            th scope="col" data-sort { "Outcome" }
            th scope="col" data-sort { "Error" }
            th scope="col" data-sort { "95 % interval" }
            th scope="col" { "Residual cylinder" }
            th scope="col" { "Remarks" }
        } }
    }
}

/// The turn that the row of `record` names: none where the lens may stand as intended, or where turning may win nothing.
pub fn named_turn(record: &Record) -> Option<&TurnBack> {
    let alignment = record.alignment.as_ref().filter(|_| record.outcome == Outcome::Measured)?;
    record.turn_back.as_ref().filter(|turn| !turn.may_gain_nothing && !may_be_in_place(alignment))
}

/// The row of the record at `index`; `costs` says whether the page has a part on what it costs.
pub fn row(index: usize, record: &Record, picture: &StillPicture, costs: bool) -> Markup {
    let name = file_name(&record.still.path);
    let folder = record.still.path.strip_suffix(name).unwrap_or_default();
    let alignment = record.alignment.as_ref().filter(|_| record.outcome == Outcome::Measured);
    let rank = match record.outcome {
        Outcome::Measured => 0,
        Outcome::Refused => 1,
        Outcome::Unreadable => 2,
    };
    html! {
        tr data-outcome=(outcome_in_words(record.outcome)) {
            td { (shown(name, picture)) }
            td data-v=(index) {
                strong { (name) }
                @if !folder.is_empty() { span.folder { (folder) } }
                @let told = sheet_line(record);
                @if !told.is_empty() { span.folder { (told) } }
            }
            td data-v=(rank) { span class=(outcome_in_words(record.outcome)) { (outcome_in_words(record.outcome)) } }
            @if let Some(a) = alignment {
                td data-v=(format!("{:.4}", a.error_deg.abs())) {
                    strong.error { (signed_degrees(a.error_deg)) }
                    span { (error_in_words(a.error_deg)) }
                }
                td data-v=(format!("{:.4}", a.interval95_deg[1] - a.interval95_deg[0])) { (interval_in_words(a)) }
                td {
                    @if let Some(cylinder) = &record.cylinder {
                        (residual(cylinder))
                        @if let Some(turn) = named_turn(record) {
                            span.turn {
                                "the turn that would undo the error: " (turn_in_words(turn)) "; it " (gain_in_words(turn, cylinder))
                            }
                        }
                    }
                    @if costs && cost::has_part(record) { a href=(format!("#{}", cost::anchor(index))) { "more" } }
                }
                td { (notes(record)) }
            } @else {
                td colspan="4" {
                    @for refusal in &record.refusals {
                        p { strong { (cause_in_words(refusal.code)) } ": " (refusal.message) }
                        p { strong { "What to do: " } (refusal.hint) }
                    }
                    (notes(record))
                }
            }
        }
    }
}

/// What a reader should know of the picture and of the figure.
fn notes(record: &Record) -> Markup {
    html! {
        @for note in mirrored_back(record).into_iter().chain(record.warnings.iter().map(String::as_str)) { p { (note) } }
    }
}

/// Percent and, where known, dioptres, each with its interval.
fn residual(cylinder: &Cylinder) -> Markup {
    let [low, high] = cylinder.residual_interval95_percent;
    html! {
        span { (format!("{:.1} % of the cylinder ({low:.1} to {high:.1} %)", cylinder.residual_percent)) }
        @if let Some(residual) = cylinder.residual_d {
            span {
                (format!("{residual:.2} D"))
                @if let Some([low, high]) = cylinder.residual_interval95_d {
                    (format!(" ({low:.2} to {high:.2} D)"))
                }
                (plane_in_words(cylinder))
                @if let Some(placed) = &cylinder.placed { (format!(", {:.2} D at its intended axis", placed.residual_d)) }
            }
        }
    }
}

/// The picture, linked to the full overlay.
fn shown(name: &str, picture: &StillPicture) -> Markup {
    let image = html! {
        @if let Some(jpeg) = &picture.jpeg {
            img alt=(format!("Overlay of {name}")) loading="lazy"
                src=(format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(jpeg)));
        } @else if picture.overlay.is_some() {
            "overlay"
        }
    };
    html! {
        @match &picture.overlay {
            Some(path) => a href=(percent_encoded(path)) { (image) },
            None => (image),
        }
    }
}

fn sheet_line(record: &Record) -> String {
    let told = SHEET.iter().filter_map(|column| record.case.get(*column).map(|value| (*column, value.trim())));
    let told: Vec<String> =
        told.filter(|(_, value)| !value.is_empty()).map(|(column, value)| format!("{column} {value}")).collect();
    told.join(", ")
}

/// A relative path as an address: all but letters, digits, `-._~` and `/` as UTF-8 bytes in `%XX` (RFC 3986, section 2).
fn percent_encoded(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => out.push(char::from(byte)),
            other => out.push_str(&format!("%{other:02X}")),
        }
    }
    out
}
