//! The contrast of a stretch of the ring against its own ground.

use super::blob::Blob;
use super::ring::Ring;

/// Rows that an outline may jump, limbus radii: blots of a stroke may come apart.
const JUMP: f64 = 0.015;
/// Dark bars across a mark up to this wide, limbus radii, are taken out of its ground: a crossed mark, a lash.
const BRIDGED: f64 = 0.06;
/// Depth below the closed ground from which it is a bar, in terms of the usual one, and the least that is usual (natural log).
const BAR: f32 = 5.0;
const LEAST_USUAL: f32 = 0.002;

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
    /// Along the axis of a region; what is thinner than two cells is smeared over as many.
    pub fn along(blob: &Blob) -> Self {
        Self { axis: blob.axis, slope: blob.slope, middle_row: blob.middle_row(), width: blob.width.max(2.0) }
    }

    /// Column of the axis at a row.
    pub fn column(&self, row: usize) -> f64 {
        self.axis + self.slope * (row as f64 - self.middle_row)
    }

    /// From where to where the ground is taken on both sides, columns from the axis.
    pub fn flanks(&self) -> (f64, f64) {
        let inner = 0.5 * self.width + (0.35 * self.width).max(2.0);
        (inner, inner + (0.8 * self.width).clamp(4.0, 16.0))
    }

    /// Ground of a channel over the rows of `window`: value at the axis and change per column, from both sides;
    /// `None` where unlit. Dark bars across the mark narrower than [`BRIDGED`] are not ground.
    pub fn grounds(&self, ring: &Ring, channel: usize, window: [usize; 2]) -> Vec<Option<(f32, f32)>> {
        self.between_sides(ring, channel, window, closed)
    }

    /// As [`Frame::grounds`] of red, but as it is wherever no dark bar crosses: to close a line picks its noise out, and the same
    /// for many rows, which moves what is measured against it.
    pub fn plain_grounds(&self, ring: &Ring, window: [usize; 2]) -> Vec<Option<(f32, f32)>> {
        self.between_sides(ring, 0, window, bridged)
    }

    /// Ground between both sides, each being its means row by row as `mended` leaves them: the second argument is half the
    /// width of what is to be bridged, rows.
    fn between_sides(
        &self,
        ring: &Ring,
        channel: usize,
        window: [usize; 2],
        mended: impl Fn(&[f32], usize) -> Vec<f32>,
    ) -> Vec<Option<(f32, f32)>> {
        let (inner, outer) = self.flanks();
        let half = ((BRIDGED / ring.rho_step / 2.0).round() as usize).max(1);
        let side = |from: f64, to: f64| {
            let means: Vec<f32> = (window[0]..=window[1])
                .map(|row| mean(ring, channel, row, self.column(row) + from, self.column(row) + to))
                .collect();
            mended(&means, half)
        };
        let (left, right) = (side(-outer, -inner), side(inner, outer));
        let span = (inner + outer) as f32;
        left.iter()
            .zip(&right)
            .map(|(l, r)| (l.is_finite() && r.is_finite()).then_some(((l + r) / 2.0, (r - l) / span)))
            .collect()
    }
}

/// Mean of a channel from one column to another; not a number where any of it is unlit.
fn mean(ring: &Ring, channel: usize, row: usize, from: f64, to: f64) -> f32 {
    let (first, last) = (from.ceil() as isize, to.floor() as isize);
    let (mut sum, mut dark) = (0.0, false);
    for c in first..=last {
        let at = ring.at(row, c);
        dark |= !ring.lit[at];
        sum += ring.log[channel][at];
    }
    if dark || last < first { f32::NAN } else { sum / (last - first + 1) as f32 }
}

/// Morphological closing along a line: valleys narrower than `2 half + 1` are filled, edges stay where they are.
fn closed(line: &[f32], half: usize) -> Vec<f32> {
    let widest = extreme(line, half, f32::max);
    let filled = extreme(&widest, half, f32::min);
    line.iter().zip(filled).map(|(own, filled)| if own.is_finite() { filled } else { f32::NAN }).collect()
}

/// What `choose` leaves of the neighbours of each value up to `half` off; it leaves the number where the other is none.
fn extreme(line: &[f32], half: usize, choose: impl Fn(f32, f32) -> f32) -> Vec<f32> {
    (0..line.len())
        .map(|i| {
            let near = &line[i.saturating_sub(half)..(i + half + 1).min(line.len())];
            near.iter().fold(f32::NAN, |best, value| choose(best, *value))
        })
        .collect()
}

/// A line as it is, but closed where a dark bar crosses it.
fn bridged(line: &[f32], half: usize) -> Vec<f32> {
    let gaps: Vec<f32> = closed(line, half).iter().zip(line).map(|(c, m)| c - m).collect();
    let mut sorted: Vec<f32> = gaps.iter().copied().filter(|g| g.is_finite()).collect();
    sorted.sort_by(f32::total_cmp);
    // What closing adds to noise alone; a bar is far darker.
    let usual = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    let least = BAR * usual.max(LEAST_USUAL);
    line.iter().zip(&gaps).map(|(m, gap)| if *gap > least { m + gap - usual } else { *m }).collect()
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
        let grounds = frame.grounds(ring, 0, window);
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

    /// Smoothed contrast about a place: the upper quartile of a few cells.
    pub fn core(&self, place: (usize, isize), half_width: usize) -> Option<f32> {
        let line = place.0.checked_sub(self.window[0]).filter(|l| *l < self.lines())?;
        let lines = line.saturating_sub(2)..=(line + 2).min(self.lines() - 1);
        let mut core: Vec<f32> = Vec::new();
        for l in lines {
            let middle = place.1 - self.starts[l];
            let cells =
                (middle - half_width as isize).max(0)..=(middle + half_width as isize).min(self.across as isize - 1);
            core.extend(cells.map(|k| self.smooth[l * self.across + k as usize]).filter(|v| v.is_finite()));
        }
        core.sort_by(f32::total_cmp);
        core.get(core.len() * 3 / 4).copied()
    }

    /// Cells above `threshold` connected with any of the places, jumping small gaps along the ray.
    pub fn flood(&self, ring: &Ring, places: &[(usize, isize)], threshold: f32) -> Vec<bool> {
        let (lines, across) = (self.lines() as isize, self.across as isize);
        let jump = (JUMP / ring.rho_step).round().max(1.0) as isize;
        let above = |i: usize| self.smooth[i] > threshold && self.raw[i].is_finite();
        let mut inside = vec![false; self.raw.len()];
        let mut stack = Vec::new();
        for place in places {
            let Some(line) = place.0.checked_sub(self.window[0]).filter(|l| *l < self.lines()) else { continue };
            // The place may lie in a gap between two lines: start from the nearest dark cell.
            let middle = place.1 - self.starts[line];
            let dark = (0..self.across).filter(|k| above(line * self.across + k));
            if let Some(k) = dark.min_by_key(|k| middle.abs_diff(*k as isize)) {
                inside[line * self.across + k] = true;
                stack.push((line as isize, k as isize));
            }
        }
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
        inside
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
