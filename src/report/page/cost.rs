//! What a misalignment costs, still by still: residuals in both planes, the turn back, the best axis with its curve,
//! vector analysis, and what the sheet has too little for.

use crate::geometry::axis_difference;
use crate::optics::rotation::residual_d;
use crate::record::{
    AstigmatismSource, BestAxis, Cylinder, InducedAstigmatism, Outcome, Record, Refraction, ValueSource, VectorAnalysis,
};
use crate::report::line_chart::{Level, LineChart, MarkedPoint};
use crate::report::wording::{
    axis_in_words, file_name, gain_in_words, may_be_in_place, plane_in_words, refraction_in_words, signed,
    signed_degrees, turn_in_words,
};
use maud::{Markup, PreEscaped, html};

/// Steps of the curve over the half turn.
const CURVE_STEPS: u32 = 120;

/// Where the part of the record at `index` can be linked to.
pub fn anchor(index: usize) -> String {
    format!("cost-{index}")
}

/// Whether there is anything to say of it.
pub fn has_part(record: &Record) -> bool {
    record.vector_analysis.is_some() || (record.outcome == Outcome::Measured && record.cylinder.is_some())
}

/// The part of the record at `index`; nothing where nothing is known.
pub fn part(index: usize, record: &Record) -> Markup {
    if !has_part(record) {
        return html! {};
    }
    let measured = record.outcome == Outcome::Measured;
    let cylinder = record.cylinder.as_ref().filter(|_| measured);
    html! {
        section.cost id=(anchor(index)) {
            h3 { (file_name(&record.still.path)) }
            @if let Some(cylinder) = cylinder { (residuals(cylinder)) }
            @if let (Some(turn), Some(cylinder)) = (&record.turn_back, cylinder) {
                p {
                    strong { "The turn that would undo the error: " }
                    @if record.alignment.as_ref().is_some_and(may_be_in_place) {
                        "not named. The 95 % interval holds 0: which way to turn is not known."
                    } @else {
                        (turn_in_words(turn)) ", from " (turn.lens_clock) " to " (turn.intended_clock) " on the clock; it "
                        (gain_in_words(turn, cylinder)) "."
                    }
                }
            }
            @if let Some(best) = &record.best_axis { (least(best, cylinder)) }
            @if let Some(analysis) = &record.vector_analysis { (vectors(analysis)) }
            @for (results, columns) in left_out(record) {
                @let take = if results.len() == 1 { "It takes" } else { "They take" };
                p.note { "Left out: " (results.join("; ")) ". " (take) " " (columns) " in the case sheet." }
            }
        }
    }
}

/// What is left out, results that take the same columns together.
fn left_out(record: &Record) -> Vec<(Vec<&str>, String)> {
    let mut groups: Vec<(Vec<&str>, String)> = Vec::new();
    for left in &record.left_out {
        let columns = left.columns.join(", ");
        match groups.iter_mut().find(|(_, group)| *group == columns) {
            Some((results, _)) => results.push(&left.result),
            None => groups.push((vec![&left.result], columns)),
        }
    }
    groups
}

