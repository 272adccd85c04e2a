//! The dark region around a seed: its outline at half contrast, its shape and its colour.

use super::patch::{Frame, Patch};
use super::ring::Ring;
use super::seeds::Seed;

/// Rows looked at on either side of the seed, limbus radii: more than half the longest mark.
const REACH: f64 = 0.40;
/// Passes of ground, outline and axis: each starts from the width and lean of the one before.
const PASSES: usize = 3;
/// Least contrast, natural log, of anything definite.
const LEAST_CONTRAST: f32 = 0.04;
/// Length over width from which the rows' middles define a lean.
const LEANS: f64 = 1.6;
/// Where a blob's continuation past its ends is looked for, rows.
const PAST: std::ops::RangeInclusive<isize> = 3..=6;

/// A dark region of the ring. Columns are unwrapped.
#[derive(Clone, Debug)]
pub(super) struct Blob {
    /// Cells inside, as row, column, contrast in red (natural log).
    pub cells: Vec<(usize, isize, f32)>,
    /// Cells inside and just around it, for moments.
    pub skirt: Vec<(usize, isize, f32)>,
    /// First and last row.
    pub rows: [usize; 2],
    /// Median width, columns.
    pub width: f64,
    /// Columns per row by which its axis leaves the ray.
    pub slope: f64,
    /// Column of its axis at the middle row.
    pub axis: f64,
    /// Contrast in red whose half is the outline.
    pub contrast: f64,
    /// Mean of ground - mark in natural logarithms of red, green, blue.
    pub absorbance: [f64; 3],
    /// sd of the ground in red beside it, natural log.
    pub ground_sd: f64,
    /// Mean difference of the two sides of the ground in red.
    pub imbalance: f64,
    /// Share of rows whose outline runs into the lateral limit.
    pub leak: f64,
    /// sd of the rows' middles about the axis, columns.
    pub wobble: f64,
    /// sd of the rows' widths over their median.
    pub raggedness: f64,
    /// Share of the rows between the first and the last that are filled.
    pub filled: f64,
    /// Mean contrast just past the inner and the outer end over the mean contrast inside.
    pub past_ends: [f64; 2],
    /// Either end runs into the limit of the search.
    pub open: bool,
}

impl Blob {
    /// Grow a region from `seed`; `None` where nothing definite is there.
    pub fn grow(ring: &Ring, seed: &Seed) -> Option<Self> {
        let reach = (REACH / ring.rho_step) as usize;
        let window = [seed.row.saturating_sub(reach), (seed.row + reach).min(ring.rows - 1)];
        let mut frame = Frame { axis: seed.column as f64, slope: 0.0, middle_row: seed.row as f64, width: seed.width };
        let mut blob = None;
        for _ in 0..PASSES {
            let patch = Patch::of(ring, &frame, window);
            let grown = outline(ring, seed, &frame, &patch)?;
            frame = Frame {
                axis: grown.axis,
                slope: grown.slope,
                middle_row: (grown.rows[0] + grown.rows[1]) as f64 / 2.0,
                width: grown.width.max(2.0),
            };
            blob = Some(grown);
        }
        blob
    }

    /// Whether a place of the ring lies in it.
    pub fn covers(&self, columns: usize, row: usize, column: usize) -> bool {
        self.cells.iter().any(|c| c.0 == row && c.1.rem_euclid(columns as isize) as usize == column)
    }
}

/// A row of a region.
struct Run {
    row: usize,
    count: f64,
    middle: f64,
}

fn outline(ring: &Ring, seed: &Seed, frame: &Frame, patch: &Patch) -> Option<Blob> {
    let line = seed.row - patch.window[0];
    let core = patch.core(line, (frame.width * 0.25).max(1.0) as usize)?;
    if core < LEAST_CONTRAST {
        return None;
    }
    // The seed may be the darkest blot of a mark, or a knot on it: half of what its region has in common counts.
    let first_guess = patch.flood(ring, line, core / 2.0)?;
    let mut contrasts: Vec<f32> =
        first_guess.iter().zip(&patch.smooth).filter(|(inside, _)| **inside).map(|(_, v)| *v).collect();
    contrasts.sort_by(f32::total_cmp);
    let contrast = contrasts[contrasts.len() / 2].min(core);
    let inside = patch.flood(ring, line, contrast / 2.0)?;

    let (mut cells, mut skirt, mut runs, mut touching) = (Vec::new(), Vec::new(), Vec::new(), 0.0);
    for line in 0..patch.lines() {
        let held: Vec<usize> = (0..patch.across).filter(|k| inside[line * patch.across + k]).collect();
        cells.extend(held.iter().map(|k| patch.cell(line, *k)));
        let beside = (0..patch.across).filter(|k| patch.near(&inside, line, *k));
        skirt.extend(beside.map(|k| patch.cell(line, k)).filter(|c| c.2.is_finite()));
        if let (Some(left), Some(right)) = (held.first(), held.last()) {
            let count = held.len() as f64;
            let middle = held.iter().map(|k| *k as f64).sum::<f64>() / count + patch.starts[line] as f64;
            runs.push(Run { row: line + patch.window[0], count, middle });
            touching += f64::from(u8::from(*left == 0 || right + 1 == patch.across));
        }
    }
    let rows = [runs.first()?.row, runs.last()?.row];
    let middle_row = (rows[0] + rows[1]) as f64 / 2.0;
    let total = runs.len() as f64;
    let mut widths: Vec<f64> = runs.iter().map(|r| r.count).collect();
    widths.sort_by(f64::total_cmp);
    let width = widths[widths.len() / 2];
    let raggedness = (widths.iter().map(|w| (w - width).powi(2)).sum::<f64>() / total).sqrt() / width;
    let (axis, slope, wobble) = straight(&runs, middle_row, width);
    let (ground_sd, imbalance) = beside(ring, frame, patch, rows)?;
    let mean_contrast = cells.iter().map(|c| f64::from(c.2)).sum::<f64>() / cells.len() as f64;
    let past = |end: usize, sign: isize| {
        let rows = PAST.map(|step| end as isize + sign * step);
        let column = |row: f64| axis + slope * (row - middle_row);
        mean_along(patch, rows, width, column).map_or(1.0, |v| v / mean_contrast)
    };
    Some(Blob {
        rows,
        width,
        slope,
        axis,
        contrast: f64::from(contrast),
        absorbance: absorbance(ring, frame, &cells),
        ground_sd,
        imbalance,
        leak: touching / total,
        wobble,
        raggedness,
        filled: total / (rows[1] - rows[0] + 1) as f64,
        past_ends: [past(rows[0], -1), past(rows[1], 1)],
        open: rows[0] <= patch.window[0] + 1 || rows[1] + 1 >= patch.window[1],
        cells,
        skirt,
    })
}

