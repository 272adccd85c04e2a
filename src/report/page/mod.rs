//! report.html: one file that needs nothing else; a row and a picture a still, what was refused and what to do about
//! it, the cautions. It reads and prints without scripts; with them it sorts, filters and enlarges.

mod cases;
mod cost;
mod picture;
mod row;

pub use picture::{MOST_EMBEDDED, embedded_picture};

use super::summary::{PRACTICE_LIMITS_DEG, Summary};
use super::wording::{CAUTION, cause_in_words, mean_cost_in_words, mean_in_words};
use crate::record::{CaseRecord, Record, RefusalCode};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::io::{self, Write};

/// What rows and pictures together may take, bytes: the rest of 20 MB is for links and what is not rows.
const PICTURE_BYTES: usize = 18_500_000;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");

/// What is said before turns that would undo an error.
const TURN_CAUTION: &str = "A turn is an operation of its own. The figures hold for one still, thin lenses and the values of \
     the case sheet; the back of the cornea, healing and a lens that turned since are not in them, unless a refraction after \
     surgery is given.";

/// What the page shows of a still besides its record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StillPicture {
    /// Path of the full overlay from the folder of the page, `/` between folders; `None` where there is none.
    pub overlay: Option<String>,
    /// JPEG to be put into the page, from [`embedded_picture`].
    pub jpeg: Option<Vec<u8>>,
}

/// Write the page of `records` and of the `cases` they make up to `out`, asking `picture` for each record's picture as its row is written, in order.
///
/// # Errors
/// Those of `out`.
pub fn write<W: Write>(
    out: &mut W,
    records: &[Record],
    cases: &[CaseRecord],
    mut picture: impl FnMut(usize, &Record) -> StillPicture,
) -> io::Result<()> {
    let costs = records.len() <= MOST_EMBEDDED;
    out.write_all(head(records, cases).into_string().as_bytes())?;
    let mut room = room_for_pictures(records, costs);
    for (index, record) in records.iter().enumerate() {
        let shown = fitting(picture(index, record), &mut room);
        out.write_all(row::row(index, record, &shown, costs).into_string().as_bytes())?;
        out.write_all(b"\n")?;
    }
    out.write_all(b"</tbody></table>")?;
    if costs {
        write_costs(out, records)?;
    } else {
        out.write_all(costs_elsewhere().into_string().as_bytes())?;
    }
    out.write_all(tail(records).into_string().as_bytes())
}

