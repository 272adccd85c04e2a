//! Where the axis of an elongated mark lies, to a fraction of a cell of the ring.
//!
//! The outline of a region ends at whole cells, and a radial mark lies along the columns, so that what the last cell misses is
//! the same in every row and does not average out. Instead the contrast is weighed by a window that falls off smoothly on
//! both sides of the axis, and the axis is moved and turned until the first moments about it vanish. For a line that is
//! Gaussian across, a window of its own form is the matched filter, and reaches the least variance there can be; the one
//! used stays within 1.1 of it (standard deviation) for lines and strokes of up to ten cells (computed for blurred bars). A double
//! line has its ink where that window falls off steepest, and moving it hardly changes the moment: there it is level over the mark.
//!
//! Source: the adaptively weighted centroid of astronomy (Bernstein & Jarvis 2002, Astron J 123:583-618, 3.1; from memory).

use super::blob::Blob;
use super::patch::Frame;
use super::ring::Ring;

/// Least reach of the window beyond half the width, cells: a line thinner than a cell is smeared over more.
const LEAST_SKIRT: f64 = 1.5;
/// Reach of the window, widths: half of it is the mark, the rest its soft edge.
const REACH: f64 = 1.0;
/// How far past the ends of the outline rows are counted, widths.
const ENDS: f64 = 0.3;
/// Contrast beyond this many times that of the region counts no more: a knot of ink, a vessel across.
const KNOT: f64 = 1.5;
/// Least and most that a row counts by its ink, against the usual: noise makes both uncertain.
const ROWS: (f64, f64) = (0.5, 2.0);
/// Variance under the level window over that under the other, below which a mark is hollow.
const HOLLOW: f64 = 0.4;
/// Steps; each is nearly exact.
const STEPS: usize = 4;
/// Farthest that the axis is moved, widths, before it is taken for another thing.
const FARTHEST: f64 = 0.35;

/// The axis of a region.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    /// Unwrapped column at the blob's middle row.
    pub column: f64,
    /// Columns per row.
    pub slope: f64,
    /// Row of the centroid of the ink: there the axis does not depend on its slope.
    pub row: f64,
}

impl Axis {
    fn at(&self, row: usize, middle_row: f64) -> f64 {
        self.column + self.slope * (row as f64 - middle_row)
    }
}

/// What falls off on both sides of the axis: 1 as far as `level`, 0 from `reach` on, cells.
#[derive(Clone, Copy)]
struct Window {
    level: f64,
    reach: f64,
}

impl Window {
    /// The weight at a distance from the axis, and how fast the weighted distance grows there.
    fn at(&self, distance: f64) -> (f64, f64) {
        let fall = self.reach - self.level;
        let (weight, slope) = falling((distance.abs() - self.level).max(0.0) / fall);
        (weight, weight + distance.abs() / fall * slope)
    }
}

/// A row of the ring under the window.
struct Row {
    row: f64,
    /// First moment about the axis.
    moment: f64,
    /// How fast that changes as the axis is moved.
    gain: f64,
    /// Its variance by noise of variance 1 a cell.
    variance: f64,
    /// All contrast.
    ink: f64,
}

/// The stretch of the ring that holds a region.
struct Strip<'a> {
    ring: &'a Ring,
    frame: Frame,
    /// The row that the column of an axis is meant at.
    middle_row: f64,
    /// Half the length of the region, rows.
    half: f64,
    /// The first row looked at, and the grounds from there on.
    first: usize,
    grounds: Vec<Option<(f32, f32)>>,
    /// What a contrast counts at most.
    most: f32,
}

impl<'a> Strip<'a> {
    fn about(ring: &'a Ring, blob: &Blob) -> Self {
        let frame = Frame::along(blob);
        // The soft ends hold ink as well, and a bent mark's ends are farthest from its axis.
        let beyond = ((ENDS * blob.width).round() as usize).max(1);
        let window = [blob.rows[0].saturating_sub(beyond), (blob.rows[1] + beyond).min(ring.rows - 1)];
        let grounds = frame.plain_grounds(ring, window);
        let most = (KNOT * blob.contrast) as f32;
        Self { ring, frame, middle_row: blob.middle_row(), half: blob.length() / 2.0, first: window[0], grounds, most }
    }

