//! Axes on a half circle.

use super::Drawn;
use super::frame::{GREY, INK, SIZE, centered, color, document};
use plotters::prelude::*;
use std::io;

/// Width of a sector, degrees.
const SECTOR_DEG: usize = 10;
/// Radius of the half circle, px.
const RADIUS: f64 = 225.0;

/// A rose whose sectors have the area of their counts, 0 at the right, 90 up, 180 at the left.
pub fn draw(axes_deg: &[f64]) -> io::Result<Drawn> {
    let mut counts = [0_usize; 180 / SECTOR_DEG];
    for axis in axes_deg {
        counts[(axis.rem_euclid(180.0) as usize / SECTOR_DEG).min(counts.len() - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let height = RADIUS as i32 + 80;
    let svg = document((SIZE.0, height as u32), |area| {
        let (cx, cy) = (SIZE.0 as i32 / 2, height - 36);
        let place = |degrees: f64, radius: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            (cx + (radius * cos).round() as i32, cy - (radius * sin).round() as i32)
        };
        let arc = |from: f64, to: f64, radius: f64| -> Vec<(i32, i32)> {
            (0..=24).map(|k| place(from + (to - from) * f64::from(k) / 24.0, radius)).collect()
        };
        for share in [0.5, 1.0] {
            area.draw(&PathElement::new(arc(0.0, 180.0, RADIUS * f64::sqrt(share)), GREY))?;
        }
        for (sector, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
            let from = (sector * SECTOR_DEG) as f64;
            let mut corners = arc(from, from + SECTOR_DEG as f64, RADIUS * (*count as f64 / most as f64).sqrt());
            corners.push((cx, cy));
            area.draw(&Polygon::new(corners.clone(), color(0).mix(0.6).filled()))?;
            corners.push(corners[0]);
            area.draw(&PathElement::new(corners, INK))?;
        }
        area.draw(&PathElement::new([place(0.0, RADIUS), place(180.0, RADIUS)], INK))?;
        for degrees in [0, 30, 60, 90, 120, 150, 180] {
            area.draw(&Text::new(format!("{degrees}°"), place(f64::from(degrees), RADIUS + 26.0), centered()))?;
        }
        area.draw(&Text::new(format!("outer arc: {most}"), (cx, cy + 20), centered()))?;
        Ok(())
    })?;
    Ok(Drawn { svg, note: "" })
}