/// Residual as it stands and at the intended axis, in both planes; what it was counted from.
fn residuals(cylinder: &Cylinder) -> Markup {
    let dioptres = |value: Option<f64>| value.map_or_else(String::new, |d| format!("{d:.2} D"));
    let interval =
        |value: Option<[f64; 2]>| value.map_or_else(String::new, |[low, high]| format!("{low:.2} to {high:.2} D"));
    let written = |power: Option<Refraction>| power.map_or_else(String::new, |power| refraction_in_words(&power));
    let [low, high] = cylinder.residual_interval95_percent;
    let placed = cylinder.placed;
    html! {
        p {
            strong { "Placing alone: " }
            (format!("{:.1} % of the cylinder (95 % interval {low:.1} to {high:.1} %).", cylinder.residual_percent))
            @if let Some(lens) = cylinder.lens_d { " " (counted_from(lens, cylinder)) }
        }
        @if cylinder.residual_d.is_some() {
            table.planes {
                thead { tr {
                    th scope="col" { "Residual cylinder" }
                    th scope="col" { "as the lens stands" }
                    th scope="col" { "95 % interval" }
                    th scope="col" { "refraction" }
                    @if placed.is_some() {
                        th scope="col" { "at the intended axis" }
                        th scope="col" { "refraction there" }
                    }
                } }
                tbody {
                    tr {
                        th scope="row" { (plane_in_words(cylinder).trim_start()) }
                        td data-label="as the lens stands" { (dioptres(cylinder.residual_d)) }
                        td data-label="95 % interval" { (interval(cylinder.residual_interval95_d)) }
                        td data-label="refraction" { (written(cylinder.refraction)) }
                        @if let Some(placed) = placed {
                            td data-label="at the intended axis" { (dioptres(Some(placed.residual_d))) }
                            td data-label="refraction there" { (refraction_in_words(&placed.refraction)) }
                        }
                    }
                    @if cylinder.spectacle_d.is_some() {
                        tr {
                            th scope="row" { "at the spectacles" (vertex(cylinder)) }
                            td data-label="as the lens stands" { (dioptres(cylinder.spectacle_d)) }
                            td data-label="95 % interval" { (interval(cylinder.spectacle_interval95_d)) }
                            td data-label="refraction" { (written(cylinder.spectacle_refraction)) }
                            @if let Some(placed) = placed {
                                td data-label="at the intended axis" { (dioptres(Some(placed.spectacle_d))) }
                                td data-label="refraction there" { (refraction_in_words(&placed.spectacle_refraction)) }
                            }
                        }
                    }
                }
            }
            @if let (None, Some(j0), Some(j45), Some(v)) =
                (cylinder.residual_axis_deg, cylinder.j0_d, cylinder.j45_d, cylinder.j_covariance)
            {
                p.note {
                    "The interval leaves its axis no meaning: J0 " (format!("{} ± {:.3}", signed(j0, 3), v.j0_d2.sqrt()))
                    " D, J45 " (format!("{} ± {:.3}", signed(j45, 3), v.j45_d2.sqrt())) " D (standard deviations)."
                }
            }
        }
    }
}

/// Lens and astigmatism that the residual was counted from.
fn counted_from(lens_d: f64, cylinder: &Cylinder) -> String {
    let place = plane_in_words(cylinder);
    let along = match (cylinder.along_intended_d, cylinder.oblique_d) {
        (Some(along), Some(oblique)) => {
            format!(", {along:.2} D of it along the intended meridian and {:.2} D oblique", oblique.abs())
        }
        _ => String::new(),
    };
    let steep =
        cylinder.astigmatism_axis_deg.map_or_else(String::new, |axis| format!(" steep at {}", axis_in_words(axis)));
    let astigmatism = cylinder.astigmatism_d.unwrap_or(lens_d);
    let eye = match cylinder.astigmatism_source {
        Some(AstigmatismSource::Target) => format!("the target is {astigmatism:.2} D{steep}"),
        Some(AstigmatismSource::Keratometry) => format!("keratometry gives {astigmatism:.2} D{steep}"),
        _ => "it is taken to match the eye".to_owned(),
    };
    format!("The lens has {lens_d:.2} D{place}{along}; {eye}.")
}

fn vertex(cylinder: &Cylinder) -> String {
    let assumed = if cylinder.vertex_source == Some(ValueSource::Assumed) { ", assumed" } else { "" };
    cylinder.vertex_mm.map_or_else(String::new, |vertex| format!(" ({vertex} mm{assumed})"))
}

