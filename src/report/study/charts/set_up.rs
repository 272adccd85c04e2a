//! What a set-up gives, by form of marks: error, interval and refusals, each with its Monte-Carlo interval, which
//! goes up to the edge where it has no upper end.

use super::frame::{Area, Fault, GREY, INK, color, document, legend, letters, number, put_mark, range};
use crate::study::set_up::{Expected, Value};
use plotters::prelude::*;
use std::io;

/// Size of one panel, px, and of the legend's row.
const PANEL: (u32, u32) = (720, 270);
const LEGEND: u32 = 36;
/// How far two marks of one form stand apart, forms.
const ASIDE: f64 = 0.16;

/// A value of a form of marks.
type Of = fn(&Expected) -> &Value;

/// Draw the chart as an SVG document.
///
/// # Errors
/// Those of the drawing library; none is known for drawing into memory.
pub fn draw(rows: &[Expected]) -> io::Result<String> {
    let panels: [(&str, &[Of]); 3] = [
        ("error, degrees", &[|e| &e.rms_error_deg, |e| &e.p95_error_deg]),
        ("half-width, degrees", &[|e| &e.half_width_deg]),
        ("refused, %", &[|e| &e.refused_percent]),
    ];
    document((PANEL.0, LEGEND + 3 * PANEL.1), |area| {
        let below = legend(area, &["rms, mean or share", "95 % below (open: at least)"])?;
        for (panel, (title, values)) in below.split_evenly((3, 1)).iter().zip(panels) {
            draw_panel(panel, rows, title, values)?;
        }
        Ok(())
    })
}

fn draw_panel(area: &Area, rows: &[Expected], title: &str, values: &[Of]) -> Result<(), Fault> {
    let all = rows.iter().flat_map(|row| values.iter().map(move |of| of(row)));
    let ends = all.flat_map(|v| [v.value, v.interval95.map(|i| i.0), v.interval95.and_then(|i| i.1)]);
    let most = range(ends.flatten().chain([0.0])).end.max(0.1);
    let y = 0.0..most;
    let x = -0.5..rows.len() as f64 - 0.5;
    let mut chart =
        ChartBuilder::on(area).margin(10).x_label_area_size(34).y_label_area_size(76).build_cartesian_2d(x, y)?;
    let name = |place: &f64| {
        let at = place.round();
        let row = rows.get(at as usize).filter(|_| (place - at).abs() < 1e-6 && at >= 0.0);
        row.map_or(String::new(), |row| row.form.clone())
    };
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GREY)
        .axis_style(INK)
        .x_labels(rows.len())
        .y_labels(5)
        .y_desc(title)
        .label_style(letters())
        .axis_desc_style(letters())
        .x_label_formatter(&name)
        .y_label_formatter(&|v| number(*v))
        .draw()?;
    let plotting = chart.plotting_area().clone();
    let bare = plotting.strip_coord_spec();
    let (left, top) = bare.get_base_pixel();
    for (at, row) in rows.iter().enumerate() {
        for (k, of) in values.iter().enumerate() {
            let value = of(row);
            let shift = (k as f64 - (values.len() as f64 - 1.0) / 2.0) * 2.0 * ASIDE;
            let place = at as f64 + shift;
            if let Some((low, high)) = value.interval95 {
                let line = color(k).stroke_width(3);
                chart.draw_series([PathElement::new([(place, low), (place, high.unwrap_or(most))], line)])?;
                for end in [Some(low), high].into_iter().flatten() {
                    chart.draw_series([PathElement::new([(place - 0.05, end), (place + 0.05, end)], line)])?;
                }
            }
            if let Some(value) = value.value {
                let (px, py) = plotting.map_coordinate(&(place, value));
                put_mark(&bare, k, (px - left, py - top), 6)?;
            }
        }
    }
    Ok(())
}
