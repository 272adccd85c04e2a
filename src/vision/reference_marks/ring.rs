//! The neighbourhood of the limbus, unrolled.

use crate::geometry::Ellipse;
use crate::vision::{Picture, bilinear};
use std::f64::consts::TAU;

/// Inner edge of the ring, in limbus radii.
pub(super) const RHO_INNER: f64 = 0.74;
/// Outer edge of the ring, in limbus radii: beyond the end of a long mark about a limbus put too small.
pub(super) const RHO_OUTER: f64 = 1.55;
/// Finest and coarsest sampling along the ring: below the first a scratch of 1 degree is under 3 samples wide, above
/// the second nothing is gained, as the picture is averaged over the step.
const COLUMNS: [f64; 2] = [720.0, 1200.0];
/// Added to channel values (0 to 1) before the logarithm, so that noise in the black does not count as contrast.
const BLACK_OFFSET: f32 = 0.03;
/// Channel value (0 to 1) under which in all channels nothing is seen: the field stop of the microscope, or the blackest ink.
const BLACK: f32 = 0.02;

/// Channel logarithms on a grid of radius (rows, outwards) and angle (columns, counter-clockwise, periodic).
pub(super) struct Ring {
    /// Number of angles.
    pub columns: usize,
    /// Number of radii.
    pub rows: usize,
    /// Natural logarithm of (value + [`BLACK_OFFSET`]) for red, green, blue; row by row. 0 where not `lit`.
    pub log: [Vec<f32>; 3],
    /// Inside the picture and not beyond the light. Black in the midst of what is lit is ink, not the field stop.
    pub lit: Vec<bool>,
    /// Step between rows, limbus radii.
    pub rho_step: f64,
}

impl Ring {
    /// Sample `picture` around `limbus`.
    pub fn sample(picture: &Picture, limbus: &Ellipse) -> Self {
        let radius_px = limbus.radius_px();
        let columns = ((TAU * radius_px).clamp(COLUMNS[0], COLUMNS[1]) / 4.0).round() * 4.0;
        let rho_step = TAU / columns;
        let rows = ((RHO_OUTER - RHO_INNER) / rho_step).floor() as usize + 1;
        let step_px = radius_px * rho_step;
        let columns = columns as usize;
        // Samples lie up to a few px apart in large pictures: average over the step, lest noise be picked out.
        let taps = step_px.floor().clamp(1.0, 6.0) as usize;
        let logs: Vec<f32> = (0..=4096_u16).map(|v| (f32::from(v) / 4096.0 + BLACK_OFFSET).ln()).collect();
        let mut ring =
            Self { columns, rows, log: std::array::from_fn(|_| vec![0.0; rows * columns]), lit: Vec::new(), rho_step };
        let mut seen = vec![Seen::Nothing; rows * columns];
        let rays: Vec<_> = (0..columns)
            .map(|column| {
                let phi = TAU * column as f64 / columns as f64;
                (phi, limbus.at_polar(RHO_INNER, phi), limbus.at_polar(1.0, phi) - limbus.center())
            })
            .collect();
        for row in 0..rows {
            let place = row as f64 * rho_step;
            for (column, &(phi, inner, outward)) in rays.iter().enumerate() {
                let point = inner + outward * place;
                let value = if taps == 1 {
                    bilinear::sample(picture, &point)
                } else {
                    averaged(picture, limbus, phi, RHO_INNER + place, rho_step, taps)
                };
                let Some(value) = value else { continue };
                let at = row * columns + column;
                seen[at] = if value.iter().all(|v| *v < BLACK) { Seen::Black } else { Seen::Light };
                for (log, v) in ring.log.iter_mut().zip(value) {
                    log[at] = logs[((v * 4096.0 + 0.5) as i32 as usize).min(4096)];
                }
            }
        }
        ring.lit = lit(seen, columns);
        for (at, _) in ring.lit.iter().enumerate().filter(|(_, lit)| !**lit) {
            ring.log.iter_mut().for_each(|log| log[at] = 0.0);
        }
        ring
    }

    /// Radius of a (fractional) row, limbus radii.
    pub fn rho(&self, row: f64) -> f64 {
        RHO_INNER + row * self.rho_step
    }

    /// Row (fractional) of a radius in limbus radii.
    pub fn row(&self, rho: f64) -> f64 {
        (rho - RHO_INNER) / self.rho_step
    }