/// The best axis by the refraction after surgery, and its curve.
fn least(best: &BestAxis, cylinder: Option<&Cylinder>) -> Markup {
    let vertex = cylinder.map_or_else(String::new, vertex);
    html! {
        p {
            strong { "By the refraction after surgery" } " (" (refraction_in_words(&best.refraction)) " at the cornea): \
            if the lens has not turned between the still and that refraction, "
            @if let (Some(axis), Some(turn)) = (best.axis_deg, best.turn_deg) {
                "the least cylinder, " (format!("{:.2} D", best.left_d)) ", would be left with the lens at "
                (axis_in_words(axis)) "°, " (signed_degrees(turn)) " from the " (axis_in_words(best.lens_axis_deg))
                "° of the still"
                @if let Some([low, high]) = best.turn_interval95_deg {
                    " (95 % interval by the still alone " (signed_degrees(low)) " to " (signed_degrees(high)) ")"
                }
                ". The refraction shows " (format!("{:.2} D", best.now_d)) ". At the spectacles" (vertex) " "
                (format!("{:.2} D", best.left_spectacle_d)) " would be left."
            } @else {
                "the eye has no astigmatism but that of its lens; any axis leaves " (format!("{:.2} D", best.left_d)) "."
            }
        }
        figure {
            (PreEscaped(curve(best).element()))
            figcaption.note {
                "A lens that turned between still and refraction has another curve, and nothing here shows that it did. The \
                 refraction's own error, often 0.25 D or more, is not in the interval, and moves the least of the curve sideways where the cylinder is small."
            }
        }
    }
}

/// Residual cylinder against the axis of the lens.
fn curve(best: &BestAxis) -> LineChart {
    let steep = best.axis_deg.unwrap_or(best.lens_axis_deg);
    let left_at = |axis: f64| residual_d(best.astigmatism_d, best.lens_d, axis_difference(steep, axis));
    let mut points =
        vec![MarkedPoint { x: best.lens_axis_deg, y: best.now_d, label: format!("as refracted: {:.2} D", best.now_d) }];
    if let Some(axis) = best.axis_deg {
        points.push(MarkedPoint { x: axis, y: best.left_d, label: format!("least: {:.2} D", best.left_d) });
    }
    points.sort_by(|a, b| a.x.total_cmp(&b.x));
    let mut places: Vec<f64> = (0..=CURVE_STEPS).map(|step| 180.0 * f64::from(step) / f64::from(CURVE_STEPS)).collect();
    // The curve has a corner where lens and eye match; its point must not be cut off.
    places.extend(best.axis_deg);
    places.sort_by(f64::total_cmp);
    LineChart {
        title: "Cylinder left by the present lens at any axis".to_owned(),
        x_label: "axis of the lens, degrees in the eye's notation".to_owned(),
        y_label: "residual at the cornea, D".to_owned(),
        x_range: [0.0, 180.0],
        x_step: 30.0,
        curve: places.into_iter().map(|axis| [axis, left_at(axis)]).collect(),
        level: Some(Level { y: best.astigmatism_d, label: format!("without a cylinder: {:.2} D", best.astigmatism_d) }),
        points,
    }
}

/// Vector analysis as journals report it.
fn vectors(analysis: &VectorAnalysis) -> Markup {
    let change = |change: &InducedAstigmatism| {
        let axis = change.axis_deg.map_or_else(String::new, |axis| format!(" at {}", axis_in_words(axis)));
        format!("{:.2} D{axis}", change.magnitude_d)
    };
    let index = |index: Option<f64>| index.map_or_else(|| "–".to_owned(), |index| format!("{index:.2}"));
    let before = match analysis.before_source {
        AstigmatismSource::Target => "the target of the sheet",
        _ => "keratometry",
    };
    html! {
        p {
            strong { "Vector analysis" } " from " (before) " to none: target induced " (change(&analysis.target_induced))
            ", surgically induced " (change(&analysis.surgically_induced)) ", difference vector "
            (change(&analysis.difference)) "; magnitude of error " (signed(analysis.magnitude_error_d, 2)) " D"
            ", angle of error " (analysis.angle_error_deg.map_or_else(|| "–".to_owned(), signed_degrees))
            ", correction index " (index(analysis.correction_index)) ", index of success "
            (index(analysis.success_index)) "."
        }
    }
}
