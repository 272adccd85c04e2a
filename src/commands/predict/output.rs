//! A prediction as table, JSON lines and chart.

use super::Plane;
use super::inputs::Inputs;
use super::sums::Row;
use crate::optics::rotation::{nothing_won_deg, wrapped_size_deg};
use crate::report::line_chart::{Level, LineChart, MarkedPoint};
use serde_json::{Number, Value};

/// Decimals of every figure in JSON: finer than any eye, coarse enough that the last bits of a sum do not show.
const JSON_DECIMALS: i32 = 4;
/// What stands where a figure is missing.
const NONE: &str = "-";
/// Least range of the chart, degrees: some way beyond 30, where nothing is left of a matched correction.
const LEAST_RANGE_DEG: f64 = 45.0;
/// Steps of the curve.
const CURVE_STEPS: u32 = 180;

/// One object a row, one row a line.
pub(super) fn json(rows: &[Row]) -> serde_json::Result<String> {
    let mut text = String::new();
    for row in rows {
        let mut value = serde_json::to_value(row)?;
        for field in value.as_object_mut().into_iter().flat_map(|fields| fields.values_mut()) {
            if let Some(number) = field.as_f64().and_then(|v| Number::from_f64(rounded(v))) {
                *field = Value::Number(number);
            }
        }
        text.push_str(&serde_json::to_string(&value)?);
        text.push('\n');
    }
    Ok(text)
}

/// Without a negative zero.
fn rounded(value: f64) -> f64 {
    let scale = 10_f64.powi(JSON_DECIMALS);
    (value * scale).round() / scale + 0.0
}

/// Aligned columns with units, below a line that says what was taken.
pub(super) fn table(inputs: &Inputs, rows: &[Row]) -> String {
    let figure = |value: Option<f64>, decimals: usize| {
        value.map_or_else(|| NONE.to_owned(), |v| format!("{:.decimals$}", clear_of_zero(v, decimals)))
    };
    let columns: [(&str, &str); 7] = [
        ("misalignment", "degrees"),
        ("residual", "D, cornea"),
        ("residual", "%"),
        ("along axis", "D, cornea"),
        ("oblique", "D, cornea"),
        ("residual axis", "degrees"),
        ("residual", "D, spectacles"),
    ];
    let mut lines = vec![columns.map(|(name, _)| name.to_owned()), columns.map(|(_, unit)| unit.to_owned())];
    lines.extend(rows.iter().map(|row| {
        [
            figure(Some(row.misalignment_deg), 1),
            figure(row.residual_d, 2),
            figure(row.residual_percent, 1),
            figure(row.along_intended_d, 2),
            figure(row.oblique_d, 2),
            figure(row.residual_axis_deg, 1),
            figure(row.spectacle_d, 2),
        ]
    }));
    let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 7] = std::array::from_fn(width);
    let mut text = format!("{}\n\n", heading(inputs));
    for line in &lines {
        let cells: Vec<_> = line.iter().zip(widths).map(|(cell, width)| format!("{cell:>width$}")).collect();
        text.push_str(&cells.join("  "));
        text.push('\n');
    }
    text.push_str(
        "\nResidual axis: of the minus cylinder that corrects the rest, from the intended axis, counter-clockwise positive.\n",
    );
    text
}

/// A value that rounds to 0 without a sign.
fn clear_of_zero(value: f64, decimals: usize) -> f64 {
    if value.abs() < 0.5 * 10_f64.powi(-(decimals as i32)) { 0.0 } else { value }
}

/// What the figures were calculated from.
fn heading(inputs: &Inputs) -> String {
    let lens = match (inputs.plane, inputs.at_cornea_d()) {
        (Plane::Cornea, _) => format!("Lens of {:.2} D at the cornea", inputs.cylinder_d),
        (Plane::Lens, None) => format!("Lens of {:.2} D in its own plane", inputs.cylinder_d),
        (Plane::Lens, Some(d)) => {
            format!("Lens of {:.2} D in its own plane, {d:.2} D at the cornea", inputs.cylinder_d)
        }
    };
    let eye = match inputs.target_d {
        Some(target_d) => format!("astigmatism to be corrected {target_d:.2} D"),
        None => "taken to match the eye".to_owned(),
    };
    let spectacles = format!("spectacles {} mm before it", inputs.vertex_mm);
    let limit = inputs.target_d.or(inputs.at_cornea_d()).zip(inputs.at_cornea_d());
    let limit = match (limit, inputs.target_d) {
        (Some((astigmatism_d, lens_d)), _) => nothing_won_deg(astigmatism_d, lens_d),
        (None, None) => nothing_won_deg(1.0, 1.0),
        (None, Some(_)) => None,
    };
    let won = match limit {
        Some(degrees) => format!("\nBeyond {degrees:.1} degrees it leaves more than no cylinder at all would."),
        None if inputs.at_cornea_d().is_some() => {
            "\nIt leaves more than no cylinder at all would, at any angle.".to_owned()
        }
        None => String::new(),
    };
    format!("{lens}; {eye}; {spectacles}.{won}")
}

/// The residual against the size of the misalignment: in dioptres at the cornea where they are known, else in percent.
pub(super) fn chart(inputs: &Inputs, rows: &[Row]) -> LineChart {
    let in_dioptres = inputs.at_cornea_d().is_some();
    let value = |row: &Row| if in_dioptres { row.residual_d } else { row.residual_percent };
    let widest = rows.iter().map(|row| wrapped_size_deg(row.misalignment_deg)).fold(LEAST_RANGE_DEG, f64::max);
    let end = (widest / 15.0).ceil() * 15.0;
    let curve = (0..=CURVE_STEPS).filter_map(|step| {
        let angle = end * f64::from(step) / f64::from(CURVE_STEPS);
        Some([angle, value(&inputs.row(angle))?])
    });
    let points = rows.iter().filter_map(|row| {
        let (x, y) = (wrapped_size_deg(row.misalignment_deg), value(row)?);
        let label = if in_dioptres { format!("{y:.2} D") } else { format!("{y:.1} %") };
        Some(MarkedPoint { x, y, label: format!("{x}°: {label}") })
    });
    let mut points: Vec<_> = points.collect();
    points.sort_by(|a, b| a.x.total_cmp(&b.x));
    let untouched = inputs.target_d.or(inputs.at_cornea_d());
    let level = match (in_dioptres, untouched) {
        (true, Some(y)) => Some(Level { y, label: format!("without a cylinder: {y:.2} D") }),
        _ if inputs.target_d.is_none() => Some(Level { y: 100.0, label: "without a cylinder: 100 %".to_owned() }),
        _ => None,
    };
    LineChart {
        title: "Cylinder left uncorrected by a misaligned lens".to_owned(),
        x_label: "misalignment in either direction, degrees".to_owned(),
        y_label: if in_dioptres { "residual at the cornea, D" } else { "residual, % of the cylinder" }.to_owned(),
        x_range: [0.0, end],
        x_step: if end > LEAST_RANGE_DEG { 15.0 } else { 5.0 },
        curve: curve.collect(),
        level,
        points,
    }
}
