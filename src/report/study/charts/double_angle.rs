//! Astigmatism in the double-angle plane.

use super::Drawn;
use super::frame::{COUNTS_NOTE, GREY, INK, SIZE, centered, color, document, legend, letters, number, scatter};
use crate::study::figures::{Region, Series};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::io;

/// Rings that people count in, D.
const RINGS: [f64; 7] = [0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0];
/// Room about the plane for the names of the axes, px.
const MARGIN: u32 = 34;

/// Points, centroids (crosses) and the outlines of their regions, within rings of equal power.
pub fn draw(series: &[Series], regions: &[Region]) -> io::Result<Drawn> {
    let points = series.iter().flat_map(|s| s.points.iter());
    let outlines = regions.iter().flat_map(|region| region.outline.iter());
    let reach = points.chain(outlines).map(|p| p[0].hypot(p[1])).filter(|r| r.is_finite()).fold(0.05, f64::max) * 1.05;
    let ring = RINGS.into_iter().find(|ring| reach / ring <= 4.5).unwrap_or(reach / 3.0);
    let span = -reach..reach;
    let mut counted = false;
    let svg = document((SIZE.0, SIZE.0 + 30), |area| {
        let names: Vec<&str> = series.iter().map(|s| s.name.as_str()).collect();
        let area = legend(area, &names)?;
        let (width, height) = area.dim_in_pixel();
        let side = width.min(height);
        let (aside, above) = (((width - side) / 2) as i32, ((height - side) / 2) as i32);
        let square = area.margin(above, above, aside, aside);
        let mut chart = ChartBuilder::on(&square).margin(MARGIN).build_cartesian_2d(span.clone(), span.clone())?;
        for k in 1..=(reach / ring) as u32 {
            let radius = f64::from(k) * ring;
            let circle = (0..=90).map(|step| {
                let (sin, cos) = f64::from(step * 4).to_radians().sin_cos();
                (radius * cos, radius * sin)
            });
            chart.draw_series([PathElement::new(circle.collect::<Vec<_>>(), GREY.stroke_width(1))])?;
        }
        chart.draw_series([
            PathElement::new([(-reach, 0.0), (reach, 0.0)], GREY.stroke_width(1)),
            PathElement::new([(0.0, -reach), (0.0, reach)], GREY.stroke_width(1)),
        ])?;
        let groups: Vec<&[[f64; 2]]> = series.iter().map(|s| s.points.as_slice()).collect();
        counted = scatter(&chart, &groups, &span, &span)?;
        for Region { group, center, outline } in regions {
            let closed = outline.iter().chain(outline.first()).map(|p| (p[0], p[1])).collect::<Vec<_>>();
            chart.draw_series([PathElement::new(closed, color(*group).stroke_width(3))])?;
            let cross = Cross::new((center[0], center[1]), 8, INK.stroke_width(3));
            chart.draw_series([cross])?;
        }
        let rings = (reach / ring) as u32;
        let places = |[right, up]: [f64; 2]| {
            (1..=rings).map(move |k| f64::from(k) * ring).map(move |r| (r, [r * right, r * up]))
        };
        // The name of a ring reaches about 0.17 of the half-width outwards from its place.
        let covered = |[right, up]: [f64; 2]| {
            let along = |[x, y]: [f64; 2]| {
                [0.03, 0.1, 0.17].map(|share| [x + share * reach * right.signum(), y + 0.03 * reach * up.signum()])
            };
            places([right, up]).flat_map(|(_, place)| along(place)).collect()
        };
        let [right, up] = freest(series, covered);
        let aside = if right > 0.0 { HPos::Left } else { HPos::Right };
        for (radius, [x, y]) in places([right, up]) {
            let style = letters().pos(Pos::new(aside, if up > 0.0 { VPos::Bottom } else { VPos::Top }));
            chart.draw_series([Text::new(format!("{} D", number(radius)), (x, y), style)])?;
        }
        let (middle, far, near) = ((side / 2) as i32, side as i32 - 16, 16);
        let names = [
            ("180°", far - 4, middle - 14),
            ("45°", middle, near),
            ("90°", near + 4, middle - 14),
            ("135°", middle, far),
        ];
        for (name, x, y) in names {
            square.draw(&Text::new(name, (x, y), centered()))?;
        }
        Ok(())
    })?;
    Ok(Drawn { svg, note: if counted { COUNTS_NOTE } else { "" } })
}

/// That of the four diagonals along whose `places` points lie farthest away, so that no name of a ring covers an eye if it can be
/// helped.
fn freest(series: &[Series], places: impl Fn([f64; 2]) -> Vec<[f64; 2]>) -> [f64; 2] {
    const D: f64 = std::f64::consts::FRAC_1_SQRT_2;
    let free = |diagonal: [f64; 2]| {
        let far = |[x, y]: [f64; 2]| {
            let points = series.iter().flat_map(|s| s.points.iter());
            points.map(|p| (p[0] - x).hypot(p[1] - y)).fold(f64::INFINITY, f64::min)
        };
        places(diagonal).into_iter().map(far).fold(f64::INFINITY, f64::min)
    };
    let diagonals = [[D, -D], [-D, -D], [D, D], [-D, D]];
    diagonals
        .into_iter()
        .map(|d| (free(d), d))
        .rev()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(diagonals[0], |(_, d)| d)
}
