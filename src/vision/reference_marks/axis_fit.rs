//! Where the axis of an elongated mark lies, to a fraction of a cell of the ring.
//!
//! The outline of a region ends at whole cells, and a radial mark lies along the columns, so that what the last cell misses is
//! the same in every row and does not average out. Instead the contrast is weighed by a window that falls off smoothly on
//! both sides of the axis, and the axis is moved and turned until the first moments about it vanish. For a line that is
//! Gaussian across, a window of its own form is the matched filter, and reaches the least variance there can be; the one
//! used stays within 1.1 of it (standard deviation) for lines and strokes of up to ten cells (computed for blurred bars). A double
//! line has its ink where that window falls off steepest, and moving it hardly changes the moment: each of its lines is fitted by
//! itself.
//!
//! Source: the adaptively weighted centroid of astronomy (Bernstein & Jarvis 2002, Astron J 123:583-618, 3.1; from memory).

use super::blob::Blob;
use super::line_sums::LineSums;
use super::patch::Frame;
use super::ring::Ring;

/// Least reach of the window beyond half the width, cells: a line thinner than a cell is smeared over more.
pub(super) const LEAST_SKIRT: f64 = 1.5;
/// Reach of the window, widths: half of it is the mark, the rest its soft edge.
const REACH: f64 = 1.0;
/// How far past the ends of the outline rows are counted, widths.
const ENDS: f64 = 0.3;
/// Contrast beyond this many times that of the region counts no more: a knot of ink, a vessel across.
pub(super) const KNOT: f64 = 1.5;
/// Least and most that a row counts by its ink, against the usual: noise makes both uncertain.
const ROWS: (f64, f64) = (0.5, 2.0);
/// Most ink between two lines over that in the fainter of them, and least in that over that in the other.
const VALLEY: f64 = 0.8;
const ALIKE: f64 = 0.4;
/// Least distance of two lines as fitted over that of where they are darkest: less, and both windows found one of them.
const STILL_APART: f64 = 0.5;
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

/// A row of the ring under the window.
struct Row {
    row: f64,
    /// First moment about the axis.
    moment: f64,
    /// How fast that changes as the axis is moved.
    gain: f64,
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
    fn rows(&self, reach: f64, axis: &Axis) -> Vec<Row> {
        let lit = self.grounds.iter().zip(self.first..).filter_map(|(ground, row)| Some(((*ground)?, row)));
        lit.map(|(ground, row)| self.row(reach, ground, row, axis.at(row, self.middle_row))).collect()
    }

    /// The axis about which the first moments vanish; `None` where that is not near `start`.
    ///
    /// - `reach`: of the window, columns
    /// - `most_moved`: farthest that an end may be moved, columns
    fn settled(&self, reach: f64, start: Axis, most_moved: f64) -> Option<Axis> {
        let mut axis = start;
        for _ in 0..STEPS {
            let rows = self.rows(reach, &axis);
            let ink: f64 = rows.iter().map(|r| r.ink).sum();
            let gain: f64 = rows.iter().map(|r| r.gain).sum();
            let mut sums = LineSums::default();
            for r in &rows {
                // The centroid is that of the ink: a row counts by what it holds of it.
                let share = (r.ink / r.gain * gain / ink).clamp(ROWS.0, ROWS.1);
                let share = if share.is_finite() { share } else { 1.0 };
                sums.add(r.row - self.middle_row, share * r.gain, share * r.moment);
            }
            let (aside, slope) = sums.line()?;
            axis.row = self.middle_row + sums.middle();
            axis.column += aside;
            axis.slope += slope;
            let moved = |t: f64| axis.column - start.column + (axis.slope - start.slope) * t;
            if moved(-self.half).abs().max(moved(self.half).abs()) > most_moved {
                return None;
            }
        }
        Some(axis)
    }