    /// Angle of a (fractional, unwrapped) column, radians counter-clockwise as seen.
    pub fn phi(&self, column: f64) -> f64 {
        column * TAU / self.columns as f64
    }

    /// Columns that `degrees` span.
    pub fn columns_of(&self, degrees: f64) -> f64 {
        degrees / 360.0 * self.columns as f64
    }

    /// Whole turns, in columns, that bring an unwrapped column within half a turn of another.
    pub fn turn_towards(&self, column: f64, other: f64) -> isize {
        ((other - column) / self.columns as f64).round() as isize * self.columns as isize
    }

    /// Columns between two unwrapped ones, the shorter way round.
    pub fn columns_apart(&self, a: f64, b: f64) -> f64 {
        (b - a - self.turn_towards(a, b) as f64).abs()
    }

    /// Place in the arrays of a row and an unwrapped column.
    pub fn at(&self, row: usize, column: isize) -> usize {
        let turn = self.columns as isize;
        // Mostly less than a turn off: that spares a division.
        let near = match column {
            c if c < 0 => c + turn,
            c if c >= turn => c - turn,
            c => c,
        };
        row * self.columns + if (0..turn).contains(&near) { near } else { near.rem_euclid(turn) } as usize
    }
}

/// What a cell of the ring shows.
#[derive(Clone, Copy, PartialEq)]
enum Seen {
    /// It lies outside of the picture, or the light does not reach it.
    Nothing,
    Black,
    Light,
}

/// Which cells are lit: all but those that show nothing, and the black that hangs together with them or with the ring's edges.
fn lit(mut seen: Vec<Seen>, columns: usize) -> Vec<bool> {
    let rows = seen.len() / columns;
    let neighbours = |at: usize| {
        let (row, column) = (at / columns, at % columns);
        let beside = [(column + 1) % columns, (column + columns - 1) % columns].map(|c| row * columns + c);
        let above_and_below = [row.checked_sub(1), Some(row + 1).filter(|r| *r < rows)];
        beside.into_iter().chain(above_and_below.into_iter().flatten().map(move |r| r * columns + column))
    };
    let mut unlit: Vec<usize> = (0..seen.len())
        .filter(|at| match seen[*at] {
            Seen::Nothing => true,
            Seen::Black => [0, rows - 1].contains(&(at / columns)),
            Seen::Light => false,
        })
        .collect();
    while let Some(at) = unlit.pop() {
        seen[at] = Seen::Nothing;
        unlit.extend(neighbours(at).filter(|n| seen[*n] == Seen::Black));
    }
    seen.into_iter().map(|seen| seen != Seen::Nothing).collect()
}

fn averaged(picture: &Picture, limbus: &Ellipse, phi: f64, rho: f64, step: f64, taps: usize) -> Option<[f32; 3]> {
    let mut sum = [0.0_f32; 3];
    let offset = |k: usize| ((k as f64 + 0.5) / taps as f64 - 0.5) * step;
    for i in 0..taps {
        for j in 0..taps {
            let value = bilinear::sample(picture, &limbus.at_polar(rho + offset(i), phi + offset(j)))?;
            for (s, v) in sum.iter_mut().zip(value) {
                *s += v;
            }
        }
    }
    let count = (taps * taps) as f32;
    Some(sum.map(|s| s / count))
}

#[cfg(test)]
mod tests {
    use super::{Seen, lit};

    /// Black amid the light is lit; what hangs together with an edge, if only across the seam, or with what shows nothing, is not.
    #[test]
    fn black_is_ink_amid_the_light_and_the_field_stop_at_its_edge() {
        let drawn = ["........", ".##..#..", "#......#", "#..##..#", "#.. #...", "#......."];
        let kept = ["........", ".##..#..", " ...... ", " ..  .. ", " ..  ...", " ......."];
        let cells = |rows: [&str; 6]| rows.concat().into_bytes();
        let seen = cells(drawn).into_iter().map(|cell| match cell {
            b'#' => Seen::Black,
            b'.' => Seen::Light,
            _ => Seen::Nothing,
        });
        let expected: Vec<bool> = cells(kept).into_iter().map(|cell| cell != b' ').collect();
        assert_eq!(lit(seen.collect(), 8), expected);
    }
}