/// All before the first row of the table of stills, whose body it leaves open.
fn head(records: &[Record], cases: &[CaseRecord]) -> Markup {
    let summary = Summary::of(records);
    let size = if records.len() <= MOST_EMBEDDED { "large" } else { "small" };
    html! {
        (DOCTYPE)
        (PreEscaped(r#"<html lang="en">"#))
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            title { "Toric lens alignment: " (summary.headline()) }
            style { (PreEscaped(STYLE)) }
        }
        (PreEscaped("<body>"))
        header {
            h1 { "Toric lens alignment" }
            p.headline { (summary.headline()) }
        }
        p.caution { strong { "Caution. " } (CAUTION) }
        (overview(&summary, records))
        (cases::section(cases))
        h2 #stills { "Stills" }
        @if records.iter().any(|record| row::named_turn(record).is_some()) {
            p.caution { strong { "Caution. " } (TURN_CAUTION) }
        }
        div.controls hidden {
            label { "Show "
                select #outcome {
                    option value="" { "all" }
                    option value="measured" { "measured" }
                    option value="refused" { "refused" }
                    option value="unreadable" { "unreadable" }
                }
            }
            p #status role="status" {}
        }
        (PreEscaped(format!(r#"<table id="records" class="{size}" aria-labelledby="stills">"#)))
        (row::heading())
        (PreEscaped("<tbody>"))
    }
}

/// Bytes that are left for pictures. Words come first: where they take more than was set aside, the last stills go without a picture,
/// not the page over its size.
fn room_for_pictures(records: &[Record], costs: bool) -> usize {
    let bare = StillPicture::default();
    let said = |(i, record): (usize, &Record)| {
        row::row(i, record, &bare, costs).0.len() + if costs { cost::part(i, record).0.len() } else { 0 }
    };
    let words: usize = records.iter().enumerate().map(said).sum();
    PICTURE_BYTES.saturating_sub(words)
}

/// A still's picture, put into the page only where there is `room` for it, which it takes.
fn fitting(mut picture: StillPicture, room: &mut usize) -> StillPicture {
    let taken = picture.jpeg.as_ref().map_or(0, |jpeg| jpeg.len().div_ceil(3) * 4);
    match room.checked_sub(taken) {
        Some(left) => *room = left,
        None => picture.jpeg = None,
    }
    picture
}

/// What each misalignment costs, still by still.
fn write_costs<W: Write>(out: &mut W, records: &[Record]) -> io::Result<()> {
    if !records.iter().any(cost::has_part) {
        return Ok(());
    }
    out.write_all(costs_heading().into_string().as_bytes())?;
    for (index, record) in records.iter().enumerate() {
        out.write_all(cost::part(index, record).into_string().as_bytes())?;
    }
    Ok(())
}

/// Where a page of too many stills has it.
fn costs_elsewhere() -> Markup {
    html! {
        p.note {
            "Pages of more than " (MOST_EMBEDDED) " stills do not say what each misalignment costs: see measurements.csv."
        }
    }
}

/// All after the stills.
fn tail(records: &[Record]) -> Markup {
    html! {
        (reading_help())
        footer { p { (made_by(records)) } }
        dialog #enlarged { form method="dialog" { button { "Close" } } img alt=""; }
        script { (PreEscaped(SCRIPT)) }
        (PreEscaped("</body></html>\n"))
    }
}

/// What is said before a figure that invites to turn a lens.
fn costs_heading() -> Markup {
    html! {
        h2 #costs { "What it costs, and what a turn would win" }
        p.caution {
            strong { "Caution. " }
            (TURN_CAUTION) " " (CAUTION)
        }
    }
}

fn overview(summary: &Summary, records: &[Record]) -> Markup {
    html! {
        @if let Some(median) = summary.median_abs_error_deg {
            h2 { "Summary" }
            dl.summary {
                div { dt { "Median error, whichever way turned" } dd { (format!("{median:.1}°")) } }
                @if let Some(mean) = &summary.mean {
                    div { dt { "Mean error, whichever way turned" } dd { (mean_in_words(mean)) } }
                    div { dt { "Mean residual" } dd { (mean_cost_in_words(mean)) } }
                }
                @for (limit, count) in PRACTICE_LIMITS_DEG.iter().zip(summary.beyond) {
                    @let percent = 100.0 * count as f64 / summary.measured as f64;
                    div {
                        dt { "Beyond " (limit) "°" }
                        dd { (count) " of " (summary.measured) " (" (format!("{percent:.0}")) " %)" }
                    }
                }
            }
            p.note {
                "5° and 10° are limits of common practice. Stills are counted, not eyes: several stills of one \
                 operation share their marks and the faults of these. "
                a href="#reading" { "How to read the figures" }
            }
        }
        @if !summary.causes.is_empty() {
            h2 { "Not measured" }
            table.causes {
                thead { tr { th scope="col" { "Stills" } th scope="col" { "Cause" } th scope="col" { "What to do" } } }
                tbody {
                    @for (code, count) in &summary.causes {
                        tr { td { (count) } td { (cause_in_words(*code)) } td { (hint_for(*code, records)) } }
                    }
                }
            }
        }
    }
}

/// The hint of the first still refused for `code`.
fn hint_for(code: RefusalCode, records: &[Record]) -> &str {
    let first = records.iter().filter_map(|record| record.refusals.first()).find(|refusal| refusal.code == code);
    first.map_or("", |refusal| refusal.hint.as_str())
}

fn reading_help() -> Markup {
    html! {
        section #reading {
            h2 { "How to read the figures" }
            ul.note {
                li {
                    strong { "Error" } ": the lens axis less the intended axis, in the plane of the limbus; + is \
                    counter-clockwise as seen in the picture, − clockwise."
                }
                li {
                    strong { "95 % interval" } ": the doubt left in reading this still. What no picture shows is not in \
                    it: a mark put in the wrong place, the back of the cornea, a lens that turns later on."
                }
                li {
                    strong { "Residual" } ": what the placing leaves, in percent of the cylinder. In dioptres, where the case \
                    sheet tells enough: what is left of the eye's astigmatism by placing and plan together; what a lens at \
                    its intended axis would leave is the plan's. In brackets the 95 % interval, which is never below 0."
                }
                li {
                    strong { "Turn" } ": the one that would undo the error, as seen in the picture. A row names it where the error's \
                    interval does not hold 0 and the turn would win something; whether to turn is for the surgeon to judge. Its gain is \
                    the residual now less that at the intended axis. The clock is laid on the eye, squeeze and tilt undone, \
                    12:00 at the top; it is the surgeon's where the recording is as upright as the surgeon saw it."
                }
                li {
                    strong { "Mean error whichever way turned, mean residual" } ": a misalignment is never negative, so that reading noise does not \
                    average out but looks like misalignment. The second figure has it taken out."
                }
            }
        }
    }
}

/// Program and settings, each combination once.
fn made_by(records: &[Record]) -> String {
    let mut made: Vec<String> = Vec::new();
    for program in records.iter().map(|record| &record.program) {
        let settings =
            if program.settings.is_empty() { String::new() } else { format!(", settings {}", program.settings) };
        let line = format!("stillaxis {}{settings}", program.version);
        if !made.contains(&line) {
            made.push(line);
        }
    }
    made.join("; ")
}