    /// The rows under a window about an axis.
    fn rows(&self, window: &Window, axis: &Axis) -> Vec<Row> {
        let lit = self.grounds.iter().zip(self.first..).filter_map(|(ground, row)| Some(((*ground)?, row)));
        lit.map(|(ground, row)| self.row(window, ground, row, axis.at(row, self.middle_row))).collect()
    }

    /// The axis about which the first moments vanish; `None` where that is not near `start`.
    ///
    /// - `most_moved`: farthest that an end may be moved, columns
    fn settled(&self, window: &Window, start: Axis, most_moved: f64) -> Option<Axis> {
        let mut axis = start;
        for _ in 0..STEPS {
            let rows = self.rows(window, &axis);
            let ink: f64 = rows.iter().map(|r| r.ink).sum();
            let all: f64 = rows.iter().map(|r| r.gain).sum();
            let (mut first, mut gain) = ([0.0; 2], [0.0; 3]);
            for r in &rows {
                // The centroid is that of the ink: a row counts by what it holds of it.
                let share = (r.ink / r.gain * all / ink).clamp(ROWS.0, ROWS.1);
                let share = if share.is_finite() { share } else { 1.0 };
                let t = r.row - self.middle_row;
                first[0] += share * r.moment;
                first[1] += share * r.moment * t;
                gain[0] += share * r.gain;
                gain[1] += share * r.gain * t;
                gain[2] += share * r.gain * t * t;
            }
            axis.row = self.middle_row + gain[1] / gain[0];
            let determinant = gain[0] * gain[2] - gain[1] * gain[1];
            if gain[0] <= 0.0 || determinant <= 0.0 {
                return None;
            }
            axis.column += (first[0] * gain[2] - first[1] * gain[1]) / determinant;
            axis.slope += (first[1] * gain[0] - first[0] * gain[1]) / determinant;
            let moved = |t: f64| axis.column - start.column + (axis.slope - start.slope) * t;
            if moved(-self.half).abs().max(moved(self.half).abs()) > most_moved {
                return None;
            }
        }
        Some(axis)
    }

    /// The axis between the two lines of a hollow mark, each by itself, so that it does not matter which of them is darker;
    /// `None` where there are not two.
    fn between_lines(&self, whole: Axis, width: f64) -> Option<Axis> {
        let ink_at = |offset: isize| {
            let line = Window { level: 0.5, reach: 1.0 };
            let axis = Axis { column: whole.column + offset as f64, ..whole };
            self.rows(&line, &axis).iter().map(|r| r.ink).sum::<f64>()
        };
        let reach = (0.5 * width).ceil() as isize;
        let line = |side: isize| {
            let offset = (1..=reach).map(|k| side * k).max_by(|a, b| ink_at(*a).total_cmp(&ink_at(*b)))?;
            let apart = offset.abs() as f64;
            let start = Axis { column: whole.column + offset as f64, ..whole };
            self.settled(&Window { level: 0.0, reach: apart }, start, FARTHEST * apart + 0.5)
        };
        let (left, right) = (line(-1)?, line(1)?);
        Some(Axis { column: (left.column + right.column) / 2.0, slope: (left.slope + right.slope) / 2.0, ..whole })
    }

    fn row(&self, window: &Window, (level, tilt): (f32, f32), row: usize, axis: f64) -> Row {
        let mut sums = Row { row: row as f64, moment: 0.0, gain: 0.0, variance: 0.0, ink: 0.0 };
        let reach = window.reach;
        for column in (axis - reach).ceil() as isize..=(axis + reach).floor() as isize {
            let at = self.ring.at(row, column);
            if !self.ring.lit[at] {
                continue;
            }
            let offset = (column as f64 - self.frame.column(row)) as f32;
            let contrast = (level + tilt * offset - self.ring.log[0][at]).min(self.most);
            // Cells farther out are larger.
            let c = f64::from(contrast) * self.ring.rho(row as f64);
            let d = column as f64 - axis;
            let (weight, growth) = window.at(d);
            sums.moment += weight * d * c;
            sums.gain += growth * c;
            sums.variance += (weight * d).powi(2);
            sums.ink += c;
        }
        sums
    }
}

