//! The dark region around a seed: its outline at half contrast, its shape and its colour.

use super::ring::Ring;
use super::seeds::Seed;

/// Rows looked at on either side of the seed, limbus radii: more than half the longest mark.
const REACH: f64 = 0.40;
/// Passes of ground, outline and axis: each starts from the width and lean of the one before.
const PASSES: usize = 3;
/// Rows that an outline may jump, limbus radii: blots of a stroke may come apart.
const JUMP: f64 = 0.015;

/// A dark region of the ring. Columns are unwrapped.
#[derive(Clone, Debug)]
pub(super) struct Blob {
    /// Cells inside, as row, unwrapped column, contrast in red (natural log).
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
    /// Median contrast of its cells.
    pub contrast: f64,
}

impl Blob {
    /// Whether a place of the ring lies in it.
    pub fn covers(&self, columns: usize, row: usize, column: usize) -> bool {
        self.cells.iter().any(|c| c.0 == row && c.1.rem_euclid(columns as isize) as usize == column)
    }
}

struct Frame {
    axis: f64,
    slope: f64,
    middle_row: f64,
    width: f64,
}

impl Frame {
    fn column(&self, row: usize) -> f64 {
        self.axis + self.slope * (row as f64 - self.middle_row)
    }
    /// Half of what belongs to the mark, and the flanks beyond: columns from the axis.
    fn limits(&self) -> (f64, f64, f64) {
        let half = 0.5 * self.width;
        let inner = half + (0.35 * self.width).max(2.0);
        let outer = inner + (0.8 * self.width).clamp(4.0, 16.0);
        (half, inner, outer)
    }
}

