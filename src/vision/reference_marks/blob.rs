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
/// How far from the axis the middle of a row may lie to count for it, widths.
const ASIDE: f64 = 0.35;
/// Where a blob's continuation past its ends is looked for, rows.
const PAST: std::ops::RangeInclusive<isize> = 3..=6;

/// Room that a region must leave to the outer edge of the ring, limbus radii: iris hooks go on there, and their contrast
/// may sink for a few rows.
const LEAST_CLEARANCE: f64 = 0.05;

/// A dark region of the ring. Columns are unwrapped.
#[derive(Clone, Debug)]
pub(super) struct Blob {
    /// Where it was grown from: row and column.
    pub places: Vec<(usize, isize)>,
    /// Cells inside, as row, column, contrast in red (natural log).
    pub cells: Vec<(usize, isize, f32)>,
    /// Cells inside and just around it, near its axis, for moments.
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
    /// sd of the rows' middles about the axis, columns.
    pub wobble: f64,
    /// Mean contrast just past the inner and the outer end over the mean contrast inside.
    pub past_ends: [f64; 2],
    /// Either end runs into the limit of the search, or nearly so.
    pub open: bool,
}

impl Blob {
    /// Grow a region from `seed`; `None` where nothing definite is there.
    pub fn grow(ring: &Ring, seed: &Seed) -> Option<Self> {
        let place = (seed.row, seed.column as isize);
        let frame = Frame { axis: seed.column as f64, slope: 0.0, middle_row: seed.row as f64, width: seed.width };
        Self::grow_from(ring, &[place], frame)
    }

    /// Several regions as one, on the ground beside all: the blots of a stroke, or the lines of a double one. They may lie on both
    /// sides of where the ring begins.
    pub fn united(ring: &Ring, parts: &[&Self]) -> Option<Self> {
        let start = parts.first()?.axis;
        let turned = |b: &Self| ring.turn_towards(b.axis, start);
        let places: Vec<(usize, isize)> =
            parts.iter().flat_map(|b| b.places.iter().map(|(row, column)| (*row, column + turned(b)))).collect();
        let first = parts.iter().map(|b| b.rows[0]).min()?;
        let last = parts.iter().map(|b| b.rows[1]).max()?;
        let middle_row = (first + last) as f64 / 2.0;
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for part in parts {
            let reach = part.length() / 2.0;
            let axis = part.axis + turned(part) as f64;
            let column = axis + part.slope * (middle_row - part.middle_row()).clamp(-reach, reach);
            left = left.min(column - part.width / 2.0);
            right = right.max(column + part.width / 2.0);
        }
        let frame = Frame { axis: (left + right) / 2.0, slope: 0.0, middle_row, width: right - left };
        Self::grow_from(ring, &places, frame)
    }

    fn grow_from(ring: &Ring, places: &[(usize, isize)], mut frame: Frame) -> Option<Self> {
        let reach = (REACH / ring.rho_step) as usize;
        let middle = frame.middle_row as usize;
        let window = [middle.saturating_sub(reach), (middle + reach).min(ring.rows - 1)];
        let mut blob = None;
        for _ in 0..PASSES {
            let patch = Patch::of(ring, &frame, window);
            let grown = outline(ring, places, &frame, &patch)?;
            let next = Frame {
                axis: grown.axis,
                slope: grown.slope,
                middle_row: grown.middle_row(),
                width: grown.width.max(2.0),
            };
            // The colour is taken from the ground that the outline was drawn on.
            blob = Some((grown, std::mem::replace(&mut frame, next)));
        }
        let (mut blob, ground) = blob?;
        blob.absorbance = absorbance(ring, &ground, &blob.cells, blob.rows);
        Some(blob)
    }

    /// Middle between the first and the last row.
    pub fn middle_row(&self) -> f64 {
        (self.rows[0] + self.rows[1]) as f64 / 2.0
    }

    /// Number of rows.
    pub fn length(&self) -> f64 {
        (self.rows[1] - self.rows[0] + 1) as f64
    }

    /// sd of the mean contrasts of its rows, over their mean.
    pub fn unevenness(&self) -> f64 {
        let mut rows = vec![(0.0, 0.0); self.rows[1] - self.rows[0] + 1];
        for (row, _, contrast) in &self.cells {
            if let Some((sum, count)) = row.checked_sub(self.rows[0]).and_then(|r| rows.get_mut(r)) {
                *sum += f64::from(*contrast);
                *count += 1.0;
            }
        }
        let means: Vec<f64> = rows.iter().filter(|r| r.1 > 0.0).map(|(sum, count)| sum / count).collect();
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        let squares: f64 = means.iter().map(|m| (m - mean).powi(2)).sum();
        (squares / means.len() as f64).sqrt() / mean
    }

    /// Whether a place of the ring lies in it.
    pub fn covers(&self, columns: usize, row: usize, column: usize) -> bool {
        self.cells.iter().any(|c| c.0 == row && c.1.rem_euclid(columns as isize) as usize == column)
    }
}

/// A row of a region.
#[derive(Clone, Copy)]
struct Run {
    row: usize,
    span: f64,
    middle: f64,
}

