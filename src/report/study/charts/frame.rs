//! What all charts have in common: size, type, marks, legend, scales.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::io;
use std::ops::Range;

/// Size of a chart, px. A telephone shows it at two thirds.
pub const SIZE: (u32, u32) = (560, 420);
/// Size of type, px.
pub const TYPE: i32 = 19;
/// Width of a letter at that size, somewhat generous.
const LETTER: i32 = 9;
/// Height of a row of the legend.
pub const ROW: i32 = 24;
/// Points beyond which counts are drawn instead of points.
pub const MOST_POINTS: usize = 2000;
/// Cells across and up when counts are drawn.
const CELLS: [f64; 2] = [110.0, 70.0];
/// Said of a chart that shows counts.
pub const COUNTS_NOTE: &str = "So many eyes are drawn as counts: the area of a dot is the number of eyes at its place.";

/// Okabe & Ito's colours, the dark ones first.
const COLORS: [RGBColor; 7] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 128, 96),
    RGBColor(160, 80, 130),
    RGBColor(40, 40, 40),
    RGBColor(190, 130, 0),
    RGBColor(60, 150, 200),
];
/// Lines of scales.
pub const GREY: RGBColor = RGBColor(216, 216, 216);
/// Type, and lines to compare with.
pub const INK: RGBColor = RGBColor(34, 34, 34);

/// Where a chart is drawn.
pub type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
/// A chart with two linear scales.
pub type Plane<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
/// What drawing may fail with.
pub type Fault = DrawingAreaErrorKind<io::Error>;

/// Draw on a white ground of `size` px.
pub fn document(size: (u32, u32), paint: impl FnOnce(&Area) -> Result<(), Fault>) -> io::Result<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        area.fill(&WHITE)
            .and_then(|()| paint(&area))
            .and_then(|()| area.present())
            .map_err(|fault| io::Error::other(fault.to_string()))?;
    }
    Ok(svg)
}

/// Colour of a group.
pub fn color(group: usize) -> RGBColor {
    COLORS[group % COLORS.len()]
}

/// Type in the chart's size.
pub fn letters() -> TextStyle<'static> {
    ("sans-serif", TYPE).into_font().color(&INK)
}

/// Draw a group's mark, told by shape and colour: dot, triangle, cross, square, upside-down triangle, ring, diamond.
pub fn put_mark(area: &Area, group: usize, (x, y): (i32, i32), s: i32) -> Result<(), Fault> {
    let fill = color(group).mix(0.75).filled();
    let line = color(group).stroke_width(2);
    let shape =
        |corners: &[(i32, i32)]| Polygon::new(corners.iter().map(|(a, b)| (x + a, y + b)).collect::<Vec<_>>(), fill);
    match group % COLORS.len() {
        0 => area.draw(&Circle::new((x, y), s, fill)),
        1 => area.draw(&shape(&[(0, -s - 1), (s + 1, s), (-s - 1, s)])),
        2 => area.draw(&Cross::new((x, y), s, line)),
        3 => area.draw(&shape(&[(-s, -s), (s, -s), (s, s), (-s, s)])),
        4 => area.draw(&shape(&[(0, s + 1), (s + 1, -s), (-s - 1, -s)])),
        5 => area.draw(&Circle::new((x, y), s, line)),
        _ => area.draw(&shape(&[(0, -s - 1), (s + 1, 0), (0, s + 1), (-s - 1, 0)])),
    }
}

/// Marks with names in rows at the top; what is left below them. Nothing for a single group.
pub fn legend<'a>(area: &Area<'a>, names: &[&str]) -> Result<Area<'a>, Fault> {
    if names.len() < 2 {
        return Ok(area.clone());
    }
    let (width, _) = area.dim_in_pixel();
    let (mut x, mut y) = (12, 4);
    for (group, name) in names.iter().enumerate() {
        let shown = shortened(name, 28);
        let needed = 26 + LETTER * shown.chars().count() as i32;
        if x > 12 && x + needed > width as i32 {
            (x, y) = (12, y + ROW);
        }
        put_mark(area, group, (x + 6, y + ROW / 2), 5)?;
        area.draw(&Text::new(shown, (x + 18, y + 4), letters()))?;
        x += needed;
    }
    Ok(area.split_vertically(y + ROW + 2).1)
}