/// Axis at the middle row, slope, and sd about it, by least squares of the rows' middles; what is too short for a
/// lean keeps to the ray.
fn straight(runs: &[Run], middle_row: f64, width: f64) -> (f64, f64, f64) {
    let total = runs.len() as f64;
    let mean_row = runs.iter().map(|r| r.row as f64).sum::<f64>() / total;
    let mean_column = runs.iter().map(|r| r.middle).sum::<f64>() / total;
    let spread: f64 = runs.iter().map(|r| (r.row as f64 - mean_row).powi(2)).sum();
    let covary: f64 = runs.iter().map(|r| (r.row as f64 - mean_row) * (r.middle - mean_column)).sum();
    let slope = if total > LEANS * width && spread > 0.0 { covary / spread } else { 0.0 };
    let squares: f64 = runs.iter().map(|r| (r.middle - mean_column - slope * (r.row as f64 - mean_row)).powi(2)).sum();
    (mean_column + slope * (middle_row - mean_row), slope, (squares / total).sqrt())
}

/// Mean of ground - ring in each channel over the cells.
fn absorbance(ring: &Ring, frame: &Frame, cells: &[(usize, isize, f32)]) -> [f64; 3] {
    let mut sums = [0.0_f64; 3];
    let mut counted = 0.0_f64;
    for row_cells in cells.chunk_by(|a, b| a.0 == b.0) {
        let row = row_cells[0].0;
        let grounds = [0, 1, 2].map(|channel| frame.ground(ring, channel, row));
        let [Some(red), Some(green), Some(blue)] = grounds else { continue };
        for (_, column, _) in row_cells {
            let offset = (*column as f64 - frame.column(row)) as f32;
            let at = ring.at(row, *column);
            for ((sum, (level, tilt)), log) in sums.iter_mut().zip([red, green, blue]).zip(&ring.log) {
                *sum += f64::from(level + tilt * offset - log[at]);
            }
        }
        counted += row_cells.len() as f64;
    }
    sums.map(|s| s / counted.max(1.0))
}

/// sd of the ground in red on both sides about the level and tilt of each row, and the mean difference of the sides.
fn beside(ring: &Ring, frame: &Frame, patch: &Patch, rows: [usize; 2]) -> Option<(f64, f64)> {
    let (inner, outer) = frame.flanks();
    let (mut squares, mut n, mut imbalance, mut lines) = (0.0, 0.0, 0.0, 0.0);
    for row in rows[0]..=rows[1] {
        let Some((level, tilt)) = patch.grounds[row - patch.window[0]] else { continue };
        let axis = frame.column(row);
        for (from, to) in [(axis - outer, axis - inner), (axis + inner, axis + outer)] {
            for c in from.ceil() as isize..=to.floor() as isize {
                let residual = ring.log[0][ring.at(row, c)] - level - tilt * (c as f64 - axis) as f32;
                squares += f64::from(residual * residual);
                n += 1.0;
            }
        }
        imbalance += f64::from(tilt) * (inner + outer);
        lines += 1.0;
    }
    (n > 0.0).then(|| ((squares / n).sqrt(), imbalance / lines))
}

/// Mean contrast over some rows within half a width of a line; `None` where nothing is known.
fn mean_along(
    patch: &Patch,
    rows: impl Iterator<Item = isize>,
    width: f64,
    column: impl Fn(f64) -> f64,
) -> Option<f64> {
    let half = (width / 2.0) as isize;
    let (mut sum, mut n) = (0.0, 0.0);
    for row in rows.filter(|r| *r >= patch.window[0] as isize && *r <= patch.window[1] as isize) {
        let line = row as usize - patch.window[0];
        let middle = column(row as f64).round() as isize - patch.starts[line];
        for k in (middle - half).max(0)..=(middle + half).min(patch.across as isize - 1) {
            let v = patch.raw[line * patch.across + k as usize];
            if v.is_finite() {
                sum += f64::from(v);
                n += 1.0;
            }
        }
    }
    (n > 0.0).then(|| sum / n)
}
