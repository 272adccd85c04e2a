//! The contrast of a stretch of the ring against its own ground.

use super::ring::Ring;

/// Rows that an outline may jump, limbus radii: blots of a stroke may come apart.
const JUMP: f64 = 0.015;

/// Where a mark is supposed to lie, in rows and unwrapped columns.
pub(super) struct Frame {
    /// Column of the axis at `middle_row`.
    pub axis: f64,
    /// Columns per row by which the axis leaves the ray.
    pub slope: f64,
    /// The row that `axis` is meant at.
    pub middle_row: f64,
    /// Full width, columns.
    pub width: f64,
}

impl Frame {
    /// Column of the axis at a row.
    pub fn column(&self, row: usize) -> f64 {
        self.axis + self.slope * (row as f64 - self.middle_row)
    }

    /// From where to where the ground is taken on both sides, columns from the axis.
    pub fn flanks(&self) -> (f64, f64) {
        let inner = 0.5 * self.width + (0.35 * self.width).max(2.0);
        (inner, inner + (0.8 * self.width).clamp(4.0, 16.0))
    }

    /// Ground of a channel along a row: value at the axis and change per column, from both sides; `None` where unlit.
    pub fn ground(&self, ring: &Ring, channel: usize, row: usize) -> Option<(f32, f32)> {
        let (inner, outer) = self.flanks();
        let axis = self.column(row);
        let left = mean(ring, channel, row, axis - outer, axis - inner)?;
        let right = mean(ring, channel, row, axis + inner, axis + outer)?;
        Some(((left + right) / 2.0, (right - left) / (inner + outer) as f32))
    }
}

fn mean(ring: &Ring, channel: usize, row: usize, from: f64, to: f64) -> Option<f32> {
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

/// Ground - ring in red (natural log), rows by columns about the frame's axis. Not a number where unknown.
pub(super) struct Patch {
    /// First and last row.
    pub window: [usize; 2],
    /// Columns per line.
    pub across: usize,
    /// First column (unwrapped) of each line.
    pub starts: Vec<isize>,
    /// Ground of each line: value at the axis and change per column.
    pub grounds: Vec<Option<(f32, f32)>>,
    /// Contrast as it is.
    pub raw: Vec<f32>,
    /// Contrast averaged over 3 x 3.
    pub smooth: Vec<f32>,
}

impl Patch {
    /// Contrast within the rows of `window` as far out as the inner side of the flanks.
    pub fn of(ring: &Ring, frame: &Frame, window: [usize; 2]) -> Self {
        let lateral = frame.flanks().0.ceil() as isize + 1;
        let across = (2 * lateral + 1) as usize;
        let rows = window[0]..=window[1];
        let starts: Vec<isize> = rows.clone().map(|r| frame.column(r).round() as isize - lateral).collect();
        let grounds: Vec<_> = rows.clone().map(|r| frame.ground(ring, 0, r)).collect();
        let mut raw = vec![f32::NAN; starts.len() * across];
        for (line, row) in rows.enumerate() {
            let Some((level, tilt)) = grounds[line] else { continue };
            for k in 0..across {
                let column = starts[line] + k as isize;
                let at = ring.at(row, column);
                if ring.lit[at] {
                    let offset = (column as f64 - frame.column(row)) as f32;
                    raw[line * across + k] = level + tilt * offset - ring.log[0][at];
                }
            }
        }
        let smooth = smoothed(&raw, starts.len(), across);
        Self { window, across, starts, grounds, raw, smooth }
    }

    /// Number of lines.
    pub fn lines(&self) -> usize {
        self.starts.len()
    }

    /// Row, unwrapped column and contrast of a cell.
    pub fn cell(&self, line: usize, k: usize) -> (usize, isize, f32) {
        (line + self.window[0], self.starts[line] + k as isize, self.raw[line * self.across + k])
    }

    /// Smoothed contrast about a place near the axis: the upper quartile of a few cells.
    pub fn core(&self, line: usize, half_width: usize) -> Option<f32> {
        let middle = self.across / 2;
        let lines = line.saturating_sub(2)..=(line + 2).min(self.lines() - 1);
        let mut core: Vec<f32> = lines
            .flat_map(|l| (middle - half_width..=middle + half_width).map(move |k| (l, k)))
            .map(|(l, k)| self.smooth[l * self.across + k])
            .filter(|v| v.is_finite())
            .collect();
        core.sort_by(f32::total_cmp);
        core.get(core.len() * 3 / 4).copied()
    }

    /// Cells above `threshold` connected with the middle of `line`, jumping small gaps along the ray.
    pub fn flood(&self, ring: &Ring, line: usize, threshold: f32) -> Option<Vec<bool>> {
        let (lines, across) = (self.lines() as isize, self.across as isize);
        let jump = (JUMP / ring.rho_step).round().max(1.0) as isize;
        let above = |i: usize| self.smooth[i] > threshold && self.raw[i].is_finite();
        let mut inside = vec![false; self.raw.len()];
        // The middle may lie in a gap between two lines: start from the nearest dark cell.
        let row = line * self.across;
        let start = (0..self.across).filter(|k| above(row + k)).min_by_key(|k| k.abs_diff(self.across / 2))?;
        let mut stack = vec![(line as isize, start as isize)];
        inside[row + start] = true;
        while let Some((l, k)) = stack.pop() {
            let sideways = [(l, k - 1), (l, k + 1)];
            let along = (1..=jump).flat_map(|step| [(l - step, k), (l + step, k)]);
            for (l, k) in sideways.into_iter().chain(along) {
                if l < 0 || k < 0 || l >= lines || k >= across {
                    continue;
                }
                let i = (l * across + k) as usize;
                if !inside[i] && above(i) {
                    inside[i] = true;
                    stack.push((l, k));
                }
            }
        }
        Some(inside)
    }

    /// Whether a cell is inside or next to one that is.
    pub fn near(&self, inside: &[bool], line: usize, k: usize) -> bool {
        let lines = line.saturating_sub(1)..=(line + 1).min(self.lines() - 1);
        let across = k.saturating_sub(1)..=(k + 1).min(self.across - 1);
        lines.into_iter().any(|l| across.clone().any(|j| inside[l * self.across + j]))
    }
}

/// Mean over 3 x 3 cells, leaving out what is not a number.
fn smoothed(map: &[f32], lines: usize, across: usize) -> Vec<f32> {
    let mut out = vec![f32::NAN; map.len()];
    for line in 0..lines {
        for k in 0..across {
            let (mut sum, mut n) = (0.0, 0.0);
            for l in line.saturating_sub(1)..=(line + 1).min(lines - 1) {
                for j in k.saturating_sub(1)..=(k + 1).min(across - 1) {
                    let v = map[l * across + j];
                    if v.is_finite() {
                        sum += v;
                        n += 1.0;
                    }
                }
            }
            if n > 0.0 {
                out[line * across + k] = sum / n;
            }
        }
    }
    out
}