/// At most so many characters: what is left out is the middle, since names differ at their ends.
pub fn shortened(name: &str, most: usize) -> String {
    let count = name.chars().count();
    if count <= most {
        return name.to_owned();
    }
    let tail = (most - 1) / 2;
    name.chars().take(most - 1 - tail).chain(['…']).chain(name.chars().skip(count - tail)).collect()
}

/// Two scales with titles and horizontal guides.
pub fn plane<'a, 'b>(
    area: &'a Area<'b>,
    x: Range<f64>,
    y: Range<f64>,
    titles: [&str; 2],
) -> Result<Plane<'a, 'b>, Fault> {
    let mut chart = ChartBuilder::on(area)
        .margin(10)
        .margin_right(18)
        .x_label_area_size(58)
        .y_label_area_size(72)
        .build_cartesian_2d(x, y)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GREY)
        .axis_style(INK)
        .x_labels(7)
        .y_labels(7)
        .x_desc(titles[0])
        .y_desc(titles[1])
        .label_style(letters())
        .axis_desc_style(letters())
        .x_label_formatter(&|v| number(*v))
        .y_label_formatter(&|v| number(*v))
        .draw()?;
    Ok(chart)
}

/// A number of a scale, with a proper minus and no more decimals than it has.
pub fn number(value: f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{}{}", if rounded < 0.0 { "−" } else { "" }, rounded.abs())
}

/// Least and greatest of values with a margin of a twentieth; never empty.
pub fn range(values: impl Iterator<Item = f64>) -> Range<f64> {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return 0.0..1.0;
    }
    let margin = if high > low { (high - low) / 20.0 } else { 1.0 };
    low - margin..high + margin
}

/// A horizontal line of dashes.
pub fn dashed(chart: &mut Plane, x: &Range<f64>, y: f64) -> Result<(), Fault> {
    let line = [(x.start, y), (x.end, y)];
    chart.draw_series(DashedLineSeries::new(line, 7, 5, INK.stroke_width(1)))?;
    Ok(())
}

/// Points of all groups; beyond [`MOST_POINTS`] as counts. Whether they were counts.
pub fn scatter(chart: &Plane, groups: &[&[[f64; 2]]], x: &Range<f64>, y: &Range<f64>) -> Result<bool, Fault> {
    let total: usize = groups.iter().map(|points| points.len()).sum();
    let area = chart.plotting_area();
    let bare = area.strip_coord_spec();
    let (left, top) = bare.get_base_pixel();
    let place = |p: [f64; 2]| {
        let (px, py) = area.map_coordinate(&(p[0], p[1]));
        (px - left, py - top)
    };
    for (group, points) in groups.iter().enumerate() {
        if total <= MOST_POINTS {
            for p in *points {
                put_mark(&bare, group, place(*p), 4)?;
            }
        } else {
            for (p, count) in counts(points, x, y) {
                let size = (0.9 * (count as f64).sqrt()).clamp(1.0, 14.0) as i32;
                bare.draw(&Circle::new(place(p), size, color(group).mix(0.6).filled()))?;
            }
        }
    }
    Ok(total > MOST_POINTS)
}

/// Cells that hold points, by their middle, and how many they hold.
fn counts(points: &[[f64; 2]], x: &Range<f64>, y: &Range<f64>) -> Vec<([f64; 2], usize)> {
    let mut cells = std::collections::BTreeMap::new();
    let (width, height) = ((x.end - x.start) / CELLS[0], (y.end - y.start) / CELLS[1]);
    for p in points {
        let cell = (((p[0] - x.start) / width).floor() as i64, ((p[1] - y.start) / height).floor() as i64);
        *cells.entry(cell).or_insert(0) += 1;
    }
    let middle = |(i, j): (i64, i64)| [x.start + (i as f64 + 0.5) * width, y.start + (j as f64 + 0.5) * height];
    cells.into_iter().map(|(cell, count)| (middle(cell), count)).collect()
}

/// Type whose middle is at the place.
pub fn centered() -> TextStyle<'static> {
    letters().pos(Pos::new(HPos::Center, VPos::Center))
}
