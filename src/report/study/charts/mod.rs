//! Charts of a study as SVG, drawn by plotters: readable in print, without colour and without a script.
//!
//! Groups differ by the shape of their marks as well as by colour; the colours are those of Okabe & Ito, which colour-blind
//! people tell apart.

mod curves;
mod double_angle;
mod frame;
mod points;
mod rose;
mod set_up;
mod strips;

pub use set_up::draw as set_up_chart;

use crate::study::figures::Plot;
use std::io;

/// A chart that was drawn.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// SVG document.
    pub svg: String,
    /// What a reader should know of how it was drawn; empty as a rule.
    pub note: &'static str,
}

/// Draw a chart.
///
/// # Errors
/// Those of the drawing library; none is known for drawing into memory.
pub fn draw(plot: &Plot) -> io::Result<Drawn> {
    match plot {
        Plot::Sequence { series, x_label, y_label, limits } => points::sequence(series, [x_label, y_label], limits),
        Plot::Difference { series, lines, x_label, y_label } => points::difference(series, lines, [x_label, y_label]),
        Plot::Strips { groups, y_label, limits } => strips::draw(groups, y_label, limits),
        Plot::Axes { axes_deg } => rose::draw(axes_deg),
        Plot::DoubleAngle { series, regions } => double_angle::draw(series, regions),
        Plot::Curves { series, x_label, y_label, levels } => curves::draw(series, [x_label, y_label], levels),
    }
}