fn outline(ring: &Ring, places: &[(usize, isize)], frame: &Frame, patch: &Patch) -> Option<Blob> {
    let core_width = (frame.width * 0.25).max(1.0) as usize;
    let core = places.iter().filter_map(|p| patch.core(*p, core_width)).fold(f32::INFINITY, f32::min);
    if !(LEAST_CONTRAST..f32::INFINITY).contains(&core) {
        return None;
    }
    // The seed may be the darkest blot of a mark, or a knot on it: half of what its region has in common counts.
    let first_guess = patch.flood(ring, places, core / 2.0);
    let mut contrasts: Vec<f32> =
        first_guess.iter().zip(&patch.smooth).filter(|(inside, _)| **inside).map(|(_, v)| *v).collect();
    contrasts.sort_by(f32::total_cmp);
    let contrast = contrasts.get(contrasts.len() / 2)?.min(core);
    let inside = patch.flood(ring, places, contrast / 2.0);

    let (mut cells, mut skirt, mut runs) = (Vec::new(), Vec::new(), Vec::new());
    let first = inside.iter().position(|held| *held)? / patch.across;
    let last = inside.iter().rposition(|held| *held)? / patch.across;
    for line in first.saturating_sub(1)..=(last + 1).min(patch.lines() - 1) {
        let held: Vec<usize> = (0..patch.across).filter(|k| inside[line * patch.across + k]).collect();
        cells.extend(held.iter().map(|k| patch.cell(line, *k)));
        let near = (0..patch.across).filter(|k| patch.near(&inside, line, *k));
        skirt.extend(near.map(|k| patch.cell(line, k)).filter(|c| c.2.is_finite()));
        if let (Some(left), Some(right)) = (held.first(), held.last()) {
            let middle = held.iter().map(|k| *k as f64).sum::<f64>() / held.len() as f64 + patch.starts[line] as f64;
            runs.push(Run { row: line + patch.window[0], span: (right - left + 1) as f64, middle });
        }
    }
    let rows = [runs.first()?.row, runs.last()?.row];
    let middle_row = (rows[0] + rows[1]) as f64 / 2.0;
    let mut widths: Vec<f64> = runs.iter().map(|r| r.span).collect();
    widths.sort_by(f64::total_cmp);
    let width = widths[widths.len() / 2];
    let (axis, slope, wobble) = straight(&runs, middle_row, width);
    // Vessels that touch a mark, and bars across it, say nothing of where it lies.
    let aside = |row: usize, column: f64| (column - axis - slope * (row as f64 - middle_row)).abs();
    let clean: Vec<Run> = runs.iter().filter(|r| aside(r.row, r.middle) < ASIDE * width + 0.5).copied().collect();
    let (axis, slope, _) = if clean.is_empty() { (axis, slope, wobble) } else { straight(&clean, middle_row, width) };
    let aside = |row: usize, column: f64| (column - axis - slope * (row as f64 - middle_row)).abs();
    skirt.retain(|(row, column, _)| aside(*row, *column as f64) < 0.75 * width + 1.5);
    let (ground_sd, imbalance) = beside(ring, frame, patch, rows)?;
    let mean_contrast = cells.iter().map(|c| f64::from(c.2)).sum::<f64>() / cells.len() as f64;
    let past = |end: usize, sign: isize| {
        let rows = PAST.map(|step| end as isize + sign * step);
        let column = |row: f64| axis + slope * (row - middle_row);
        mean_along(patch, rows, width, column).map_or(1.0, |v| v / mean_contrast)
    };
    Some(Blob {
        places: places.to_vec(),
        rows,
        width,
        slope,
        axis,
        contrast: f64::from(contrast),
        absorbance: [0.0; 3],
        ground_sd,
        imbalance,
        wobble,
        past_ends: [past(rows[0], -1), past(rows[1], 1)],
        open: rows[0] <= patch.window[0] + 1
            || rows[1] + 1 >= patch.window[1]
            || ring.rho(rows[1] as f64) > ring.rho((ring.rows - 1) as f64) - LEAST_CLEARANCE,
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
fn absorbance(ring: &Ring, frame: &Frame, cells: &[(usize, isize, f32)], rows: [usize; 2]) -> [f64; 3] {
    let grounds = [0, 1, 2].map(|channel| frame.grounds(ring, channel, rows));
    let mut sums = [0.0_f64; 3];
    let mut counted = 0.0_f64;
    for (row, column, _) in cells {
        let here = grounds.each_ref().map(|g| g[row - rows[0]]);
        let [Some(red), Some(green), Some(blue)] = here else { continue };
        let offset = (*column as f64 - frame.column(*row)) as f32;
        let at = ring.at(*row, *column);
        for ((sum, (level, tilt)), log) in sums.iter_mut().zip([red, green, blue]).zip(&ring.log) {
            *sum += f64::from(level + tilt * offset - log[at]);
        }
        counted += 1.0;
    }
    sums.map(|s| s / counted.max(1.0))
}

/// sd of the ground in red on both sides about the level and tilt of each row, and the mean difference of the sides.
fn beside(ring: &Ring, frame: &Frame, patch: &Patch, rows: [usize; 2]) -> Option<(f64, f64)> {
    let (inner, outer) = frame.flanks();
    let (mut variances, mut imbalance) = (Vec::new(), 0.0);
    for row in rows[0]..=rows[1] {
        let Some((level, tilt)) = patch.grounds[row - patch.window[0]] else { continue };
        let axis = frame.column(row);
        let (mut squares, mut n) = (0.0, 0.0);
        for (from, to) in [(axis - outer, axis - inner), (axis + inner, axis + outer)] {
            for c in from.ceil() as isize..=to.floor() as isize {
                let residual = ring.log[0][ring.at(row, c)] - level - tilt * (c as f64 - axis) as f32;
                squares += f64::from(residual * residual);
                n += 1.0;
            }
        }
        variances.push(squares / n);
        imbalance += f64::from(tilt) * (inner + outer);
    }
    let lines = variances.len();
    // Something that crosses the mark in a quarter of its rows is not the texture of its ground.
    variances.sort_by(f64::total_cmp);
    variances.truncate((lines * 3).div_ceil(4));
    let variance = variances.iter().sum::<f64>() / variances.len() as f64;
    (lines > 0).then(|| (variance.sqrt(), imbalance / lines as f64))
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
