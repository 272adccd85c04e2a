//! Places on the ring that are darker than both their sides.

use super::ring::Ring;

/// Widths looked for, degrees of the ring: from a scratch of a tenth of a millimetre to a broad stroke of ink.
const WIDTHS_DEG: [f64; 4] = [0.9, 1.8, 3.6, 7.2];
/// Length over which rows are averaged, limbus radii: about the size of the smallest dot.
const AVERAGED_LENGTH: f64 = 0.05;
/// Least natural-log contrast in red of a seed: 1 - exp(-0.05) is 5 % darker than its sides.
const LEAST_CONTRAST: f32 = 0.05;
/// Seeds nearer to each other than this (limbus radii along the ray, degrees across) are one.
const APART: (f64, f64) = (0.06, 2.5);
/// Radii that seeds are looked for at, limbus radii: a mark lies across the limbus, or near it, and the limbus may have been put
/// a tenth too small.
const RADII: [f64; 2] = [0.84, 1.30];
/// Absorbance common to green and blue, over that in red, from which a seed is blood.
const BLOOD: f32 = 1.8;
/// Most seeds followed up: in busy pictures the forty darkest are lids, lashes and instruments.
const MOST: usize = 100;

/// A dark place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seed {
    /// Row of the ring.
    pub row: usize,
    /// Column of the ring.
    pub column: usize,
    /// Width of the best filter, columns.
    pub width: f64,
    /// Contrast in natural logarithms of the red channel.
    pub contrast: f32,
}

/// The strongest seeds, the strongest first.
pub(super) fn find(ring: &Ring) -> Vec<Seed> {
    let response = best_response(ring);
    let (row_reach, column_reach) = (APART.0 / ring.rho_step, ring.columns_of(APART.1));
    let mut peaks: Vec<&Seed> = response.iter().filter(|s| s.contrast > LEAST_CONTRAST).collect();
    peaks.sort_by(|a, b| b.contrast.total_cmp(&a.contrast).then((a.row, a.column).cmp(&(b.row, b.column))));
    let mut kept: Vec<Seed> = Vec::new();
    for peak in peaks {
        let near = |other: &Seed| {
            let rows = (other.row as f64 - peak.row as f64).abs();
            let turn = (other.column as f64 - peak.column as f64).abs();
            rows < row_reach && turn.min(ring.columns as f64 - turn) < column_reach
        };
        if !kept.iter().any(near) && !blood(ring, peak) {
            kept.push(*peak);
            if kept.len() == MOST {
                break;
            }
        }
    }
    kept
}

/// Whether green and blue are both absorbed far more than red.
fn blood(ring: &Ring, seed: &Seed) -> bool {
    let beside = (seed.width as isize).max(4);
    let column = seed.column as isize;
    let absorbance = [0, 1, 2].map(|channel: usize| {
        let log = |c: isize| ring.log[channel][ring.at(seed.row, c)];
        (log(column - beside) + log(column + beside)) / 2.0 - (log(column - 1) + log(column) + log(column + 1)) / 3.0
    });
    absorbance[1].min(absorbance[2]) > BLOOD * absorbance[0].max(seed.contrast)
}

/// Local maxima along the ring of the strongest filter, every second row.
fn best_response(ring: &Ring) -> Vec<Seed> {
    let columns = ring.columns;
    let half_rows = ((AVERAGED_LENGTH / ring.rho_step / 2.0).round() as usize).max(1);
    let mut column_sums = vec![0.0_f32; columns];
    let mut column_lit = vec![0_u32; columns];
    let add = |sums: &mut [f32], lit: &mut [u32], row: usize, sign: f32| {
        for c in 0..columns {
            let at = row * columns + c;
            sums[c] += sign * ring.log[0][at];
            lit[c] = if sign > 0.0 { lit[c] + u32::from(ring.lit[at]) } else { lit[c] - u32::from(ring.lit[at]) };
        }
    };
    for row in 0..2 * half_rows {
        add(&mut column_sums, &mut column_lit, row, 1.0);
    }
    let rows_summed = (2 * half_rows + 1) as u32;
    let mut seeds = Vec::new();
    let mut line = vec![(0.0_f32, 0.0_f64); columns];
    for row in half_rows..ring.rows - half_rows {
        let searched = (RADII[0]..=RADII[1]).contains(&ring.rho(row as f64));
        add(&mut column_sums, &mut column_lit, row + half_rows, 1.0);
        if searched && row.is_multiple_of(2) {
            filter_line(ring, &column_sums, &column_lit, rows_summed, &mut line);
            for c in 0..columns {
                let (here, width) = line[c];
                let (before, after) = (line[(c + columns - 1) % columns].0, line[(c + 1) % columns].0);
                if here > before && here >= after {
                    seeds.push(Seed { row, column: c, width, contrast: here });
                }
            }
        }
        add(&mut column_sums, &mut column_lit, row - half_rows, -1.0);
    }
    seeds
}

/// For each column the largest, over the widths, of (the lower side's mean) - (the middle's mean).
fn filter_line(ring: &Ring, sums: &[f32], lit: &[u32], rows: u32, line: &mut [(f32, f64)]) {
    let columns = sums.len();
    // Running sums over one and a half turns spare the wrapping of indices.
    let pad = columns / 4;
    let mut running = Vec::with_capacity(columns + 2 * pad + 1);
    let mut unlit = Vec::with_capacity(columns + 2 * pad + 1);
    let (mut total, mut missing) = (0.0_f64, 0_u32);
    running.push(0.0);
    unlit.push(0);
    for k in 0..columns + 2 * pad {
        let c = (k + columns - pad) % columns;
        total += f64::from(sums[c]);
        missing += rows - lit[c];
        running.push(total);
        unlit.push(missing);
    }
    line.fill((0.0, 0.0));
    for width_deg in WIDTHS_DEG {
        let width = ring.columns_of(width_deg).round().max(2.0) as usize;
        let side = (width / 2).max(3);
        let gap = (width / 4).max(1);
        let reach = width / 2 + gap + side;
        for (c, best) in line.iter_mut().enumerate() {
            let middle = pad + c;
            let start = middle - width / 2;
            if unlit[middle + reach + 1] != unlit[middle - reach] {
                continue;
            }
            let mean = |from: usize, count: usize| {
                ((running[from + count] - running[from]) / (count as f64 * f64::from(rows))) as f32
            };
            let core = mean(start, width);
            let left = mean(start - gap - side, side);
            let right = mean(start + width + gap, side);
            let contrast = left.min(right) - core;
            if contrast > best.0 {
                *best = (contrast, width as f64);
            }
        }
    }
}
