//! Curves against levels.

use super::Drawn;
use super::frame::{SIZE, color, dashed, document, legend, letters, plane, put_mark, range};
use crate::study::figures::Series;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::io;

/// Points that a curve is drawn by; of more, the highest and lowest of each stretch.
const MOST_POINTS: usize = 1500;

/// One line a group, a few marks on each to tell them apart; levels dashed and named.
pub fn draw(series: &[Series], titles: [&str; 2], levels: &[(f64, String)]) -> io::Result<Drawn> {
    let points = || series.iter().flat_map(|s| s.points.iter());
    let x = range(points().map(|p| p[0]));
    let y = range(points().map(|p| p[1]).chain(levels.iter().map(|(level, _)| *level)).chain([0.0]));
    let svg = document(SIZE, |area| {
        let names: Vec<&str> = series.iter().map(|s| s.name.as_str()).collect();
        let area = legend(area, &names)?;
        let mut chart = plane(&area, x.clone(), y.clone(), titles)?;
        for (level, name) in levels {
            dashed(&mut chart, &x, *level)?;
            // At the left, since curves begin near 0; on that side of the line where 0 is not, for the same reason.
            let above = if *level < 0.0 { VPos::Top } else { VPos::Bottom };
            let style = letters().pos(Pos::new(HPos::Left, above));
            let place = (x.start + (x.end - x.start) * 0.01, *level);
            chart.draw_series([Text::new(name.clone(), place, style)])?;
        }
        let plotting = chart.plotting_area().clone();
        let bare = plotting.strip_coord_spec();
        let (left, top) = bare.get_base_pixel();
        for (group, s) in series.iter().enumerate() {
            let shown = thinned(&s.points);
            chart.draw_series(LineSeries::new(shown.iter().map(|p| (p[0], p[1])), color(group).stroke_width(2)))?;
            let apart = (shown.len() / 12).max(1);
            for p in shown.iter().step_by(apart).filter(|_| series.len() > 1) {
                let (px, py) = plotting.map_coordinate(&(p[0], p[1]));
                put_mark(&bare, group, (px - left, py - top), 4)?;
            }
        }
        Ok(())
    })?;
    Ok(Drawn { svg, note: "" })
}

/// The lowest and the highest point of each stretch, in their order.
fn thinned(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    if points.len() <= MOST_POINTS {
        return points.to_vec();
    }
    let stretch = points.len().div_ceil(MOST_POINTS / 2);
    let ends = |part: &[[f64; 2]]| {
        let by = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
        let mut ends: Vec<[f64; 2]> =
            [part.iter().min_by(by), part.iter().max_by(by)].into_iter().flatten().copied().collect();
        ends.sort_by(|a, b| a[0].total_cmp(&b[0]));
        ends
    };
    points.chunks(stretch).flat_map(ends).collect()
}