    /// The axis between the lines of a double mark, each found by itself, so that it does not matter which of them is darker;
    /// `None` where there are not two.
    fn between_lines(&self, whole: Axis, width: f64) -> Option<Axis> {
        let beside = |offset: isize| Axis { column: whole.column + offset as f64, ..whole };
        let half = (0.5 * width).ceil() as isize;
        let across: Vec<f64> =
            (-half..=half).map(|offset| self.rows(1.0, &beside(offset)).iter().map(|r| r.ink).sum()).collect();
        let (left, right) = across.split_at(half as usize);
        let darkest = |side: &[f64]| side.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
        let ((left, ink_left), (right, ink_right)) = (darkest(left)?, darkest(right)?);
        let right = right + half as usize;
        let valley = across[left..=right].iter().copied().fold(f64::MAX, f64::min);
        let (fainter, darker) = (ink_left.min(ink_right), ink_left.max(ink_right));
        if valley > VALLEY * fainter || fainter < ALIKE * darker || darker <= 0.0 {
            return None;
        }
        let line = |place: usize| {
            let offset = place as isize - half;
            // As far as the middle between both. Parallel lines are not radial: their ends lie aside of where it begins.
            let reach = (offset.abs() as f64).max(LEAST_SKIRT);
            self.settled(reach, beside(offset), reach)
        };
        let apart = (right - left) as f64;
        let (left, right) = (line(left)?, line(right)?);
        if right.column - left.column < STILL_APART * apart {
            return None;
        }
        let between = |a: f64, b: f64| (a + b) / 2.0;
        Some(Axis {
            column: between(left.column, right.column),
            slope: between(left.slope, right.slope),
            row: between(left.row, right.row),
        })
    }

    fn row(&self, reach: f64, (level, tilt): (f32, f32), row: usize, axis: f64) -> Row {
        let mut sums = Row { row: row as f64, moment: 0.0, gain: 0.0, ink: 0.0 };
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
            let (weight, slope) = falling(d / reach);
            sums.moment += weight * d * c;
            sums.gain += (weight + d / reach * slope) * c;
            sums.ink += c;
        }
        sums
    }
}

/// Fit the axis of `blob`, beginning from its own; that where the fit runs away.
pub(super) fn fit(ring: &Ring, blob: &Blob) -> Axis {
    let own = Axis { column: blob.axis, slope: blob.slope, row: blob.middle_row() };
    let strip = Strip::about(ring, blob);
    let reach = (0.5 * blob.width + LEAST_SKIRT).max(REACH * blob.width);
    let as_one = || strip.settled(reach, own, FARTHEST * blob.width + 0.5);
    strip.between_lines(own, blob.width).or_else(as_one).unwrap_or(own)
}