impl Blob {
    /// Grow a region from `seed`; `None` where nothing definite is there.
    pub fn grow(ring: &Ring, seed: &Seed) -> Option<Self> {
        let reach = (REACH / ring.rho_step) as usize;
        let window = [seed.row.saturating_sub(reach), (seed.row + reach).min(ring.rows - 1)];
        let mut frame = Frame { axis: seed.column as f64, slope: 0.0, middle_row: seed.row as f64, width: seed.width };
        let mut blob = None;
        for _ in 0..PASSES {
            let grown = pass(ring, seed, window, &frame)?;
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
}

/// Mean of a channel over the flank columns of a row; `None` where unlit.
fn flank(ring: &Ring, channel: usize, row: usize, from: f64, to: f64) -> Option<f32> {
    let (first, last) = (from.ceil() as isize, to.floor() as isize);
    let mut sum = 0.0;
    for c in first..=last {
        let at = ring.at(row, c);
        if !ring.lit[at] {
            return None;
        }
        sum += ring.log[channel][at];
    }
    (last >= first).then(|| sum / (last - first + 1) as f32)
}

/// Ground of a channel along a row: value at the axis and change per column.
fn ground(ring: &Ring, channel: usize, row: usize, frame: &Frame) -> Option<(f32, f32)> {
    let (_, inner, outer) = frame.limits();
    let axis = frame.column(row);
    let left = flank(ring, channel, row, axis - outer, axis - inner)?;
    let right = flank(ring, channel, row, axis + inner, axis + outer)?;
    Some(((left + right) / 2.0, (right - left) / (inner + outer) as f32))
}

fn pass(ring: &Ring, seed: &Seed, window: [usize; 2], frame: &Frame) -> Option<Blob> {
    let (half, inner, outer) = frame.limits();
    let lateral = inner.ceil() as isize + 1;
    let across = (2 * lateral + 1) as usize;
    let rows = window[1] - window[0] + 1;
    // Contrast map, one row a line, columns relative to the rounded axis of the row.
    let mut map = vec![f32::NAN; rows * across];
    let mut sides = vec![None; rows];
    let start = |row: usize| frame.column(row).round() as isize - lateral;
    for row in window[0]..=window[1] {
        let line = row - window[0];
        sides[line] = ground(ring, 0, row, frame);
        let Some((level, tilt)) = sides[line] else { continue };
        for k in 0..across {
            let c = start(row) + k as isize;
            let at = ring.at(row, c);
            if ring.lit[at] {
                let offset = (c as f64 - frame.column(row)) as f32;
                map[line * across + k] = level + tilt * offset - ring.log[0][at];
            }
        }
    }
    let smooth = smoothed(&map, rows, across);
    // Contrast at the seed: mean over its core.
    let seed_line = seed.row - window[0];
    let core_half = (half * 0.5).max(1.0) as isize;
    let mut core = Vec::new();
    for line in seed_line.saturating_sub(2)..=(seed_line + 2).min(rows - 1) {
        for k in (lateral - core_half)..=(lateral + core_half) {
            let v = smooth[line * across + k as usize];
            if v.is_finite() {
                core.push(v);
            }
        }
    }
    if core.is_empty() {
        return None;
    }
    core.sort_by(f32::total_cmp);
    let contrast = core[core.len() * 3 / 4];
    if contrast < 0.04 {
        return None;
    }
    let inside = flood(&smooth, &map, rows, across, seed_line, lateral as usize, contrast / 2.0, ring)?;
    // The seed may be the darkest blot of a mark or a knot on it: half of what its region has in common counts.
    let mut contrasts: Vec<f32> = (0..map.len()).filter(|i| inside[*i]).map(|i| smooth[i]).collect();
    contrasts.sort_by(f32::total_cmp);
    let contrast = contrasts[contrasts.len() / 2].min(contrast);
    let inside = flood(&smooth, &map, rows, across, seed_line, lateral as usize, contrast / 2.0, ring)?;
    let mut cells = Vec::new();
    let mut skirt = Vec::new();
    let mut row_stats: Vec<(usize, f64, f64)> = Vec::new();
    let mut touching = 0;
    for line in 0..rows {
        let row = line + window[0];
        let (mut count, mut sum, mut touch) = (0, 0.0, false);
        for k in 0..across {
            let i = line * across + k;
            let c = start(row) + k as isize;
            if inside[i] {
                cells.push((row, c, map[i]));
                count += 1;
                sum += c as f64;
                touch |= k == 0 || k + 1 == across;
            }
            if near(&inside, rows, across, line, k) && map[i].is_finite() {
                skirt.push((row, c, map[i]));
            }
        }
        if count > 0 {
            row_stats.push((row, f64::from(count), sum / f64::from(count)));
            touching += usize::from(touch);
        }
    }
    let (first, last) = (row_stats.first()?.0, row_stats.last()?.0);
    let mut widths: Vec<f64> = row_stats.iter().map(|r| r.1).collect();
    widths.sort_by(f64::total_cmp);
    let width = widths[widths.len() / 2];
    let total = row_stats.len() as f64;
    let raggedness = (widths.iter().map(|w| (w - width).powi(2)).sum::<f64>() / total).sqrt() / width;
    // Axis by least squares of the rows' middles; a blob too short for a lean keeps to the ray.
    let mean_row = row_stats.iter().map(|r| r.0 as f64).sum::<f64>() / total;
    let mean_column = row_stats.iter().map(|r| r.2).sum::<f64>() / total;
    let spread: f64 = row_stats.iter().map(|r| (r.0 as f64 - mean_row).powi(2)).sum();
    let covary: f64 = row_stats.iter().map(|r| (r.0 as f64 - mean_row) * (r.2 - mean_column)).sum();
    let slope = if total > 1.6 * width && spread > 0.0 { covary / spread } else { 0.0 };
    let wobble = (row_stats.iter().map(|r| (r.2 - mean_column - slope * (r.0 as f64 - mean_row)).powi(2)).sum::<f64>()
        / total)
        .sqrt();
    let axis = mean_column + slope * ((first + last) as f64 / 2.0 - mean_row);

    let mut absorbance = [0.0_f64; 3];
    let mut counted = 0.0;
    let (mut current, mut grounds) = (usize::MAX, [None; 3]);
    for (row, c, _) in &cells {
        if *row != current {
            current = *row;
            grounds = std::array::from_fn(|k| ground(ring, k, *row, frame));
        }
        let offset = (*c as f64 - frame.column(*row)) as f32;
        let at = ring.at(*row, *c);
        if let [Some(r), Some(g), Some(b)] = grounds {
            for (k, (level, tilt)) in [r, g, b].into_iter().enumerate() {
                absorbance[k] += f64::from(level + tilt * offset - ring.log[k][at]);
            }
            counted += 1.0;
        }
    }
    for a in &mut absorbance {
        *a /= f64::max(counted, 1.0);
    }

    // The ground beside it.
    let (mut squares, mut n, mut imbalance, mut lines) = (0.0, 0.0, 0.0, 0.0);
    for row in first..=last {
        let Some((level, tilt)) = sides[row - window[0]] else { continue };
        let axis = frame.column(row);
        for (from, to) in [(axis - outer, axis - inner), (axis + inner, axis + outer)] {
            for c in from.ceil() as isize..=to.floor() as isize {
                let value = ring.log[0][ring.at(row, c)];
                let residual = value - level - tilt * (c as f64 - axis) as f32;
                squares += f64::from(residual * residual);
                n += 1.0;
            }
        }
        imbalance += f64::from(tilt) * (inner + outer);
        lines += 1.0;
    }
    if n < 8.0 {
        return None;
    }
    let mean_contrast = cells.iter().map(|c| f64::from(c.2)).sum::<f64>() / cells.len() as f64;
    let past = |rows_past: [isize; 2]| {
        let (mut sum, mut n) = (0.0, 0.0);
        for row in rows_past[0]..=rows_past[1] {
            if row < window[0] as isize || row > window[1] as isize {
                continue;
            }
            let line = row as usize - window[0];
            let reach = (width / 2.0) as isize;
            let shift =
                (axis + slope * (row as f64 - (first + last) as f64 / 2.0)).round() as isize - start(row as usize);
            for k in (shift - reach)..=(shift + reach) {
                if k >= 0 && (k as usize) < across {
                    let v = map[line * across + k as usize];
                    if v.is_finite() {
                        sum += f64::from(v);
                        n += 1.0;
                    }
                }
            }
        }
        if n > 0.0 { sum / n / mean_contrast } else { 1.0 }
    };
    let past_ends = [past([first as isize - 6, first as isize - 3]), past([last as isize + 3, last as isize + 6])];
    Some(Blob {
        filled: total / (last - first + 1) as f64,
        open: first <= window[0] + 1 || last + 1 >= window[1],
        leak: touching as f64 / total,
        cells,
        skirt,
        rows: [first, last],
        width,
        slope,
        axis,
        absorbance,
        ground_sd: (squares / n).sqrt(),
        imbalance: imbalance / f64::max(lines, 1.0),
        wobble,
        raggedness,
        past_ends,
        contrast: f64::from(contrast),
    })
}

/// Mean over 3 x 3 cells, leaving out what is not finite.
fn smoothed(map: &[f32], rows: usize, across: usize) -> Vec<f32> {
    let mut out = vec![f32::NAN; map.len()];
    for r in 0..rows {
        for k in 0..across {
            let (mut sum, mut n) = (0.0, 0.0);
            for line in r.saturating_sub(1)..=(r + 1).min(rows - 1) {
                for j in k.saturating_sub(1)..=(k + 1).min(across - 1) {
                    let v = map[line * across + j];
                    if v.is_finite() {
                        sum += v;
                        n += 1.0;
                    }
                }
            }
            if n > 0.0 {
                out[r * across + k] = sum / n;
            }
        }
    }
    out
}

/// Cells above `threshold` connected with the seed, jumping small gaps along the ray.
fn flood(
    map: &[f32],
    raw: &[f32],
    rows: usize,
    across: usize,
    seed_line: usize,
    seed_column: usize,
    threshold: f32,
    ring: &Ring,
) -> Option<Vec<bool>> {
    let jump = (JUMP / ring.rho_step).round().max(1.0) as isize;
    let above = |i: usize| map[i] > threshold && raw[i].is_finite();
    let mut inside = vec![false; map.len()];
    // The seed's own cell may lie in a gap between two lines: start from the nearest dark cell.
    let start = (0..across).filter(|k| above(seed_line * across + k)).min_by_key(|k| k.abs_diff(seed_column))?;
    let mut stack = vec![(seed_line as isize, start as isize)];
    inside[seed_line * across + start] = true;
    while let Some((r, k)) = stack.pop() {
        let mut visit = |nr: isize, nk: isize| {
            if nr < 0 || nk < 0 || nr >= rows as isize || nk >= across as isize {
                return;
            }
            let i = nr as usize * across + nk as usize;
            if !inside[i] && above(i) {
                inside[i] = true;
                stack.push((nr, nk));
            }
        };
        visit(r, k - 1);
        visit(r, k + 1);
        for step in 1..=jump {
            visit(r - step, k);
            visit(r + step, k);
        }
    }
    Some(inside)
}

/// Inside, or next to a cell inside.
fn near(inside: &[bool], rows: usize, across: usize, line: usize, k: usize) -> bool {
    (line.saturating_sub(1)..=(line + 1).min(rows - 1))
        .any(|r| (k.saturating_sub(1)..=(k + 1).min(across - 1)).any(|j| inside[r * across + j]))
}