/// Variance of a shift by noise of variance 1 a cell; infinite where the moment does not tell it.
fn shift_variance(rows: &[Row]) -> f64 {
    let gain: f64 = rows.iter().map(|r| r.gain).sum();
    let variance: f64 = rows.iter().map(|r| r.variance).sum();
    if gain > 0.0 { variance / (gain * gain) } else { f64::INFINITY }
}

/// Fit the axis of `blob`, beginning from its own; that where the fit runs away.
pub(super) fn fit(ring: &Ring, blob: &Blob) -> Axis {
    let own = Axis { column: blob.axis, slope: blob.slope, row: blob.middle_row() };
    let strip = Strip::about(ring, blob);
    let reach = (0.5 * blob.width + LEAST_SKIRT).max(REACH * blob.width);
    let peaked = Window { level: 0.0, reach };
    let level = Window { level: 0.5 * blob.width, reach };
    let most_moved = FARTHEST * blob.width + 0.5;
    let variance = |window: &Window| shift_variance(&strip.rows(window, &own));
    if variance(&level) >= HOLLOW * variance(&peaked) {
        return strip.settled(&peaked, own, most_moved).unwrap_or(own);
    }
    let whole = strip.settled(&level, own, most_moved).unwrap_or(own);
    strip.between_lines(whole, blob.width).unwrap_or(whole)
}

/// A window and its slope at a place in units of its reach: 1 in the middle, 0 from 1 on.
fn falling(u: f64) -> (f64, f64) {
    let t = u.abs().min(1.0);
    (1.0 - t * t * (3.0 - 2.0 * t), -6.0 * t * (1.0 - t) * u.signum())
}

#[cfg(test)]
mod tests {
    use crate::geometry::{Ellipse, PixelPoint, Vector};
    use crate::vision::Picture;
    use crate::vision::reference_marks::find_reference_marks;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

    const RADIUS: f64 = 200.0;
    /// Rows of the line, px.
    const LENGTH: f64 = 60.0;
    const DEPTH: f64 = 40.0;
    const SD: f64 = 2.5;

    /// Error across the ray of a line, Gaussian across, at `degrees` on a plain ground with noise alike in all channels, px.
    fn error(degrees: f64, noise: f64, seed: u64) -> f64 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let limbus = Ellipse::circle(PixelPoint::new(-100.3, 120.4), RADIUS).unwrap();
        let (sin, cos) = degrees.to_radians().sin_cos();
        let (outward, across) = (Vector::new(cos, -sin), Vector::new(sin, cos));
        let middle = limbus.center() + outward * (1.02 * RADIUS);
        let picture = Picture::from_fn(200, 240, |x, y| {
            let arm = PixelPoint::new(f64::from(x), f64::from(y)) - middle;
            let end = (LENGTH / 2.0 - arm.dot(&outward).abs() + 0.5).clamp(0.0, 1.0);
            let line = DEPTH * end * (-(arm.dot(&across) / SD).powi(2) / 2.0).exp();
            let grain: f64 = random.sample(StandardNormal);
            image::Rgb([((150.0 - line + noise * grain).round().clamp(0.0, 255.0) * 257.0) as u16; 3])
        });
        let findings = find_reference_marks(&picture, &limbus);
        let off = findings.iter().map(|f| f.centroid - middle);
        off.min_by(|a, b| a.norm().total_cmp(&b.norm())).expect("the line is found").dot(&across)
    }

    /// Without noise the place is right to a fiftieth of a pixel wherever the line lies between the columns of the ring.
    #[test]
    fn a_line_between_columns_is_not_drawn_to_them() {
        for step in 0..16 {
            let off = error(-3.0 + 0.41 * f64::from(step), 0.0, 0);
            assert!(off.abs() < 0.02, "{step}: {off} px");
        }
    }

    /// With noise 6 the error is at most 1.3 of the bound: 0.251935 px a row (the information of a Gaussian line of depth 40 and sd
    /// 2.5 px, recomputed with NumPy), over 60 rows.
    #[test]
    fn the_error_is_near_the_bound() {
        const LINES: u32 = 80;
        let squares: f64 = (0..LINES).map(|k| error(-3.0 + 0.083 * f64::from(k), 6.0, u64::from(k)).powi(2)).sum();
        let ratio = (squares / f64::from(LINES)).sqrt() / (0.251935 / LENGTH.sqrt());
        assert!(ratio < 1.3, "{ratio} of the bound");
    }
}