/// A window and its slope at a place in units of its reach: 1 in the middle, 0 from 1 on.
fn falling(u: f64) -> (f64, f64) {
    let t = u.abs().min(1.0);
    (1.0 - t * t * (3.0 - 2.0 * t), -6.0 * t * (1.0 - t) * u.signum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Ellipse, PixelPoint, Vector};
    use crate::vision::Picture;
    use crate::vision::reference_marks::find_reference_marks;
    use crate::vision::reference_marks::seeds::Seed;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

    const RADIUS: f64 = 200.0;
    /// Of a mark, limbus radii.
    const MIDDLE: f64 = 1.02;
    /// Rows of the line, px.
    const LENGTH: f64 = 60.0;

    /// A line, Gaussian across.
    #[derive(Clone, Copy)]
    struct Line {
        /// How far beside the mark's axis, px.
        aside: f64,
        /// Grey levels.
        depth: f64,
        /// Standard deviation of its cross-section, px.
        sd: f64,
    }

    const ONE: [Line; 1] = [Line { aside: 0.0, depth: 40.0, sd: 2.5 }];
    const TWO: [Line; 2] = [Line { aside: -4.0, depth: 40.0, sd: 1.5 }, Line { aside: 4.0, depth: 40.0, sd: 1.5 }];

    /// A mark of `lines` on a plain ground with noise alike in all channels.
    struct Drawn<'a> {
        lines: &'a [Line],
        degrees: f64,
        picture: Picture,
        limbus: Ellipse,
        middle: PixelPoint,
        /// Unit vector across its ray.
        across: Vector,
    }

    impl<'a> Drawn<'a> {
        fn new(lines: &'a [Line], degrees: f64, noise: f64, seed: u64) -> Self {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let limbus = Ellipse::circle(PixelPoint::new(-100.3, 120.4), RADIUS).unwrap();
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (outward, across) = (Vector::new(cos, -sin), Vector::new(sin, cos));
            let middle = limbus.center() + outward * (MIDDLE * RADIUS);
            let picture = Picture::from_fn(200, 240, |x, y| {
                let arm = PixelPoint::new(f64::from(x), f64::from(y)) - middle;
                let end = (LENGTH / 2.0 - arm.dot(&outward).abs() + 0.5).clamp(0.0, 1.0);
                let line = |l: &Line| l.depth * (-((arm.dot(&across) - l.aside) / l.sd).powi(2) / 2.0).exp();
                let ink = end * lines.iter().map(line).sum::<f64>();
                let grain: f64 = random.sample(StandardNormal);
                image::Rgb([((150.0 - ink + noise * grain).round().clamp(0.0, 255.0) * 257.0) as u16; 3])
            });
            Self { lines, degrees, picture, limbus, middle, across }
        }

        /// How far beside the mark it is found, px.
        fn error(&self) -> f64 {
            let findings = find_reference_marks(&self.picture, &self.limbus);
            let off = findings.iter().map(|f| f.centroid - self.middle);
            off.min_by(|a, b| a.norm().total_cmp(&b.norm())).expect("the mark is found").dot(&self.across)
        }

        /// How far beside the mark the axis of all its lines as one region lies, px.
        fn error_as_one(&self) -> f64 {
            let ring = Ring::sample(&self.picture, &self.limbus);
            let grown = |line: &Line| {
                let degrees = self.degrees - (line.aside / (MIDDLE * RADIUS)).atan().to_degrees();
                let column = ring.columns_of(degrees).round().rem_euclid(ring.columns as f64) as usize;
                let seed = Seed { row: ring.row(MIDDLE) as usize, column, width: 4.0, contrast: 0.2 };
                Blob::grow(&ring, &seed).expect("the line is found")
            };
            let lines: Vec<Blob> = self.lines.iter().map(grown).collect();
            let whole = Blob::united(&ring, &lines.iter().collect::<Vec<_>>()).expect("the lines are found");
            let axis = fit(&ring, &whole);
            let column = axis.column + axis.slope * (axis.row - whole.middle_row());
            (self.limbus.at_polar(ring.rho(axis.row), ring.phi(column)) - self.middle).dot(&self.across)
        }
    }

    /// Without noise the place is right to a fiftieth of a pixel wherever the line lies between the columns of the ring.
    #[test]
    fn a_line_between_columns_is_not_drawn_to_them() {
        for step in 0..16 {
            let off = Drawn::new(&ONE, -3.0 + 0.41 * f64::from(step), 0.0, 0).error();
            assert!(off.abs() < 0.02, "{step}: {off} px");
        }
    }

    /// Nor does it matter that one of two lines is half as dark again as the other.
    #[test]
    fn a_double_line_is_not_drawn_to_its_darker_one() {
        let uneven = [Line { depth: 48.0, ..TWO[0] }, Line { depth: 32.0, ..TWO[1] }];
        for step in 0..16 {
            let off = Drawn::new(&uneven, 4.0 + 0.41 * f64::from(step), 0.0, 0).error_as_one();
            assert!(off.abs() < 0.1, "{step}: {off} px");
        }
    }

    /// Root mean square error over the bound in noise 6: no unbiased reading of a row of a Gaussian line scatters by less than
    /// `row_bound` (px), of all its lines and rows by less than that over the root of their number.
    fn over_the_bound(lines: &[Line], row_bound: f64, error: fn(&Drawn) -> f64) -> f64 {
        const DRAWN: u32 = 80;
        let off = |k: u32| error(&Drawn::new(lines, 4.0 + 0.083 * f64::from(k), 6.0, u64::from(k)));
        let squares: f64 = (0..DRAWN).map(|k| off(k).powi(2)).sum();
        (squares / f64::from(DRAWN)).sqrt() / (row_bound / (LENGTH * lines.len() as f64).sqrt())
    }

    /// The information of a Gaussian line of depth 40 and sd 2.5 px, recomputed with NumPy.
    #[test]
    fn the_error_is_near_the_bound() {
        let ratio = over_the_bound(&ONE, 0.251935, |mark| mark.error());
        assert!(ratio < 1.3, "{ratio} of the bound");
    }

    /// Of sd 1.5 px: noise / depth * sqrt(2 sd / sqrt(pi)).
    #[test]
    fn the_error_of_a_double_line_is_near_the_bound() {
        let row_bound = 6.0 / 40.0 * (2.0 * 1.5 / std::f64::consts::PI.sqrt()).sqrt();
        let ratio = over_the_bound(&TWO, row_bound, |mark| mark.error_as_one());
        assert!(ratio < 1.3, "{ratio} of the bound");
    }
}
