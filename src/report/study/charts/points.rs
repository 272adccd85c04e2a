//! Points against limits: errors in order of operation, and difference against mean.

use super::Drawn;
use super::frame::{COUNTS_NOTE, INK, SIZE, dashed, document, legend, letters, number, plane, range, scatter};
use crate::study::figures::Series;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::io;

fn noted(svg: String, counted: bool) -> Drawn {
    Drawn { svg, note: if counted { COUNTS_NOTE } else { "" } }
}

/// Values in order, limits at either side of 0.
pub fn sequence(series: &[Series], titles: [&str; 2], limits: &[f64]) -> io::Result<Drawn> {
    let points = || series.iter().flat_map(|s| s.points.iter());
    let x = range(points().map(|p| p[0]));
    let y = range(points().map(|p| p[1]).chain(limits.iter().flat_map(|l| [-l, *l])));
    let mut counted = false;
    let svg = document(SIZE, |area| {
        let names: Vec<&str> = series.iter().map(|s| s.name.as_str()).collect();
        let area = legend(area, &names)?;
        let mut chart = plane(&area, x.clone(), y.clone(), titles)?;
        for level in limits.iter().flat_map(|limit| [-limit, *limit]) {
            dashed(&mut chart, &x, level)?;
        }
        chart.draw_series([PathElement::new([(x.start, 0.0), (x.end, 0.0)], INK)])?;
        let groups: Vec<&[[f64; 2]]> = series.iter().map(|s| s.points.as_slice()).collect();
        counted = scatter(&chart, &groups, &x, &y)?;
        Ok(())
    })?;
    Ok(noted(svg, counted))
}

/// Difference against mean, the bias and the limits as lines with their intervals as bands.
pub fn difference(series: &[Series], lines: &[[f64; 3]; 3], titles: [&str; 2]) -> io::Result<Drawn> {
    let points = || series.iter().flat_map(|s| s.points.iter());
    let x = range(points().map(|p| p[0]));
    let y = range(points().map(|p| p[1]).chain(lines.iter().flatten().copied()));
    let mut counted = false;
    let svg = document(SIZE, |area| {
        let names: Vec<&str> = series.iter().map(|s| s.name.as_str()).collect();
        let area = legend(area, &names)?;
        let mut chart = plane(&area, x.clone(), y.clone(), titles)?;
        for [low, value, high] in lines {
            let band = [(x.start, *low), (x.end, *high)];
            chart.draw_series([Rectangle::new(band, RGBColor(0, 114, 178).mix(0.14).filled())])?;
            dashed(&mut chart, &x, *value)?;
        }
        let groups: Vec<&[[f64; 2]]> = series.iter().map(|s| s.points.as_slice()).collect();
        counted = scatter(&chart, &groups, &x, &y)?;
        let style = letters().pos(Pos::new(HPos::Right, VPos::Bottom));
        for [_, value, _] in lines {
            let label = number((value * 100.0).round() / 100.0);
            chart.draw_series([Text::new(label, (x.end, *value), style.clone())])?;
        }
        Ok(())
    })?;
    Ok(noted(svg, counted))
}
